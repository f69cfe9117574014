//! Sensors, boards and readings that go while a condition about them is under way: rises, derived sensors, loads that are
//! asked about, and conditions that a reload changes.

use standfast::house::State::{Off, On};

use crate::bench::Bench;

const RISE: &str = r#"
[sensor.rh]
reading = "yard/h1"
unit = "%"
range = [0, 100]
stale_after = "5m"
[load.fan]
relay = "yard/1"
kind = "led"
[rule.extracts]
load = "fan"
demand = "on"
off_delay = "10m"
while = { sensor = "rh", rises = 5, within = "3m", until_back_by = 3 }
"#;

#[test]
fn a_board_lost_in_the_middle_of_a_rise_makes_it_unknown_and_back_it_goes_on_from_its_base() {
    let mut bench = Bench::played(RISE);
    bench.reading("rh", 55.0);
    bench.run_for("1m");
    bench.reading("rh", 62.0);
    assert_eq!(bench.wanted("fan"), On);
    bench.from("yard/life", "death 17");
    assert_eq!(bench.wanted("fan"), Off, "unknown, without the off delay: {}", bench.why("fan"));
    bench.run_for("1m");
    bench.reading("rh", 59.0);
    assert_eq!(bench.wanted("fan"), On, "58 is not reached: {}", bench.why("fan"));
    bench.reading("rh", 57.0);
    for _ in 0..2 {
        bench.run_for("4m");
        bench.reading("rh", 57.0);
    }
    bench.run_for("1m59s");
    assert_eq!(bench.wanted("fan"), On);
    bench.run_for("1s");
    assert_eq!(bench.wanted("fan"), Off);
}

#[test]
fn three_absurd_readings_end_a_rise_and_two_do_not() {
    let mut bench = Bench::played(RISE);
    bench.reading("rh", 55.0);
    bench.reading("rh", 60.0);
    for (value, wanted) in [(100.1, On), (-0.1, On), (60.0, On), (101.0, On), (101.0, On), (101.0, Off), (100.0, On)] {
        bench.reading("rh", value);
        assert_eq!(bench.wanted("fan"), wanted, "at {value}");
    }
}

#[test]
fn a_rise_that_a_reload_turns_into_a_fall_begins_anew() {
    let mut bench = Bench::played(RISE);
    bench.reading("rh", 55.0);
    bench.run_for("1m");
    bench.reading("rh", 62.0);
    bench.reload(&RISE.replace("rises", "falls"));
    bench.run_for("11m");
    bench.reading("rh", 62.0);
    assert_eq!(bench.wanted("fan"), Off, "{}", bench.why("fan"));
    bench.run_for("1m");
    bench.reading("rh", 57.0);
    assert_eq!(bench.wanted("fan"), On, "{}", bench.why("fan"));
}

#[test]
fn a_delay_goes_on_over_a_reload_that_touches_something_else_and_over_one_that_renames_its_sensor_not() {
    let text = RISE.replace("off_delay", "on_delay");
    let mut bench = Bench::played(&text);
    bench.reading("rh", 55.0);
    bench.reading("rh", 62.0);
    bench.run_for("4m");
    bench.reading("rh", 62.0);
    bench.reload(&text.replace("kind = \"led\"", "kind = \"led\"\nlabel = \"Fan\""));
    bench.run_for("4m");
    bench.reading("rh", 62.0);
    bench.run_for("1m59s");
    assert_eq!(bench.wanted("fan"), Off);
    bench.run_for("1s");
    assert_eq!(bench.wanted("fan"), On);
}

const DOOR: &str = r#"
[board.hens]
relays = 2
[board.yard]
relays = 2
[actuator.door]
open = "hens/1"
close = "hens/2"
travel = "10s"
[selector.hens]
positions = ["in", "out"]
[load.lamp]
relay = "yard/1"
kind = "led"
[rule.out]
load = "door"
demand = "open"
while = { selector = "hens", is = "out" }
[rule.lit]
load = "lamp"
demand = "on"
while = { load = "door", is = "open" }
"#;

#[test]
fn a_door_is_open_when_its_run_is_over_and_neither_while_it_runs_and_unknown_without_its_board() {
    let mut bench = Bench::played(DOOR);
    bench.message("standfast/selector/hens", "in", false);
    bench.run_for("1m");
    assert_eq!(bench.wanted("lamp"), Off);
    bench.message("standfast/selector/hens", "out", false);
    bench.run_for("8s");
    assert_eq!(bench.wanted("lamp"), Off, "{}", bench.why("lamp"));
    bench.run_for("20s");
    assert_eq!(bench.wanted("lamp"), On, "{}", bench.why("lamp"));
    bench.message("standfast/selector/hens", "release", false);
    bench.run_for("5s");
    assert_eq!(bench.wanted("lamp"), Off, "it is on its way: {}", bench.why("lamp"));
    bench.unplug("hens");
    bench.run_for("3m");
    assert_eq!(bench.wanted("lamp"), Off, "{}", bench.why("lamp"));
}
