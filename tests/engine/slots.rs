//! The array of slots: who wins, what safe means in a disagreement, and what trips may do.

use standfast::house::State::{Off, On};

use crate::bench::Bench;

/// A motor with four contacts that each ask for something at a priority of their own.
const HOUSE: &str = r#"
[input.trip]
at = "yard/trip"
[input.strong]
at = "yard/strong"
[input.weak]
at = "yard/weak"
[input.weakest]
at = "yard/weakest"

[load.pump]
relay = "yard/1"
kind = "motor"
min_on = "2m"
min_off = "3m"

[rule.trip]
load = "pump"
demand = "off"
priority = 2
while = { input = "trip", is = "on" }
[rule.strong]
load = "pump"
demand = "off"
priority = 9
while = { input = "strong", is = "on" }
[rule.weak]
load = "pump"
demand = "on"
priority = 12
while = { input = "weak", is = "on" }
[rule.weakest]
load = "pump"
demand = "off"
while = { input = "weakest", is = "on" }
"#;

fn contact(bench: &mut Bench, input: &str, closed: bool) {
    bench.happen("yard", standfast::board::Event::Contact { input, closed });
    bench.run_for("100ms");
}

/// Past settling and past the min off that may follow the first report.
fn bench() -> Bench {
    let mut bench = Bench::played(HOUSE);
    bench.run_for("4m");
    bench
}

#[test]
fn with_an_empty_array_the_load_rests() {
    let bench = bench();
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (Off, None));
    let resting_on = Bench::played("[load.lamp]\nrelay = \"yard/1\"\nkind = \"led\"\nresting = \"on\"\n");
    assert_eq!(resting_on.wanted("lamp"), On);
    assert!(resting_on.runs("lamp"));
}

#[test]
fn the_lowest_number_that_is_set_wins() {
    let mut bench = bench();
    contact(&mut bench, "weakest", true);
    assert_eq!(bench.explain("pump").slot, Some(16));
    contact(&mut bench, "weak", true);
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (On, Some(12)));
    bench.run_for("2m1s");
    contact(&mut bench, "strong", true);
    assert_eq!(bench.wanted("pump"), Off);
    bench.run_for("3m");
    assert_eq!(bench.explain("pump").slot, Some(9));
    contact(&mut bench, "strong", false);
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (On, Some(12)));
}

#[test]
fn a_hold_beats_every_ordinary_rule() {
    let mut bench = bench();
    contact(&mut bench, "strong", true);
    bench.hold("pump", "on 1h");
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (On, Some(8)));
}

#[test]
fn a_trip_beats_a_hold_and_the_hold_is_still_there_afterwards() {
    let mut bench = bench();
    bench.hold("pump", "on 1h");
    bench.run_for("10s");
    assert!(bench.runs("pump"));
    contact(&mut bench, "trip", true);
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (Off, Some(2)));
    assert!(!bench.runs("pump"), "within min on: trips break through");
    contact(&mut bench, "trip", false);
    bench.run_for("3m");
    assert_eq!(bench.explain("pump").slot, Some(8));
    assert!(bench.runs("pump"));
}

#[test]
fn withdrawn_beats_a_trip_that_demands_on() {
    let text = HOUSE.replace("demand = \"off\"\npriority = 2", "demand = \"on\"\npriority = 2");
    let mut bench = Bench::played(&text);
    bench.run_for("4m");
    contact(&mut bench, "trip", true);
    assert!(bench.runs("pump"));
    bench.withdraw("pump", "seal leaks");
    bench.run_for("1s");
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (Off, Some(1)));
    assert!(!bench.runs("pump"), "at once, within min on");
}

#[test]
fn a_trip_that_demands_on_breaks_through_min_off() {
    let text = HOUSE.replace("demand = \"off\"\npriority = 2", "demand = \"on\"\npriority = 2");
    let mut bench = Bench::played(&text);
    bench.run_for("4m");
    contact(&mut bench, "weak", true);
    bench.run_for("2m1s");
    contact(&mut bench, "weak", false);
    bench.run_for("10s");
    assert!(!bench.runs("pump"));
    contact(&mut bench, "trip", true);
    assert!(bench.runs("pump"));
}

#[test]
fn the_minimum_times_beat_a_hold() {
    let mut bench = bench();
    contact(&mut bench, "weak", true);
    bench.run_for("1s");
    bench.hold("pump", "off 1h");
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (On, Some(6)));
    bench.run_for("2m");
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (Off, Some(8)));
    assert!(!bench.runs("pump"));
}

#[test]
fn in_one_slot_the_safe_state_wins_a_disagreement() {
    for (safe, expected) in [("off", Off), ("on", On)] {
        let text = format!(
            r#"
[input.a]
at = "yard/a"
[load.lamp]
relay = "yard/1"
kind = "led"
safe = "{safe}"
[rule.one]
load = "lamp"
demand = "on"
while = {{ input = "a", is = "off" }}
[rule.two]
load = "lamp"
demand = "off"
while = {{ input = "a", is = "off" }}
"#
        );
        let bench = Bench::played(&text);
        assert_eq!(bench.wanted("lamp"), expected, "safe is {safe}");
    }
}

#[test]
fn an_unknown_rule_demands_safe_at_its_own_priority_only() {
    let text = HOUSE.replace(
        "while = { input = \"strong\", is = \"on\" }",
        "while = { sensor = \"wet\", cut_in = \">= 5\", cut_out = \"<= 3\" }",
    ) + "\n[sensor.wet]\nreading = \"yard/wet\"\nstale_after = \"1m\"\n";
    let mut bench = Bench::played(&text);
    bench.reading("wet", 1.0);
    bench.run_for("4m");
    assert_eq!(bench.explain("pump").slot, Some(9), "unknown at 9");
    contact(&mut bench, "weak", true);
    assert_eq!(bench.wanted("pump"), Off, "the unknown rule stands above");
    bench.reading("wet", 1.0);
    assert_eq!(bench.wanted("pump"), On);
    bench.hold("pump", "on 1h");
    bench.run_for("3m");
    assert_eq!(bench.wanted("pump"), On, "a hold stands above the unknown rule");
}

#[test]
fn an_unknown_trip_demands_safe_and_beats_a_hold_but_does_not_stay_when_it_is_known_again() {
    let text = r#"
[sensor.level]
reading = "yard/level"
stale_after = "1m"
[load.pump]
relay = "yard/1"
kind = "led"
[rule.dry]
load = "pump"
demand = "off"
priority = 2
while = { sensor = "level", cut_in = "<= 5", cut_out = ">= 8" }
"#;
    let mut bench = Bench::played(text);
    bench.reading("level", 50.0);
    bench.hold("pump", "on 1h");
    bench.run_for("59s");
    assert!(bench.runs("pump"));
    bench.run_for("2s");
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (Off, Some(2)));
    assert!(!bench.runs("pump"));
    bench.reading("level", 50.0);
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (On, Some(8)));
}

#[test]
fn a_load_on_the_normally_closed_contact_runs_while_the_relay_is_released() {
    let text = r#"
[input.frost]
at = "yard/frost"
[load.flap]
relay = "yard/1"
contact = "NC"
kind = "solenoid"
safe = "on"
resting = "on"
[rule.shut]
load = "flap"
demand = "off"
while = { input = "frost", is = "on" }
"#;
    let mut bench = Bench::played(text);
    assert_eq!(bench.ordered("yard"), "off - - -");
    assert!(bench.runs("flap"));
    contact(&mut bench, "frost", true);
    assert_eq!(bench.ordered("yard"), "on - - -");
    assert!(!bench.runs("flap"));
    assert_eq!(bench.explain("flap").known, Some(Off));
    assert_eq!(bench.fallbacks["yard"].encode(), "90 off off off off");
}
