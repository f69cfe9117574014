//! What people did outlives restarts: holds as far as the clocks allow, withdrawals for good, hands that nobody saw.

use standfast::engine::{Event, HoldEndReason};
use standfast::house::State::{Off, On};

use crate::bench::{Bench, span};
use crate::restart::{HOUSE, ask, played};

fn ends(bench: &mut Bench, load: &str) -> Vec<HoldEndReason> {
    use standfast::engine::JournalEntry::HoldEnded;
    let rows = std::mem::take(&mut bench.journal);
    rows.into_iter()
        .filter_map(|row| match row.entry {
            HoldEnded { load: of, why } if of == load => Some(why),
            _ => None,
        })
        .collect()
}

#[test]
fn in_the_same_boot_a_hold_ends_to_the_millisecond() {
    let mut bench = played();
    bench.hold("lamp", "on 1h");
    bench.run_for("20m");
    bench.restart(HOUSE, "10m", true, false);
    bench.run_for("29m59s");
    assert_eq!(ends(&mut bench, "lamp"), []);
    bench.run_for("1s");
    assert_eq!(ends(&mut bench, "lamp"), [HoldEndReason::TimeUp]);
}

#[test]
fn in_another_boot_with_a_trusted_clock_a_hold_loses_the_time_that_passed() {
    let mut bench = played();
    bench.hold("lamp", "on 1h");
    bench.run_for("20m");
    bench.restart(HOUSE, "10m", false, true);
    bench.run_for("29m59s");
    assert_eq!(ends(&mut bench, "lamp"), []);
    bench.run_for("1s");
    assert_eq!(ends(&mut bench, "lamp"), [HoldEndReason::TimeUp]);
}

#[test]
fn in_another_boot_without_a_trusted_clock_a_hold_keeps_the_time_that_it_had_left_as_far_as_that_was_stored() {
    let mut bench = played();
    bench.hold("lamp", "on 1h");
    bench.run_for("20m");
    bench.restart(HOUSE, "10m", false, false);
    // What may have passed since it was stored, 70 s, is taken off: a hold never lasts longer than was said.
    bench.run_for("38m49s");
    assert_eq!(ends(&mut bench, "lamp"), []);
    bench.run_for("1s");
    assert_eq!(ends(&mut bench, "lamp"), [HoldEndReason::TimeUp]);
}

#[test]
fn a_hold_that_ended_meanwhile_ends_at_the_start() {
    let mut bench = played();
    bench.hold("lamp", "on 1h");
    bench.restart(HOUSE, "2h", true, true);
    assert_eq!(ends(&mut bench, "lamp"), [HoldEndReason::TimeUp]);
    assert_eq!(bench.explain("lamp").hold, None);
}

#[test]
fn a_hold_until_a_clock_time_ends_then_in_another_boot_once_the_clock_is_trusted() {
    let mut bench = Bench::played(HOUSE);
    bench.hold("lamp", "on until 13:00");
    bench.restart(HOUSE, "10m", false, false);
    bench.run_for("45m");
    assert_eq!(ends(&mut bench, "lamp"), []);
    bench.trust(true);
    bench.run_until("12:59");
    assert_eq!(ends(&mut bench, "lamp"), []);
    bench.run_until("13:00");
    assert_eq!(ends(&mut bench, "lamp"), [HoldEndReason::TimeUp]);
}

#[test]
fn a_hold_until_the_next_change_is_not_ended_by_the_restart_itself() {
    let mut bench = played();
    ask(&mut bench, true);
    bench.hold("pump", "off");
    bench.run_for("5m");
    bench.restart(HOUSE, "10s", true, true);
    bench.run_for("5m");
    assert_eq!(ends(&mut bench, "pump"), []);
    ask(&mut bench, false);
    assert_eq!(ends(&mut bench, "pump"), [HoldEndReason::RulesChanged]);
}

#[test]
fn a_hold_from_before_waits_like_the_rules_and_one_made_since_does_not() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off off off off");
    bench.from("yard/input/ask", "off");
    bench.hold("lamp", "on 1h");
    // The order was lost with the controller.
    bench.restart(HOUSE, "5s", true, true);
    bench.relays("yard", "off off off off");
    assert_eq!(bench.wanted("lamp"), Off, "as it reported");
    assert!(bench.explain("lamp").hold.is_some());
    bench.from("yard/input/ask", "off");
    assert_eq!(bench.wanted("lamp"), On);
    bench.restart(HOUSE, "5s", true, true);
    bench.relays("yard", "off off off off");
    bench.run_for("300ms");
    bench.hold("lamp", "on 1h");
    assert_eq!(bench.wanted("lamp"), On, "a light button is not dead");
}

#[test]
fn a_withdrawal_outlives_everything() {
    let mut bench = played();
    bench.withdraw("pump", "seal leaks");
    for (after, same_boot, trusted) in [("10s", true, true), ("30d", false, true), ("1h", false, false)] {
        bench.restart(HOUSE, after, same_boot, trusted);
        bench.run_for("1m");
        assert_eq!(bench.explain("pump").slot, Some(1));
        assert_eq!(bench.fallbacks["yard"].encode(), "90 off! off off off");
    }
    assert!(bench.why("pump").contains("seal leaks"));
}

#[test]
fn alarms_and_their_acknowledgement_outlive_a_restart() {
    let mut bench = played();
    bench.step(Event::Alarm { id: "store".to_owned(), text: Some("the disk is full".to_owned()) });
    bench.acknowledge("store");
    let before = bench.alarm("store").clone();
    bench.restart(HOUSE, "10s", false, true);
    assert_eq!(*bench.alarm("store"), before);
}

#[test]
fn a_hand_at_the_board_while_the_daemon_was_down_is_one_hold_dated_from_the_change() {
    let text = format!("{HOUSE}[input.button]\nat = \"yard/button\"\ntoggles = \"lamp\"\n")
        .replace("[load.lamp]", "[load.lamp]\nhold_for = \"1h\"");
    let mut bench = Bench::played(&text);
    let stored = serde_json::to_string(&bench.engine.snapshot()).expect("JSON");
    // The controller is down for an hour and a half; the lease runs out, and at half past someone presses.
    bench.run_players_alone(bench.now.boot + span("1h"));
    bench.pass_to(bench.now.boot + span("1h"));
    bench.press("yard", "button");
    bench.in_air.clear();
    let snapshot = serde_json::from_str(&stored).expect("JSON");
    bench.engine = standfast::engine::Engine::restore(
        bench.engine.house().clone(),
        standfast::engine::Settings { settle: span("30s") },
        bench.now,
        snapshot,
        true,
    );
    bench.run_players_alone(bench.now.boot + span("30m"));
    bench.pass_to(bench.now.boot + span("30m"));
    bench.link_up();
    bench.run_for("1s");
    let hold = bench.explain("lamp").hold.expect("a hold");
    assert_eq!(hold.state, On);
    let left = hold.until.0 - bench.now.wall.0;
    assert!((29 * 60_000..=30 * 60_000 + 20_000).contains(&left), "{left} ms left");
    assert!(bench.runs("lamp"));
}
