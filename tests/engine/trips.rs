//! Safety trips that are reset by hand: they latch on true alone, survive restarts, and let go only when a person says so
//! and their reason is gone.

use standfast::engine::{Answer, By, Effect, Event, Hand, HandOrder};
use standfast::house::State::{Off, On};

use crate::bench::Bench;

const HOUSE: &str = r#"
[sensor.air]
reading = "yard/t1"
unit = "°C"
[load.heater]
relay = "yard/1"
kind = "resistive"
min_on = "5m"
[input.ask]
at = "yard/ask"
[rule.asks]
load = "heater"
demand = "on"
while = { input = "ask", is = "on" }
[rule.too-hot]
load = "heater"
demand = "off"
priority = 2
reset = "manual"
while = { sensor = "air", cut_in = ">= 32", cut_out = "<= 28" }
"#;

fn heating() -> Bench {
    let mut bench = Bench::played(HOUSE);
    bench.reading("air", 20.0);
    bench.happen("yard", standfast::board::Event::Contact { input: "ask", closed: true });
    bench.run_for("1s");
    assert!(bench.runs("heater"));
    bench
}

fn reset(bench: &mut Bench) -> Answer {
    let load = bench.load("heater");
    let by = By::Command(String::new());
    bench.step(Event::Hand(Hand { token: 77, by, order: HandOrder::Reset { load } }));
    bench.answers.last().expect("an answer").clone()
}

#[test]
fn a_house_without_it_would_let_a_latched_one_go() {
    let mut bench = heating();
    let renamed = crate::bench::house(&HOUSE.replace("rule.too-hot", "rule.far-too-hot"));
    assert_eq!(bench.engine.trips_let_go(&renamed), [""; 0], "it has not latched");
    bench.reading("air", 33.0);
    let same = crate::bench::house(&HOUSE.replace(">= 32", ">= 31"));
    assert_eq!(bench.engine.trips_let_go(&same), [""; 0]);
    let automatic = crate::bench::house(&HOUSE.replace("reset = \"manual\"\n", ""));
    for other in [renamed, automatic] {
        assert_eq!(
            bench.engine.trips_let_go(&other),
            ["safety trip \"too-hot\" of load \"heater\" has tripped and would let go unseen (look at it and \
              `standfast reset heater` first)"]
        );
    }
}

#[test]
fn one_latches_at_once_and_stays_when_its_condition_is_false_again() {
    let mut bench = heating();
    bench.reading("air", 33.0);
    bench.run_for("1s");
    assert!(!bench.runs("heater"), "before min on is over");
    assert!(bench.alarm("trip-too-hot").text.contains("until somebody has looked and resets it"));
    bench.reading("air", 20.0);
    bench.run_for("10m");
    assert!(!bench.runs("heater"));
    bench.reading("air", 20.0);
    let why = bench.why("heater");
    assert!(why.contains("safety trip too-hot has tripped and waits for a reset by hand: air is 20 °C"), "{why}");
    assert_eq!(bench.explain("heater").slot, Some(2));
    let told = bench.engine.reasons(bench.load("heater")).text(&bench.engine.house().site.zone, bench.now.wall);
    assert!(told.contains("slot 2) is false: has tripped and demands off"), "{told}");
}

#[test]
fn a_reset_is_refused_while_the_reason_stands_or_is_not_known() {
    let mut bench = heating();
    bench.reading("air", 33.0);
    let Answer::Refused(why) = reset(&mut bench) else { panic!("reset in the heat") };
    assert!(why.contains("\"too-hot\" is still true"), "{why}");
    bench.run_for("6m");
    let Answer::Refused(why) = reset(&mut bench) else { panic!("reset without a reading") };
    assert!(why.contains("is not known"), "{why}");
    bench.reading("air", 20.0);
    assert_eq!(reset(&mut bench), Answer::Done);
    bench.run_for("1s");
    assert!(bench.runs("heater"));
    assert!(bench.alarms().iter().all(|alarm| !alarm.starts_with("trip-")));
    assert_eq!(reset(&mut bench), Answer::Nothing);
}

#[test]
fn only_true_latches() {
    let mut bench = heating();
    bench.run_for("6m");
    assert_eq!(bench.wanted("heater"), Off, "unknown demands the safe state");
    assert_eq!(bench.alarms().iter().filter(|alarm| alarm.starts_with("trip-")).count(), 0);
    bench.reading("air", 20.0);
    assert_eq!(bench.wanted("heater"), On);
}

#[test]
fn the_latch_survives_restarts_and_changes_of_the_house() {
    for (same_boot, trusted) in [(true, true), (false, true), (false, false)] {
        let mut bench = heating();
        bench.reading("air", 33.0);
        bench.reading("air", 20.0);
        bench.restart(HOUSE, "10s", same_boot, trusted);
        bench.link_up();
        bench.run_for("1m");
        assert!(!bench.runs("heater"));
        assert!(bench.alarms().contains(&"trip-too-hot"));
        bench.reading("air", 20.0);
        assert_eq!(reset(&mut bench), Answer::Done);
    }
    let mut bench = heating();
    bench.reading("air", 33.0);
    bench.reading("air", 20.0);
    bench.reload(&HOUSE.replace(">= 32", ">= 34"));
    assert_eq!(bench.wanted("heater"), Off);
    bench.reload(&HOUSE.replace("reset = \"manual\"\n", ""));
    assert_eq!(bench.wanted("heater"), On, "it does not latch any more");
    assert!(!bench.alarms().contains(&"trip-too-hot"));
}

/// Who reads the alarm of before would reset a load that is not there.
#[test]
fn the_alarm_names_the_load_that_the_trip_holds_now() {
    let renamed = HOUSE.replace("load.heater", "load.warmer").replace("\"heater\"", "\"warmer\"");
    for running in [true, false] {
        let mut bench = heating();
        bench.reading("air", 33.0);
        assert!(bench.alarm("trip-too-hot").text.contains("load \"heater\" stays off"));
        if running {
            bench.reload(&renamed);
            let shown =
                |effect: &Effect| matches!(effect, Effect::PublishAlarm { alarm, .. } if alarm.text.contains("warmer"));
            assert!(bench.effects.iter().any(shown), "{:?}", bench.effects);
        } else {
            bench.restart(&renamed, "10s", true, true);
        }
        assert!(bench.alarm("trip-too-hot").text.contains("load \"warmer\" stays off"), "{:?}", bench.alarms());
    }
}
