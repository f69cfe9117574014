//! Windows on days and at places where calendars go wrong, and against a brute-force reading of them.

use jiff::{
    Timestamp,
    civil::{Date, date},
    tz::{TimeZone, TimeZoneDatabase},
};

use super::*;

/// Name, latitude, longitude, zone.
#[expect(clippy::approx_constant, reason = "a longitude")]
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
    Window { ends: Some((end(from), end(to))), days: None, dates: None }
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

#[test]
fn clock_windows() {
    let day = date(2026, 5, 12);
    check("Rowan Cottage", &window("06:30", "08:00"), day, &["2026-05-12 06:30 .. 2026-05-12 08:00"]);
    check("Rowan Cottage", &window("22:00", "06:00"), day, &["2026-05-12 22:00 .. 2026-05-13 06:00"]);
    check("Rowan Cottage", &window("18:00", "00:00"), day, &["2026-05-12 18:00 .. 2026-05-13 00:00"]);
    check("Rowan Cottage", &window("06:00", "06:00"), day, &[]);
    let all_day = Window { ends: None, days: None, dates: None };
    check("Rowan Cottage", &all_day, day, &["2026-05-12 00:00 .. 2026-05-13 00:00"]);
}

#[test]
fn filters_test_the_day_that_a_spell_begins_on() {
    let mut nights = window("22:00", "06:00");
    nights.days = Some(Weekdays::parse("fri,sat").unwrap());
    nights.dates = Some(YearSpan::parse("05-15..05-15").unwrap());
    let (position, zone) = place("Rowan Cottage");
    let setting = Setting { position, zone: &zone };
    let at = |text: &str| text.parse::<jiff::civil::DateTime>().unwrap().to_zoned_datetime(zone.clone()).unwrap();
    for (local, expected) in [
        ("2026-05-15T21:59:59", false),
        ("2026-05-15T22:00", true),
        ("2026-05-16T05:59:59", true),
        ("2026-05-16T06:00", false),
        ("2026-05-16T23:00", false),
        ("2026-05-15T05:00", false),
    ] {
        assert_eq!(nights.is_open(at(local).timestamp(), setting), expected, "{local}");
    }
    // 15 May is the next Friday or Saturday in 2026; after it, in 2027.
    let next = nights.next_boundary(at("2026-05-16T06:00").timestamp(), setting).unwrap();
    assert_eq!(zone.to_datetime(next).to_string(), "2027-05-15T22:00:00");
}
