//! Cycles and the sun's elevation as the engine lives them: they change when they should without being asked in between,
//! and nobody believes them while the clock is not trusted.

use jiff::Timestamp;
use standfast::engine::Event;
use standfast::house::State::{Off, On};
use standfast::sun::{Position, elevation};
use standfast::units::Span;

use crate::bench::Bench;
use crate::windows::{changes, lamp};

#[test]
fn a_cycle_counts_from_local_midnight() {
    // A day that begins at 23:00 UTC: it is the house's midnight that counts.
    let expected = [
        "06-01 00:00 on",
        "06-01 02:00 off",
        "06-01 09:00 on",
        "06-01 11:00 off",
        "06-01 18:00 on",
        "06-01 20:00 off",
        "06-02 00:00 on",
    ];
    assert_eq!(changes(&lamp("on_for = \"2h\", off_for = \"7h\""), "2026-06-01 00:00", 1), expected);
}

#[test]
fn a_cycle_on_the_days_when_the_clock_changes_counts_hours_that_pass() {
    let found = changes(&lamp("on_for = \"1h\", off_for = \"5h\""), "2026-03-29 00:00", 1);
    assert_eq!(found[..4], ["03-29 00:00 on", "03-29 02:00 off", "03-29 07:00 on", "03-29 08:00 off"]);
    let found = changes(&lamp("on_for = \"1h\", off_for = \"5h\""), "2026-10-25 00:00", 1);
    assert_eq!(found[..4], ["10-25 00:00 on", "10-25 01:00 off", "10-25 05:00 on", "10-25 06:00 off"]);
}

const CYCLE: &str = "on_for = \"10m\", off_for = \"2h\"";

#[test]
fn a_cycle_is_unknown_while_the_clock_is_not_trusted() {
    let text = lamp(CYCLE).replace("kind = \"led\"", "kind = \"led\"\nsafe = \"on\"");
    let mut bench = Bench::at("2026-06-01 01:00", &text);
    bench.relays("yard", "on off off off");
    bench.run_for("31s");
    assert_eq!(bench.wanted("lamp"), Off);
    bench.trust(false);
    assert_eq!(bench.wanted("lamp"), On, "it is not known, so the safe state");
    assert!(bench.why("lamp").contains("the clock is not trusted, so where the cycle"), "{}", bench.why("lamp"));
    bench.trust(true);
    assert_eq!(bench.wanted("lamp"), Off);
}

#[test]
fn a_cycle_is_found_where_it_stands_after_a_restart_and_a_step_of_the_clock() {
    let mut bench = Bench::at("2026-06-01 02:05", &lamp(CYCLE));
    bench.relays("yard", "off off off off");
    assert_eq!(bench.wanted("lamp"), Off);
    bench.restart(&lamp(CYCLE), "10m", false, true);
    bench.relays("yard", "off off off off");
    assert_eq!(bench.wanted("lamp"), On, "02:10 was over meanwhile, 02:20 is not");
    let why = bench.cause("lamp");
    assert!(why.contains("the cycle on for 10m, off for 2h is on until Mon 1 Jun 02:20"), "{why}");
    // Half an hour back it was off; half an hour on it is again.
    bench.step_clock(-30 * 60_000);
    assert_eq!(bench.wanted("lamp"), Off);
    bench.run_until("02:10");
    assert_eq!(bench.wanted("lamp"), On);
    bench.step_clock(30 * 60_000);
    assert_eq!(bench.wanted("lamp"), Off);
    assert!(bench.engine.next_deadline().wall.is_some(), "it waits for its next turn");
}

#[test]
fn a_reload_with_another_cycle_acts_at_once() {
    let mut bench = Bench::at("2026-06-01 00:15", &lamp(CYCLE));
    bench.relays("yard", "off off off off");
    assert_eq!(bench.wanted("lamp"), Off);
    bench.reload(&lamp(CYCLE).replace("10m", "20m"));
    assert_eq!(bench.wanted("lamp"), On);
    bench.run_until("00:20");
    assert_eq!(bench.wanted("lamp"), Off);
}

/// A summer's day and night, each minute: nobody steps the engine but at its own deadlines.
#[test]
fn the_suns_elevation_is_passed_when_the_engine_says_so() {
    let position = Position { latitude: 54.60, longitude: -3.14 };
    let mut bench = Bench::at("2026-05-12 12:00", &lamp("sun = \"<= -3\""));
    bench.relays("yard", "off off off off");
    let mut turns = 0;
    for _ in 0..24 * 60 {
        let before = bench.wanted("lamp");
        bench.run_for("1m");
        let at = Timestamp::from_millisecond(bench.now.wall.0).unwrap();
        let degrees = elevation(position, at).unwrap();
        assert_eq!(bench.wanted("lamp") == On, degrees <= -3.0, "{at}: {degrees}");
        turns += u32::from(bench.wanted("lamp") != before);
    }
    assert_eq!(turns, 2);
}

/// Whenever it is reckoned anew, a change of the house reckons the same moment.
#[test]
fn the_sun_passes_an_elevation_at_the_same_moment_whenever_it_is_reckoned() {
    let house = lamp("sun = \"<= -3\"");
    let mut bench = Bench::at("2026-05-12 12:00", &house);
    bench.relays("yard", "off off off off");
    let due = bench.engine.next_deadline().wall.expect("the sun sets");
    for before in [7_200_123, 61_003, 1_999, 1_000, 613, 1] {
        bench.pass_to(bench.now.boot + Span((due.0 - bench.now.wall.0 - before) as u64));
        bench.step(Event::Woken);
        bench.reload(&house);
        assert_eq!((bench.wanted("lamp"), bench.engine.next_deadline().wall), (Off, Some(due)), "{before} ms before");
    }
    bench.run_for("1ms");
    assert_eq!(bench.wanted("lamp"), On);
}

#[test]
fn the_sun_is_explained_and_unknown_while_the_clock_is_not_trusted() {
    let mut bench = Bench::at("2026-05-12 23:30", &lamp("sun = \"<= -3\""));
    bench.relays("yard", "off off off off");
    let why = bench.cause("lamp");
    assert!(why.contains("the sun stands at -1") && why.contains("°, <= -3 until Wed 13 May 04:"), "{why}");
    bench.trust(false);
    let why = bench.why("lamp");
    assert!(why.contains("the clock is not trusted, so where the sun stands is not known"), "{why}");
    assert_eq!(bench.wanted("lamp"), Off);
}

#[test]
fn what_the_sun_never_reaches_is_never_waited_for() {
    let bench = Bench::new(&lamp("sun = \">= 70\""));
    assert_eq!(bench.engine.next_deadline().wall, None);
    let bench = Bench::new(&lamp("sun = \">= 50\""));
    assert!(bench.engine.next_deadline().wall.is_some());
}
