//! Forecasts: what comes by itself is foreseen as it then comes, readings that stand still break nothing, and the engine that
//! runs is left alone.

use standfast::engine::Forecast;
use standfast::house::State::{self, Off, On};
use standfast::units::Span;

use crate::bench::{Bench, span};

const HOUSE: &str = r#"
[sensor.air]
reading = "yard/t1"
unit = "°C"
stale_after = "3m"
[sensor.amps]
reading = "yard/a1"
unit = "A"
stale_after = "3m"
[load.fan]
relay = "yard/1"
kind = "motor"
[load.lamp]
relay = "yard/2"
kind = "led"
[load.pump]
relay = "yard/3"
kind = "motor"
max_on = "20m"
rest = "5m"
proof = { sensor = "amps", at_least = 0.2, within = "5s", on_failure = "withdraw" }
[actuator.hen-door]
open = "yard/5"
close = "yard/6"
travel = "18s"
[board.yard]
relays = 6
[rule.vents]
load = "fan"
demand = "on"
while = { sensor = "air", cut_in = ">= 28.0", cut_out = "<= 26.5" }
[rule.lit]
load = "lamp"
demand = "on"
while = { from = "20:00", to = "22:30" }
[rule.hens-in]
load = "hen-door"
demand = "closed"
otherwise = "open"
while = { from = "21:00", to = "06:00" }
"#;

fn bench() -> Bench {
    let mut bench = Bench::played(HOUSE);
    bench.reading("air", 30.0);
    bench.reading("amps", 0.0);
    bench.run_for("1m");
    bench
}

fn forecast(bench: &Bench, ahead: &str) -> Forecast {
    bench.engine.forecast(span(ahead))
}

/// When a load is foreseen to do what, by the house's clock.
fn told(bench: &Bench, forecast: &Forecast, load: &str) -> Vec<(String, Option<State>)> {
    let id = bench.load(load);
    let zone = &bench.engine.house().site.zone;
    let clock =
        |at: standfast::units::WallTime| at.instant().to_zoned_datetime(zone.clone()).strftime("%H:%M").to_string();
    forecast.changes.iter().filter(|one| one.load == id).map(|one| (clock(one.at), one.state)).collect()
}

fn check(load: &str, expected: &[(&str, Option<State>)]) {
    let bench = bench();
    let told = told(&bench, &forecast(&bench, "24h"), load);
    let told: Vec<(&str, Option<State>)> = told.iter().map(|(at, state)| (at.as_str(), *state)).collect();
    assert_eq!(told, expected, "{load}");
}

#[test]
fn windows_are_foreseen() {
    check("lamp", &[("20:00", Some(On)), ("22:30", Some(Off))]);
}

#[test]
fn what_rests_on_readings_stays_as_it_is() {
    // They would be stale after three minutes, and the board lost after one.
    check("fan", &[]);
}

#[test]
fn an_actuator_takes_its_time() {
    check("hen-door", &[("21:00", None), ("21:00", Some(Off)), ("06:00", None), ("06:00", Some(On))]);
}

#[test]
fn limits_and_the_ends_of_holds_are_foreseen_and_proofs_are_not_missed() {
    let mut bench = bench();
    bench.hold("pump", "on 1h");
    // Its current is read once it runs; a forecast has none that rises.
    bench.run_for("2s");
    let told = told(&bench, &forecast(&bench, "3h"), "pump");
    let told: Vec<(&str, Option<State>)> = told.iter().map(|(at, state)| (at.as_str(), *state)).collect();
    assert_eq!(
        told,
        [("12:21", Some(Off)), ("12:26", Some(On)), ("12:46", Some(Off)), ("12:51", Some(On)), ("13:01", Some(Off)),]
    );
}

#[test]
fn it_comes_as_it_was_foreseen() {
    let mut bench = bench();
    bench.hold("fan", "off 2h");
    bench.run_for("5s");
    let foreseen = told(&bench, &forecast(&bench, "12h"), "fan");
    assert_eq!(foreseen, [("14:01".to_owned(), Some(On))]);
    for _ in 0..130 {
        bench.reading("air", 30.0);
        bench.run_for("1m");
    }
    assert_eq!(bench.explain("fan").known, Some(On));
}

#[test]
fn the_engine_that_runs_is_left_alone() {
    let bench = bench();
    let before = serde_json::to_string(&bench.engine.snapshot()).expect("a snapshot has a JSON form");
    let first = forecast(&bench, "24h");
    assert_eq!(first, forecast(&bench, "24h"));
    assert_eq!(serde_json::to_string(&bench.engine.snapshot()).expect("a snapshot has a JSON form"), before);
}

#[test]
fn a_lost_board_is_not_made_to_obey() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off off off off off off");
    bench.run_for("10m");
    let forecast = forecast(&bench, "24h");
    assert!(forecast.changes.iter().all(|change| change.state.is_none()), "{forecast:?}");
}

#[test]
fn a_house_in_which_much_happens_is_told_of_for_a_shorter_time() {
    let text = "[load.lamp]\nrelay = \"yard/1\"\nkind = \"led\"\n[rule.blinks]\nload = \"lamp\"\ndemand = \"on\"\n\
                while = { on_for = \"1s\", off_for = \"1s\" }\n";
    let bench = Bench::played(text);
    let forecast = bench.engine.forecast(Span::from_h(24));
    assert!(forecast.until < forecast.from + Span::from_h(24) && forecast.changes.len() > 1000);
}
