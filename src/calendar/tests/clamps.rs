//! Clamps: what they hold, on which day they are read, and where they have nothing to hold.

use super::*;

fn clamped(from: &str, to: &str, not_before: Option<&str>, not_after: Option<&str>) -> Window {
    let clock = |text: &str| parse_clock(text).unwrap();
    Window { not_before: not_before.map(clock), not_after: not_after.map(clock), ..window(from, to) }
}

/// A clamp that does not bind changes nothing.
fn check_free(place_name: &str, clamped: &Window, day: Date) {
    let (position, zone) = place(place_name);
    let setting = Setting { position, zone: &zone };
    let free = Window { not_before: None, not_after: None, ..clamped.clone() };
    assert_eq!(clamped.instances(day, setting), free.instances(day, setting), "{place_name}: {clamped} on {day}");
    assert!(!free.instances(day, setting).is_empty());
}

#[test]
fn an_end_by_the_sun_is_held_to_a_clock_time() {
    let (winter, summer) = (date(2026, 12, 21), date(2026, 6, 21));
    let mornings = clamped("06:30", "sunrise + 15m", None, Some("08:00"));
    check("Rowan Cottage", &mornings, winter, &["2026-12-21 06:30 .. 2026-12-21 08:00"]);
    check_free("Rowan Cottage", &mornings, date(2026, 10, 10));
    check("Rowan Cottage", &mornings, summer, &[]);
    let evenings = clamped("sunset", "23:15", Some("17:00"), None);
    check("Rowan Cottage", &evenings, winter, &["2026-12-21 17:00 .. 2026-12-21 23:15"]);
    check_free("Rowan Cottage", &evenings, summer);
    // One that leaves nothing of the spell leaves no spell.
    check("Rowan Cottage", &clamped("sunset", "18:00", Some("18:00"), None), winter, &[]);
}

#[test]
fn a_closing_of_the_morning_after_is_held_on_that_morning() {
    let night = clamped("sunset", "sunrise", Some("18:00"), Some("06:00"));
    check("Rowan Cottage", &night, date(2026, 12, 21), &["2026-12-21 18:00 .. 2026-12-22 06:00"]);
    check_free("Rowan Cottage", &night, date(2026, 6, 21));
}

/// At Reykjavik the sunset of 21 June comes after midnight: 00:04:02 on the 22nd, by solar-positioning 0.7.2.
#[test]
fn a_sunset_after_midnight_is_held_to_its_own_evening() {
    check_free("Reykjavik", &clamped("sunset", "sunrise", Some("17:00"), None), date(2026, 6, 22));
    let day = clamped("08:00", "sunset", None, Some("23:00"));
    check("Reykjavik", &day, date(2026, 6, 21), &["2026-06-21 08:00 .. 2026-06-21 23:00"]);
}

#[test]
fn in_the_polar_night_clamps_stand_for_the_events() {
    let night = clamped("sunset", "sunrise", Some("18:00"), Some("06:00"));
    for day in [date(2025, 12, 9), date(2025, 12, 10)] {
        let next = day.tomorrow().unwrap();
        check("Tromsø", &night, day, &[&format!("{day} 18:00 .. {next} 06:00")]);
    }
    assert!(is_open("Tromsø", &night, "2025-12-10T03:00:00"));
    assert!(!is_open("Tromsø", &night, "2025-12-10T12:00:00"));
    let day = clamped("sunrise", "sunset", Some("07:00"), Some("22:00"));
    check("Tromsø", &day, date(2026, 6, 21), &["2026-06-21 07:00 .. 2026-06-21 22:00"]);
}

#[test]
fn a_clamp_with_nothing_to_hold_is_refused() {
    let fault =
        |from, to, before, after| clamped(from, to, before, after).fault().map(|(key, error)| (key, error.help));
    let said = |key: &'static str, help: &str| Some((key, help.to_owned()));
    assert_eq!(fault("06:30", "sunrise", None, Some("08:00")), None);
    assert_eq!(
        fault("06:30", "sunrise", Some("07:00"), None),
        said("not_before", "leave it out and write from = \"07:00\" itself")
    );
    assert_eq!(
        fault("sunset", "23:00", None, Some("22:00")),
        said("not_after", "leave it out and write to = \"22:00\" itself")
    );
    assert_eq!(
        fault("sunset", "sunrise", Some("06:00"), None),
        said("not_before", "write a time from \"12:00\" on, such as \"17:00\"")
    );
    assert!(fault("sunset", "sunrise", None, Some("22:00")).unwrap().1.contains("to = \"22:00\""));
    let whole = Window { not_after: Some(Time::constant(8, 0, 0, 0)), ..Window::default() };
    assert!(whole.fault().is_some());
}
