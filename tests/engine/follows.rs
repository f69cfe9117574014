//! What a hand is told beside its answer: why the load is not as was ordered, and what comes on by it; and what a look says of
//! a load that is not yet as it is wanted.

use standfast::engine::{Answer, Event, HandOrder, JournalEntry};
use standfast::house::State::{Off, On};
use standfast::units::Span;

use crate::bench::Bench;

const HOUSE: &str = r#"
[sensor.air]
reading = "yard/t1"
unit = "°C"
[load.heater]
relay = "yard/1"
kind = "resistive"
power = "1 kW"
[load.rail]
relay = "yard/2"
kind = "resistive"
power = "1 kW"
[load.fan]
relay = "yard/3"
kind = "motor"
min_on = "5m"
[load.iron]
relay = "yard/4"
kind = "resistive"
power = "1 kW"
[circuit.kitchen]
loads = ["rail", "iron"]
limit = "1.5 kW"
[interlock.heat]
loads = ["heater", "iron"]
dead_time = "1s"
[rule.too-hot]
load = "heater"
demand = "off"
priority = 2
reset = "manual"
while = { sensor = "air", cut_in = ">= 32", cut_out = "<= 28" }
"#;

fn bench() -> Bench {
    let mut bench = Bench::played(HOUSE);
    bench.reading("air", 20.0);
    bench.run_for("1s");
    bench
}

fn tripped() -> Bench {
    let mut bench = bench();
    bench.reading("air", 33.0);
    bench.reading("air", 20.0);
    bench.run_for("1s");
    bench
}

/// Holds a load, and compares what is said beside the answer.
fn check(bench: &mut Bench, load: &str, words: &str, expected: Option<&str>) {
    assert!(matches!(bench.hold(load, words), Answer::Held { .. }), "{load} {words}");
    assert_eq!(bench.then.as_deref(), expected, "{load} {words}");
}

fn reset(bench: &mut Bench) -> Answer {
    let load = bench.load("heater");
    bench.hand(HandOrder::Reset { load })
}

#[test]
fn what_nothing_stands_against_is_answered_without_a_but() {
    let mut bench = bench();
    check(&mut bench, "heater", "on 2h", None);
    bench.run_for("1s");
    assert!(bench.runs("heater"));
}

#[test]
fn a_hold_says_that_a_tripped_load_stays_off() {
    let mut bench = tripped();
    let tripped = "it stays off for now: safety trip too-hot has tripped and waits for a reset by hand: air is 20 °C, \
                   cut-in >= 32, cut-out <= 28. Look at it, then `standfast reset heater`";
    check(&mut bench, "heater", "on 2h", Some(tripped));
    assert!(!bench.runs("heater"));
    assert_eq!(reset(&mut bench), Answer::Done);
    let then = bench.then.clone().unwrap_or_default();
    assert!(then.starts_with("it is to be on now: held on by a message until "), "{then}");
    bench.run_for("1s");
    assert!(bench.runs("heater"));
}

#[test]
fn a_reset_that_turns_nothing_says_no_more() {
    let mut bench = tripped();
    assert_eq!(reset(&mut bench), Answer::Done);
    assert_eq!(bench.then, None);
}

#[test]
fn a_hold_says_what_keeps_the_load_for_now() {
    let mut bench = bench();
    check(&mut bench, "fan", "on 2h", None);
    bench.run_for("1m");
    check(&mut bench, "fan", "off 2h", Some("it stays on for now: min on keeps it on for 4m1s more"));
    check(&mut bench, "heater", "on 2h", None);
    bench.run_for("2s");
    check(&mut bench, "iron", "on 2h", Some("it stays off for now: interlock heat keeps it off beside heater"));
    bench.hold("heater", "off 2h");
    bench.hold("iron", "off 2h");
    bench.run_for("2s");
    check(&mut bench, "rail", "on 2h", None);
    bench.run_for("2s");
    let full = "it stays off for now: circuit kitchen has no room for it under 1.5 kW beside rail";
    check(&mut bench, "iron", "on 2h", Some(full));
}

#[test]
fn a_hold_says_that_its_order_cannot_go_out() {
    let mut bench = bench();
    bench.step(Event::LinkDown);
    let away = "it is not on yet: no broker is connected, so no order goes out";
    check(&mut bench, "heater", "on 2h", Some(away));
    assert!(bench.why("heater").contains("off, wanted on (no broker is connected, so no order goes out), held on"));
    let mut bench = self::bench();
    bench.unplug("yard");
    bench.run_for("2m");
    check(&mut bench, "rail", "on 2h", Some("it is not on yet: board yard is not heard"));
}

#[test]
fn what_comes_back_into_service_says_what_it_does() {
    let mut bench = bench();
    bench.withdraw("rail", "new thermostat");
    bench.run_for("1s");
    bench.restore("rail");
    assert_eq!(bench.then, None);
    bench.hold("rail", "on 2h");
    bench.run_for("1s");
    let load = bench.load("rail");
    bench.hand(HandOrder::Release { load });
    assert_eq!(bench.then.as_deref(), Some("it is to be off now: nothing is demanded, so it rests"));
}

#[test]
fn an_order_that_was_not_answered_yet_is_said_to_wait_and_one_that_is_not_obeyed_too() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off off off off");
    bench.reading("air", 20.0);
    bench.run_for("31s");
    bench.relays("yard", "off off off off");
    bench.hold("heater", "on 2h");
    let why = bench.why("heater");
    assert!(why.starts_with("heater: off, wanted on (board yard has not answered yet), held on"), "{why}");
    for _ in 0..4 {
        bench.run_for("20s");
        bench.relays("yard", "off off off off");
    }
    let why = bench.why("heater");
    assert!(why.starts_with("heater: off, wanted on (it does not obey, see alarm obey-heater), held on"), "{why}");
}

/// A house that no longer has the trip lets it go; whoever reads the journal sees that nobody had looked.
#[test]
fn a_change_of_the_house_that_lets_a_trip_go_is_written_down() {
    let let_go = |bench: &Bench| {
        let rows = bench.journal.iter().filter_map(|row| match &row.entry {
            JournalEntry::TripLetGo { rule, load } => Some((rule.clone(), load.clone())),
            _ => None,
        });
        rows.collect::<Vec<_>>()
    };
    let named = |load: Option<&str>| vec![("too-hot".to_owned(), load.map(str::to_owned))];
    let renamed = HOUSE.replace("rule.too-hot", "rule.far-too-hot");
    let automatic = HOUSE.replace("reset = \"manual\"\n", "");
    for (other, after_restart) in [(&renamed, None), (&automatic, Some("heater"))] {
        let mut bench = tripped();
        bench.reload(HOUSE);
        assert_eq!(let_go(&bench), [], "it stays");
        bench.reload(other);
        assert_eq!(let_go(&bench), named(Some("heater")));
        bench.reload(HOUSE);
        assert_eq!(let_go(&bench).len(), 1, "once");
        assert_eq!(bench.engine.trips_let_go(&crate::bench::house(other)), [""; 0], "it has let go");

        let mut bench = tripped();
        bench.restart(other, "10s", true, true);
        assert_eq!(let_go(&bench), named(after_restart));
    }
}

/// What the journal says of a change is why it was ordered when it was, not why it once was.
#[test]
fn a_hold_that_is_over_is_not_the_reason_of_what_happens_later() {
    let text = format!(
        "[selector.house]\npositions = [\"away\", \"home\"]\n[rule.home]\nload = \"rail\"\ndemand = \"on\"\nwhile = {{ \
         selector = \"house\", is = \"home\" }}\n{HOUSE}"
    );
    let mut bench = Bench::played(&text);
    bench.reading("air", 20.0);
    bench.hold("rail", "on 2h");
    bench.run_for("1s");
    bench.message("standfast/selector/house", "home", false);
    let load = bench.load("rail");
    bench.hand(HandOrder::Release { load });
    assert_eq!(bench.wanted("rail"), On);
    // It is cut off for longer than its lease, falls back, and is told anew.
    bench.unplug("yard");
    bench.run_for("3m");
    assert!(!bench.runs("rail"));
    bench.take_journal();
    bench.plug("yard");
    bench.run_for("1m");
    assert!(bench.runs("rail"));
    let rows = bench.take_journal();
    let on = rows.iter().find(|row| row.contains("\"rail\"") && row.contains("\"state\":\"on\""));
    let on = on.unwrap_or_else(|| panic!("{rows:#?}"));
    assert!(on.contains("\"cause\":\"rule\"") && !on.contains("hold"), "{on}");
}

#[test]
fn a_look_counts_what_is_left_from_its_own_moment_and_decides_nothing() {
    let mut bench = bench();
    bench.hold("fan", "on 2h");
    bench.run_for("10s");
    bench.hold("fan", "off 2h");
    let before = bench.engine.snapshot();
    let load = bench.load("fan");
    let mut later = bench.now;
    later.boot = later.boot + Span::from_s(90);
    later.wall = later.wall + Span::from_s(90);
    let seen = bench.engine.seen_at(later);
    let (then, now) = (bench.engine.account(load), seen.account(load));
    assert!(then.contains("for 4m51s more") && now.contains("for 3m21s more"), "{then}\n{now}");
    // What is due by then is left to a step.
    later.boot = later.boot + Span::from_h(1);
    let seen = bench.engine.seen_at(later);
    assert_eq!(seen.explain(load).wanted, On);
    assert_eq!(seen.next_deadline(), bench.engine.next_deadline());
    assert_eq!(bench.engine.snapshot(), before);
    bench.run_for("5m");
    assert_eq!(bench.wanted("fan"), Off);
    // Time that seems to go back stands still.
    let mut earlier = bench.now;
    earlier.boot = standfast::units::BootTime(0);
    assert_eq!(bench.engine.seen_at(earlier).now().boot, bench.now.boot);
}
