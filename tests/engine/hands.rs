//! Hands: buttons, remotes and boards that switch by themselves. All make the same hold.

use standfast::board::Faults;
use standfast::engine::{Answer, By, HoldEndReason, JournalEntry};
use standfast::house::{
    State::{Off, On},
    Term,
};

use crate::bench::{Bench, house, span};

const HOUSE: &str = r#"
[input.ask]
at = "yard/ask"
[input.button]
at = "yard/button"
toggles = "lamp"
hold_for = "1h"
[input.on-key]
at = "yard/ir"
code = "A1"
holds = "lamp on"
[input.off-key]
at = "yard/ir"
code = "A2"
holds = "lamp off"
[input.auto-key]
at = "yard/ir"
code = "A3"
releases = "lamp"
[load.lamp]
relay = "yard/1"
kind = "lamp"
hold_for = "2h"
[rule.lit]
load = "lamp"
demand = "on"
while = { input = "ask", is = "on" }
"#;

fn scripted(text: &str) -> Bench {
    let mut bench = Bench::new(text);
    bench.relays("yard", "off:9000:0:0 off off off");
    bench.from("yard/input/ask", "off");
    bench.run_for("31s");
    bench
}

fn left(bench: &Bench, load: &str) -> i64 {
    bench.explain(load).hold.expect("a hold").until.0 - bench.now.wall.0
}

#[test]
fn a_button_toggles_the_opposite_of_what_is_wanted_now() {
    let mut bench = scripted(HOUSE);
    bench.from("yard/input/button", "press 1");
    assert_eq!((bench.wanted("lamp"), bench.explain("lamp").slot), (On, Some(8)));
    bench.from("yard/input/button", "press 2");
    assert_eq!((bench.wanted("lamp"), bench.explain("lamp").slot), (Off, Some(8)));
}

#[test]
fn a_toggle_while_a_rule_wants_on_holds_off() {
    let mut bench = scripted(HOUSE);
    bench.from("yard/input/ask", "on");
    bench.from("yard/input/button", "press 1");
    assert_eq!(bench.wanted("lamp"), Off);
}

#[test]
fn the_buttons_own_hold_for_comes_before_that_of_the_load() {
    let mut bench = scripted(HOUSE);
    bench.from("yard/input/button", "press 1");
    assert_eq!(left(&bench, "lamp"), 3_600_000);
    bench.from("yard/input/ir", "A1 1");
    assert_eq!(left(&bench, "lamp"), 7_200_000);
}

#[test]
fn keys_hold_and_release() {
    let mut bench = scripted(HOUSE);
    bench.from("yard/input/ask", "on");
    bench.from("yard/input/ir", "A2 1");
    assert_eq!(bench.wanted("lamp"), Off);
    bench.from("yard/input/ir", "A3 2");
    assert_eq!((bench.wanted("lamp"), bench.explain("lamp").slot), (On, Some(16)));
    bench.from("yard/input/ir", "A1 3");
    assert_eq!(bench.explain("lamp").hold.expect("a hold").by, By::Input("on-key".to_owned()));
}

#[test]
fn pressing_twice_within_min_on_ends_off() {
    let text = HOUSE.replace("kind = \"lamp\"", "kind = \"fluorescent\"\nmin_on = \"2m\"\nmin_off = \"1m\"");
    let mut bench = Bench::played(&text);
    bench.run_for("2m");
    bench.press("yard", "button");
    bench.run_for("1s");
    assert!(bench.runs("lamp"));
    bench.press("yard", "button");
    bench.run_for("1s");
    assert!(bench.runs("lamp"), "min on keeps it for now");
    assert_eq!(bench.explain("lamp").hold.expect("a hold").state, Off);
    bench.press("yard", "button");
    bench.run_for("1s");
    assert_eq!(bench.explain("lamp").hold.expect("a hold").state, On, "a third press thinks better of it");
    bench.press("yard", "button");
    bench.run_for("2m");
    assert!(!bench.runs("lamp"));
}

#[test]
fn a_press_on_a_withdrawn_load_does_nothing() {
    let mut bench = scripted(HOUSE);
    bench.withdraw("lamp", "glass broken");
    bench.from("yard/input/button", "press 1");
    assert_eq!((bench.wanted("lamp"), bench.explain("lamp").hold), (Off, None));
    bench.restore("lamp");
    assert_eq!(bench.explain("lamp").hold, None, "and does not come back later");
}

#[test]
fn a_button_whose_hold_runs_until_a_clock_time_is_not_dead_while_the_clock_is_not_trusted() {
    let mut house = house(HOUSE);
    house.inputs.iter_mut().for_each(|input| input.hold_for = Some(Term::parse("until 22:00").expect("a term")));
    let mut bench = Bench::of_house("2026-06-01 12:00", house);
    bench.link_up();
    bench.relays("yard", "off:9000:0:0 off off off");
    bench.trust(false);
    bench.from("yard/input/button", "press 1");
    assert_eq!(bench.wanted("lamp"), On);
    assert!(bench.explain("lamp").hold.expect("a hold").until_next_change);
    assert!(left(&bench, "lamp") <= 24 * 3_600_000);
}

#[test]
fn a_hand_at_the_board_is_one_hold_of_the_present_state() {
    let mut bench = scripted(HOUSE);
    bench.relays("yard", "on:5:1:1 off off off");
    let hold = bench.explain("lamp").hold.expect("a hold");
    assert_eq!((hold.state, hold.by), (On, By::Board("yard/1".to_owned())));
    assert_eq!(bench.ordered("yard"), "on - - -", "and it is not undone");
    bench.take_journal();
    bench.relays("yard", "on:25:1:1 off off off");
    assert!(bench.take_journal().is_empty(), "the same count again is no news");
}

#[test]
fn several_hands_between_two_reports_are_one_hold_of_what_came_of_them() {
    let mut bench = scripted(HOUSE);
    bench.take_journal();
    bench.relays("yard", "off:2:4:4 off off off");
    assert_eq!(bench.explain("lamp").hold.expect("a hold").state, Off);
    let held = bench.take_journal().into_iter().filter(|row| row.contains("\"held\"")).count();
    assert_eq!(held, 1);
}

#[test]
fn a_hand_is_dated_from_the_change() {
    let mut bench = scripted(HOUSE);
    bench.relays("yard", "on:3000:1:1 off off off");
    let left = left(&bench, "lamp");
    assert!((7_200_000 - 3_000_000 - 1000..=7_200_000 - 3_000_000).contains(&left), "{left} ms left of two hours");
}

#[test]
fn a_hand_longer_ago_than_its_hold_lasts_is_over_already() {
    let mut bench = scripted(HOUSE);
    bench.relays("yard", "on:7300:1:1 off off off");
    assert_eq!(bench.explain("lamp").hold, None);
    assert_eq!(bench.ordered("yard"), "off - - -");
}

#[test]
fn a_hand_whose_hold_ran_until_a_clock_time_that_is_past_is_over_already() {
    let mut house = house(HOUSE);
    house.loads[0].hold_for = Term::parse("until 12:00").expect("a term");
    let mut bench = Bench::of_house("2026-06-01 11:00", house);
    bench.link_up();
    bench.from("yard/report", "17 1 0 off:9000:0:0 off off off");
    bench.from("yard/input/ask", "off");
    bench.run_for("50m");
    bench.run_until("12:10");
    // Pressed at ten to twelve, while the board was out of reach.
    bench.from("yard/report", "17 2 0 on:1200:1:1 off off off");
    assert_eq!(bench.explain("lamp").hold, None);
    // Pressed at five past: until noon tomorrow.
    bench.from("yard/report", "17 3 0 off:300:2:2 off off off");
    assert_eq!(bench.explain("lamp").hold.expect("a hold").state, Off);
}

#[test]
fn the_first_count_ever_heard_is_no_hand() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "on:9000:12:7 off off off");
    assert_eq!(bench.explain("lamp").hold, None);
}

#[test]
fn hands_count_from_zero_after_a_reboot() {
    let mut bench = scripted(HOUSE);
    bench.relays("yard", "off:9031:4:4 off off off");
    bench.hold("lamp", "release");
    bench.from("yard/life", "birth 18 power-on");
    bench.from("yard/report", "18 1 0 off:3:0:0 off off off");
    assert_eq!(bench.explain("lamp").hold, None, "a lower count is no hand");
    bench.from("yard/report", "18 2 0 on:3:1:1 off off off");
    assert_eq!(bench.explain("lamp").hold.expect("a hold").state, On, "though it was four before");
}

#[test]
fn a_hand_that_the_first_report_of_a_new_boot_tells_of_counts() {
    let mut bench = scripted(HOUSE);
    bench.from("yard/report", "18 1 0 on:100:1:1 off off off");
    assert_eq!(bench.explain("lamp").hold.expect("a hold").state, On);
}

#[test]
fn a_change_without_a_hand_is_no_hold() {
    let mut bench = scripted(HOUSE);
    bench.relays("yard", "on:5:1:0 off off off");
    assert_eq!(bench.explain("lamp").hold, None);
    assert_eq!(bench.ordered("yard"), "off - - -", "it is ordered back");
}

#[test]
fn a_board_whose_buttons_switch_once_its_lease_is_over_tells_of_it_later() {
    let mut bench = Bench::played(HOUSE);
    bench.unplug("yard");
    bench.run_for("10m");
    bench.press("yard", "button");
    assert!(bench.runs("lamp"), "the light works without the controller");
    bench.run_for("5m");
    bench.plug("yard");
    bench.run_for("1s");
    assert!(bench.runs("lamp"), "and stays as the hand left it");
    let hold = bench.explain("lamp").hold.expect("a hold");
    assert_eq!(hold.by, By::Board("yard/1".to_owned()));
    let left = hold.until.0 - bench.now.wall.0;
    assert!((left - (7_200_000 - 301_000)).abs() < 5_000, "{left} ms left");
}

#[test]
fn a_withdrawn_loads_board_is_deaf_once_its_lease_is_over() {
    let mut bench = Bench::played(HOUSE);
    bench.withdraw("lamp", "");
    bench.run_for("1s");
    bench.unplug("yard");
    bench.run_for("10m");
    bench.press("yard", "button");
    assert!(!bench.runs("lamp"));
}

#[test]
fn firmware_whose_buttons_always_switch_is_accepted_the_same_way() {
    let mut bench = Bench::new(HOUSE);
    bench.play_with("yard", Faults { buttons_always_switch: true, ..Faults::default() });
    bench.run_for("31s");
    for expected in [true, false, true] {
        bench.press("yard", "button");
        bench.run_for("30s");
        assert_eq!(bench.runs("lamp"), expected);
        assert!(bench.explain("lamp").hold.is_some());
    }
}

#[test]
fn a_hand_against_a_withdrawal_is_undone() {
    let mut bench = scripted(HOUSE);
    bench.withdraw("lamp", "");
    bench.relays("yard", "on:1:1:1 off off off");
    assert_eq!(bench.explain("lamp").hold, None);
    assert_eq!(bench.ordered("yard"), "off - - -");
}

#[test]
fn a_hand_replaces_a_hold() {
    let mut bench = scripted(HOUSE);
    bench.hold("lamp", "on 1h");
    bench.relays("yard", "on:1:1:0 off off off");
    bench.relays("yard", "off:1:2:1 off off off");
    assert_eq!(bench.explain("lamp").hold.expect("a hold").state, Off);
    let replaced = bench
        .journal
        .iter()
        .any(|row| matches!(row.entry, JournalEntry::HoldEnded { why: HoldEndReason::Replaced, .. }));
    assert!(replaced);
}

#[test]
fn the_journal_says_that_a_hand_moved_the_contact() {
    let mut bench = scripted(HOUSE);
    bench.take_journal();
    bench.relays("yard", "on:1:1:1 off off off");
    let rows = bench.take_journal();
    assert!(rows.iter().any(|row| row.contains("\"changed\"") && row.contains("hand-at-board")), "{rows:?}");
}

#[test]
fn hands_on_a_relay_without_a_load_hold_nothing() {
    let mut bench = scripted(HOUSE);
    bench.relays("yard", "off:9040:0:0 on:1:1:1 off off");
    assert_eq!(bench.ordered("yard"), "off - - -");
    assert_eq!(bench.explain("lamp").hold, None);
}

#[test]
fn a_message_that_names_no_term_takes_that_of_the_load() {
    let mut bench = scripted(HOUSE);
    let answer = bench.hold("lamp", "on");
    assert!(matches!(answer, Answer::Held { state: On, until: Some(_), .. }), "{answer:?}");
    assert_eq!(left(&bench, "lamp"), span("2h").0 as i64);
}
