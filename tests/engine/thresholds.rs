//! Thresholds: both directions, both ends, the deadband, and what is remembered of them.

use standfast::house::State::{Off, On};

use crate::bench::Bench;

const HIGH: &str = r#"
[sensor.air]
reading = "yard/t1"
unit = "°C"
range = [-20, 60]
stale_after = "3m"

[load.fan]
relay = "yard/1"
kind = "led"

[rule.vents]
load = "fan"
demand = "on"
while = { sensor = "air", cut_in = ">= 28.0", cut_out = "<= 26.5" }
"#;

const LOW: &str = r#"
[sensor.lux]
reading = "yard/lux"
unit = "lx"

[load.lamp]
relay = "yard/1"
kind = "led"

[rule.lit]
load = "lamp"
demand = "on"
while = { sensor = "lux", cut_in = "<= 40", cut_out = ">= 65" }
"#;

/// Feeds readings and compares what is wanted after each.
fn check(text: &str, sensor: &str, load: &str, readings: &[(f64, bool)]) {
    let mut bench = Bench::played(text);
    for (value, on) in readings {
        bench.reading(sensor, *value);
        assert_eq!(bench.wanted(load) == On, *on, "at {value}");
    }
}

#[test]
fn a_high_threshold_turns_on_at_cut_in_and_off_at_cut_out_both_inclusive() {
    check(
        HIGH,
        "air",
        "fan",
        &[(20.0, false), (27.9999, false), (28.0, true), (26.5001, true), (26.5, false), (27.9, false), (40.0, true)],
    );
}

#[test]
fn a_low_threshold_turns_on_at_cut_in_and_off_at_cut_out_both_inclusive() {
    check(
        LOW,
        "lux",
        "lamp",
        &[(500.0, false), (40.0001, false), (40.0, true), (64.9, true), (65.0, false), (41.0, false), (0.0, true)],
    );
}

#[test]
fn a_first_reading_inside_the_deadband_is_false() {
    check(HIGH, "air", "fan", &[(27.0, false)]);
    check(LOW, "lux", "lamp", &[(50.0, false)]);
}

#[test]
fn a_reading_that_leaps_over_the_deadband_switches_at_once() {
    check(HIGH, "air", "fan", &[(-20.0, false), (60.0, true), (-20.0, false)]);
}

#[test]
fn noise_smaller_than_the_deadband_switches_at_most_once() {
    let mut bench = Bench::played(HIGH);
    bench.reading("air", 26.0);
    let mut turns = 0;
    let mut before = bench.wanted("fan");
    for step in 0..300_u32 {
        // Between 26.7 and 28.1 in an order that looks like none.
        bench.reading("air", 26.7 + f64::from(step * 7919 % 1401) / 1000.0);
        bench.run_for("1s");
        turns += u32::from(bench.wanted("fan") != before);
        before = bench.wanted("fan");
    }
    assert_eq!(turns, 1);
}

#[test]
fn unknown_in_between_keeps_the_memory() {
    let mut bench = Bench::played(HIGH);
    bench.reading("air", 29.0);
    bench.run_for("4m");
    assert_eq!(bench.wanted("fan"), Off, "stale, so the safe state");
    bench.reading("air", 27.0);
    assert_eq!(bench.wanted("fan"), On, "inside the deadband it goes on where it was");
}

#[test]
fn a_reload_of_the_same_house_keeps_the_memory() {
    let mut bench = Bench::played(HIGH);
    bench.reading("air", 29.0);
    bench.reading("air", 27.0);
    bench.reload(HIGH);
    assert_eq!(bench.wanted("fan"), On);
    bench.reading("air", 26.9);
    assert_eq!(bench.wanted("fan"), On);
}

#[test]
fn a_changed_threshold_forgets_what_it_passed() {
    let mut bench = Bench::played(HIGH);
    bench.reading("air", 29.0);
    bench.reading("air", 27.0);
    bench.reload(&HIGH.replace(">= 28.0", ">= 28.5"));
    assert_eq!(bench.wanted("fan"), Off, "inside the new deadband without a memory");
    bench.reading("air", 28.5);
    assert_eq!(bench.wanted("fan"), On);
}

#[test]
fn a_threshold_moved_below_the_reading_acts_at_once() {
    let mut bench = Bench::played(HIGH);
    bench.reading("air", 27.0);
    assert_eq!(bench.wanted("fan"), Off);
    bench.reload(&HIGH.replace(">= 28.0", ">= 26.9"));
    assert_eq!(bench.wanted("fan"), On);
    bench.run_for("1s");
    assert!(bench.runs("fan"));
}

#[test]
fn a_restart_keeps_the_memory() {
    let mut bench = Bench::played(HIGH);
    bench.reading("air", 29.0);
    bench.reading("air", 27.0);
    bench.restart(HIGH, "20s", true, true);
    bench.run_for("1s");
    bench.reading("air", 27.0);
    assert_eq!(bench.wanted("fan"), On);
    bench.restart(HIGH, "10m", false, true);
    bench.run_for("1s");
    bench.reading("air", 26.9);
    assert_eq!(bench.wanted("fan"), On, "and so does one of the machine");
}

#[test]
fn two_rules_with_the_same_threshold_remember_apart() {
    let text = format!(
        "{HIGH}
[load.flap]
relay = \"yard/2\"
kind = \"led\"

[rule.flap-opens]
load = \"flap\"
demand = \"on\"
while = {{ sensor = \"air\", cut_in = \">= 28.0\", cut_out = \"<= 26.5\" }}
"
    );
    let mut bench = Bench::played(&text);
    bench.reading("air", 29.0);
    bench.reading("air", 27.0);
    bench.run_for("1s");
    bench.reload(&text.replacen(">= 28.0", ">= 28.2", 1));
    assert_eq!((bench.wanted("fan"), bench.wanted("flap")), (Off, On));
}

/// The difference of two sensors, as between a collector and its tank.
const DIFFERENCE: &str = r#"
[sensor.collector]
reading = "yard/t1"
unit = "°C"
[sensor.tank]
reading = "yard/t2"
unit = "°C"
[load.pump]
relay = "yard/1"
kind = "motor"
[rule.collects]
load = "pump"
demand = "on"
while = { sensor = "collector", minus = "tank", cut_in = ">= 8", cut_out = "<= 4" }
"#;

#[test]
fn a_difference_follows_both_sensors_and_is_unknown_with_either() {
    let mut bench = Bench::played(DIFFERENCE);
    bench.reading("collector", 38.0);
    assert!(bench.why("pump").contains("cannot tell"), "{}", bench.why("pump"));
    bench.reading("tank", 30.5);
    assert!(bench.why("pump").starts_with("pump: off"), "{}", bench.why("pump"));
    bench.reading("tank", 30.0);
    assert_eq!(bench.wanted("pump"), On);
    assert!(
        bench.cause("pump").contains("collector less tank is 8 °C, cut-in >= 8, cut-out <= 4"),
        "{}",
        bench.why("pump")
    );
    bench.reading("collector", 34.1);
    assert_eq!(bench.wanted("pump"), On, "inside the deadband");
    bench.reading("tank", 30.1);
    assert_eq!(bench.wanted("pump"), Off);
}

/// A lamp that is lit while nobody knows how light it is.
const WATCHED: &str = r#"
[sensor.lux]
reading = "yard/lux"
unit = "lx"
stale_after = "3m"
[load.lamp]
relay = "yard/1"
kind = "led"
[rule.lit-when-blind]
load = "lamp"
demand = "on"
while = { sensor = "lux", is = "unknown" }
"#;

#[test]
fn an_unknown_sensor_is_known_to_be_so_only_once_it_was_missed() {
    let mut bench = Bench::played(WATCHED);
    assert_eq!(bench.wanted("lamp"), Off, "after a start nobody knows yet, so it is safe");
    bench.run_for("3m");
    assert_eq!(bench.wanted("lamp"), On);
    assert!(bench.why("lamp").contains("lux is not known"), "{}", bench.why("lamp"));
    bench.reading("lux", 40.0);
    assert_eq!(bench.wanted("lamp"), Off);
    bench.run_for("2m59s");
    assert_eq!(bench.wanted("lamp"), Off);
    bench.run_for("1s");
    assert_eq!(bench.wanted("lamp"), On);
    bench.reading("lux", 40.0);
    bench.unplug("yard");
    bench.run_for("61s");
    assert_eq!(bench.wanted("lamp"), On, "the board is lost, and its sensors with it");
}
