//! Windows of the sun: over midnight, in polar day and night, in white nights, and where events are missing or doubled.

use super::*;

#[test]
fn what_crosses_midnight_follows_from_the_form() {
    for (from, to, crosses) in [
        ("22:00", "06:00", true),
        ("06:00", "22:00", false),
        ("06:00", "06:00", false),
        ("sunset", "sunrise", true),
        ("dusk", "dawn", true),
        ("sunset", "dawn - 1h", true),
        ("sunset", "11:59", true),
        ("sunset", "12:00", false),
        ("sunset", "dusk", false),
        ("dusk", "sunset", false),
        ("sunrise", "sunset", false),
        ("sunrise", "dawn", false),
        ("dawn", "00:30", false),
        ("12:00", "sunrise", true),
        ("11:59", "sunrise", false),
        ("22:00", "dusk", false),
    ] {
        assert_eq!(window(from, to).crosses_midnight(), crosses, "{from} to {to}");
    }
}

#[test]
fn ordinary_days() {
    // Sunset 20:06:40Z and sunrise 04:12:19Z, by NREL's algorithm as solar-positioning 0.7.2 computes them.
    let day = date(2026, 5, 12);
    check("Rowan Cottage", &window("sunset", "23:15"), day, &["2026-05-12 21:06 .. 2026-05-12 23:15"]);
    check("Rowan Cottage", &window("sunset - 20m", "23:15"), day, &["2026-05-12 20:46 .. 2026-05-12 23:15"]);
    check("Rowan Cottage", &window("sunset + 3h", "02:00"), day, &["2026-05-13 00:06 .. 2026-05-13 02:00"]);
    check("Rowan Cottage", &window("sunset + 3h", "00:05"), day, &[]);
    check("Rowan Cottage", &window("06:30", "sunrise"), day, &[]);
    check("Rowan Cottage", &window("22:00", "sunset + 4h"), day, &["2026-05-12 22:00 .. 2026-05-13 01:06"]);
    check("Rowan Cottage", &window("sunrise", "dawn"), day, &[]);
    // Belongs to Tuesday although it begins on Wednesday by the clock: the sunset is Tuesday's.
    let mut late = window("sunset + 3h", "02:00");
    late.days = Some(Weekdays::parse("tue").unwrap());
    check("Rowan Cottage", &late, day, &["2026-05-13 00:06 .. 2026-05-13 02:00"]);
    check("Rowan Cottage", &late, date(2026, 5, 13), &[]);
}

#[test]
fn the_checker_learns_on_which_days_a_window_is_empty() {
    let (position, zone) = place("Rowan Cottage");
    let setting = Setting { position, zone: &zone };
    let mut mornings = window("06:30", "sunrise + 15m");
    let empty = mornings.empty_days(2026, setting);
    // Sunrise comes before 06:15 from April to mid September, and in the last days before summer time begins.
    assert!(empty.contains(&date(2026, 6, 21)) && !empty.contains(&date(2026, 12, 21)));
    assert!(empty.contains(&date(2026, 3, 28)) && !empty.contains(&date(2026, 3, 29)));
    mornings.dates = Some(YearSpan::parse("10-01..03-01").unwrap());
    assert_eq!(mornings.empty_days(2026, setting), []);
    assert_eq!(window("sunset", "sunrise").empty_days(2026, setting), []);
}

#[test]
fn polar_night() {
    let day = date(2025, 12, 10);
    let whole = ["2025-12-10 00:00 .. 2025-12-11 00:00"];
    check("Tromsø", &window("sunset", "sunrise"), day, &whole);
    check("Tromsø", &window("sunset - 20m", "sunrise + 20m"), day, &whole);
    check("Tromsø", &window("sunrise", "sunset"), day, &[]);
    check("Tromsø", &window("08:00", "sunset"), day, &[]);
    check("Tromsø", &window("sunrise", "22:00"), day, &[]);
    // True noon: 12:00 by the clock of 15° E, less 15 min 50 s for 3.96° further east, less 7 min of equation of time.
    check("Tromsø", &window("sunset", "23:15"), day, &["2025-12-10 11:37 .. 2025-12-10 23:15"]);
    check("Tromsø", &window("sunset", "01:00"), day, &["2025-12-10 11:37 .. 2025-12-11 01:00"]);
    check("Tromsø", &window("06:30", "sunrise"), day, &["2025-12-10 06:30 .. 2025-12-10 11:37"]);
    check("Tromsø", &window("22:00", "sunrise"), day, &["2025-12-10 22:00 .. 2025-12-11 11:37"]);
    assert!(is_open("Tromsø", &window("sunset", "sunrise"), "2025-12-10T11:37:04"));
}

#[test]
fn polar_day() {
    let day = date(2026, 6, 21);
    for (from, to) in [
        ("sunset", "sunrise"),
        ("sunset - 20m", "sunrise + 20m"),
        ("sunset", "23:15"),
        ("sunset", "02:00"),
        ("22:00", "sunrise"),
        ("06:30", "sunrise"),
        ("dusk", "dawn"),
        ("dawn", "sunrise"),
    ] {
        check("Tromsø", &window(from, to), day, &[]);
        assert!(!is_open("Tromsø", &window(from, to), "2026-06-21T00:45:00"), "{from} to {to}");
    }
    let whole = ["2026-06-21 00:00 .. 2026-06-22 00:00"];
    check("Tromsø", &window("sunrise", "sunset"), day, &whole);
    check("Tromsø", &window("dawn + 1h", "dusk - 1h"), day, &whole);
    // From and to the lowest sun: by solar-positioning noon is at 12:45:58, midnight twelve hours before and after.
    check("Tromsø", &window("sunrise", "22:00"), day, &["2026-06-21 00:45 .. 2026-06-21 22:00"]);
    check("Tromsø", &window("08:00", "sunset"), day, &["2026-06-21 08:00 .. 2026-06-22 00:46"]);
}

#[test]
fn white_nights() {
    // At Akureyri the sun sets in June for minutes, and twilight lasts the night.
    let day = date(2026, 5, 25);
    let (position, zone) = place("Akureyri");
    let setting = Setting { position, zone: &zone };
    let [evening, morning] =
        [("sunset", "dusk"), ("dawn", "sunrise")].map(|(from, to)| window(from, to).instance(day, setting).unwrap());
    let next_morning = window("dawn", "sunrise").instance(date(2026, 5, 26), setting).unwrap();
    assert_eq!(evening.end, next_morning.start, "evening twilight meets morning twilight at midnight");
    assert!(morning.end < evening.start);
    check("Akureyri", &window("dusk", "dawn"), day, &[]);
    check("Akureyri", &window("dusk", "02:00"), day, &[]);
}

#[test]
fn a_sunset_after_midnight_ends_the_day_before() {
    let (position, zone) = place("Reykjavik");
    let setting = Setting { position, zone: &zone };
    let night = window("sunset", "sunrise");
    let mut nights = 0;
    for day in date(2026, 5, 1).series(jiff::ToSpan::days(1)).take(90) {
        for spell in night.instances(day, setting) {
            let length_s = spell.end.as_second() - spell.start.as_second();
            assert!((2 * 3600..8 * 3600).contains(&length_s), "{spell:?}");
            assert_eq!(zone.to_datetime(spell.start).date(), day);
            nights += 1;
        }
    }
    // One evening's sunset slips over midnight and, in July, back: 90 days, 90 nights, since both lie in the span.
    assert_eq!(nights, 90);
    // Sunset at 00:04:02 on the 22nd, by solar-positioning 0.7.2, ends the 21st.
    check("Reykjavik", &window("08:00", "sunset"), date(2026, 6, 21), &["2026-06-21 08:00 .. 2026-06-22 00:04"]);
    check("Reykjavik", &window("sunset", "01:00"), date(2026, 6, 22), &["2026-06-22 00:04 .. 2026-06-22 01:00"]);
    check("Reykjavik", &window("sunset", "23:15"), date(2026, 6, 22), &[]);
}

#[test]
fn one_day_with_two_sunsets_has_two_spells_and_another_none() {
    let mut evening = window("sunset", "dusk + 30m");
    let of_day = |window: &Window, day| {
        let (position, zone) = place("Akureyri");
        window.instances(day, Setting { position, zone: &zone })
    };
    // From the table of tests/data/sun-cases.csv: none on 2026-06-04, two on 2027-07-10.
    assert_eq!(of_day(&evening, date(2026, 6, 4)), []);
    let two = of_day(&evening, date(2027, 7, 10));
    assert_eq!(two.len(), 2, "{two:?}");
    assert!(two[0].end < two[1].start);
    evening.dates = Some(YearSpan::parse("07-10").unwrap());
    assert!(is_open("Akureyri", &evening, "2027-07-10T00:30:00"));
    assert!(is_open("Akureyri", &evening, "2027-07-11T00:30:00"));
    assert!(!is_open("Akureyri", &evening, "2027-07-09T23:59:00"));
}

#[test]
fn the_last_sunset_before_the_polar_night_may_come_before_twelve() {
    let (position, zone) = place("Vadsø");
    let setting = Setting { position, zone: &zone };
    let evening = window("sunset", "01:00");
    let mut before_twelve = 0;
    for day in date(2025, 11, 10).series(jiff::ToSpan::days(1)).take(25) {
        let spell = evening.instance(day, setting).unwrap();
        let start = zone.to_datetime(spell.start);
        assert_eq!((start.date(), zone.to_datetime(spell.end).date()), (day, day.tomorrow().unwrap()));
        before_twelve += usize::from(start.hour() < 12);
    }
    assert!(before_twelve > 3, "{before_twelve}");
}
