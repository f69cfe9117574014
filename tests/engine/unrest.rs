//! Boards that restart and loads that switch too often are told, once, and the alarm goes when it has been calm.

use standfast::house::State::On;

use crate::bench::Bench;

const HOUSE: &str = r#"
[sensor.air]
reading = "yard/t1"
unit = "°C"
[load.fan]
relay = "yard/1"
kind = "motor"
[rule.hot]
load = "fan"
demand = "on"
while = { sensor = "air", cut_in = ">= 25", cut_out = "<= 24.9" }
"#;

fn cycle(bench: &mut Bench) {
    for reading in [26.0, 20.0] {
        bench.reading("air", reading);
        bench.run_for("10s");
    }
}

fn restart(bench: &mut Bench) {
    bench.cut_power("yard");
    bench.run_for("2s");
    bench.power_up("yard");
    bench.run_for("20s");
}

#[test]
fn a_board_that_restarts_three_times_in_ten_minutes_is_told_until_it_has_been_calm() {
    let mut bench = Bench::played(HOUSE);
    for _ in 0..2 {
        restart(&mut bench);
    }
    assert!(!bench.alarms().contains(&"restarts-yard"), "{:?}", bench.alarms());
    restart(&mut bench);
    let text = bench.alarm("restarts-yard").text.clone();
    assert!(text.contains("3 times within 10m") && text.contains("Check the supply"), "{text}");
    bench.run_for("19m");
    assert!(bench.alarms().contains(&"restarts-yard"));
    bench.run_for("2m");
    assert!(!bench.alarms().contains(&"restarts-yard"), "{:?}", bench.alarms());
}

#[test]
fn restarts_far_apart_are_nothing_to_tell() {
    let mut bench = Bench::played(HOUSE);
    for _ in 0..6 {
        restart(&mut bench);
        bench.run_for("6m");
    }
    assert!(!bench.alarms().contains(&"restarts-yard"));
}

#[test]
fn a_load_that_chatters_is_told_once_and_goes_on_as_its_rules_say() {
    let mut bench = Bench::played(HOUSE);
    for _ in 0..9 {
        cycle(&mut bench);
    }
    assert!(!bench.alarms().contains(&"switching-fan"));
    cycle(&mut bench);
    let text = bench.alarm("switching-fan").text.clone();
    // Ten operations in ten minutes are 1440 a day: 100 000 are used up in 69 days.
    assert!(
        text.contains("20 times within 10m") && text.contains("in 69 days") && text.contains("check the supply"),
        "{text}"
    );
    cycle(&mut bench);
    assert_eq!(bench.alarm("switching-fan").text, text);
    bench.reading("air", 26.0);
    assert_eq!(bench.wanted("fan"), On);
    // It goes off once more when the sensor is missed, which still belongs to that window.
    bench.run_for("26m");
    assert!(!bench.alarms().contains(&"switching-fan"), "{:?}", bench.alarms());
}

#[test]
fn changes_that_no_report_showed_count_too() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off:900:10:0 off off off");
    bench.run_for("5s");
    bench.relays("yard", "off:1:40:0 off off off");
    assert!(bench.alarm("switching-fan").text.contains("30 times"), "{:?}", bench.alarms());
}

#[test]
fn the_alarms_outlive_a_restart_and_a_change_of_the_house_and_still_end() {
    let mut bench = Bench::played(HOUSE);
    for _ in 0..10 {
        cycle(&mut bench);
    }
    bench.restart(HOUSE, "30s", false, true);
    assert!(bench.alarms().contains(&"switching-fan"));
    bench.run_for("10m");
    bench.reload(HOUSE);
    bench.run_for("9m");
    assert!(bench.alarms().contains(&"switching-fan"));
    bench.run_for("2m");
    assert!(!bench.alarms().contains(&"switching-fan"), "a change of the house is no unrest: {:?}", bench.alarms());
    for _ in 0..10 {
        cycle(&mut bench);
    }
    assert!(bench.alarms().contains(&"switching-fan"));
    bench.reload(&HOUSE.replace("load.fan", "load.blower").replace("\"fan\"", "\"blower\""));
    assert!(!bench.alarms().contains(&"switching-fan"), "a load that is gone has no alarm");
}

#[test]
fn a_load_is_not_blamed_for_how_often_the_contact_changed_that_it_has_come_on() {
    let lamp = "[load.lamp]\nrelay = \"yard/4\"\nkind = \"led\"\n";
    let text = format!("{HOUSE}{lamp}");
    let mut bench = Bench::played(&text);
    for _ in 0..10 {
        cycle(&mut bench);
    }
    assert!(bench.alarms().contains(&"switching-fan"));
    bench.reload(&text.replace("yard/1", "yard/X").replace("yard/4", "yard/1").replace("yard/X", "yard/4"));
    bench.hold("lamp", "on 1h");
    bench.run_for("10s");
    assert!(bench.closed("yard/1"));
    assert!(!bench.alarms().contains(&"switching-lamp"), "{:?}", bench.alarms());
    // That of the load that did switch goes on, and so does its count where a change of the house leaves it in its place.
    assert!(bench.alarms().contains(&"switching-fan"));
    let mut bench = Bench::played(HOUSE);
    for _ in 0..9 {
        cycle(&mut bench);
    }
    bench.reload(&text);
    cycle(&mut bench);
    assert!(bench.alarm("switching-fan").text.contains("20 times"));
}
