//! Clocks that step, lose trust, or say absurd things: schedules follow the wall clock, durations do not (I5).

use standfast::house::State::{Off, On};
use standfast::units::{BootTime, WallTime};

use crate::bench::Bench;

const HOUR: i64 = 3_600_000;
const YEAR: i64 = 365 * 24 * HOUR;

const HOUSE: &str = r#"
[load.lamp]
relay = "yard/1"
kind = "led"
[load.pump]
relay = "yard/2"
kind = "motor"
min_on = "10m"
min_off = "10m"
[rule.lit]
load = "lamp"
demand = "on"
while = { from = "11:00", to = "13:00" }
"#;

#[test]
fn a_window_follows_a_clock_that_is_stepped() {
    let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
    assert_eq!(bench.wanted("lamp"), On);
    for (step, expected) in [(HOUR, Off), (-HOUR, On), (-2 * HOUR, Off), (2 * HOUR, On)] {
        bench.step_clock(step);
        assert_eq!(bench.wanted("lamp"), expected, "after {step}");
    }
}

#[test]
fn a_window_follows_a_clock_that_is_years_off() {
    for years in [-10, 10, -50, 100] {
        let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
        let days = years * 365;
        // Whole days: the same time of day in UTC, and in summer as in winter the window is open at noon.
        bench.step_clock(days * 24 * HOUR);
        assert_eq!(bench.wanted("lamp"), On, "{years} years");
        bench.run_for("2h10m");
        assert_eq!(bench.wanted("lamp"), Off, "it closes there too");
        bench.step_clock(-days * 24 * HOUR);
        bench.run_until("12:00");
        assert_eq!(bench.wanted("lamp"), On, "and back");
    }
}

#[test]
fn schedules_are_recomputed_and_never_replayed() {
    let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
    bench.take_journal();
    bench.relays("yard", "on off off off");
    let before = bench.orders["yard"].number;
    bench.step_clock(10 * YEAR);
    let said = bench.orders["yard"].number - before;
    assert!(said <= 1, "{said} orders for ten years");
}

#[test]
fn a_window_is_unknown_while_the_clock_is_not_trusted() {
    let safe_on = HOUSE.replace("[load.lamp]", "[load.lamp]\nsafe = \"on\"");
    for (text, while_unknown) in [(HOUSE, Off), (safe_on.as_str(), On)] {
        let mut bench = Bench::at("2026-06-01 12:00", text);
        assert_eq!(bench.wanted("lamp"), On);
        bench.trust(false);
        assert_eq!(bench.wanted("lamp"), while_unknown);
        bench.run_for("2h");
        assert_eq!(bench.wanted("lamp"), while_unknown, "unknown beyond the window's end too");
        bench.trust(true);
        assert_eq!(bench.wanted("lamp"), Off, "two o'clock");
    }
}

#[test]
fn no_wall_time_is_waited_for_while_the_clock_is_not_trusted() {
    let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
    assert!(bench.engine.next_deadline().wall.is_some());
    bench.trust(false);
    assert_eq!(bench.engine.next_deadline().wall, None);
}

#[test]
fn the_next_deadline_is_the_windows_end_by_the_wall_clock() {
    let bench = Bench::at("2026-06-01 12:00", HOUSE);
    assert_eq!(bench.engine.next_deadline().wall, Some(WallTime(bench.now.wall.0 + HOUR)));
}

#[test]
fn a_hold_for_a_duration_does_not_care_for_the_wall_clock() {
    for step in [HOUR, -HOUR, 10 * YEAR, -10 * YEAR] {
        let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
        bench.hold("pump", "on 2h");
        bench.run_for("30m");
        bench.step_clock(step);
        bench.run_for("89m");
        assert!(bench.explain("pump").hold.is_some(), "after {step}");
        bench.run_for("1m");
        assert_eq!(bench.explain("pump").hold, None, "after {step}");
    }
}

#[test]
fn a_hold_until_a_clock_time_never_lasts_longer_than_was_said() {
    // Said at noon: until six, so six hours at most, whatever the clock does.
    let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
    bench.hold("pump", "on until 18:00");
    bench.run_for("1h");
    bench.step_clock(-3 * HOUR);
    bench.run_for("4h59m");
    assert!(bench.explain("pump").hold.is_some());
    bench.run_for("1m");
    assert_eq!(bench.explain("pump").hold, None, "by the clock it is only three");
}

#[test]
fn a_hold_until_a_clock_time_ends_early_when_the_clock_is_put_forward() {
    let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
    bench.hold("pump", "on until 18:00");
    bench.run_for("1h");
    bench.step_clock(3 * HOUR);
    bench.run_for("1h59m");
    assert!(bench.explain("pump").hold.is_some());
    bench.run_for("1m");
    assert_eq!(bench.explain("pump").hold, None);
}

#[test]
fn a_clock_put_forward_beyond_the_end_ends_the_hold_at_once() {
    let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
    bench.hold("pump", "on until 18:00");
    bench.step_clock(10 * YEAR);
    assert_eq!(bench.explain("pump").hold, None);
}

#[test]
fn without_trust_a_hold_until_a_clock_time_ends_by_boot_time() {
    let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
    bench.hold("pump", "on until 18:00");
    bench.trust(false);
    bench.step_clock(10 * YEAR);
    assert!(bench.explain("pump").hold.is_some(), "a clock that nobody trusts ends nothing");
    bench.step_clock(-10 * YEAR);
    bench.run_for("5h59m");
    assert!(bench.explain("pump").hold.is_some());
    bench.run_for("1m");
    assert_eq!(bench.explain("pump").hold, None);
}

#[test]
fn a_hold_across_the_end_of_summer_time_lasts_the_hours_that_were_said() {
    // 2026-10-25, Europe/London: 02:00 BST becomes 01:00 GMT.
    let mut bench = Bench::at("2026-10-25 00:30", HOUSE);
    bench.hold("pump", "on 3h");
    bench.run_for("2h59m");
    assert!(bench.explain("pump").hold.is_some());
    bench.run_for("1m");
    assert_eq!(bench.explain("pump").hold, None);
}

#[test]
fn a_hold_until_a_clock_time_that_comes_twice_ends_the_first_time() {
    let mut bench = Bench::at("2026-10-25 00:00", HOUSE);
    bench.hold("pump", "on until 01:30");
    bench.run_for("1h29m");
    assert!(bench.explain("pump").hold.is_some());
    bench.run_for("1m");
    assert_eq!(bench.explain("pump").hold, None);
}

#[test]
fn a_hold_until_a_clock_time_that_does_not_exist_ends_at_the_transition() {
    // 2026-03-29, Europe/London: 01:00 GMT becomes 02:00 BST.
    let mut bench = Bench::at("2026-03-29 00:00", HOUSE);
    bench.hold("pump", "on until 01:30");
    bench.run_for("59m");
    assert!(bench.explain("pump").hold.is_some());
    bench.run_for("1m");
    assert_eq!(bench.explain("pump").hold, None);
}

#[test]
fn min_on_does_not_care_for_the_wall_clock() {
    let mut bench = Bench::played(HOUSE);
    bench.run_for("11m");
    bench.hold("pump", "on 1m");
    bench.run_for("2m");
    assert!(bench.runs("pump"));
    bench.step_clock(10 * YEAR);
    bench.run_for("1m");
    assert!(bench.runs("pump"));
    bench.step_clock(-10 * YEAR);
    bench.run_for("6m");
    assert!(bench.runs("pump"));
    bench.run_for("1m10s");
    assert!(!bench.runs("pump"));
}

#[test]
fn a_boot_time_that_goes_back_is_taken_as_standing_still() {
    let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
    bench.hold("pump", "on 1h");
    bench.run_for("30m");
    let now = bench.engine.now().boot;
    bench.now.boot = BootTime(5);
    let mut out = Vec::new();
    bench.engine.step(bench.now, standfast::engine::Event::Woken, &mut out);
    assert_eq!(bench.engine.now().boot, now);
    assert!(bench.explain("pump").hold.is_some());
}

#[test]
fn a_step_that_comes_late_does_everything_that_was_due() {
    let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
    bench.relays("yard", "off off off off");
    bench.hold("pump", "on 1h");
    // The machine was suspended for a day and a bit: nobody stepped the engine meanwhile.
    let later = bench.now.boot + standfast::units::Span::from_h(24 + 2);
    bench.pass_to(later);
    bench.step(standfast::engine::Event::Woken);
    assert_eq!(bench.explain("pump").hold, None);
    assert_eq!(bench.wanted("lamp"), Off);
    assert_eq!(bench.engine.presence(bench.board("yard")), standfast::engine::Presence::Lost);
}

/// A clock that is set right by degrees runs fast meanwhile.
#[test]
fn a_restart_of_the_machine_shortens_no_protection_for_a_clock_that_ran_fast() {
    let text = "[load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\nmax_starts = \"1 per 10m\"\n";
    let mut bench = Bench::played(text);
    bench.hold("pump", "on 5s");
    bench.run_for("10s");
    bench.hold("pump", "on 2h");
    bench.restart(text, "9m", false, true);
    bench.run_for("52s");
    assert!(!bench.runs("pump"), "the nine minutes may have been a few seconds less");
    bench.run_for("5s");
    assert!(bench.runs("pump"));
}
