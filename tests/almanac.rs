//! `standfast almanac` as a person runs it: what it prints, its exit codes, and the example house.

#![cfg(feature = "daemon")]

mod support;

use chrono::{DateTime, NaiveDate, Utc};
use solar_positioning::{Horizon, Location, SolarEvents, delta_t};
use support::{Folder, Standfast};

/// Runs it and returns exit code, standard output and standard error.
fn almanac(arguments: &[&str]) -> (Option<i32>, String, String) {
    let arguments: Vec<&str> = ["almanac"].iter().chain(arguments).copied().collect();
    let output = Standfast::run(&arguments);
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code(), text(output.stdout), text(output.stderr))
}

#[test]
fn the_example_house_has_a_sun() {
    let rules = concat!(env!("CARGO_MANIFEST_DIR"), "/rules");
    let (code, out, error) = almanac(&[rules, "--date", "2026-06-21", "--json"]);
    assert_eq!((code, error.as_str()), (Some(0), ""));
    let day: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!((&day["date"], &day["sun"]), (&"2026-06-21".into(), &"rises and sets".into()));
    let location =
        Location { latitude: day["latitude"].as_f64().unwrap(), longitude: day["longitude"].as_f64().unwrap() };
    let date = NaiveDate::from_ymd_opt(2026, 6, 21).unwrap();
    let delta_t_s = delta_t::estimate_from_date_like(&date).unwrap();
    let reference = SolarEvents::new().for_date(date, &Utc, location, delta_t_s, Horizon::SunriseSunset).unwrap();
    for (found, expected) in [(&day["sunrise"], &reference.rises), (&day["sunset"], &reference.sets)] {
        let found: Vec<DateTime<Utc>> =
            found.as_array().unwrap().iter().map(|at| at.as_str().unwrap().parse().unwrap()).collect();
        assert_eq!((found.len(), expected.len()), (1, 1));
        assert!((found[0] - expected[0]).num_seconds().abs() <= 60, "{found:?}, NREL's algorithm: {expected:?}");
    }
    assert!(out.contains("+01:00\""), "in the zone's offset: {out}");
}

#[test]
fn a_position_on_the_command_line_needs_no_house() {
    let tromso = ["--latitude", "69.65", "--longitude", "18.96", "--zone", "Europe/Oslo"];
    let (code, out, _) = almanac(&[&tromso[..], &["--date", "2024-12-21"]].concat());
    assert_eq!(code, Some(0));
    assert!(out.contains("sunrise  none\n") && out.contains("sun      always down\n"), "{out}");
    // Without a date: today, whenever that is.
    let (code, out, _) = almanac(&tromso);
    assert_eq!(code, Some(0));
    assert!(out.contains("69.65° N 18.96° E, Europe/Oslo\ndawn "), "{out}");
}

#[test]
fn what_cannot_be_computed_is_an_error_that_says_what_to_do() {
    let folder = Folder::new();
    let empty = folder.path("");
    for (arguments, part) in [
        (&["--latitude", "54.6"][..], "add --longitude and --zone"),
        (&[empty.to_str().unwrap()], "there is no house in"),
        (&["--latitude", "54.6", "--longitude", "-3.14", "--zone", "Europe/Londn"], "did you mean Europe/London?"),
        (&["--latitude", "north", "--longitude", "-3.14"], "invalid value 'north'"),
    ] {
        let (code, out, error) = almanac(arguments);
        assert_eq!((code, out.as_str()), (Some(2), ""), "{arguments:?}");
        assert!(error.contains(part), "{arguments:?}: {error}");
    }
}

/// In the folder of a server's own file, its house is meant.
#[test]
fn the_house_of_the_server_is_found() {
    let folder = Folder::new();
    folder.write("standfast.toml", "house = \"rules\"\n");
    folder.write("rules/site.toml", "[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\n");
    let mut process = Standfast::start_in(&folder.path(""), &["almanac", "--date", "2026-06-21"]);
    process.expect_line(|line| line.contains("2026-06-21, 54.60° N 3.14° W"), std::time::Duration::from_secs(10));
}
