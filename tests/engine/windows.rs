//! Windows as the engine lives them: it opens and closes at their ends, on their days, through DST, without being asked.

use standfast::house::State::On;

use crate::bench::Bench;

/// A lamp on a condition.
pub fn lamp(window: &str) -> String {
    format!(
        "[load.lamp]\nrelay = \"yard/1\"\nkind = \"led\"\n[rule.lit]\nload = \"lamp\"\ndemand = \"on\"\nwhile = {{ {window} }}\n"
    )
}

fn stamp(bench: &Bench) -> String {
    let zone = bench.engine.house().site.zone.clone();
    bench.now.wall.instant().to_zoned_datetime(zone).strftime("%m-%d %H:%M").to_string()
}

/// Every change within some days, as the house's clock shows it, found by stepping only when the engine asks to be.
pub fn changes(text: &str, start: &str, days: u32) -> Vec<String> {
    let mut bench = Bench::at(start, text);
    bench.relays("yard", "off off off off");
    let end = bench.now.boot + standfast::units::Span::from_h(24 * u64::from(days));
    let mut found = vec![format!("{} {}", stamp(&bench), bench.wanted("lamp"))];
    while let Some(due) = bench.engine.next_deadline().wall {
        let ms = due.0 - bench.now.wall.0;
        assert!(ms > 0, "never in the past");
        if bench.now.boot.0 + ms as u64 > end.0 {
            break;
        }
        let before = bench.wanted("lamp");
        bench.run_for(&format!("{}ms", ms - 1));
        assert_eq!(bench.wanted("lamp"), before, "no sooner than the end");
        bench.run_for("1ms");
        if bench.wanted("lamp") != before {
            found.push(format!("{} {}", stamp(&bench), bench.wanted("lamp")));
        }
    }
    found
}

fn check(window: &str, start: &str, days: u32, expected: &[&str]) {
    assert_eq!(changes(&lamp(window), start, days), expected, "{window}");
}

#[test]
fn a_window_within_a_day() {
    check(
        r#"from = "06:30", to = "08:00""#,
        "2026-06-01 00:00",
        2,
        &["06-01 00:00 off", "06-01 06:30 on", "06-01 08:00 off", "06-02 06:30 on", "06-02 08:00 off"],
    );
}

/// In January the sun rises long after eight and sets long before five here; in June the clamp of the morning holds nothing.
#[test]
fn a_clamp_holds_an_end_by_the_sun_to_a_clock_time() {
    let mornings = r#"from = "04:00", to = "sunrise + 15m", not_after = "08:00""#;
    check(mornings, "2026-01-04 00:00", 1, &["01-04 00:00 off", "01-04 04:00 on", "01-04 08:00 off"]);
    let summer = changes(&lamp(mornings), "2026-06-01 00:00", 1);
    assert!(summer[2].starts_with("06-01 04:5"), "{summer:?}");
    check(
        r#"from = "sunset", to = "23:15", not_before = "17:00""#,
        "2026-01-04 00:00",
        1,
        &["01-04 00:00 off", "01-04 17:00 on", "01-04 23:15 off"],
    );
    let mut bench = Bench::at("2026-01-04 07:00", &lamp(mornings));
    bench.relays("yard", "off off off off");
    let why = bench.cause("lamp");
    assert!(why.contains("from 04:00 to sunrise + 15m, not after 08:00 is open until Sun"), "{why}");
}

#[test]
fn a_window_over_midnight() {
    check(
        r#"from = "22:00", to = "06:00""#,
        "2026-06-01 12:00",
        2,
        &["06-01 12:00 off", "06-01 22:00 on", "06-02 06:00 off", "06-02 22:00 on", "06-03 06:00 off"],
    );
}

#[test]
fn a_window_on_some_days_belongs_to_the_day_that_it_starts_on() {
    // 2026-06-05 is a Friday.
    check(
        r#"from = "22:00", to = "06:00", days = "fri..sat""#,
        "2026-06-04 12:00",
        5,
        &["06-04 12:00 off", "06-05 22:00 on", "06-06 06:00 off", "06-06 22:00 on", "06-07 06:00 off"],
    );
}

#[test]
fn a_window_between_dates_that_pass_the_year() {
    check(
        r#"from = "10:00", to = "11:00", dates = "12-31..01-01""#,
        "2026-12-29 12:00",
        6,
        &["12-29 12:00 off", "12-31 10:00 on", "12-31 11:00 off", "01-01 10:00 on", "01-01 11:00 off"],
    );
}

#[test]
fn a_window_at_the_sun_moves_with_it() {
    let text = lamp(r#"from = "sunset", to = "23:15""#);
    let found = changes(&text, "2026-06-01 12:00", 22);
    let sunsets: Vec<&String> = found.iter().filter(|change| change.ends_with("on")).collect();
    assert_eq!(sunsets.len(), 22);
    assert!(sunsets[0] < &"06-01 21:45 on".to_owned() && sunsets[0] > &"06-01 21:30 on".to_owned(), "{sunsets:?}");
    assert!(sunsets[21][6..11] > sunsets[0][6..11], "later towards the solstice: {sunsets:?}");
    assert!(
        found
            .iter()
            .filter(|change| change.ends_with("off"))
            .all(|change| change.contains("23:15") || change.contains("12:00"))
    );
}

#[test]
fn a_window_that_the_sun_has_made_empty_does_not_open() {
    let text = lamp(r#"from = "sunset", to = "20:00""#);
    assert_eq!(changes(&text, "2026-06-01 12:00", 10).len(), 1);
    assert_eq!(changes(&text, "2026-12-01 12:00", 10).len(), 21);
}

#[test]
fn the_night_in_spring_that_loses_an_hour() {
    // 2026-03-29, Europe/London: 01:00 becomes 02:00.
    check(
        r#"from = "01:30", to = "03:00""#,
        "2026-03-28 12:00",
        2,
        &["03-28 12:00 off", "03-29 02:00 on", "03-29 03:00 off", "03-30 01:30 on", "03-30 03:00 off"],
    );
    check(
        r#"from = "00:30", to = "01:30""#,
        "2026-03-28 12:00",
        1,
        &["03-28 12:00 off", "03-29 00:30 on", "03-29 02:00 off"],
    );
}

#[test]
fn the_night_in_autumn_that_has_an_hour_twice() {
    // 2026-10-25, Europe/London: 02:00 becomes 01:00 again; what happens within the fold happens the first time.
    let text = lamp(r#"from = "01:30", to = "03:00""#);
    let mut bench = Bench::at("2026-10-25 00:00", &text);
    bench.relays("yard", "off off off off");
    let mut on_for = 0;
    for _ in 0..300 {
        bench.run_for("1m");
        on_for += u32::from(bench.wanted("lamp") == On);
    }
    assert_eq!(on_for, 150, "from the first 01:30 to 03:00 it is two and a half hours");
}

#[test]
fn two_windows_of_one_rule_are_two() {
    let text = "[load.lamp]\nrelay = \"yard/1\"\nkind = \"led\"\n[rule.lit]\nload = \"lamp\"\ndemand = \"on\"\nwhile.any = [{ from = \"06:00\", to = \"07:00\" }, { from = \"06:30\", to = \"08:00\" }]\n";
    let expected = ["06-01 00:00 off", "06-01 06:00 on", "06-01 08:00 off"];
    assert_eq!(changes(text, "2026-06-01 00:00", 1), expected);
}

#[test]
fn a_window_delayed_ends_its_delay_after_its_end() {
    let text = lamp(r#"from = "06:30", to = "08:00""#) + "off_delay = \"15m\"\non_delay = \"5m\"\n";
    let mut bench = Bench::at("2026-06-01 06:00", &text);
    bench.relays("yard", "off off off off");
    for (clock, on) in [("06:34", false), ("06:35", true), ("08:14", true), ("08:15", false)] {
        bench.run_until(clock);
        assert_eq!(bench.wanted("lamp") == On, on, "{clock}");
    }
}

#[test]
fn other_zones_keep_their_own_clock() {
    // Lord Howe moves by half an hour: 2026-04-05 at 02:00 back to 01:30.
    let site = "[site]\nposition = [-31.55, 159.08]\nzone = \"Australia/Lord_Howe\"\n";
    let text = site.to_owned() + &lamp(r#"from = "01:00", to = "02:30""#);
    let mut bench = Bench::at("2026-04-05 00:00", &text);
    bench.relays("yard", "off off off off");
    let mut on_for = 0;
    for _ in 0..300 {
        bench.run_for("1m");
        on_for += u32::from(bench.wanted("lamp") == On);
    }
    assert_eq!(on_for, 120);
}
