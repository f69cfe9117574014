//! Clock windows, filters, summer time and skipped days.

use super::*;

#[test]
fn clock_windows() {
    let day = date(2026, 5, 12);
    check("Rowan Cottage", &window("06:30", "08:00"), day, &["2026-05-12 06:30 .. 2026-05-12 08:00"]);
    check("Rowan Cottage", &window("22:00", "06:00"), day, &["2026-05-12 22:00 .. 2026-05-13 06:00"]);
    check("Rowan Cottage", &window("18:00", "00:00"), day, &["2026-05-12 18:00 .. 2026-05-13 00:00"]);
    check("Rowan Cottage", &window("06:00", "06:00"), day, &[]);
    let all_day = Window::default();
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

/// The clock time on a day as an instant.
fn clock(zone_name: &str, day: Date, time: &str, expected: Option<&str>) {
    let found = clock_on(day, parse_clock(time).unwrap(), &zone(zone_name));
    assert_eq!(found.map(|at| at.to_string()), expected.map(str::to_owned), "{zone_name} {day} {time}");
}

/// Inside a gap: at the transition. Inside a fold: the first time. The transitions are those of the IANA database.
#[test]
fn clock_times_in_gaps_and_folds() {
    clock("Europe/Vienna", date(2025, 10, 26), "02:30", Some("2025-10-26T00:30:00Z"));
    clock("Europe/Vienna", date(2026, 3, 29), "02:30", Some("2026-03-29T01:00:00Z"));
    clock("Europe/Vienna", date(2026, 3, 29), "02:00", Some("2026-03-29T01:00:00Z"));
    clock("Europe/Vienna", date(2026, 3, 29), "03:00", Some("2026-03-29T01:00:00Z"));
    clock("Europe/Vienna", date(2026, 3, 29), "01:59:59", Some("2026-03-29T00:59:59Z"));
    clock("Australia/Melbourne", date(2024, 4, 7), "02:30", Some("2024-04-06T15:30:00Z"));
    clock("America/New_York", date(2021, 3, 14), "02:30", Some("2021-03-14T07:00:00Z"));
    // Half an hour only.
    clock("Australia/Lord_Howe", date(2026, 10, 4), "02:15", Some("2026-10-03T15:30:00Z"));
    clock("Australia/Lord_Howe", date(2026, 4, 5), "01:45", Some("2026-04-04T14:45:00Z"));
    // Midnight itself is in the gap: the day begins at 01:00.
    clock("Asia/Beirut", date(2026, 3, 29), "00:00", Some("2026-03-28T22:00:00Z"));
    // A day that never was.
    clock("Pacific/Apia", date(2011, 12, 30), "12:00", None);
    clock("Pacific/Apia", date(2011, 12, 30), "00:00", None);
    clock("Pacific/Apia", date(2011, 12, 31), "00:00", Some("2011-12-30T10:00:00Z"));
}

#[test]
fn the_next_clock_time() {
    let next = |zone_name: &str, time: &str, after: &str, expected: &str| {
        let found = next_clock(parse_clock(time).unwrap(), after.parse().unwrap(), &zone(zone_name)).unwrap();
        assert_eq!(found.to_string(), expected, "{zone_name} {time} after {after}");
    };
    next("Europe/London", "22:30", "2026-05-12T21:29:59.5Z", "2026-05-12T21:30:00Z");
    next("Europe/London", "22:30", "2026-05-12T21:30:00Z", "2026-05-13T21:30:00Z");
    next("Europe/London", "01:30", "2026-03-28T12:00:00Z", "2026-03-29T01:00:00Z");
    // Between the two passes of 01:30 the first is over and the second does not count.
    next("Europe/London", "01:30", "2026-10-25T00:45:00Z", "2026-10-26T01:30:00Z");
    next("Pacific/Apia", "12:00", "2011-12-29T23:00:00Z", "2011-12-30T22:00:00Z");
    assert_eq!(next_clock(parse_clock("12:00").unwrap(), Timestamp::MAX, &TimeZone::UTC), None);
}

#[test]
fn windows_over_summer_time() {
    let (spring, autumn) = (date(2026, 3, 29), date(2026, 10, 25));
    check("Rowan Cottage", &window("00:30", "01:30"), spring, &["2026-03-29 00:30 .. 2026-03-29 02:00"]);
    check("Rowan Cottage", &window("01:15", "01:45"), spring, &[]);
    check("Rowan Cottage", &window("01:15", "02:45"), spring, &["2026-03-29 02:00 .. 2026-03-29 02:45"]);
    check("Rowan Cottage", &window("01:15", "01:45"), autumn, &["2026-10-25 01:15 .. 2026-10-25 01:45"]);
    let (position, london) = place("Rowan Cottage");
    let setting = Setting { position, zone: &london };
    let hours = |window: &Window, day| {
        let spell = window.instance(day, setting).unwrap();
        (spell.end.as_second() - spell.start.as_second()) as f64 / 3600.0
    };
    let all_day = Window::default();
    assert_eq!([hours(&all_day, spring), hours(&all_day, autumn)], [23.0, 25.0]);
    let night = window("22:00", "06:00");
    assert_eq!([hours(&night, date(2026, 3, 28)), hours(&night, date(2026, 10, 24))], [7.0, 9.0]);
    // The second pass of a fold is outside: 01:15 to 01:45 happens once.
    let second_pass: Timestamp = "2026-10-25T01:30:00Z".parse().unwrap();
    assert!(!window("01:15", "01:45").is_open(second_pass, setting));
    assert_eq!(window("01:15", "01:45").empty_days(2026, setting), [spring]);
}

#[test]
fn a_skipped_day_has_no_windows() {
    let all_day = Window::default();
    check("Apia", &all_day, date(2011, 12, 29), &["2011-12-29 00:00 .. 2011-12-31 00:00"]);
    for of_day in [&all_day, &window("08:00", "09:00"), &window("22:00", "06:00"), &window("sunset", "sunrise")] {
        check("Apia", of_day, date(2011, 12, 30), &[]);
    }
    check("Apia", &window("22:00", "06:00"), date(2011, 12, 29), &["2011-12-29 22:00 .. 2011-12-31 06:00"]);
    let (position, zone) = place("Apia");
    let night = window("sunset", "sunrise").instance(date(2011, 12, 29), Setting { position, zone: &zone }).unwrap();
    assert!((10..12).contains(&((night.end.as_second() - night.start.as_second()) / 3600)));
    assert_eq!(zone.to_datetime(night.end).date(), date(2011, 12, 31));
    // Neither does the checker complain of it.
    assert_eq!(window("22:00", "06:00").empty_days(2011, Setting { position, zone: &zone }), []);
}

#[test]
fn boundaries_are_found_far_away_and_never() {
    let (position, zone) = place("Rowan Cottage");
    let setting = Setting { position, zone: &zone };
    let now: Timestamp = "2026-05-12T12:00:00Z".parse().unwrap();
    let all_day = Window::default();
    assert_eq!(all_day.next_boundary(now, setting), None);
    let leap_day = Window { dates: Some(YearSpan::parse("02-29").unwrap()), ..all_day.clone() };
    assert_eq!(leap_day.next_boundary(now, setting).unwrap().to_string(), "2028-02-29T00:00:00Z");
    // Weekdays in a row are one opening, as far as a caller sees.
    let working_days = Window { days: Some(Weekdays::parse("mon..fri").unwrap()), ..all_day };
    assert_eq!(working_days.next_boundary(now, setting).unwrap().to_string(), "2026-05-15T23:00:00Z");
    // A window that never opens asks for another look, over a year ahead.
    let never = window("06:00", "06:00");
    let again = never.next_boundary(now, setting).unwrap();
    assert!(again.as_second() - now.as_second() > 390 * 86_400 && !never.is_open(again, setting));
    assert_eq!(never.empty_days(2026, setting).len(), 365);
    for end in [Timestamp::MIN, Timestamp::MAX] {
        for of_any in [&never, &window("22:00", "06:00"), &window("sunset", "06:00"), &working_days] {
            let _ = (of_any.is_open(end, setting), of_any.next_boundary(end, setting));
        }
    }
}
