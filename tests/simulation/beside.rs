//! Seeds about what interlocks, trips and pulses rest upon, each named by what it once found. It never looks at starts or hours.

use super::check;

/// I3: a trip behind an interlock that keeps from opening as well, as long as an order under way may have opened already.
#[test]
fn a_trip_behind_an_interlock_that_orders_nothing_goes_on() {
    check(830_553_657);
}

/// I1: a hand moved the coil of a welded relay, which followed once it was mended, before anybody was told.
#[test]
fn what_a_hand_closed_at_a_welded_relay_is_told_late_too() {
    check(830_553_751);
}

/// pulse: late reports of earlier boots hid the one that a pulse had gone out to.
#[test]
fn a_pulse_for_a_boot_that_another_one_hid_is_known_by_its_report() {
    check(830_558_811);
}

/// pulse: a crash right after a board had come with a change of the house took the pulse and the counts that could have told of it.
#[test]
fn a_pulse_of_a_board_that_had_just_come_is_known_to_nobody() {
    check(830_567_665);
}

/// I1: a hand moved the coil of a dead relay, which followed once it was mended, before anybody was told.
#[test]
fn what_a_hand_closed_at_a_dead_relay_is_told_late_too() {
    check(830_573_929);
}
