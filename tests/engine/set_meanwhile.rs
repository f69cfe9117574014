//! What people set while something else is under way: delays that run, limits that count, clocks nobody trusts, alarms that
//! come in the same step.

use standfast::house::SetpointId;
use standfast::house::State::{Off, On};

use crate::bench::Bench;

const HOUSE: &str = r#"
[sensor.air]
reading = "yard/t1"
unit = "°C"
range = [-20, 60]
stale_after = "30m"

[setpoint.warm]
value = 28.0
range = [20, 32]

[selector.house]
positions = ["lived-in", "away"]

[load.fan]
relay = "yard/1"
kind = "led"

[load.buzzer]
relay = "yard/2"
kind = "led"

[rule.vents]
load = "fan"
demand = "on"
on_delay = "5m"
off_delay = "10m"
while.all = [
    { sensor = "air", cut_in = ">= warm", cut_out = "<= warm - 1.5" },
    { selector = "house", is = "lived-in" },
]

[rule.calls]
load = "buzzer"
demand = "on"
while = { alarm = "sensor-air" }
"#;

/// It has read 20.
fn bench() -> Bench {
    let mut bench = Bench::played(HOUSE);
    bench.reading("air", 20.0);
    bench
}

fn say(bench: &mut Bench, topic: &str, words: &str) {
    let before = bench.answers.len();
    bench.message(&format!("standfast/{topic}"), words, false);
    assert_eq!(bench.answers.len(), before + 1, "one answer to {words:?}");
}

#[track_caller]
fn check(bench: &Bench, fan: bool) {
    assert_eq!(bench.wanted("fan") == On, fan, "{}", bench.why("fan"));
}

#[test]
fn a_setpoint_that_leaves_the_condition_true_does_not_start_its_delay_again() {
    let mut bench = bench();
    bench.reading("air", 30.0);
    bench.run_for("3m");
    say(&mut bench, "setpoint/warm", "29");
    bench.run_for("1m59s");
    check(&bench, false);
    bench.run_for("1s");
    check(&bench, true);
}

#[test]
fn a_setpoint_that_makes_it_false_meanwhile_starts_its_delay_again() {
    let mut bench = bench();
    bench.reading("air", 30.0);
    bench.run_for("3m");
    say(&mut bench, "setpoint/warm", "31");
    say(&mut bench, "setpoint/warm", "29");
    bench.run_for("4m59s");
    check(&bench, false);
    bench.run_for("1s");
    check(&bench, true);
}

#[test]
fn a_selector_released_while_its_off_delay_runs_goes_on_without_a_gap() {
    let mut bench = bench();
    bench.reading("air", 30.0);
    bench.run_for("5m");
    check(&bench, true);
    say(&mut bench, "selector/house", "away 4m");
    bench.run_for("3m59s");
    check(&bench, true);
    bench.run_for("20m");
    check(&bench, true);
    say(&mut bench, "selector/house", "away");
    bench.run_for("9m59s");
    check(&bench, true);
    bench.run_for("1s");
    check(&bench, false);
}

#[test]
fn a_restart_keeps_a_delay_that_runs_beside_a_setpoint() {
    let mut bench = bench();
    say(&mut bench, "setpoint/warm", "25 1h");
    bench.reading("air", 26.0);
    bench.run_for("3m");
    bench.restart(HOUSE, "1m", true, true);
    bench.reading("air", 26.0);
    bench.run_for("59s");
    check(&bench, false);
    bench.run_for("1s");
    check(&bench, true);
}

#[test]
fn an_alarm_that_comes_calls_in_the_same_step_and_goes_with_its_reason() {
    let mut bench = bench();
    bench.run_for("29m59s");
    assert_eq!(bench.wanted("buzzer"), Off);
    bench.run_for("1s");
    assert_eq!((bench.wanted("buzzer"), bench.alarms()), (On, vec!["sensor-air"]));
    assert_eq!(bench.ordered("yard"), "off on - -");
    bench.reading("air", 20.0);
    assert_eq!(bench.wanted("buzzer"), Off);
    // Acknowledged it is silent, and the next one calls again.
    bench.run_for("30m");
    bench.acknowledge("sensor-air");
    assert_eq!(bench.wanted("buzzer"), Off);
    bench.reading("air", 20.0);
    bench.run_for("30m");
    assert_eq!(bench.wanted("buzzer"), On);
}

#[test]
fn an_end_by_the_clock_is_never_passed_because_nobody_trusts_the_clock() {
    let mut bench = bench();
    say(&mut bench, "setpoint/warm", "30 until 22:00");
    bench.run_for("1h");
    bench.trust(false);
    bench.step_clock(-7_200_000);
    bench.run_for("8h59m");
    assert_eq!(bench.engine.setpoint_value(SetpointId(0)), 30.0);
    bench.run_for("1m");
    assert_eq!(bench.engine.setpoint_value(SetpointId(0)), 28.0);
}

#[test]
fn an_end_in_the_hour_that_comes_twice_is_the_first_and_one_in_the_lost_hour_the_jump() {
    for (start, until, exactly) in [("2026-10-24 23:00", "01:30", "2h30m"), ("2026-03-28 23:00", "01:30", "2h")] {
        let mut bench = Bench::at(start, HOUSE);
        say(&mut bench, "selector/house", &format!("away until {until}"));
        let almost = bench.now.boot + crate::bench::span(exactly);
        bench.run_for(&format!("{}ms", almost.since(bench.now.boot).0 - 1));
        let position = |bench: &Bench| bench.engine.position(standfast::house::SelectorId(0)).to_owned();
        assert_eq!(position(&bench), "away", "{start}");
        bench.run_for("1ms");
        assert_eq!(position(&bench), "lived-in", "{start}");
    }
}

#[test]
fn what_was_set_survives_the_other_boot_and_an_untrusted_clock_no_longer_than_it_had_left() {
    let mut bench = bench();
    say(&mut bench, "selector/house", "away until 22:00");
    bench.run_for("1h");
    bench.restart(HOUSE, "30m", false, false);
    let position = |bench: &Bench| bench.engine.position(standfast::house::SelectorId(0)).to_owned();
    assert_eq!(position(&bench), "away");
    bench.trust(true);
    assert_eq!(position(&bench), "away");
    bench.run_for("8h29m");
    assert_eq!(position(&bench), "away");
    bench.run_for("1m");
    assert_eq!(position(&bench), "lived-in");
}
