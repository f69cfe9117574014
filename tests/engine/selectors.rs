//! Selectors: who turns them, until when, and what is left of that after restarts and changes of the house.

use standfast::engine::{Answer, Effect, Event};
use standfast::house::SelectorId;
use standfast::house::State::{Off, On};

use crate::bench::{Bench, span};

const HOUSE: &str = r#"
[selector.house]
positions = ["lived-in", "away", "asleep"]

[load.lamp]
relay = "yard/1"
kind = "led"

[rule.as-if-at-home]
load = "lamp"
demand = "on"
while = { selector = "house", is = "away" }

[input.leave]
at = "yard/b1"
selects = "house away"
hold_for = "until 22:00"

[input.knob]
at = "yard/b2"
selects = "house"
"#;

fn bench() -> Bench {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off off off off");
    bench
}

/// `turn("away 3d")`, as on `selector/house`; returns the answer.
fn turn(bench: &mut Bench, words: &str) -> Answer {
    let before = bench.answers.len();
    bench.message("standfast/selector/house", words, false);
    assert_eq!(bench.answers.len(), before + 1, "one answer to {words:?}");
    bench.answers[before].clone()
}

fn position(bench: &Bench) -> &str {
    bench.engine.position(SelectorId(0))
}

#[track_caller]
fn check(bench: &Bench, expected: &str) {
    assert_eq!(position(bench), expected);
    assert_eq!(bench.wanted("lamp"), if expected == "away" { On } else { Off });
}

#[test]
fn never_set_it_is_in_its_first_position() {
    check(&bench(), "lived-in");
}

#[test]
fn a_message_turns_it_at_once_and_for_good() {
    let mut bench = bench();
    let answer = turn(&mut bench, "away");
    assert!(matches!(answer, Answer::Selected { ref position, until: None, .. } if position == "away"), "{answer:?}");
    check(&bench, "away");
    assert!(bench.effects.contains(&Effect::Save));
    bench.run_for("800h");
    check(&bench, "away");
    turn(&mut bench, "lived-in");
    check(&bench, "lived-in");
}

#[test]
fn a_duration_a_time_and_an_event_of_the_sun_end_it() {
    // The sun sets near 21:35 by summer time then.
    for (words, before, after) in
        [("away 3d", "71h59m", "1m"), ("away until 22:00", "9h59m", "1m"), ("away until sunset", "9h", "1h")]
    {
        let mut bench = bench();
        turn(&mut bench, words);
        bench.run_for(before);
        check(&bench, "away");
        bench.run_for(after);
        check(&bench, "lived-in");
    }
}

#[test]
fn release_puts_it_back_to_the_first_position_and_twice_is_nothing() {
    let mut bench = bench();
    turn(&mut bench, "asleep");
    assert_eq!(turn(&mut bench, "release"), Answer::Done);
    check(&bench, "lived-in");
    assert_eq!(turn(&mut bench, "release"), Answer::Nothing);
}

#[test]
fn a_later_turn_replaces_the_end_of_an_earlier_one() {
    let mut bench = bench();
    turn(&mut bench, "away 1h");
    turn(&mut bench, "away");
    bench.run_for("25h");
    check(&bench, "away");
    turn(&mut bench, "asleep 1h");
    bench.run_for("1h");
    check(&bench, "lived-in");
}

#[test]
fn the_same_again_without_an_end_changes_nothing_and_fills_no_journal() {
    let mut bench = bench();
    turn(&mut bench, "away");
    bench.take_journal();
    assert_eq!(turn(&mut bench, "away"), Answer::Nothing);
    assert!(bench.take_journal().is_empty());
    assert!(!bench.effects.contains(&Effect::Save));
}

#[test]
fn what_it_does_not_know_is_refused_with_what_it_knows() {
    let mut bench = bench();
    let Answer::Refused(why) = turn(&mut bench, "gone") else { panic!("it is taken") };
    assert_eq!(why, "selector \"house\" has no position \"gone\"; it has: lived-in, away, asleep");
    let Answer::Refused(why) = turn(&mut bench, "away until next change") else { panic!("it is taken") };
    assert!(why.contains("leave the end out"), "{why}");
    bench.message("standfast/selector/house", "away for ever", false);
    bench.message("standfast/selector/house", "away", true);
    bench.message("standfast/selector/cottage", "away", false);
    check(&bench, "lived-in");
}

#[test]
fn while_the_clock_is_not_trusted_an_end_by_the_clock_is_refused_with_advice() {
    let mut bench = bench();
    bench.trust(false);
    let Answer::Refused(why) = turn(&mut bench, "away until 22:00") else { panic!("it is taken") };
    assert!(why.contains("not trusted") && why.contains("\"2h\""), "{why}");
    check(&bench, "lived-in");
    turn(&mut bench, "away 2h");
    check(&bench, "away");
    bench.run_for("2h");
    check(&bench, "lived-in");
}

#[test]
fn a_button_turns_it_also_while_the_clock_is_not_trusted_and_then_for_a_day_at_most() {
    let mut bench = bench();
    bench.from("yard/input/b1", "press 1");
    check(&bench, "away");
    bench.run_until("22:00");
    check(&bench, "lived-in");
    bench.trust(false);
    bench.from("yard/input/b1", "press 2");
    check(&bench, "away");
    bench.run_for("23h59m");
    check(&bench, "away");
    bench.run_for("1m");
    check(&bench, "lived-in");
}

#[test]
fn a_button_that_names_no_position_steps_through_all() {
    let mut bench = bench();
    for (press, expected) in [(1, "away"), (2, "asleep"), (3, "lived-in"), (4, "away")] {
        bench.from("yard/input/b2", &format!("press {press}"));
        check(&bench, expected);
    }
    bench.from("yard/input/b2", "press 4");
    check(&bench, "away");
}

#[test]
fn it_is_remembered_across_a_restart_with_its_end() {
    let mut bench = bench();
    turn(&mut bench, "away 3h");
    bench.run_for("1h");
    // The same boot: exact, whatever the wall clock is worth.
    bench.restart(HOUSE, "30m", true, false);
    check(&bench, "away");
    bench.run_for("1h29m");
    check(&bench, "away");
    bench.run_for("1m");
    check(&bench, "lived-in");
}

#[test]
fn after_another_boot_the_wall_clock_tells_how_much_is_left() {
    let mut bench = bench();
    turn(&mut bench, "away 3h");
    bench.run_for("1h");
    bench.restart(HOUSE, "30m", false, true);
    check(&bench, "away");
    bench.run_for("1h29m");
    check(&bench, "away");
    bench.run_for("1m");
    check(&bench, "lived-in");
}

#[test]
fn with_nothing_to_tell_the_time_by_it_keeps_the_time_that_it_had_left_and_no_more() {
    let mut bench = bench();
    turn(&mut bench, "away 3h");
    bench.run_for("1h");
    bench.restart(HOUSE, "30m", false, false);
    check(&bench, "away");
    bench.run_for("1h58m");
    check(&bench, "away");
    bench.run_for("2m");
    check(&bench, "lived-in");
}

#[test]
fn what_is_left_is_stored_while_it_runs() {
    let mut bench = bench();
    turn(&mut bench, "away 3h");
    // The board is silent meanwhile; that is stored once and no more.
    bench.run_for("5m");
    let a_minute_saves = |bench: &mut Bench| {
        bench.pass_to(bench.now.boot + span("1m"));
        bench.step(Event::Woken);
        bench.effects.contains(&Effect::Save)
    };
    for _ in 0..10 {
        assert!(a_minute_saves(&mut bench));
    }
    turn(&mut bench, "release");
    for _ in 0..10 {
        assert!(!a_minute_saves(&mut bench), "nothing runs any more");
    }
}

#[test]
fn an_end_that_passed_while_nobody_looked_ends_it_at_the_start() {
    let mut bench = bench();
    turn(&mut bench, "away until 13:00");
    bench.restart(HOUSE, "2h", false, true);
    check(&bench, "lived-in");
    assert!(bench.journal.iter().any(|row| format!("{:?}", row.entry).contains("TimeUp")));
}

#[test]
fn without_an_end_it_is_remembered_for_good() {
    let mut bench = bench();
    turn(&mut bench, "away");
    bench.restart(HOUSE, "400h", false, false);
    check(&bench, "away");
}

#[test]
fn a_change_of_the_house_carries_it_over_by_name() {
    let mut bench = bench();
    turn(&mut bench, "away 3h");
    bench.run_for("1h");
    bench.reload(&HOUSE.replace("\"lived-in\", \"away\", \"asleep\"", "\"at-home\", \"asleep\", \"away\""));
    check(&bench, "away");
    bench.run_for("1h59m");
    check(&bench, "away");
    bench.run_for("1m");
    assert_eq!(position(&bench), "at-home");
}

#[test]
fn a_position_that_is_gone_falls_to_the_first_and_the_journal_says_so() {
    let mut bench = bench();
    turn(&mut bench, "asleep");
    bench.take_journal();
    let without = HOUSE.replace(", \"asleep\"", "");
    bench.reload(&without);
    check(&bench, "lived-in");
    let said = r#"{"entry":"selector-returned","selector":"house","position":"lived-in","why":"position-gone"}"#;
    assert_eq!(bench.take_journal(), [said]);
    // The same at a start.
    let mut bench = self::bench();
    turn(&mut bench, "asleep 5h");
    bench.take_journal();
    bench.restart(&without, "1m", true, true);
    check(&bench, "lived-in");
    assert!(bench.take_journal().contains(&said.to_owned()));
    bench.run_for("6h");
    check(&bench, "lived-in");
}

#[test]
fn the_clock_set_back_does_not_prolong_it() {
    let mut bench = bench();
    turn(&mut bench, "away until 14:00");
    bench.step_clock(-3_600_000);
    bench.run_for("1h59m");
    check(&bench, "away");
    bench.run_for("1m");
    check(&bench, "lived-in");
}

#[test]
fn turns_are_journaled_and_explained() {
    let mut bench = bench();
    bench.run_for("31s");
    bench.take_journal();
    turn(&mut bench, "away until 22:00");
    let rows = bench.take_journal();
    assert!(
        rows[0].starts_with(
            r#"{"entry":"selected","selector":"house","position":"away","by":{"kind":"message"},"until":"#
        ),
        "{rows:?}"
    );
    let why = bench.why("lamp");
    assert_eq!(
        why,
        "lamp: off, wanted on (board yard has not answered yet), as selector house is away; off at 22:00 (rule as-if-at-home)"
    );
    let zone = bench.engine.house().site.zone.clone();
    let said = bench.engine.selector_view(SelectorId(0)).sentence(&zone);
    assert_eq!(said, "selector house: away until Mon 1 Jun 22:00, by a message");
}

#[test]
fn a_hold_until_the_next_change_ends_when_it_is_turned() {
    let mut bench = bench();
    bench.run_for("31s");
    bench.hold("lamp", "on until next change");
    turn(&mut bench, "asleep");
    assert!(bench.explain("lamp").hold.is_some(), "the rules say the same");
    turn(&mut bench, "away");
    assert_eq!(bench.explain("lamp").hold, None);
}
