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

/// Ends of limits and of what was set lie ahead as ends of holds and windows do.
#[test]
fn ends_of_limits_and_setpoints_come_by_themselves() {
    let house = "[sensor.air]\nreading = \"yard/t1\"\nunit = \"°C\"\nstale_after = \"1d\"\n\
                 [setpoint.warm]\nvalue = 28.0\nrange = [20, 32]\nunit = \"°C\"\n\
                 [setpoint.other]\nvalue = 28.0\nrange = [20, 32]\n\
                 [load.fan]\nrelay = \"yard/1\"\nkind = \"motor\"\nmax_on = \"20m\"\nmin_on = \"2m\"\n\
                 [rule.hot]\nload = \"fan\"\ndemand = \"on\"\n\
                 while = { sensor = \"air\", cut_in = \">= warm\", cut_out = \"<= warm - 1.5\" }\n";
    let mut bench = Bench::played(house);
    bench.reading("air", 25.0);
    bench.run_until("14:00");
    bench.message("standfast/setpoint/warm", "24 until 22:00", false);
    bench.message("standfast/setpoint/other", "24 until 21:00", false);
    bench.run_for("5s");
    let reasons = bench.engine.reasons(bench.load("fan"));
    let coming: Vec<&str> = reasons.coming.iter().map(|coming| coming.what.as_str()).collect();
    assert_eq!(coming, ["min on is over", "max on is reached", "setpoint warm goes back to 28 °C"]);
    let text = reasons.text(&bench.engine.house().site.zone, bench.now.wall);
    assert!(text.contains("max on is reached\n  22:00  setpoint warm goes back to 28 °C"), "{text}");
}
