//! From what a board sends to what a sensor reads: calibration, resistive sensors, the greatest rate, and what becomes of all
//! that over a change of the house and over a restart.

use standfast::engine::{DropReason, Effect};
use standfast::house::State::{Off, On};

use crate::bench::Bench;

/// A fan by a calibrated thermometer with a greatest rate, safe on so that unknown shows.
const HOUSE: &str = r#"
[sensor.air]
reading = "yard/t1"
unit = "°C"
range = [-20, 60]
scale = 0.1
offset = -0.5
max_rate = "2 °C per 1min"
stale_after = "10m"
[load.fan]
relay = "yard/1"
kind = "motor"
safe = "on"
[rule.vents]
load = "fan"
demand = "on"
otherwise = "off"
while = { sensor = "air", cut_in = ">= 28", cut_out = "<= 26" }
"#;

fn known(bench: &Bench) -> Option<f64> {
    bench.engine.reading(bench.sensor("air")).map(|(value, _)| (value.get() * 1e6).round() / 1e6)
}

/// What is read one minute apart, and what the sensor is then known to be.
fn check(bench: &mut Bench, readings: &[(f64, Option<f64>)]) {
    for (number, (raw, expected)) in readings.iter().enumerate() {
        bench.run_for("1m");
        bench.reading("air", *raw);
        assert_eq!(known(bench), *expected, "reading {number}: {raw}");
    }
}

fn dropped(bench: &Bench) -> Option<DropReason> {
    bench.effects.iter().find_map(|effect| match effect {
        Effect::ReadingDropped { why, .. } => Some(*why),
        _ => None,
    })
}

#[test]
fn a_reading_is_scaled_and_offset_before_its_range_is_looked_at() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(205.0, Some(20.0))]);
    bench.reading("air", 606.0);
    assert_eq!((dropped(&bench), known(&bench)), (Some(DropReason::OutOfRange), Some(20.0)));
}

#[test]
fn an_explanation_shows_the_calibrated_value_in_the_unit() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(205.0, Some(20.0))]);
    bench.run_for("8m");
    check(&mut bench, &[(286.0, Some(28.1))]);
    assert_eq!(bench.cause("fan"), "rule vents: air is 28.1 °C, cut-in >= 28, cut-out <= 26");
    assert_eq!(
        bench.why("fan"),
        "fan: off, wanted on (board yard has not answered yet), as air is 28.1 °C; off at 26 (rule vents)"
    );
    bench.run_for("10s");
    let journal = bench.take_journal().join("\n");
    assert!(journal.contains("\"value\":28.1,"), "{journal}");
}

#[test]
fn a_reading_faster_than_its_greatest_rate_is_dropped_and_refreshes_nothing() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(205.0, Some(20.0)), (225.0, Some(22.0)), (850.0, Some(22.0))]);
    bench.reading("air", 247.0);
    assert_eq!(dropped(&bench), Some(DropReason::TooFast), "2.2 degrees in a minute");
    assert_eq!(known(&bench), Some(22.0));
    bench.run_for("9m");
    assert_eq!(known(&bench), None, "stale, counted from the last good one");
}

#[test]
fn the_rate_is_counted_from_the_last_good_reading_and_not_from_dropped_ones() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(205.0, Some(20.0)), (850.0, Some(20.0)), (845.0, Some(20.0)), (265.0, Some(26.0))]);
}

#[test]
fn three_too_fast_in_a_row_make_it_unknown_and_the_next_one_that_goes_on_from_them_is_good() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(205.0, Some(20.0)), (505.0, Some(20.0)), (510.0, Some(20.0)), (515.0, None)]);
    assert_eq!(bench.wanted("fan"), On, "unknown demands the safe state");
    assert!(bench.alarm("sensor-air").text.contains("3 unusable readings"));
    // Somebody has moved the probe: that is no reason to be locked out for ever.
    check(&mut bench, &[(520.0, Some(51.5))]);
    assert!(!bench.alarms().contains(&"sensor-air"));
}

#[test]
fn a_sensor_that_leaps_about_never_becomes_good_and_one_that_comes_back_does() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(205.0, Some(20.0)), (505.0, Some(20.0)), (5.0, Some(20.0)), (405.0, None)]);
    check(&mut bench, &[(605.0, None), (-95.0, None), (505.0, None), (10.0, None)]);
    check(&mut bench, &[(205.0, Some(20.0))]);
}

#[test]
fn the_first_reading_has_nothing_to_be_held_against() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(505.0, Some(50.0))]);
}

/// A part that has lost its power sends 85 °C first: a legitimate value of it, and a lie.
#[test]
fn a_part_that_restarts_during_a_silence_is_held_against_what_it_said_before() {
    let mut bench = Bench::played(&HOUSE.replace("range = [-20, 60]", "range = [-55, 125]"));
    check(&mut bench, &[(205.0, Some(20.0))]);
    bench.run_for("11m");
    assert_eq!(known(&bench), None);
    bench.reading("air", 855.0);
    assert_eq!((dropped(&bench), known(&bench)), (Some(DropReason::TooFast), None), "65 degrees in 11 minutes");
    bench.reading("air", 207.0);
    assert_eq!(known(&bench), Some(20.2));
}

#[test]
fn the_greatest_rate_outlives_a_restart() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(205.0, Some(20.0))]);
    bench.restart(HOUSE, "1m", false, true);
    bench.reading("air", 505.0);
    assert_eq!(dropped(&bench), Some(DropReason::TooFast));
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(205.0, Some(20.0))]);
    bench.restart(HOUSE, "1m", false, false);
    bench.reading("air", 505.0);
    assert_eq!(known(&bench), Some(50.0), "nobody knows how long ago the other was");
}

#[test]
fn a_step_of_the_resolution_and_readings_that_a_stalled_link_delivers_together_are_no_haste() {
    let mut bench = Bench::played(&HOUSE.replace("scale = 0.1\n", "resolution = 0.5\nsampling_period = \"30s\"\n"));
    bench.reading("air", 20.0);
    bench.reading("air", 21.5);
    assert_eq!(known(&bench), Some(21.0), "1 degree in a sampling period, and a step");
    bench.reading("air", 23.1);
    assert_eq!(known(&bench), Some(21.0));
}

#[test]
fn the_rate_is_looked_at_before_the_median() {
    let mut bench = Bench::played(&HOUSE.replace("scale = 0.1\n", "median_of = 3\n"));
    check(&mut bench, &[(20.5, Some(20.0)), (21.5, Some(20.5)), (80.0, Some(20.5)), (23.5, Some(21.0))]);
    check(&mut bench, &[(25.5, Some(23.0))]);
}

#[test]
fn a_changed_calibration_forgets_what_rests_on_the_old_numbers() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(265.0, Some(26.0)), (283.0, Some(27.8)), (290.0, Some(28.5)), (275.0, Some(27.0))]);
    assert_eq!(bench.wanted("fan"), On, "within the deadband, from above");
    bench.run_for("1m");
    bench.reload(&HOUSE.replace("offset = -0.5", "offset = -5"));
    assert_eq!(known(&bench), None);
    bench.run_for("200ms");
    assert!(bench.ordered("yard").starts_with("on"), "it waits for a reading on the new scale: {}", bench.why("fan"));
    // 320 is 27 degrees again, within the deadband; by the new numbers it was never above.
    bench.reading("air", 320.0);
    assert_eq!((known(&bench), dropped(&bench)), (Some(27.0), None));
    assert_eq!(bench.wanted("fan"), Off, "{}", bench.why("fan"));
}

#[test]
fn a_calibration_that_stays_forgets_nothing() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(285.0, Some(28.0)), (275.0, Some(27.0))]);
    bench.reload(&HOUSE.replace("range = [-20, 60]", "range = [-25, 60]"));
    assert_eq!((known(&bench), bench.wanted("fan")), (Some(27.0), On));
    bench.reading("air", 505.0);
    assert_eq!(dropped(&bench), Some(DropReason::TooFast));
}

#[test]
fn a_calibration_that_changed_while_the_daemon_was_away_is_noticed() {
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(285.0, Some(28.0)), (275.0, Some(27.0))]);
    bench.restart(&HOUSE.replace("offset = -0.5", "offset = -5"), "1s", true, true);
    assert_eq!(known(&bench), None);
    bench.relays("yard", "on:900:1:0 off off off");
    bench.reading("air", 320.0);
    assert_eq!((known(&bench), bench.wanted("fan")), (Some(27.0), Off), "{}", bench.why("fan"));
    let mut bench = Bench::played(HOUSE);
    check(&mut bench, &[(285.0, Some(28.0)), (275.0, Some(27.0))]);
    bench.restart(HOUSE, "1s", true, true);
    assert_eq!(known(&bench), Some(27.0), "the same calibration keeps it");
}

#[test]
fn a_rise_does_not_reach_from_one_calibration_into_another() {
    let house =
        HOUSE.replace(r#"cut_in = ">= 28", cut_out = "<= 26""#, r#"rises = 4, within = "10m", until_back_by = 3"#);
    for (calibration, expected) in [("offset = -0.5", On), ("offset = 4.5", Off)] {
        let mut bench = Bench::played(&house);
        check(&mut bench, &[(205.0, Some(20.0)), (225.0, Some(22.0)), (245.0, Some(24.0))]);
        assert_eq!(bench.wanted("fan"), On, "{}", bench.why("fan"));
        bench.restart(&house.replace("offset = -0.5", calibration), "1s", true, true);
        bench.relays("yard", "on:900:1:0 off off off");
        bench.reading("air", 245.0);
        assert_eq!(bench.wanted("fan"), expected, "{calibration}: {}", bench.why("fan"));
    }
}

/// A porch lamp by a photoresistor, and a plate by a thermistor.
const RESISTIVE: &str = r#"
[sensor.air]
reading = "yard/ntc"
thermistor = { fixed = "10 kΩ", side = "low", full_scale = 4095, points = [[0, 32640], [25, 10000], [70, 1751]] }
[sensor.light]
reading = "yard/ldr"
photoresistor = { fixed = "10 kΩ", side = "high", full_scale = 1023, r10 = "14 kΩ", gamma = 0.6 }
[load.plate]
relay = "yard/1"
kind = "resistive"
[load.lamp]
relay = "yard/2"
kind = "led"
[rule.warms]
load = "plate"
demand = "on"
while = { sensor = "air", cut_in = "<= 2 °C", cut_out = ">= 4 °C" }
[rule.lit]
load = "lamp"
demand = "on"
while = { sensor = "light", cut_in = "<= 35 lx", cut_out = ">= 70 lx" }
"#;

#[test]
fn raw_values_become_lux_and_degrees() {
    let mut bench = Bench::played(RESISTIVE);
    // 35 lx reads 616 and 70 lx 713, by the formula of the data sheets worked by hand.
    for (raw, lamp) in [(757.0, Off), (700.0, Off), (615.0, On), (700.0, On), (715.0, Off)] {
        bench.reading("light", raw);
        assert_eq!(bench.wanted("lamp"), lamp, "{raw}: {}", bench.why("lamp"));
    }
    bench.reading("light", 426.0);
    assert!(bench.why("lamp").contains("light is 9.98 lx"), "{}", bench.why("lamp"));
    // 32640 Ω at 0 °C below 10 kΩ on 12 bits: 4095 · 32640 / 42640 = 3134.6.
    bench.reading("air", 3135.0);
    bench.run_for("1s");
    assert_eq!(bench.wanted("plate"), On, "{}", bench.why("plate"));
    assert!(bench.cause("plate").contains("air is -0.01 °C"), "{}", bench.cause("plate"));
}

#[test]
fn a_broken_or_a_shorted_wire_is_no_reading() {
    let mut bench = Bench::played(RESISTIVE);
    for end in [0.0, 1.0, 4094.0, 4095.0] {
        bench.reading("air", 2047.5);
        for _ in 0..2 {
            bench.reading("air", end);
            assert_eq!((dropped(&bench), known(&bench)), (Some(DropReason::NoQuantity), Some(25.0)), "{end}");
        }
        bench.reading("air", end);
        assert_eq!(known(&bench), None, "{end}");
    }
    bench.reading("light", 500.0);
    for end in [0.0, 1023.0, 0.0] {
        bench.reading("light", end);
        assert_eq!(dropped(&bench), Some(DropReason::NoQuantity), "{end}");
    }
    assert!(bench.why("lamp").contains("light is not known"), "{}", bench.why("lamp"));
}
