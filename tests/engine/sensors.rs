//! When a sensor is known, and what happens when it is not: never heard, stale, bad readings, out of range, board lost.

use standfast::engine::{DropReason, Effect};
use standfast::house::State::{Off, On};

use crate::bench::Bench;

/// Safe on, so that unknown shows: the reading itself asks for off.
const HOUSE: &str = r#"
[sensor.air]
reading = "yard/t1"
unit = "°C"
range = [-20, 60]
stale_after = "3m"

[sensor.roof]
topic = "roof/weather"
field = "/t"
range = [-40, 60]
stale_after = "20s"

[load.flap]
relay = "yard/1"
kind = "led"
safe = "on"

[rule.shut-in-frost]
load = "flap"
demand = "off"
otherwise = "off"
while = { sensor = "air", cut_in = "<= 1.0", cut_out = ">= 3.0" }

[load.vane]
relay = "yard/2"
kind = "led"
safe = "on"

[rule.vane-shut]
load = "vane"
demand = "off"
otherwise = "off"
while = { sensor = "roof", cut_in = "<= 1.0", cut_out = ">= 3.0" }
"#;

fn known(bench: &Bench) -> Option<f64> {
    bench.engine.reading(bench.sensor("air")).map(|(value, _)| value.get())
}

#[test]
fn a_sensor_never_heard_is_unknown_and_after_its_time_an_alarm_says_so_once() {
    let mut bench = Bench::played(HOUSE);
    assert_eq!(known(&bench), None);
    assert_eq!(bench.wanted("flap"), On);
    bench.run_for("10m");
    assert!(bench.alarm("sensor-air").text.contains("has not been heard for 3m"), "{:?}", bench.alarm("sensor-air"));
    let raised = bench.take_journal().iter().filter(|row| row.contains("alarm-raised") && row.contains("air")).count();
    assert_eq!(raised, 1);
}

#[test]
fn a_reading_makes_it_known_until_its_time_is_up_to_the_millisecond() {
    let mut bench = Bench::played(HOUSE);
    bench.reading("air", 10.0);
    assert_eq!((known(&bench), bench.wanted("flap")), (Some(10.0), Off));
    bench.run_for("179999ms");
    assert_eq!(bench.wanted("flap"), Off);
    bench.run_for("1ms");
    assert_eq!((known(&bench), bench.wanted("flap")), (None, On));
}

#[test]
fn every_good_reading_starts_its_time_again_even_if_it_says_the_same() {
    let mut bench = Bench::played(HOUSE);
    for _ in 0..20 {
        bench.reading("air", 10.0);
        bench.run_for("2m59s");
        assert_eq!(known(&bench), Some(10.0));
    }
    assert!(!bench.alarms().contains(&"sensor-air"));
}

#[test]
fn an_alarm_of_a_stale_sensor_clears_with_its_next_good_reading() {
    let mut bench = Bench::played(HOUSE);
    bench.reading("air", 10.0);
    bench.run_for("3m");
    assert!(bench.alarms().contains(&"sensor-air"));
    bench.reading("air", 11.0);
    assert!(!bench.alarms().contains(&"sensor-air"));
    let rows = bench.take_journal().into_iter().filter(|row| row.contains("sensor-air")).collect::<Vec<_>>();
    assert_eq!(rows.len(), 2, "{rows:?}");
    assert!(rows[1].contains("alarm-cleared"), "{rows:?}");
}

#[test]
fn one_or_two_bad_readings_refresh_nothing_and_change_nothing() {
    let mut bench = Bench::played(HOUSE);
    bench.reading("air", 10.0);
    bench.run_for("2m59s");
    bench.bad_reading("air");
    bench.bad_reading("air");
    assert_eq!(known(&bench), Some(10.0));
    bench.run_for("1s");
    assert_eq!(known(&bench), None, "they did not refresh it");
}

#[test]
fn three_bad_readings_in_a_row_make_it_unknown_until_the_next_good_one() {
    let mut bench = Bench::played(HOUSE);
    bench.reading("air", 10.0);
    for _ in 0..3 {
        assert_eq!(bench.wanted("flap"), Off);
        bench.bad_reading("air");
    }
    assert_eq!((known(&bench), bench.wanted("flap")), (None, On));
    assert!(bench.alarm("sensor-air").text.contains("3 unusable readings"));
    bench.reading("air", 10.0);
    assert_eq!((known(&bench), bench.wanted("flap")), (Some(10.0), Off));
    assert!(!bench.alarms().contains(&"sensor-air"));
}

#[test]
fn a_good_reading_between_bad_ones_starts_the_count_again() {
    let mut bench = Bench::played(HOUSE);
    for _ in 0..5 {
        bench.reading("air", 10.0);
        bench.bad_reading("air");
        bench.bad_reading("air");
        assert_eq!(known(&bench), Some(10.0));
    }
}

#[test]
fn the_alarm_goes_on_saying_unusable_when_only_garbage_comes() {
    let mut bench = Bench::played(HOUSE);
    bench.reading("air", 10.0);
    for _ in 0..20 {
        bench.bad_reading("air");
        bench.run_for("30s");
    }
    assert!(bench.alarm("sensor-air").text.contains("unusable"), "{}", bench.alarm("sensor-air").text);
}

#[test]
fn a_reading_out_of_range_counts_as_bad_and_the_ends_of_the_range_are_good() {
    let mut bench = Bench::played(HOUSE);
    for value in [-20.0, 60.0] {
        bench.reading("air", value);
        assert_eq!(known(&bench), Some(value));
    }
    bench.reading("air", 60.01);
    let sensor = bench.sensor("air");
    let dropped = |effect: &Effect| matches!(effect, Effect::ReadingDropped { sensor: of, why: DropReason::OutOfRange, .. } if *of == sensor);
    assert!(bench.effects.iter().any(dropped));
    assert_eq!(known(&bench), Some(60.0));
    bench.reading("air", 1e300);
    bench.reading("air", -20.01);
    assert_eq!(known(&bench), None);
}

#[test]
fn text_that_is_no_number_and_retained_readings_count_as_bad() {
    for (payload, retained) in [("warm", false), ("NaN", false), ("inf", false), ("", false), ("21.5", true)] {
        let mut bench = Bench::played(HOUSE);
        bench.reading("air", 10.0);
        for _ in 0..2 {
            bench.message("standfast/from/yard/reading/t1", payload, retained);
            assert_eq!(known(&bench), Some(10.0), "{payload}");
        }
        bench.message("standfast/from/yard/reading/t1", payload, retained);
        assert_eq!(known(&bench), None, "{payload}, retained {retained}");
    }
}

#[test]
fn a_reading_in_json_is_taken_and_a_missing_field_counts_as_bad() {
    let mut bench = Bench::played(HOUSE);
    bench.message("roof/weather", r#"{"t": 12.5, "gust": 3}"#, false);
    assert_eq!(bench.wanted("vane"), Off);
    for _ in 0..3 {
        bench.message("roof/weather", r#"{"gust": 3}"#, false);
    }
    assert_eq!(bench.wanted("vane"), On);
}

#[test]
fn sensors_of_a_lost_board_are_unknown_and_only_the_board_is_alarmed() {
    let mut bench = Bench::played(HOUSE);
    bench.reading("air", 10.0);
    bench.unplug("yard");
    bench.run_for("61s");
    assert_eq!((known(&bench), bench.wanted("flap")), (None, On));
    bench.run_for("10m");
    assert!(bench.alarms().contains(&"board-yard"));
    assert!(!bench.alarms().contains(&"sensor-air"), "one alarm for one fault: {:?}", bench.alarms());
}

#[test]
fn a_reading_that_arrives_while_its_board_is_lost_counts_once_the_board_is_found() {
    let mut bench = Bench::played(HOUSE);
    bench.reading("air", 10.0);
    bench.unplug("yard");
    bench.run_for("61s");
    bench.reading("air", 11.0);
    assert_eq!((known(&bench), bench.wanted("flap")), (None, On), "the board is lost, so its sensors are unknown");
    bench.plug("yard");
    bench.run_for("1s");
    assert_eq!((known(&bench), bench.wanted("flap")), (Some(11.0), Off));
}

#[test]
fn a_sensor_that_stays_away_when_its_board_is_back_is_alarmed_after_its_time() {
    let mut bench = Bench::played(HOUSE);
    bench.reading("air", 10.0);
    bench.unplug("yard");
    bench.run_for("10m");
    bench.plug("yard");
    bench.run_for("2m59s");
    assert_eq!(bench.alarms(), ["sensor-roof"]);
    bench.run_for("2s");
    assert_eq!(bench.alarms(), ["sensor-air", "sensor-roof"]);
}

#[test]
fn a_sensor_on_a_topic_of_its_own_does_not_care_for_boards() {
    let mut bench = Bench::played(HOUSE);
    bench.message("roof/weather", r#"{"t": 12.5}"#, false);
    bench.cut_power("yard");
    bench.run_for("1s");
    assert_eq!(bench.wanted("vane"), Off);
}

/// A cellar that airs while the air outside holds less water, and a lamp by the median of three.
const DERIVED: &str = r#"
[sensor.in-t]
reading = "yard/t1"
unit = "°C"
[sensor.in-rh]
reading = "yard/h1"
unit = "%"
stale_after = "2m"
[sensor.in-dew]
dew_point = { temperature = "in-t", humidity = "in-rh" }
[sensor.a]
reading = "yard/a"
[sensor.b]
reading = "yard/b"
[sensor.c]
reading = "yard/c"
[sensor.middle]
median = ["a", "b", "c"]
[load.fan]
relay = "yard/1"
kind = "motor"
[load.lamp]
relay = "yard/2"
kind = "led"
[rule.airs]
load = "fan"
demand = "on"
while = { sensor = "in-dew", cut_in = ">= 13.8", cut_out = "<= 12.0" }
[rule.lit]
load = "lamp"
demand = "on"
while = { sensor = "middle", cut_in = "<= 40", cut_out = ">= 60" }
"#;

#[test]
fn a_dew_point_follows_both_and_is_unknown_with_either() {
    let mut bench = Bench::played(DERIVED);
    bench.reading("in-t", 25.0);
    assert!(bench.why("fan").contains("in-dew is not known"), "{}", bench.why("fan"));
    // 25 °C and 50 % dew at 13.9 °C, as a psychrometric chart has it (from memory).
    bench.reading("in-rh", 50.0);
    assert_eq!(bench.wanted("fan"), On);
    assert!(bench.why("fan").contains("in-dew is 13.8"), "{}", bench.why("fan"));
    bench.reading("in-t", 20.0);
    assert_eq!(bench.wanted("fan"), Off, "20 °C and 50 % dew at 9.3 °C");
    bench.reading("in-t", 25.0);
    bench.run_for("2m");
    assert!(bench.why("fan").contains("in-dew is not known"), "the humidity is stale: {}", bench.why("fan"));
}

#[test]
fn a_median_wants_more_than_half_and_shrugs_at_one_that_is_absurd() {
    let mut bench = Bench::played(DERIVED);
    bench.reading("a", 30.0);
    assert!(bench.why("lamp").contains("middle is not known"), "{}", bench.why("lamp"));
    bench.reading("b", 34.0);
    assert_eq!(bench.wanted("lamp"), On);
    bench.reading("c", 100_000.0);
    assert_eq!(bench.wanted("lamp"), On);
    bench.reading("b", 90.0);
    assert_eq!(bench.wanted("lamp"), Off);
}

#[test]
fn a_load_waits_at_a_start_for_what_its_derived_sensor_rests_on() {
    let mut bench = Bench::new(DERIVED);
    bench.relays("yard", "on:900:1:0 off:900:1:0 off off");
    assert!(bench.ordered("yard").starts_with("on"), "{}", bench.ordered("yard"));
    bench.reading("in-t", 20.0);
    assert!(bench.ordered("yard").starts_with("on"), "it waits for the humidity");
    bench.reading("in-rh", 50.0);
    assert!(bench.ordered("yard").starts_with("off"), "{}", bench.ordered("yard"));
}

/// A fan by the median of the last three readings.
const MEDIAN: &str = r#"
[sensor.air]
reading = "yard/t1"
median_of = 3
[load.fan]
relay = "yard/1"
kind = "motor"
[rule.vents]
load = "fan"
demand = "on"
while = { sensor = "air", cut_in = ">= 28", cut_out = "<= 26" }
"#;

#[test]
fn a_reading_may_count_as_the_median_of_the_last() {
    let mut bench = Bench::played(MEDIAN);
    for value in [20.0, 20.0, 85.0, 20.0] {
        bench.reading("air", value);
        assert_eq!(bench.wanted("fan"), Off, "one absurd reading does nothing");
    }
    bench.reading("air", 29.0);
    assert_eq!(bench.wanted("fan"), On, "the middle one of 85, 20 and 29");
    bench.run_for("6m");
    bench.reading("air", 20.0);
    assert_eq!(bench.wanted("fan"), Off, "what came before a silence does not count");
}

#[test]
fn readings_of_unknown_age_do_not_vote_in_a_median() {
    let mut bench = Bench::played(MEDIAN);
    for _ in 0..3 {
        bench.reading("air", 30.0);
    }
    assert_eq!(bench.wanted("fan"), On);
    bench.restart(MEDIAN, "1m", false, false);
    bench.relays("yard", "off:900:1:0 off:900:1:0 off off");
    bench.reading("air", 20.0);
    assert_eq!(bench.wanted("fan"), Off, "nobody knows how long ago the others were: {}", bench.why("fan"));
}

#[test]
fn a_median_that_is_taken_away_and_given_back_starts_anew() {
    let mut bench = Bench::played(MEDIAN);
    for _ in 0..3 {
        bench.reading("air", 30.0);
    }
    bench.reload(&MEDIAN.replace("median_of = 3\n", ""));
    bench.reading("air", 20.0);
    bench.reload(MEDIAN);
    bench.reading("air", 20.0);
    assert_eq!(bench.wanted("fan"), Off, "{}", bench.why("fan"));
}

#[test]
fn a_load_waits_for_what_a_change_computes_its_sensor_from() {
    let mut bench = Bench::played(DERIVED);
    bench.reading("in-t", 25.0);
    bench.reading("in-rh", 50.0);
    bench.run_for("1m");
    assert_eq!(bench.wanted("fan"), On);
    bench.reload(&DERIVED.replace("in-t", "attic-t").replace("yard/t1", "yard/t9"));
    bench.run_for("200ms");
    assert!(bench.ordered("yard").starts_with("on"), "it waits for the new sensor: {}", bench.why("fan"));
    bench.reading("attic-t", 20.0);
    assert!(bench.ordered("yard").starts_with("off"), "20 °C and 50 % dew at 9.3 °C: {}", bench.ordered("yard"));
}
