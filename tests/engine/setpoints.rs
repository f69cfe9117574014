//! Setpoints: thresholds that follow them, what may be set and until when, and what a change of the file does.

use standfast::engine::{Answer, Effect, Evidence};
use standfast::house::SetpointId;
use standfast::house::State::{Off, On};

use crate::bench::Bench;

const HOUSE: &str = r#"
[sensor.air]
reading = "yard/t1"
unit = "°C"
range = [-20, 60]
stale_after = "30m"

[setpoint.sunroom]
value = 28.0
range = [20, 32]
unit = "°C"

[load.fan]
relay = "yard/1"
kind = "led"

[rule.vents]
load = "fan"
demand = "on"
while = { sensor = "air", cut_in = ">= sunroom", cut_out = "<= sunroom - 1.5" }
"#;

/// It has read 20.
fn bench() -> Bench {
    let mut bench = Bench::played(HOUSE);
    bench.reading("air", 20.0);
    bench
}

/// `set("29.5 until 22:00")`, as on `setpoint/sunroom`; returns the answer.
fn set(bench: &mut Bench, words: &str) -> Answer {
    let before = bench.answers.len();
    bench.message("standfast/setpoint/sunroom", words, false);
    assert_eq!(bench.answers.len(), before + 1, "one answer to {words:?}");
    bench.answers[before].clone()
}

fn value(bench: &Bench) -> f64 {
    bench.engine.setpoint_value(SetpointId(0))
}

/// Feeds readings and compares what is wanted after each.
#[track_caller]
fn check(bench: &mut Bench, readings: &[(f64, bool)]) {
    for (value, on) in readings {
        bench.reading("air", *value);
        assert_eq!(bench.wanted("fan") == On, *on, "at {value}");
    }
}

#[test]
fn a_threshold_follows_the_files_value_until_it_is_set() {
    let mut bench = bench();
    check(&mut bench, &[(27.9, false), (28.0, true), (26.6, true), (26.5, false), (20.0, false)]);
    let answer = set(&mut bench, "24.5");
    assert!(matches!(answer, Answer::SetTo { value, until: None, .. } if value.get() == 24.5), "{answer:?}");
    assert!(bench.effects.contains(&Effect::Save));
    check(&mut bench, &[(24.4, false), (24.5, true), (23.1, true), (23.0, false), (24.4, false)]);
}

#[test]
fn decimal_offsets_are_reached_by_the_reading_that_a_person_would_name() {
    // 28.2 - 1.6 is 26.599999999999998 in binary fractions.
    let mut bench = Bench::played(&HOUSE.replace("sunroom - 1.5", "sunroom - 1.6"));
    set(&mut bench, "28.2");
    check(&mut bench, &[(28.2, true), (26.6, false)]);
}

#[test]
fn what_it_is_set_to_acts_on_the_reading_that_is_there() {
    let mut bench = bench();
    bench.reading("air", 25.0);
    assert_eq!(bench.wanted("fan"), Off);
    set(&mut bench, "24");
    assert_eq!(bench.wanted("fan"), On);
    assert!(bench.sent_orders("yard"), "at once");
}

#[test]
fn a_changed_setpoint_clears_the_memory_as_a_changed_threshold_does() {
    let mut bench = bench();
    check(&mut bench, &[(28.0, true), (27.5, true)]);
    // 27.5 lies inside of the new deadband too, from 27 to 28.5: without memory that is false.
    set(&mut bench, "28.5");
    assert_eq!(bench.wanted("fan"), Off);
    check(&mut bench, &[(28.4, false), (28.5, true), (27.5, true)]);
    // Above the new cut-in nothing has to be remembered.
    set(&mut bench, "27.5");
    assert_eq!(bench.wanted("fan"), On);
    // And what changes nothing clears nothing.
    check(&mut bench, &[(27.0, true)]);
    set(&mut bench, "27.5 2h");
    assert_eq!(bench.wanted("fan"), On);
    // The end is a change again.
    bench.run_for("20m");
    bench.reading("air", 27.0);
    set(&mut bench, "release");
    assert_eq!((value(&bench), bench.wanted("fan")), (28.0, Off));
}

#[test]
fn out_of_its_range_is_refused_with_the_range_and_where_it_stands() {
    let mut bench = bench();
    for words in ["19.99", "32.01 2h", "-5", "1e9"] {
        let Answer::Refused(why) = set(&mut bench, words) else { panic!("{words} is taken") };
        assert!(why.contains("range of setpoint \"sunroom\"") && why.contains("from 20 to 32 °C"), "{why}");
        assert!(why.contains("house.toml:"), "{why}");
        assert_eq!(value(&bench), 28.0);
    }
    for words in ["20", "32"] {
        assert!(matches!(set(&mut bench, words), Answer::SetTo { .. }), "both ends are within");
    }
}

#[test]
fn garbage_and_retained_messages_set_nothing() {
    let mut bench = bench();
    for (topic, payload, retained) in [
        ("sunroom", "29", true),
        ("sunroom", "warm", false),
        ("sunroom", "NaN", false),
        ("sunroom", "29 for ever", false),
        ("cellar", "29", false),
    ] {
        bench.message(&format!("standfast/setpoint/{topic}"), payload, retained);
    }
    assert!(bench.answers.is_empty());
    assert_eq!(value(&bench), 28.0);
}

#[test]
fn an_end_like_that_of_a_hold_puts_it_back() {
    for (words, before, after) in
        [("30 2h", "1h59m", "1m"), ("30 until 22:00", "9h58m", "2m"), ("30 until sunset", "9h", "1h")]
    {
        let mut bench = bench();
        set(&mut bench, words);
        bench.run_for(before);
        assert_eq!(value(&bench), 30.0, "{words}");
        bench.run_for(after);
        assert_eq!(value(&bench), 28.0, "{words}");
    }
    let mut bench = bench();
    let Answer::Refused(why) = set(&mut bench, "30 until next change") else { panic!("it is taken") };
    assert!(why.contains("leave the end out"), "{why}");
    bench.trust(false);
    let Answer::Refused(why) = set(&mut bench, "30 until 22:00") else { panic!("it is taken") };
    assert!(why.contains("not trusted"), "{why}");
}

#[test]
fn without_an_end_it_lasts_until_the_files_value_changes() {
    let mut bench = bench();
    set(&mut bench, "30");
    bench.run_for("30h");
    bench.restart(HOUSE, "1h", false, true);
    assert_eq!(value(&bench), 30.0);
    bench.reload(&format!("{HOUSE}\n# nothing of it changed\n"));
    assert_eq!(value(&bench), 30.0);
    bench.reload(&HOUSE.replace("range = [20, 32]", "range = [18, 32]"));
    assert_eq!(value(&bench), 30.0, "only its value counts");
    bench.take_journal();
    bench.reload(&HOUSE.replace("value = 28.0", "value = 27.0"));
    assert_eq!(value(&bench), 27.0);
    let said = r#"{"entry":"setpoint-returned","setpoint":"sunroom","value":27.0,"unit":"°C","why":"file-changed"}"#;
    assert!(bench.take_journal().contains(&said.to_owned()));
}

#[test]
fn the_files_value_may_change_while_nobody_looks() {
    let mut bench = bench();
    set(&mut bench, "30");
    bench.take_journal();
    bench.restart(&HOUSE.replace("value = 28.0", "value = 27.0"), "1h", true, true);
    assert_eq!(value(&bench), 27.0);
    assert!(bench.take_journal().iter().any(|row| row.contains("file-changed")));
}

#[test]
fn with_an_end_it_outlasts_a_change_of_the_file_but_not_of_what_may_be_set() {
    let mut bench = bench();
    set(&mut bench, "30 5h");
    bench.reload(&HOUSE.replace("value = 28.0", "value = 27.0"));
    assert_eq!(value(&bench), 30.0);
    bench.take_journal();
    bench.reload(&HOUSE.replace("range = [20, 32]", "range = [20, 29]"));
    assert_eq!(value(&bench), 28.0);
    assert!(bench.take_journal().iter().any(|row| row.contains("out-of-range")));
    set(&mut bench, "29 5h");
    bench.reload(
        &HOUSE
            .replace("unit = \"°C\"\nrange = [-20, 60]", "unit = \"K\"\nrange = [-20, 60]")
            .replace("range = [20, 32]\nunit = \"°C\"", "range = [20, 32]\nunit = \"K\""),
    );
    assert_eq!(value(&bench), 28.0, "29 of another unit is another thing");
}

#[test]
fn a_restart_keeps_value_end_and_what_the_threshold_had_passed() {
    let mut bench = bench();
    set(&mut bench, "24 3h");
    check(&mut bench, &[(24.0, true), (23.0, true)]);
    bench.restart(HOUSE, "10s", true, true);
    bench.relays("yard", "on off off off");
    bench.reading("air", 23.0);
    assert_eq!((value(&bench), bench.wanted("fan")), (24.0, On), "23 is inside of the deadband, and it was on");
    bench.run_for("2h59m");
    assert_eq!(value(&bench), 24.0);
    bench.run_for("1m");
    assert_eq!(value(&bench), 28.0);
}

#[test]
fn an_end_that_passed_meanwhile_is_taken_at_the_start() {
    let mut bench = bench();
    set(&mut bench, "24 1h");
    check(&mut bench, &[(24.0, true)]);
    bench.restart(HOUSE, "2h", false, true);
    assert_eq!(value(&bench), 28.0);
    bench.relays("yard", "on off off off");
    bench.reading("air", 27.0);
    assert_eq!(bench.wanted("fan"), Off, "27 is inside of the file's deadband, of which nothing is remembered");
}

#[test]
fn two_setpoints_and_a_low_side() {
    let text = HOUSE.replace(
        "cut_in = \">= sunroom\", cut_out = \"<= sunroom - 1.5\"",
        "cut_in = \"<= night + 0.5\", cut_out = \">= sunroom\"",
    ) + "[setpoint.night]\nvalue = 12\nrange = [5, 19]\n";
    let mut bench = Bench::played(&text);
    check(&mut bench, &[(12.6, false), (12.5, true), (27.9, true), (28.0, false)]);
    bench.message("standfast/setpoint/night", "19", false);
    set(&mut bench, "20");
    check(&mut bench, &[(19.6, false), (19.5, true), (19.9, true), (20.0, false)]);
}

#[test]
fn the_explanation_shows_numbers_and_names() {
    let mut bench = bench();
    bench.reading("air", 28.1);
    let why = bench.cause("fan");
    assert!(why.contains("air is 28.1 °C, cut-in >= 28 (sunroom), cut-out <= 26.5 (sunroom \u{2212} 1.5)"), "{why}");
    set(&mut bench, "24 until 22:00");
    let why = bench.cause("fan");
    assert!(why.contains("cut-in >= 24 (sunroom), cut-out <= 22.5 (sunroom \u{2212} 1.5)"), "{why}");
    let explanation = bench.explain("fan");
    let standfast::engine::Cause::Rule(rule) = explanation.cause else { panic!("{explanation:?}") };
    let Evidence::Threshold { cut_in, cut_out, .. } = &rule.evidence[0] else { panic!("{:?}", rule.evidence) };
    assert_eq!((*cut_in, *cut_out), (24.0, 22.5));
    let zone = bench.engine.house().site.zone.clone();
    let said = bench.engine.setpoint_view(SetpointId(0)).sentence(&zone);
    assert_eq!(said, "setpoint sunroom: 24 °C until Mon 1 Jun 22:00, by a message; 28 °C by the file");
    set(&mut bench, "release");
    let said = bench.engine.setpoint_view(SetpointId(0)).sentence(&zone);
    assert_eq!(said, "setpoint sunroom: 28 °C by the file, may be set from 20 to 32 °C");
}

#[test]
fn what_is_set_is_journaled() {
    let mut bench = bench();
    bench.take_journal();
    set(&mut bench, "29.5");
    let said = r#"{"entry":"setpoint-set","setpoint":"sunroom","value":29.5,"unit":"°C","by":{"kind":"message"},"until":null}"#;
    assert_eq!(bench.take_journal(), [said]);
    assert_eq!(set(&mut bench, "29.5"), Answer::Nothing);
    assert!(bench.take_journal().is_empty());
    set(&mut bench, "release");
    let said = r#"{"entry":"setpoint-returned","setpoint":"sunroom","value":28.0,"unit":"°C","why":"released"}"#;
    assert_eq!(bench.take_journal(), [said]);
    assert_eq!(set(&mut bench, "release"), Answer::Nothing);
}

#[test]
fn a_lost_board_leaves_the_rule_unknown_whatever_is_set() {
    let mut bench = bench();
    check(&mut bench, &[(30.0, true)]);
    bench.unplug("yard");
    bench.run_for("5m");
    set(&mut bench, "21");
    assert_eq!(bench.wanted("fan"), Off, "the safe state");
}
