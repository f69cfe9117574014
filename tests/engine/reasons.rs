//! Everything that speaks to a load: slots, rules, conditions, what comes.

use super::bench::Bench;

const HOUSE: &str = r#"
[site]
position = [54.60, -3.14]
zone = "Europe/London"
stagger = "0s"

[board.yard]
relays = 1

[sensor.air]
reading = "yard/t1"
unit = "°C"
range = [-20, 60]

[load.fan]
relay = "yard/1"
kind = "motor"

[rule.hot]
load = "fan"
demand = "on"
while = { sensor = "air", cut_in = ">= 28.0", cut_out = "<= 26.5" }

[rule.night]
load = "fan"
demand = "off"
priority = 12
while = { from = "22:00", to = "06:00" }
"#;

fn check(bench: &Bench, parts: &[&str]) {
    let engine = &bench.engine;
    let text = engine.reasons(bench.load("fan")).text(&engine.house().site.zone, bench.now.wall);
    for part in parts {
        assert!(text.contains(part), "{part:?} is missing in:\n{text}");
    }
}

#[test]
fn every_rule_shows_its_conditions_and_what_would_turn_them() {
    let mut bench = Bench::at("2026-05-12T12:00:00+01:00", HOUSE);
    bench.relays("yard", "off");
    bench.reading("air", 25.0);
    check(
        &bench,
        &[
            "none is set, so it rests",
            "night (house.toml:",
            "slot 12) is false: gives way; would demand off",
            "hot (house.toml:",
            "slot 16) is false: gives way; would demand on",
            "true when it rises to 28 °C",
            "22:00  window",
            "opens (rule night)",
        ],
    );
    bench.reading("air", 28.5);
    check(&bench, &["> 16  on: rule hot", "is true: demands on", "false when it falls to 26.5 °C"]);
    bench.bad_reading("air");
    bench.bad_reading("air");
    bench.bad_reading("air");
    check(&bench, &["is unknown: demands off", "known again once air reads well"]);
}

#[test]
fn a_hold_shows_above_the_rules_that_it_overrules() {
    let mut bench = Bench::at("2026-05-12T12:00:00+01:00", HOUSE);
    bench.relays("yard", "off");
    bench.reading("air", 28.5);
    bench.hold("fan", "off 2h");
    check(&bench, &[">  8  off: a hold by", "  16  on: rule hot", "14:00  the hold ends"]);
}
