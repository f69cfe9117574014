//! Windows as text: what is read, what is refused and with which advice, and that it reads back.

use proptest::prelude::*;

use super::*;

/// What the text reads as, shown, or a part of the refusal.
fn reads<T: std::fmt::Display>(parsed: Result<T, ScheduleError>, text: &str, expected: Result<&str, &str>) {
    match (parsed, expected) {
        (Ok(value), Ok(shown)) => assert_eq!(value.to_string(), shown, "{text}"),
        (Err(error), Err(part)) => assert!(error.to_string().contains(part), "{text}: {error}"),
        (Ok(value), Err(part)) => panic!("{text} was read as {value}, expected a refusal with {part}"),
        (Err(error), Ok(_)) => panic!("{text} was refused: {error}"),
    }
}

#[test]
fn ends() {
    let check = |text: &str, expected| reads(WindowEnd::parse(text), text, expected);
    check("23:15", Ok("23:15"));
    check("00:00", Ok("00:00"));
    check("23:15:30", Ok("23:15:30"));
    check("sunset", Ok("sunset"));
    check("sunset - 20m", Ok("sunset - 20m"));
    check("sunset-20m", Ok("sunset - 20m"));
    check("sunset − 20m", Ok("sunset - 20m"));
    check("dawn+1h", Ok("dawn + 1h"));
    check(" dusk + 1h30m ", Ok("dusk + 1h30m"));
    check("sunrise + 90s", Ok("sunrise + 1m30s"));
    check("sunrise + 0s", Ok("sunrise"));
    check("dusk - 12h", Ok("dusk - 12h"));
    check("7:05", Err("write \"07:05\""));
    check("07:5", Err("write \"07:05\""));
    check("24:00", Err("write \"00:00\""));
    check("25:00", Err("from 00 to 23"));
    check("12:60", Err("from 00 to 59"));
    check("12.30", Err("\"07:05\" or \"23:15\""));
    check("7pm", Err("write \"19:00\""));
    check("13pm", Err("time of 24 hours"));
    check("12", Err("time of 24 hours"));
    check("", Err("sunrise, sunset, dawn or dusk"));
    check("-20m", Err("no end of a window"));
    check("Sunset - 20m", Err("write \"sunset - 20m\""));
    check("sundown", Err("write \"sunset\""));
    check("noon", Err("write \"12:00\""));
    check("midnight", Err("write \"00:00\""));
    check("sunsets", Err("neither a clock time nor an event"));
    check("sunset 20m", Err("\"sunset - 20m\" for earlier"));
    check("sunset - 20", Err("\"20m\" for minutes"));
    check("sunset - ", Err("is empty"));
    check("sunset + 1500ms", Err("finer than a second"));
    check("sunset + 13h", Err("at most \"12h\""));
}

#[test]
fn weekdays() {
    let check = |text: &str, expected| reads(Weekdays::parse(text), text, expected);
    check("sun..thu", Ok("sun..thu"));
    check("mon..fri", Ok("mon..fri"));
    check("sat", Ok("sat"));
    check("mon,wed,fri", Ok("mon,wed,fri"));
    check("mon, tue , wed", Ok("mon..wed"));
    check("sat,sun", Ok("sat,sun"));
    check("mon..sun", Ok("mon..sun"));
    check("sun..sat", Ok("mon..sun"));
    check("fri..fri", Ok("fri"));
    check("sat..mon,wed", Ok("wed,sat..mon"));
    check("Mon", Err("write \"mon\""));
    check("monday", Err("write \"mon\""));
    check("mon-fri", Err("\"mon..fri\""));
    check("weekend", Err("write \"sat,sun\""));
    check("some day", Err("write days such as"));
    check("", Err("write days such as"));
    check("mon..", Err("write days such as"));
    check("mon,,tue", Err("write days such as"));
}

#[test]
fn dates() {
    let check = |text: &str, expected| reads(YearSpan::parse(text), text, expected);
    check("10-01..04-15", Ok("10-01..04-15"));
    check("12-24", Ok("12-24"));
    check("02-29..03-01", Ok("02-29..03-01"));
    check("2-29", Err("write \"02-29\""));
    check("24-12", Err("write the month first: \"12-24\""));
    check("02-30", Err("months and days"));
    check("13-40", Err("months and days"));
    check("2026-01-01", Err("months and days"));
    check("oct..apr", Err("months and days"));
    check("", Err("months and days"));
    let winter = YearSpan::parse("10-01..04-15").unwrap();
    for (day, inside) in
        [(date(2026, 9, 30), false), (date(2026, 10, 1), true), (date(2026, 1, 1), true), (date(2026, 4, 16), false)]
    {
        assert_eq!(winter.contains(day), inside, "{day}");
    }
}

#[test]
fn whole_windows() {
    let mut porch = window("sunset - 20m", "23:15");
    porch.days = Some(Weekdays::parse("sun..thu").unwrap());
    porch.dates = Some(YearSpan::parse("10-01..04-15").unwrap());
    assert_eq!(porch.to_string(), "from sunset - 20m to 23:15, sun..thu, 10-01..04-15");
    assert_eq!(porch.fault(), None);
    let saturdays = Window { days: Some(Weekdays::parse("sat").unwrap()), ..Window::default() };
    assert_eq!(saturdays.to_string(), "all day, sat");
    let (key, fault) = window("06:00", "06:00").fault().unwrap();
    assert!(key == "to" && fault.to_string().contains("leave out both ends"));
    let clamped = Window { not_after: Some(Time::constant(8, 0, 0, 0)), ..window("06:30", "sunrise + 15m") };
    assert_eq!(clamped.to_string(), "from 06:30 to sunrise + 15m, not after 08:00");
}

proptest! {
    #[test]
    fn shown_reads_back(bits in 1_u8..128, hour in 0_i8..24, minute in 0_i8..60, second in 0_i8..60, event in 0_usize..4,
        offset_s in -OFFSET_S_MAX..=OFFSET_S_MAX, first in 1_i16..=365, last in 1_i16..=365) {
        let days = Weekdays(bits);
        prop_assert_eq!(Weekdays::parse(&days.to_string()), Ok(days));
        let clock = WindowEnd::Clock(Time::new(hour, minute, second, 0).unwrap());
        prop_assert_eq!(WindowEnd::parse(&clock.to_string()), Ok(clock));
        let sun = WindowEnd::Sun(SunEvent::ALL[event], offset_s);
        prop_assert_eq!(WindowEnd::parse(&sun.to_string()), Ok(sun));
        let [from, to] = [first, last].map(|day| {
            let day = date(2025, 1, 1).with().day_of_year(day).build().unwrap();
            (day.month(), day.day())
        });
        let dates = YearSpan { from, to };
        prop_assert_eq!(YearSpan::parse(&dates.to_string()), Ok(dates));
    }

    #[test]
    fn any_text_is_answered(text in ".{0,24}", near in "(sunset|dusk|mon|1)?[-+. :,]{0,2}[0-9a-z]{0,3}[-.:]{0,2}[0-9]{0,2}") {
        for text in [&text, &near] {
            let _ = (WindowEnd::parse(text), Weekdays::parse(text), YearSpan::parse(text), parse_clock(text));
        }
    }
}
