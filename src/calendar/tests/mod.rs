//! Windows on days and at places where calendars go wrong, and against a brute-force reading of them.

use jiff::{
    Timestamp,
    civil::{Date, date},
    tz::{TimeZone, TimeZoneDatabase},
};

use super::*;

mod agree;
mod clamps;
mod clocks;
mod cycles;
mod polar;
mod texts;

/// Name, latitude, longitude, zone.
const PLACES: [(&str, f64, f64, &str); 10] = [
    ("Rowan Cottage", 54.60, -3.14, "Europe/London"),
    ("New York", 40.71, -74.01, "America/New_York"),
    ("Melbourne", -37.81, 144.96, "Australia/Melbourne"),
    ("Lord Howe", -31.55, 159.08, "Australia/Lord_Howe"),
    ("Tromsø", 69.65, 18.96, "Europe/Oslo"),
    ("Vadsø", 70.07, 29.75, "Europe/Oslo"),
    ("Akureyri", 65.69, -18.13, "Atlantic/Reykjavik"),
    ("Reykjavik", 64.15, -21.94, "Atlantic/Reykjavik"),
    ("Kiritimati", 1.87, -157.43, "Pacific/Kiritimati"),
    ("Apia", -13.83, -171.77, "Pacific/Apia"),
];

fn zone(name: &str) -> TimeZone {
    TimeZoneDatabase::bundled().get(name).unwrap()
}

fn place(name: &str) -> (Position, TimeZone) {
    let (_, latitude, longitude, zone_name) = PLACES.into_iter().find(|place| place.0 == name).unwrap();
    (Position { latitude, longitude }, zone(zone_name))
}

fn window(from: &str, to: &str) -> Window {
    let end = |text| WindowEnd::parse(text).unwrap();
    Window { ends: Some((end(from), end(to))), ..Window::default() }
}

/// The spells of a day as local times, seconds cut off: `2024-06-21 22:00 .. 2024-06-22 06:00`.
fn check(place_name: &str, window: &Window, day: Date, expected: &[&str]) {
    let (position, zone) = place(place_name);
    let setting = Setting { position, zone: &zone };
    let show = |at: Timestamp| at.to_zoned_datetime(zone.clone()).strftime("%Y-%m-%d %H:%M").to_string();
    let spells = window.instances(day, setting);
    let shown: Vec<String> =
        spells.iter().map(|spell| format!("{} .. {}", show(spell.start), show(spell.end))).collect();
    assert_eq!(shown, expected, "{place_name}: {window} on {day}");
    for spell in spells {
        assert!(window.is_open(spell.start, setting), "{window} is closed at its start");
    }
}

/// Whether a window is open at a local time.
fn is_open(place_name: &str, window: &Window, local: &str) -> bool {
    let (position, zone) = place(place_name);
    let local: jiff::civil::DateTime = local.parse().unwrap();
    let at = local.to_zoned_datetime(zone.clone()).unwrap().timestamp();
    window.is_open(at, Setting { position, zone: &zone })
}
