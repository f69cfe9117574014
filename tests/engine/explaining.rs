//! Explanations: the deciding slot and its cause are right, and the sentence reads as a person would say it.

use standfast::engine::{Cause, Evidence};
use standfast::house::{
    State::{Off, On},
    Truth,
};

use crate::bench::Bench;

const HOUSE: &str = r#"
[input.trip]
at = "yard/trip"
[input.ask]
at = "yard/ask"
[input.button]
at = "yard/button"
toggles = "fan"
[sensor.air]
reading = "yard/t1"
unit = "°C"
stale_after = "3m"
[load.fan]
label = "Sun-room fan"
relay = "yard/1"
kind = "motor"
min_on = "2m"
min_off = "3m"
hold_for = "2h"
[load.lamp]
relay = "yard/2"
kind = "led"
[rule.vents]
load = "fan"
demand = "on"
priority = 12
while = { sensor = "air", cut_in = ">= 28.0", cut_out = "<= 26.5" }
[rule.asks]
load = "fan"
demand = "off"
while = { input = "ask", is = "on" }
[rule.trip]
load = "fan"
demand = "off"
priority = 2
while = { input = "trip", is = "on" }
[rule.lit]
load = "lamp"
demand = "on"
while = { from = "11:00", to = "22:30" }
"#;

fn bench() -> Bench {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off:9000:0:0 off:9000:0:0 off off");
    for contact in ["trip", "ask"] {
        bench.from(&format!("yard/input/{contact}"), "off");
    }
    bench.reading("air", 20.0);
    bench.run_for("31s");
    bench.relays("yard", "off:9031:0:0 on:30:1:0 off off");
    bench
}

#[test]
fn nothing_demanded() {
    let bench = bench();
    let awaits = "on when air, now 20 °C, reaches 28 (rule vents)";
    assert_eq!(bench.why("fan"), format!("fan: off, nothing is demanded, so it rests; {awaits}"));
    assert_eq!(bench.explain("fan").slot, None);
}

#[test]
fn a_rule_with_its_numbers() {
    let mut bench = bench();
    bench.reading("air", 28.1);
    let explanation = bench.explain("fan");
    assert_eq!((explanation.slot, explanation.label.as_str()), (Some(12), "Sun-room fan"));
    let Cause::Rule(rule) = &explanation.cause else { panic!("{:?}", explanation.cause) };
    assert_eq!((rule.rule.as_str(), rule.priority, rule.state, rule.truth), ("vents", 12, On, Truth::True));
    assert!(rule.place.starts_with("house.toml:"), "{}", rule.place);
    let Evidence::Threshold { value, cut_in, cut_out, .. } = &rule.evidence[0] else { panic!("{:?}", rule.evidence) };
    assert_eq!((value.map(|value| value.get()), *cut_in, *cut_out), (Some(28.1), 28.0, 26.5));
    assert_eq!(bench.cause("fan"), "rule vents: air is 28.1 °C, cut-in >= 28, cut-out <= 26.5");
    assert_eq!(
        bench.why("fan"),
        "fan: off, wanted on (board yard has not answered yet), as air is 28.1 °C; off at 26.5 (rule vents)"
    );
    bench.relays("yard", "on:0:1:0 on:30:1:0 off off");
    assert_eq!(bench.why("fan"), "fan: on, when air 28.1 °C reached 28; now 28.1; off at 26.5 (rule vents)");
}

#[test]
fn a_rule_that_cannot_tell_says_what_it_misses() {
    let mut bench = Bench::played(HOUSE);
    bench.reading("air", 20.0);
    bench.run_for("3m1s");
    assert_eq!(bench.why("fan"), "fan: off, rule vents cannot tell, so the safe state is demanded: air is not known");
    assert_eq!(bench.explain("fan").slot, Some(12));
}

#[test]
fn a_window_with_its_end() {
    let bench = bench();
    assert_eq!(bench.cause("lamp"), "rule lit: window from 11:00 to 22:30 is open until Mon 1 Jun 22:30");
    assert_eq!(bench.why("lamp"), "lamp: on, as window from 11:00 to 22:30 is open; off at 22:30 (rule lit)");
}

#[test]
fn a_window_without_a_trusted_clock() {
    let mut bench = bench();
    bench.trust(false);
    let why = bench.why("lamp");
    assert!(why.contains("rule lit cannot tell") && why.contains("the clock is not trusted"), "{why}");
}

#[test]
fn a_hold_with_its_hand_and_end() {
    let mut bench = bench();
    bench.hold("fan", "on 2h");
    assert_eq!(
        bench.why("fan"),
        "fan: off, wanted on (board yard has not answered yet), held on by a message until 14:00"
    );
    bench.from("yard/input/button", "press 1");
    assert_eq!(bench.explain("fan").hold.expect("a hold").by.words(), "input button");
    bench.hold("fan", "on until next change");
    assert!(
        bench.why("fan").ends_with("held on by a message until the rules change, at most until Tue 12:00"),
        "{}",
        bench.why("fan")
    );
}

#[test]
fn min_on_with_what_is_left_and_the_rule_that_waits() {
    let mut bench = bench();
    bench.reading("air", 28.1);
    bench.relays("yard", "on:0:1:0 on:30:1:0 off off");
    bench.run_for("20s");
    bench.reading("air", 26.0);
    let explanation = bench.explain("fan");
    assert_eq!((explanation.wanted, explanation.slot), (On, Some(6)));
    assert_eq!(bench.why("fan"), "fan: on, min on keeps it on for 1m40s more");
    bench.from("yard/input/ask", "on");
    assert_eq!(bench.explain("fan").others.iter().map(|rule| rule.rule.as_str()).collect::<Vec<_>>(), ["asks"]);
}

#[test]
fn min_off_counts_down() {
    let mut bench = bench();
    bench.relays("yard", "off:2:2:0 on:30:1:0 off off");
    bench.reading("air", 28.1);
    let why = bench.why("fan");
    assert!(why.starts_with("fan: off, min off keeps it off for 2m5"), "{why}");
}

#[test]
fn a_change_on_its_way_is_said_to_be() {
    let mut bench = bench();
    bench.reading("air", 28.1);
    bench.reading("air", 26.0);
    assert_eq!(
        bench.why("fan"),
        "fan: off, wanted on (board yard has not answered yet), min on keeps it on once the board confirms"
    );
}

#[test]
fn a_trip_names_its_rule() {
    let mut bench = bench();
    bench.hold("fan", "on 2h");
    bench.from("yard/input/trip", "on");
    assert_eq!(bench.why("fan"), "fan: off, as input yard/trip is on; lets go when input yard/trip is off (rule trip)");
    assert_eq!(bench.explain("fan").slot, Some(2));
    assert!(bench.explain("fan").hold.is_some(), "the hold is there, and shown");
}

#[test]
fn withdrawn_says_that_it_is_no_isolation() {
    let mut bench = bench();
    bench.withdraw("fan", "bearing sings");
    assert_eq!(bench.why("fan"), "fan: off, withdrawn (bearing sings); this is no isolation");
    bench.restore("fan");
    bench.withdraw("fan", "");
    assert_eq!(bench.why("fan"), "fan: off, withdrawn; this is no isolation");
}

#[test]
fn settling_says_what_is_waited_for() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off off off off");
    assert_eq!(bench.why("fan"), "fan: off, as reported after the start, until air, yard/ask, yard/trip is known");
}

#[test]
fn a_load_that_waits_for_its_turn() {
    let text = "[load.a]\nrelay = \"yard/1\"\nkind = \"led\"\nresting = \"on\"\n[load.b]\nrelay = \"yard/2\"\nkind = \"led\"\nresting = \"on\"\n";
    let mut bench = Bench::new(text);
    bench.relays("yard", "off off off off");
    assert_eq!(bench.why("b"), "b: off, waits for its turn to close");
    assert_eq!(bench.explain("b").wanted, Off);
}

#[test]
fn a_load_whose_board_is_not_heard() {
    let mut bench = bench();
    bench.from("yard/life", "death 17");
    assert!(
        bench.why("lamp").starts_with("lamp: not known (board yard is not heard), wanted on, as window"),
        "{}",
        bench.why("lamp")
    );
}

#[test]
fn others_stand_in_the_order_of_their_slots_and_leave_the_deciding_one_out() {
    let mut bench = bench();
    bench.reading("air", 28.1);
    bench.from("yard/input/ask", "on");
    bench.from("yard/input/trip", "on");
    let others: Vec<(String, u8)> =
        bench.explain("fan").others.into_iter().map(|rule| (rule.rule, rule.priority)).collect();
    assert_eq!(others, [("vents".to_owned(), 12), ("asks".to_owned(), 16)]);
}

#[test]
fn of_two_rules_in_one_slot_the_one_that_won_is_named() {
    let text = HOUSE.replace(
        "load = \"fan\"\ndemand = \"off\"\nwhile = { input = \"ask\"",
        "load = \"fan\"\ndemand = \"off\"\npriority = 12\nwhile = { input = \"ask\"",
    );
    let mut bench = Bench::played(&text);
    bench.reading("air", 20.0);
    bench.run_for("2m");
    bench.from("yard/input/ask", "on");
    bench.reading("air", 28.1);
    let Cause::Rule(rule) = bench.explain("fan").cause else { panic!("a rule decides") };
    assert_eq!(rule.rule, "asks", "safe is off");
}

#[test]
fn a_rule_that_knows_explains_better_than_one_that_does_not() {
    let text = HOUSE.replace(
        "load = \"fan\"\ndemand = \"off\"\nwhile = { input = \"ask\"",
        "load = \"fan\"\ndemand = \"off\"\npriority = 12\nwhile = { input = \"ask\"",
    );
    let mut bench = Bench::played(&text);
    bench.reading("air", 20.0);
    bench.run_for("4m");
    bench.from("yard/input/ask", "on");
    let Cause::Rule(rule) = bench.explain("fan").cause else { panic!("a rule decides") };
    assert_eq!((rule.rule.as_str(), rule.truth), ("asks", Truth::True));
}

#[test]
fn the_cause_in_the_journal_is_the_one_of_the_order_and_not_of_the_moment() {
    let mut bench = bench();
    bench.take_journal();
    bench.reading("air", 28.1);
    // Before the board answers, a person holds it on as well.
    bench.hold("fan", "on 1h");
    bench.relays("yard", "on:0:1:0 on:30:1:0 off off");
    let row = bench.take_journal().into_iter().find(|row| row.contains("\"changed\"")).expect("a row");
    assert!(row.contains("\"rule\":\"vents\"") && row.contains("28.1"), "{row}");
}

#[test]
fn every_cause_survives_its_json_form() {
    let mut bench = bench();
    let mut seen = Vec::new();
    for step in 0..7 {
        match step {
            1 => bench.reading("air", 28.1),
            2 => {
                bench.hold("fan", "on 1h");
            }
            3 => bench.from("yard/input/trip", "on"),
            4 => {
                bench.withdraw("fan", "x");
            }
            5 => bench.trust(false),
            6 => bench.run_for("10m"),
            _ => {}
        }
        for load in ["fan", "lamp"] {
            let cause = bench.explain(load).cause;
            let text = serde_json::to_string(&cause).expect("JSON");
            assert_eq!(serde_json::from_str::<Cause>(&text).expect("read back"), cause);
            seen.push(std::mem::discriminant(&cause));
        }
    }
    seen.dedup();
    assert!(seen.len() >= 5, "different causes were met");
}

#[test]
fn a_published_load_says_wanted_ordered_known_and_why() {
    let mut bench = bench();
    bench.hold("fan", "on 2h");
    let id = bench.load("fan");
    let status: serde_json::Value =
        serde_json::from_str(&bench.engine.load_status(id, false, "4f2c9a1")).expect("JSON");
    assert_eq!((&status["wanted"], &status["ordered"], &status["known"]), (&"on".into(), &"on".into(), &"off".into()));
    assert_eq!((&status["hold"]["state"], &status["hold"]["stored"]), (&"on".into(), &false.into()));
    assert_eq!(status["revision"], "4f2c9a1");
    assert_eq!(status["hold"]["until"], "2026-06-01T14:00:31+01:00");
}
