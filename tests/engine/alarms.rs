//! Conditions about alarms: what is raised, acknowledged and cleared, in the step in which it happens.

use standfast::engine::Answer;
use standfast::house::State::{Off, On};

use crate::bench::Bench;

/// A buzzer for what nobody has acknowledged, a lamp for what stands, a flag for one sensor, and a board that may be lost.
const HOUSE: &str = r#"
[site]
position = [54.60, -3.14]
zone = "Europe/London"
stagger = "0s"
[board.cellar]
relays = 2
[board.yard]
relays = 4
[sensor.air]
reading = "yard/t1"
stale_after = "5m"
[load.buzzer]
relay = "yard/1"
kind = "electronics"
[load.lamp]
relay = "yard/2"
kind = "led"
[load.flag]
relay = "yard/3"
kind = "led"
[load.heater]
relay = "cellar/1"
kind = "resistive"
[rule.calls]
load = "buzzer"
demand = "on"
while = { alarm = "any" }
[rule.shows]
load = "lamp"
demand = "on"
while = { alarm = "any", is = "standing" }
[rule.flags]
load = "flag"
demand = "on"
while = { alarm = "sensor-air" }
[rule.heats]
load = "heater"
demand = "on"
while = { sensor = "air", cut_in = "<= 5", cut_out = ">= 8" }
"#;

fn bench(text: &str) -> Bench {
    let mut bench = Bench::new(text);
    bench.relays("cellar", "off off");
    bench.relays("yard", "off off off off");
    bench.reading("air", 20.0);
    bench.run_for("2s");
    bench
}

/// Buzzer, lamp and flag.
fn check(bench: &Bench, expected: [bool; 3]) {
    let found = ["buzzer", "lamp", "flag"].map(|load| bench.wanted(load) == On);
    assert_eq!(found, expected, "alarms {:?}", bench.alarms());
}

#[test]
fn a_buzzer_calls_until_acknowledged_and_a_lamp_shines_until_the_reason_is_gone() {
    let mut bench = bench(HOUSE);
    check(&bench, [false, false, false]);
    bench.from("cellar/life", "death 17");
    check(&bench, [true, true, false]);
    assert!(bench.ordered("yard").starts_with("on "), "in the same step: {}", bench.ordered("yard"));
    assert_eq!(bench.acknowledge("board-cellar"), Answer::Done);
    check(&bench, [false, true, false]);
    bench.relays("cellar", "off off");
    check(&bench, [false, false, false]);
}

#[test]
fn a_further_alarm_calls_again_and_a_named_one_is_for_itself() {
    let mut bench = bench(HOUSE);
    bench.from("cellar/life", "death 17");
    bench.acknowledge("board-cellar");
    check(&bench, [false, true, false]);
    (0..3).for_each(|_| bench.bad_reading("air"));
    check(&bench, [true, true, true]);
    bench.reading("air", 20.0);
    check(&bench, [false, true, false]);
}

#[test]
fn alarms_are_named_in_words() {
    let mut bench = bench(HOUSE);
    bench.from("cellar/life", "death 17");
    let why = bench.cause("buzzer");
    assert!(why.contains("rule calls: alarm board-cellar stands and nobody has acknowledged it"), "{why}");
    (0..3).for_each(|_| bench.bad_reading("air"));
    assert!(
        bench.cause("lamp").contains("rule shows: alarms board-cellar, sensor-air stand"),
        "{}",
        bench.cause("lamp")
    );
    bench.acknowledge("sensor-air");
    let why = bench.cause("buzzer");
    assert!(why.contains("rule calls: alarm board-cellar stands and"), "the acknowledged one is no reason: {why}");
}

#[test]
fn a_restart_calls_on_about_what_nobody_has_acknowledged() {
    let mut bench = bench(HOUSE);
    bench.from("cellar/life", "death 17");
    bench.restart(HOUSE, "5s", true, true);
    bench.relays("yard", "on on off off");
    check(&bench, [true, true, false]);
    bench.acknowledge("board-cellar");
    bench.restart(HOUSE, "5s", true, true);
    bench.relays("yard", "off on off off");
    check(&bench, [false, true, false]);
}

#[test]
fn a_reload_sees_what_stands_and_forgets_what_is_about_nothing_any_more() {
    let silent = HOUSE.replace("\"sensor-air\"", "\"board-yard\"");
    let mut bench = bench(&silent);
    (0..3).for_each(|_| bench.bad_reading("air"));
    bench.acknowledge("sensor-air");
    check(&bench, [false, true, false]);
    bench.reload(&HOUSE.replace("alarm = \"sensor-air\"", "alarm = \"sensor-air\", is = \"standing\""));
    check(&bench, [false, true, true]);
    let (without, _) = HOUSE.split_once("[rule.heats]").expect("it is the last rule");
    let without = without.replace("[sensor.air]\nreading = \"yard/t1\"\nstale_after = \"5m\"\n", "");
    bench.reload(&without.replace("\"sensor-air\"", "\"board-yard\""));
    check(&bench, [false, false, false]);
}

/// A trip latches, which raises an alarm, which trips the next: all in one step, each once.
#[test]
fn alarms_raised_in_a_step_are_followed_in_it() {
    let mut text = HOUSE.to_owned();
    for (load, reason) in [
        ("flag", "sensor = \"air\", cut_in = \">= 50\", cut_out = \"<= 40\""),
        ("lamp", "alarm = \"trip-trip-flag\""),
        ("buzzer", "alarm = \"trip-trip-lamp\""),
    ] {
        text += &format!(
            "[rule.trip-{load}]\nload = \"{load}\"\ndemand = \"on\"\npriority = 2\nreset = \"manual\"\nwhile = {{ {reason} }}\n"
        );
    }
    let mut bench = bench(&text);
    bench.reading("air", 55.0);
    assert_eq!(bench.alarms(), ["trip-trip-buzzer", "trip-trip-flag", "trip-trip-lamp"]);
    check(&bench, [true, true, true]);
    assert!(bench.ordered("yard").starts_with("on on on"), "{}", bench.ordered("yard"));
    bench.reading("air", 20.0);
    check(&bench, [true, true, true]);
    assert_eq!(bench.wanted("heater"), Off);
}

#[test]
fn who_acknowledged_is_kept_and_journaled() {
    let mut bench = Bench::played("[load.fan]\nrelay = \"yard/1\"\nkind = \"motor\"\n");
    bench.from("yard/life", "death 17");
    let id = bench.alarms().first().map(ToString::to_string).expect("the board is lost");
    bench.take_journal();
    bench.acknowledge(&id);
    let by = bench.alarm(&id).acknowledged_by.as_ref().map(standfast::engine::By::words);
    assert_eq!(by.as_deref(), Some("a command of morag"));
    let row = format!(r#"{{"entry":"alarm-acknowledged","alarm":"{id}","by":{{"kind":"command","name":"morag"}}}}"#);
    assert_eq!(bench.take_journal(), [row]);
    // A second one changes nothing.
    bench.acknowledge(&id);
    assert!(bench.take_journal().is_empty());
}
