//! Rises as the engine lives them: from any sensor, over gaps, restarts and changes of the house, and in words.

use standfast::house::State::{Off, On};

use crate::bench::Bench;

/// A bathroom fan that runs while a shower has made the air wet.
const HOUSE: &str = r#"
[sensor.rh]
reading = "yard/h1"
unit = "%"
range = [0, 100]
stale_after = "5m"
[load.fan]
relay = "yard/1"
kind = "motor"
[rule.extracts]
load = "fan"
demand = "on"
while = { sensor = "rh", rises = 5, within = "3m", until_back_by = 3 }
"#;

/// Readings a minute apart, and whether the fan is wanted after each.
fn check(bench: &mut Bench, readings: &[(f64, bool)]) {
    for (value, on) in readings {
        bench.run_for("1m");
        bench.reading("rh", *value);
        assert_eq!(bench.wanted("fan") == On, *on, "at {value}: {}", bench.why("fan"));
    }
}

#[test]
fn a_shower_turns_it_on_until_the_air_is_nearly_as_dry_as_before() {
    let mut bench = Bench::played(HOUSE);
    let shower = [(55.0, false), (57.0, false), (59.5, false), (60.0, true), (85.0, true), (81.0, true), (70.0, true)];
    check(&mut bench, &shower);
    check(&mut bench, &[(57.1, true), (57.0, false), (59.0, false), (57.0, false)]);
}

#[test]
fn readings_that_say_the_same_count_until_the_next() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(55.0, false); 20]);
    check(&mut bench, &[(58.0, false), (60.0, true)]);
}

#[test]
fn a_slow_rise_does_nothing_and_a_fall_is_the_same_upside_down() {
    let mut bench = Bench::played(HOUSE);
    let slow: Vec<(f64, bool)> = (0..30).map(|step| (50.0 + f64::from(step), false)).collect();
    check(&mut bench, &slow);
    let mut bench = Bench::played(&HOUSE.replace("rises", "falls"));
    check(&mut bench, &[(60.0, false), (55.1, false), (55.0, true), (30.0, true), (57.9, true), (58.0, false)]);
}

#[test]
fn it_says_in_numbers_how_far_it_rose_and_where_it_ends() {
    let mut bench = Bench::played(HOUSE);
    bench.reading("rh", 55.0);
    bench.run_for("1m");
    bench.reading("rh", 60.3);
    let why = bench.cause("fan");
    assert!(
        why.contains("rule extracts: rh is 60.3 %, has risen by 5.3 since it began and is not back at 57"),
        "{why}"
    );
    let otherwise = HOUSE.replace("demand = \"on\"", "demand = \"on\"\notherwise = \"off\"");
    let mut bench = Bench::played(&otherwise);
    bench.reading("rh", 55.0);
    bench.run_for("1m");
    bench.reading("rh", 56.5);
    let why = bench.cause("fan");
    assert!(why.contains("rh is 56.5 %, has risen by 1.5 within 3m, less than 5"), "{why}");
}

#[test]
fn while_the_sensor_is_unknown_it_is_unknown_and_afterwards_it_goes_on() {
    let mut bench = Bench::played(&HOUSE.replace("kind = \"motor\"", "kind = \"motor\"\nsafe = \"on\""));
    check(&mut bench, &[(55.0, false), (70.0, true)]);
    bench.run_for("5m");
    assert!(bench.why("fan").contains("rh is not known"), "{}", bench.why("fan"));
    check(&mut bench, &[(58.0, true), (57.0, false)]);
    // What counted before a long gap is nothing to compare with.
    bench.run_for("6m");
    assert_eq!(bench.wanted("fan"), On, "unknown, so safe");
    bench.run_for("5m");
    check(&mut bench, &[(70.0, false)]);
}

#[test]
fn a_restart_keeps_where_it_rose_from_and_what_counted() {
    for same_boot in [true, false] {
        let mut bench = Bench::played(HOUSE);
        check(&mut bench, &[(55.0, false), (70.0, true)]);
        bench.restart(HOUSE, "20s", same_boot, true);
        check(&mut bench, &[(58.0, true), (57.0, false)]);
        let mut bench = Bench::played(HOUSE);
        check(&mut bench, &[(55.0, false), (58.0, false)]);
        bench.restart(HOUSE, "20s", same_boot, true);
        check(&mut bench, &[(60.0, true)]);
    }
}

#[test]
fn after_a_restart_nothing_is_compared_with_what_may_be_old() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(55.0, false)]);
    bench.restart(HOUSE, "4m", true, true);
    // The stored 55 still counts as a reading, but nobody knows what there was in between.
    check(&mut bench, &[(62.0, false), (67.0, true)]);
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(55.0, false)]);
    bench.restart(HOUSE, "20s", false, false);
    check(&mut bench, &[(62.0, false)]);
}

#[test]
fn a_reload_goes_on_and_changed_numbers_begin_anew() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(55.0, false), (70.0, true)]);
    bench.reload(HOUSE);
    assert_eq!(bench.wanted("fan"), On);
    check(&mut bench, &[(58.0, true)]);
    bench.reload(&HOUSE.replace("until_back_by = 3", "until_back_by = 2"));
    assert_eq!(bench.wanted("fan"), Off);
    check(&mut bench, &[(62.0, false), (63.0, true)]);
    bench.reload(&HOUSE.replace("\"yard/h1\"", "\"yard/h9\""));
    check(&mut bench, &[(10.0, false), (20.0, true)]);
}

#[test]
fn a_computed_sensor_rises_too() {
    let text = r#"
[sensor.a]
reading = "yard/a"
[sensor.b]
reading = "yard/b"
[sensor.both]
mean = ["a", "b"]
[load.fan]
relay = "yard/1"
kind = "motor"
[rule.extracts]
load = "fan"
demand = "on"
while = { sensor = "both", rises = 5, within = "3m", until_back_by = 3 }
"#;
    let mut bench = Bench::played(text);
    bench.reading("a", 50.0);
    bench.reading("b", 50.0);
    bench.run_for("1m");
    bench.reading("a", 59.0);
    assert_eq!(bench.wanted("fan"), Off);
    bench.reading("b", 51.0);
    assert_eq!(bench.wanted("fan"), On);
    bench.reading("b", 45.0);
    assert_eq!(bench.wanted("fan"), Off);
}

#[test]
fn a_load_waits_for_the_sensor_after_a_start() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "on off off off");
    assert!(bench.why("fan").contains("until rh is known"), "{}", bench.why("fan"));
    bench.reading("rh", 55.0);
    assert_eq!(bench.wanted("fan"), Off);
}

/// Noise of less than the deadband, on top of what turned it on: it turns at most once.
#[test]
fn noise_turns_it_at_most_once() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(55.0, false), (61.0, true)]);
    let (mut turns, mut before) = (0, On);
    for step in 0..300_u32 {
        bench.reading("rh", 56.0 + f64::from(step * 7919 % 2990) / 1000.0);
        bench.run_for("1s");
        turns += u32::from(bench.wanted("fan") != before);
        before = bench.wanted("fan");
    }
    assert_eq!((turns, before), (1, Off));
}
