//! The first minutes: nothing moves until it is known what should be, slots 1 to 5 do not wait, and closings take turns.

use standfast::engine::{Event, HandOrder};
use standfast::house::State::{Off, On};

use crate::bench::Bench;

/// A fan on a slow sensor, a lamp on a quick one, a pump with a trip, and a lamp without any rule.
const HOUSE: &str = r#"
[sensor.slow]
reading = "yard/slow"
stale_after = "10m"
[sensor.quick]
reading = "yard/quick"
stale_after = "10s"
[sensor.level]
reading = "yard/level"
stale_after = "10m"
[load.fan]
relay = "yard/1"
kind = "led"
[load.lamp]
relay = "yard/2"
kind = "led"
[load.pump]
relay = "yard/3"
kind = "led"
[load.plain]
relay = "yard/4"
kind = "led"
resting = "on"
[rule.fan]
load = "fan"
demand = "on"
otherwise = "off"
while = { sensor = "slow", cut_in = ">= 10", cut_out = "<= 5" }
[rule.lamp]
load = "lamp"
demand = "on"
while = { sensor = "quick", cut_in = ">= 10", cut_out = "<= 5" }
[rule.pump]
load = "pump"
demand = "off"
priority = 2
while = { sensor = "level", cut_in = "<= 2", cut_out = ">= 4" }
"#;

#[test]
fn a_reported_relay_is_ordered_as_it_reported_until_its_sensors_are_known() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "on off off off");
    assert!(bench.ordered("yard").starts_with("on off "), "{}", bench.ordered("yard"));
    assert!(bench.why("fan").contains("as reported after the start, until slow is known"), "{}", bench.why("fan"));
    bench.run_for("10s");
    bench.reading("slow", 1.0);
    assert!(bench.ordered("yard").starts_with("off "), "known, so the rule decides");
}

#[test]
fn a_load_is_not_waited_for_longer_than_settle() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "on off off off");
    bench.run_for("29999ms");
    assert!(bench.ordered("yard").starts_with("on "));
    bench.run_for("1ms");
    assert!(bench.ordered("yard").starts_with("off "), "unknown, so the safe state");
}

#[test]
fn a_load_whose_sensors_are_missed_sooner_is_waited_for_no_longer_than_that() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off on off off");
    bench.run_for("9999ms");
    assert_eq!(bench.wanted("lamp"), On);
    bench.run_for("1ms");
    assert_eq!(bench.wanted("lamp"), Off);
}

#[test]
fn settling_counts_from_the_first_contact_with_the_broker() {
    let mut bench = Bench::unlinked("2026-06-01 12:00", HOUSE);
    bench.run_for("1h");
    bench.link_up();
    bench.relays("yard", "on off off off");
    bench.run_for("29s");
    assert_eq!(bench.wanted("fan"), On);
    bench.run_for("1s");
    assert_eq!(bench.wanted("fan"), Off);
}

#[test]
fn a_second_contact_with_the_broker_settles_nothing_again() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "on off off off");
    bench.run_for("29s");
    bench.step(Event::LinkDown);
    bench.link_up();
    bench.run_for("1s");
    assert_eq!(bench.wanted("fan"), Off);
}

#[test]
fn a_load_without_rules_rests_at_once() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off off off off");
    assert!(bench.ordered("yard").ends_with(" on"), "{}", bench.ordered("yard"));
}

#[test]
fn an_unknown_trip_waits_like_the_rules() {
    let text = HOUSE.to_owned()
        + "[input.b]\nat = \"yard/b\"\n[rule.runs]\nload = \"pump\"\ndemand = \"on\"\nwhile = { input = \"b\", is = \"on\" }\n";
    let mut bench = Bench::new(&text);
    bench.relays("yard", "off off on off");
    assert_eq!(bench.wanted("pump"), On);
    bench.run_for("30s");
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (Off, Some(2)));
}

#[test]
fn a_known_trip_acts_at_once() {
    let text = HOUSE.to_owned()
        + "[input.b]\nat = \"yard/b\"\n[rule.runs]\nload = \"pump\"\ndemand = \"on\"\nwhile = { input = \"b\", is = \"on\" }\n";
    let mut bench = Bench::new(&text);
    bench.relays("yard", "off off on off");
    assert_eq!(bench.wanted("pump"), On);
    bench.reading("level", 1.0);
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (Off, Some(2)));
}

#[test]
fn withdrawn_acts_at_once() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "on off off off");
    bench.withdraw("fan", "");
    assert!(bench.ordered("yard").starts_with("off "));
}

#[test]
fn a_hold_made_by_a_hand_acts_at_once_so_that_no_button_is_dead() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off off off off");
    bench.run_for("300ms");
    bench.hold("fan", "on 1h");
    assert!(bench.ordered("yard").starts_with("on "), "{}", bench.ordered("yard"));
}

#[test]
fn a_hold_until_the_next_change_made_while_settling_outlives_the_answer_that_was_waited_for() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "on off off off");
    bench.hold("fan", "off");
    assert_eq!(bench.wanted("fan"), Off);
    // What the person overruled was the running fan, and that is what the rule goes on wanting.
    bench.reading("slow", 20.0);
    assert_eq!(bench.wanted("fan"), Off);
    bench.reading("slow", 1.0);
    assert_eq!(bench.explain("fan").hold, None, "now the rules want something else");
}

#[test]
fn a_load_whose_rule_asks_the_clock_waits_for_a_trusted_one() {
    let text = r#"
[load.lamp]
relay = "yard/1"
kind = "led"
[rule.lit]
load = "lamp"
demand = "on"
while = { from = "11:00", to = "13:00" }
"#;
    let mut bench = Bench::unlinked("2026-06-01 12:00", text);
    bench.now.trusted = false;
    bench.link_up();
    bench.relays("yard", "off off off off");
    assert!(bench.why("lamp").contains("until the clock is known"), "{}", bench.why("lamp"));
    bench.run_for("5s");
    bench.trust(true);
    assert_eq!(bench.wanted("lamp"), On);
}

/// Eight lamps that rest on.
fn eight() -> String {
    let loads = (1..=8).map(|n| format!("[load.lamp-{n}]\nrelay = \"yard/{n}\"\nkind = \"led\"\nresting = \"on\"\n"));
    format!("[board.yard]\nrelays = 8\n{}", loads.collect::<String>())
}

fn on_count(bench: &Bench) -> usize {
    (1..=8).filter(|n| bench.closed(&format!("yard/{n}"))).count()
}

#[test]
fn after_a_start_closings_take_turns() {
    let mut bench = Bench::new(&eight());
    bench.play_all();
    bench.run_for("100ms");
    for expected in 1..=8 {
        assert_eq!(on_count(&bench), expected);
        bench.run_for("300ms");
    }
    assert_eq!(on_count(&bench), 8);
}

#[test]
fn after_a_reconnect_closings_take_turns_again() {
    let mut bench = Bench::played(&eight());
    bench.cut_power("yard");
    bench.run_for("10s");
    bench.power_up("yard");
    bench.run_for("100ms");
    assert_eq!(on_count(&bench), 1);
    bench.run_for("600ms");
    assert_eq!(on_count(&bench), 3);
    bench.run_for("2s");
    assert_eq!(on_count(&bench), 8);
}

#[test]
fn what_came_to_be_wanted_without_the_broker_takes_turns_too() {
    let mut bench = Bench::played(&eight());
    let loads: Vec<String> = (1..=8).map(|n| format!("lamp-{n}")).collect();
    loads.iter().for_each(|load| drop(bench.withdraw(load, "cleaning")));
    bench.run_for("3s");
    assert_eq!(on_count(&bench), 0);
    bench.step(Event::LinkDown);
    loads.iter().for_each(|load| drop(bench.restore(load)));
    bench.run_for("1s");
    bench.link_up();
    bench.run_for("100ms");
    assert_eq!(on_count(&bench), 1);
    bench.run_for("3s");
    assert_eq!(on_count(&bench), 8);
}

#[test]
fn the_turns_are_those_of_the_whole_house() {
    let text = eight().replace("yard/5", "hall/1").replace("yard/6", "hall/2") + "[board.hall]\nrelays = 2\n";
    let mut bench = Bench::new(&text);
    bench.play_all();
    bench.run_for("700ms");
    let hall = ["hall/1", "hall/2"].into_iter().filter(|relay| bench.closed(relay)).count();
    assert_eq!(on_count(&bench) + hall, 3);
}

/// A board that comes with a change of the house is ordered once its numbers are on disk: whoever took a turn before that would
/// close right before the next in turn.
#[test]
fn turns_are_taken_once_a_board_is_ordered() {
    let site = "[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\nstagger = \"5s\"\n";
    let lamp = "[load.lamp]\nrelay = \"shed/1\"\nkind = \"led\"\nresting = \"on\"\n";
    let light = "[load.light]\nrelay = \"shed/2\"\nkind = \"led\"\nresting = \"on\"\n";
    let latch = format!("{light}pulse = \"400ms\"\npulse_at = \"change\"\n");
    let flap = "[actuator.flap]\nopen = \"shed/2\"\nclose = \"shed/3\"\ntravel = \"20s\"\nresting = \"open\"\n";
    for other in [light, &latch, flap] {
        let before = format!("{site}[board.yard]\nrelays = 4\n");
        let mut bench = Bench::new(&before);
        bench.run_for("31s");
        bench.reload_with(&format!("{before}[board.shed]\nrelays = 4\n{lamp}{other}"), false);
        bench.from("shed/report", "3 1 0 off off off off");
        bench.run_for("2s");
        let closings = |bench: &Bench| {
            let word = bench.ordered("shed");
            word.split(' ').filter(|word| word.starts_with("on")).count()
        };
        let first = closings(&bench);
        bench.run_for("4900ms");
        assert_eq!((first, closings(&bench)), (1, 1), "{}", bench.ordered("shed"));
    }
}

#[test]
fn a_stagger_of_nothing_lets_all_close_together() {
    let text = format!("[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\nstagger = \"0s\"\n{}", eight());
    let mut bench = Bench::new(&text);
    bench.play_all();
    bench.run_for("100ms");
    assert_eq!(on_count(&bench), 8);
}

#[test]
fn openings_do_not_wait_for_a_turn() {
    let text = eight().replace("resting = \"on\"\n", "");
    let mut bench = Bench::new(&text);
    bench.relays("yard", "on on on on on on on on");
    assert_eq!(bench.ordered("yard"), "off off off off off off off off");
}

#[test]
fn a_relay_that_reports_on_and_stays_on_needs_no_turn() {
    let mut bench = Bench::new(&eight());
    bench.relays("yard", "on on on on on on on on");
    assert_eq!(bench.ordered("yard"), "on on on on on on on on");
}

#[test]
fn a_person_may_acknowledge_an_alarm_that_stands_and_only_once() {
    let mut bench = Bench::new(HOUSE);
    bench.run_for("61s");
    assert_eq!(bench.alarms(), ["board-yard"]);
    assert_eq!(bench.acknowledge("board-yard"), standfast::engine::Answer::Done);
    assert!(bench.alarm("board-yard").acknowledged);
    assert_eq!(bench.acknowledge("board-yard"), standfast::engine::Answer::Nothing);
    assert_eq!(bench.acknowledge("no-such-alarm"), standfast::engine::Answer::Nothing);
    let _ = HandOrder::Acknowledge { alarm: String::new() };
}

#[test]
fn alarms_and_loads_and_fallbacks_are_published_again_when_the_broker_is_back() {
    use standfast::engine::Effect;
    let mut bench = Bench::new(HOUSE);
    bench.run_for("61s");
    bench.step(Event::LinkDown);
    bench.run_for("10s");
    bench.link_up();
    let count = |wanted: fn(&Effect) -> bool| bench.effects.iter().filter(|effect| wanted(effect)).count();
    assert_eq!(count(|effect| matches!(effect, Effect::PublishAlarm { .. })), 1);
    assert_eq!(count(|effect| matches!(effect, Effect::PublishLoad { .. })), 4);
    assert_eq!(count(|effect| matches!(effect, Effect::SetFallback { .. })), 1);
}

#[test]
fn an_alarm_cleared_while_the_broker_is_away_is_taken_back_once_it_is_there() {
    use standfast::engine::{Event, Retained};
    let mut bench = Bench::new(HOUSE);
    bench.step(Event::Alarm { id: "house".to_owned(), text: Some("the house has errors".to_owned()) });
    assert!(bench.retained.contains(&Retained::Alarm("house".to_owned())));
    bench.step(Event::LinkDown);
    bench.step(Event::Alarm { id: "house".to_owned(), text: None });
    assert!(bench.retained.contains(&Retained::Alarm("house".to_owned())));
    bench.link_up();
    assert!(!bench.retained.contains(&Retained::Alarm("house".to_owned())));
    bench.step(Event::LinkDown);
    bench.step(Event::Alarm { id: "house".to_owned(), text: Some("again".to_owned()) });
    bench.link_up();
    assert!(bench.retained.contains(&Retained::Alarm("house".to_owned())));
}

#[test]
fn an_alarm_that_comes_back_while_the_broker_is_away_is_not_taken_back() {
    use standfast::engine::{Event, Retained};
    let mut bench = Bench::new(HOUSE);
    let say = |bench: &mut Bench, text: Option<&str>| {
        bench.step(Event::Alarm { id: "house".to_owned(), text: text.map(str::to_owned) });
    };
    say(&mut bench, Some("one"));
    bench.step(Event::LinkDown);
    say(&mut bench, None);
    say(&mut bench, Some("two"));
    bench.link_up();
    assert!(bench.retained.contains(&Retained::Alarm("house".to_owned())));
}

#[test]
fn an_alarm_raised_twice_is_one_alarm_and_a_new_text_keeps_its_time() {
    use standfast::engine::Event;
    let mut bench = Bench::new(HOUSE);
    let raise = |bench: &mut Bench, text: &str| {
        bench.step(Event::Alarm { id: "store".to_owned(), text: Some(text.to_owned()) });
    };
    raise(&mut bench, "the disk is full");
    let raised = bench.alarm("store").raised;
    bench.run_for("5s");
    raise(&mut bench, "the disk is full");
    raise(&mut bench, "the disk is gone");
    assert_eq!((bench.alarm("store").raised, bench.alarm("store").text.as_str()), (raised, "the disk is gone"));
    let rows = bench.take_journal().into_iter().filter(|row| row.contains("alarm-raised")).count();
    assert_eq!(rows, 1);
}
