//! Boards of other firmware that report in words of their own.

use super::*;

/// The tower as its broker knows it: there, both relays released, which is what it calls set.
fn there(more: &str) -> Bench {
    let mut bench = Bench::new(&tower(more));
    bench.message("tower/got/0", r#"{"pin":"set"}"#, true);
    bench.message("tower/got/1", r#"{"pin":"set"}"#, true);
    bench.message("tower/link", "up", true);
    roof(&mut bench, "20");
    bench.run_for("31s");
    bench
}

#[test]
fn a_report_that_the_broker_kept_counts_once_the_board_is_there() {
    let mut bench = Bench::new(&tower(""));
    bench.message("tower/got/0", r#"{"pin":"clear"}"#, true);
    assert_eq!(bench.explain("fan").known, None);
    bench.message("tower/link", "up", true);
    assert_eq!(bench.explain("fan").known, Some(On), "its pins are the wrong way round");
    assert_eq!(bench.explain("lamp").known, None, "the other relay was not reported yet");
    assert_eq!(said(&mut bench), ["tower/put/0 clear"], "until its load has settled it stays as reported");
}

#[test]
fn is_told_in_its_words_and_confirmed_by_its_report() {
    let mut bench = there("");
    said(&mut bench);
    roof(&mut bench, "29");
    assert_eq!(said(&mut bench), ["tower/put/0 clear"]);
    assert_eq!((bench.explain("fan").known, bench.explain("fan").ordered), (Some(Off), Some(On)));
    bench.message("tower/got/0", r#"{"pin":"clear","mA":41}"#, false);
    assert_eq!((bench.explain("fan").known, bench.assumed("fan")), (Some(On), None));
    let journal = bench.take_journal();
    assert!(journal.iter().any(|row| row.contains(r#""entry":"changed","load":"fan""#)), "{journal:?}");
    assert!(!journal.iter().any(|row| row.contains(r#""entry":"assumed""#)), "{journal:?}");
}

#[test]
fn what_is_no_word_of_it_says_nothing() {
    let mut bench = there("");
    for payload in ["clear", "{}", r#"{"pin":"on"}"#, r#"{"pin":null}"#, "\u{0}"] {
        bench.message("tower/got/0", payload, false);
        assert_eq!(bench.explain("fan").known, Some(Off), "{payload}");
    }
    bench.from("tower/report", "17 1 0 on on");
    assert_eq!(bench.explain("fan").known, Some(Off), "the contract is not what it speaks");
}

#[test]
fn gone_is_lost_at_once_and_a_late_report_does_not_bring_it_back() {
    let mut bench = there("");
    bench.message("tower/link", "down", false);
    assert_eq!(bench.alarms(), ["board-tower"]);
    assert!(bench.alarm("board-tower").text.contains("no lease"), "{}", bench.alarm("board-tower").text);
    bench.message("tower/got/0", r#"{"pin":"set"}"#, false);
    assert_eq!(bench.explain("fan").known, None);
    said(&mut bench);
    roof(&mut bench, "29");
    bench.run_for("10m");
    assert_eq!(said(&mut bench), [] as [&str; 0], "nobody is there to tell");
    bench.message("tower/link", "up", false);
    bench.message("tower/got/0", r#"{"pin":"set"}"#, false);
    assert_eq!(bench.alarms(), [] as [&str; 0]);
    assert_eq!(said(&mut bench), ["tower/put/0 clear"]);
}

#[test]
fn one_that_says_nothing_at_all_is_missed_after_a_minute() {
    let mut bench = Bench::new(&tower(""));
    bench.run_for("59s");
    assert_eq!(bench.alarms(), [] as [&str; 0]);
    bench.run_for("2s");
    assert_eq!(bench.alarms(), ["board-tower"]);
    assert_eq!(said(&mut bench), [] as [&str; 0], "of a contact that nobody knows nothing is ordered");
}

#[test]
fn one_that_does_not_obey_is_told_again_and_then_a_person() {
    let mut bench = there("");
    roof(&mut bench, "29");
    said(&mut bench);
    bench.run_for("11s");
    assert_eq!(said(&mut bench), ["tower/put/0 clear"], "after ten seconds nothing is under way any more");
    bench.run_for("1m");
    assert!(bench.alarms().contains(&"obey-fan"), "{:?}", bench.alarms());
    bench.message("tower/got/0", r#"{"pin":"clear"}"#, false);
    assert_eq!(bench.alarms(), [] as [&str; 0]);
}

#[test]
fn one_that_answers_every_order_with_no_is_not_told_in_a_circle() {
    let mut bench = there("");
    roof(&mut bench, "29");
    said(&mut bench);
    for _ in 0..50 {
        bench.message("tower/got/0", r#"{"pin":"set"}"#, false);
    }
    assert_eq!(said(&mut bench), [] as [&str; 0]);
}

#[test]
fn a_report_from_before_an_order_does_not_confirm_it() {
    let mut bench = there("min_on = \"2m\"");
    roof(&mut bench, "29");
    bench.message("tower/got/0", r#"{"pin":"set"}"#, false);
    // The order is under way: it may be on by now, and turning it off again would break its min on.
    roof(&mut bench, "20");
    said(&mut bench);
    bench.run_for("5s");
    assert_eq!(said(&mut bench), [] as [&str; 0]);
    bench.message("tower/got/0", r#"{"pin":"clear"}"#, false);
    assert_eq!(bench.explain("fan").known, Some(On));
    bench.run_for("1m54s");
    assert!(!said(&mut bench).contains(&"tower/put/0 set".to_owned()));
    bench.run_for("7s");
    assert_eq!(said(&mut bench).last().map(String::as_str), Some("tower/put/0 set"));
}

#[test]
fn orders_that_overtake_reports_leave_open_what_it_does_until_all_turns_are_told() {
    let mut bench = there("");
    roof(&mut bench, "29");
    roof(&mut bench, "20");
    let relay = bench.engine.house().load(bench.load("fan")).relay().unwrap();
    // Off, as before: that may be the state before the first order or after the second.
    bench.message("tower/got/0", r#"{"pin":"set"}"#, false);
    assert!(bench.engine.possible(relay).energised);
    bench.message("tower/got/0", r#"{"pin":"clear"}"#, false);
    bench.message("tower/got/0", r#"{"pin":"set"}"#, false);
    let possible = bench.engine.possible(relay);
    assert_eq!((possible.energised, possible.released), (false, true), "both turns were told");
}

#[test]
fn a_hand_at_the_board_is_undone_since_it_cannot_be_told_from_a_reset() {
    let mut bench = there("");
    said(&mut bench);
    bench.message("tower/got/1", r#"{"pin":"clear"}"#, false);
    assert_eq!(said(&mut bench), ["tower/put/1 set"]);
    assert_eq!(bench.explain("lamp").hold, None);
}

/// It says what its relays do when that changes and not before, and the broker keeps nothing of it.
#[test]
fn a_board_that_says_nothing_after_a_restart_is_told_again_what_it_was_told_last() {
    let mut bench = there("");
    roof(&mut bench, "29");
    bench.message("tower/got/0", r#"{"pin":"clear"}"#, false);
    said(&mut bench);
    bench.restart(&tower(""), "20s", true, true);
    bench.message("tower/link", "up", true);
    bench.run_for("59s");
    assert_eq!(said(&mut bench), [""; 0], "what is not known is not ordered over");
    bench.run_for("2s");
    assert_eq!(said(&mut bench), ["tower/put/0 clear", "tower/put/1 set"]);
    bench.message("tower/got/0", r#"{"pin":"clear"}"#, false);
    bench.run_for("1m");
    assert_eq!((bench.explain("fan").known, bench.explain("lamp").known), (Some(On), None));
    assert!(said(&mut bench).contains(&"tower/put/1 set".to_owned()), "and again until it answers");
    bench.message("tower/got/1", r#"{"pin":"set"}"#, false);
    bench.hold("lamp", "on 1h");
    assert_eq!(said(&mut bench), ["tower/put/1 clear"]);
}

#[test]
fn after_a_restart_its_state_is_what_it_reports() {
    let mut bench = there("");
    roof(&mut bench, "29");
    bench.message("tower/got/0", r#"{"pin":"clear"}"#, false);
    said(&mut bench);
    bench.restart(&tower(""), "20s", true, true);
    assert_eq!(bench.explain("fan").known, None, "not heard yet");
    bench.message("tower/link", "up", true);
    bench.message("tower/got/0", r#"{"pin":"clear"}"#, true);
    bench.message("tower/got/1", r#"{"pin":"set"}"#, true);
    bench.run_for("2m");
    assert_eq!((bench.explain("fan").known, bench.explain("lamp").known), (Some(On), Some(Off)));
    assert!(!said(&mut bench).contains(&"tower/put/0 set".to_owned()), "a restart changes no contact");
}

#[test]
fn a_board_that_is_spoken_to_otherwise_is_forgotten_once_its_relays_are_known_open() {
    let mut bench = there("");
    roof(&mut bench, "29");
    bench.message("tower/got/0", r#"{"pin":"clear"}"#, false);
    said(&mut bench);
    let other = tower("").replace("tower/put", "mast/put");
    bench.reload(&other);
    assert_eq!(bench.engine.house().boards.len(), 2, "the old one is to be opened first");
    assert!(said(&mut bench).contains(&"tower/put/0 set".to_owned()));
    bench.reload(&other);
    assert_eq!(bench.engine.house().boards.len(), 2, "nobody has confirmed it yet");
    bench.message("tower/got/0", r#"{"pin":"set"}"#, false);
    bench.reload(&other);
    assert_eq!(bench.engine.house().boards.len(), 1);
}
