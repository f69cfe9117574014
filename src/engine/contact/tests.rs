//! What orders and reports make known of a contact, one after the other. It never looks at an engine.

use super::*;
use crate::engine::lapse::Late;

fn report(energised: bool, seconds: Option<u32>, changes: Option<u32>, hands: Option<u32>) -> RelayReport {
    RelayReport { energised, seconds, changes, hands }
}

fn reported_off() -> Contact {
    let mut contact = Contact::default();
    contact.hear(&report(false, Some(500), Some(4), Some(1)), 10, BootTime(1_000_000));
    contact
}

fn order(contact: &mut Contact, energised: bool, number: u32) {
    contact.wish = Some(energised);
    contact.order(number, Late::default(), || Cause::Resting);
}

#[test]
fn orders_widen_and_reports_narrow() {
    let mut contact = reported_off();
    assert_eq!(contact.possible(), Possible { energised: false, released: true });
    order(&mut contact, true, 11);
    assert_eq!(contact.possible(), Possible { energised: true, released: true });
    assert!(contact.in_flight());
    // A report that was sent before the orders came does not narrow.
    contact.hear(&report(false, Some(502), Some(4), Some(1)), 10, BootTime(1_002_000));
    assert_eq!(contact.possible(), Possible { energised: true, released: true });
    let heard = contact.hear(&report(true, Some(0), Some(5), Some(1)), 11, BootTime(1_002_500));
    assert_eq!(contact.possible(), Possible { energised: true, released: false });
    let earliest = Some(Moment(1_002_500 - 1_010));
    assert_eq!(
        heard,
        Heard {
            turned: true,
            first: false,
            unseen: 0,
            at: Moment(1_002_500),
            earliest,
            by_hand: false,
            by_no_hand: true,
            anew: [0; 2]
        }
    );
}

#[test]
fn an_older_order_still_under_way_keeps_the_set_wide() {
    let mut contact = reported_off();
    order(&mut contact, true, 11);
    order(&mut contact, false, 12);
    assert!(contact.in_flight(), "order 11 may still arrive");
    contact.hear(&report(false, Some(503), Some(4), Some(1)), 12, BootTime(1_003_000));
    assert!(!contact.in_flight());
}

#[test]
fn the_change_is_dated_by_the_board_less_its_drift() {
    let mut contact = reported_off();
    contact.hear(&report(true, Some(100), Some(5), Some(1)), 10, BootTime(2_000_000));
    assert_eq!(contact.changed_latest, Moment(2_000_000 - 99_000));
    // The same change dated again never becomes later.
    contact.hear(&report(true, Some(200), Some(5), Some(1)), 10, BootTime(2_100_000));
    assert_eq!(contact.changed_latest, Moment(2_000_000 - 99_000));
}

#[test]
fn without_seconds_a_change_may_have_been_just_now() {
    let mut contact = reported_off();
    contact.hear(&report(true, None, None, None), 10, BootTime(2_000_000));
    assert_eq!(contact.changed_latest, Moment(2_000_000));
}

#[test]
fn counts_tell_of_changes_that_nobody_saw() {
    let mut contact = reported_off();
    let heard = contact.hear(&report(false, Some(3), Some(8), Some(1)), 10, BootTime(2_000_000));
    assert_eq!((heard.turned, heard.unseen, heard.at), (false, 4, Moment(2_000_000 - 3_000)));
    let heard = contact.hear(&report(true, Some(3), Some(11), Some(1)), 10, BootTime(2_010_000));
    assert_eq!((heard.turned, heard.unseen), (true, 2));
}

#[test]
fn after_a_reset_all_that_the_board_counts_was_unseen_and_the_reset_itself() {
    let check = |was_on: bool, report: (bool, u32), expected: (bool, u32)| {
        let mut contact = reported_off();
        if was_on {
            contact.hear(&self::report(true, Some(3), Some(5), Some(1)), 10, BootTime(1_010_000));
        }
        contact.reboot(Some(1), 2, BootTime(2_000_000));
        let said = self::report(report.0, Some(1), Some(report.1), Some(0));
        let heard = contact.hear(&said, 0, BootTime(2_009_000));
        assert_eq!((heard.turned, heard.unseen), expected, "was on: {was_on}, says {report:?}");
        let heard = contact.hear(&said, 0, BootTime(2_010_000));
        assert_eq!((heard.turned, heard.unseen), (false, 0));
    };
    check(false, (false, 0), (false, 0));
    check(false, (true, 1), (true, 0));
    check(false, (false, 2), (false, 2));
    check(true, (false, 0), (true, 0));
    check(true, (true, 1), (false, 2));
    check(true, (false, 2), (true, 2));
    // A weld that its board feels: nothing fell.
    check(true, (true, 0), (false, 0));
}

#[test]
fn what_was_under_way_to_a_boot_that_was_put_aside_is_forgotten_once_the_one_there_takes_later_orders() {
    let believed_again = |taken: u32| {
        let mut contact = reported_off();
        order(&mut contact, true, 11);
        contact.reboot(Some(5), 3, BootTime(2_000_000));
        assert!(!contact.in_flight() && contact.said_last() == 0);
        contact.hear(&report(false, Some(3), Some(0), Some(0)), taken, BootTime(2_001_000));
        contact.reboot(Some(3), 4, BootTime(2_002_000));
        contact.reboot(Some(4), 5, BootTime(2_003_000));
        contact.hear(&report(false, Some(3), Some(0), Some(0)), 10, BootTime(2_004_000));
        contact.in_flight()
    };
    assert!(believed_again(0), "only late reports told of boot 3");
    assert!(!believed_again(12), "a board in boot 3 takes what was ordered after that");
}

#[test]
fn a_higher_hand_count_of_the_same_boot_is_a_hand() {
    let mut contact = reported_off();
    assert!(contact.hear(&report(true, Some(1), Some(5), Some(2)), 10, BootTime(2_000_000)).by_hand);
    assert!(!contact.hear(&report(true, Some(3), Some(5), Some(2)), 10, BootTime(2_002_000)).by_hand);
    contact.reboot(Some(1), 2, BootTime(2_008_000));
    assert!(contact.hear(&report(true, Some(1), Some(1), Some(1)), 0, BootTime(2_009_000)).by_hand);
}

#[test]
fn a_lost_contact_may_be_in_its_last_state_its_fallback_or_released() {
    let mut contact = reported_off();
    order(&mut contact, true, 11);
    contact.hear(&report(true, Some(0), Some(5), Some(1)), 11, BootTime(1_002_000));
    contact.lose(Some(true), false, Alone::No);
    assert_eq!(contact.possible(), Possible { energised: true, released: true });
    let mut contact = reported_off();
    contact.lose(Some(false), false, Alone::No);
    assert_eq!(contact.possible(), Possible { energised: false, released: true });
    contact.said_in[1] = 12;
    assert_eq!(contact.possible(), Possible { energised: true, released: true });
    contact.lost = Some(Lost { fallback: Some(false), run_out: true, stays: false });
    assert_eq!(contact.possible(), Possible { energised: false, released: true });
}

#[test]
fn what_a_hand_left_stays_for_as_long_as_no_word_for_it_is_taken() {
    let check = |word: Option<bool>, stays: bool| {
        let mut contact = reported_off();
        order(&mut contact, false, 11);
        contact.hear(&report(true, Some(0), Some(5), Some(2)), 11, BootTime(1_002_000));
        word.into_iter().for_each(|word| order(&mut contact, word, 12));
        contact.hear(&report(true, Some(20), Some(5), Some(2)), 12, BootTime(1_022_000));
        contact.lose(Some(false), true, Alone::No);
        assert_eq!(contact.possible().energised, stays, "{word:?}");
    };
    check(None, true);
    check(Some(true), false);
}

/// An order of on is under way that it has not taken, and what it has taken said nothing of it: where no hands are counted, it is
/// against the last word that can have reached it.
#[test]
fn what_was_closed_before_any_order_of_on_was_taken_may_stay() {
    for (taken, stays) in [(12, true), (13, false)] {
        let mut contact = Contact::default();
        contact.hear(&report(false, None, None, None), 10, BootTime(1_000_000));
        order(&mut contact, false, 11);
        contact.wish = None;
        contact.order(12, Late::default(), || Cause::Resting);
        order(&mut contact, true, 13);
        contact.hear(&report(true, None, None, None), taken, BootTime(1_100_000));
        contact.lose(Some(false), true, Alone::No);
        assert_eq!(contact.stays_as_left(), stays, "with {taken} taken");
    }
}

/// Whether its board was alone nobody can tell after a start that nothing timed, and it has taken nothing since the hand.
#[test]
fn what_a_hand_left_stays_also_where_its_board_may_have_been_alone() {
    for (taken, stays) in [(11, true), (12, false)] {
        let mut contact = reported_off();
        order(&mut contact, false, 11);
        contact.hear(&report(true, Some(0), Some(5), Some(2)), 11, BootTime(1_002_000));
        order(&mut contact, true, 12);
        contact.hear(&report(true, Some(20), Some(5), Some(2)), taken, BootTime(1_022_000));
        contact.lose(Some(false), true, Alone::Perhaps);
        assert_eq!(contact.stays_as_left(), stays, "with {taken} taken");
    }
}

/// Off was ordered and taken, repeats of it are under way, and it is on all the same: where no hands are counted, that tells of one.
#[test]
fn what_is_on_though_off_was_taken_may_stay() {
    for (taken, stays) in [(10, false), (11, true), (13, true)] {
        let mut contact = Contact::default();
        contact.hear(&report(true, None, None, None), 10, BootTime(1_000_000));
        (11..=13).for_each(|number| order(&mut contact, false, number));
        contact.hear(&report(true, None, None, None), taken, BootTime(1_100_000));
        contact.mismatch_since = None;
        contact.said = contact.said.filter(|_| taken > 10);
        contact.lose(Some(true), true, Alone::No);
        assert_eq!(contact.stays_as_left(), stays, "with {taken} taken");
    }
}
