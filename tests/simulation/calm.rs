//! Seeds that once found something that stood wrong though all faults were over, each named by it. It never
//! looks at what happens while faults last.

use super::check;

/// I12: a run that had waited in a stalled link with the order that stopped it passed for a whole one.
#[test]
fn a_run_that_is_stopped_as_it_begins_is_no_whole_one() {
    check(200_033_591);
}

/// I12: a crash took the memory of a load and of its orders, and what they had closed stayed so for ever.
#[test]
fn a_relay_without_a_load_is_opened_whatever_closed_it() {
    check(200_014_473);
}

/// I12: another member of a circuit or an interlock held it for as long as a delay of its own rule ran.
#[test]
fn delays_of_others_may_have_to_be_waited_for() {
    check(200_010_968);
    check(200_025_024);
}

/// I12: a reset that may have overtaken orders to start was heard of in the very moment of those orders.
#[test]
fn a_reset_counts_though_it_is_heard_of_in_the_moment_of_an_order() {
    check(500_001_849);
}

/// I12: a dead relay was ordered on and its board said so, which counted as a start though its contact had not followed.
#[test]
fn what_a_coil_did_that_its_contact_did_not_follow_counts_as_a_start() {
    check(400_020_445);
}

/// I12: orders of on that were repeated counted for a start that a lapse had made room for, of a load that falls back on.
#[test]
fn what_falls_back_on_is_not_started_by_what_is_repeated() {
    check(20_258_037);
}

/// I12: a board was taken out of the house, and its fallback left a relay closed that orders had closed.
#[test]
fn a_board_that_left_the_house_goes_on_by_its_fallback() {
    check(20_265_851);
}

/// I12: reports that had waited passed a board for heard, whose connection had died as the faults ended.
#[test]
fn a_board_is_heard_by_what_it_sends_once_faults_are_over() {
    check(820_006_334);
}

/// I12: after a crash no count of changes told that orders of before had not started once more what a lapse had ended.
#[test]
fn orders_of_before_a_start_may_have_been_taken_up_to_the_end_of_a_run() {
    check(820_027_028);
}

/// I12: no count of changes told that the last orders of on, which were lost, had not started once more what a lapse had ended.
#[test]
fn orders_that_were_lost_may_have_been_taken_up_to_the_end_of_a_run() {
    check(830_026_652);
}

/// I12: a board was lost before its load had rested, hands switched it untold, and nothing told how long it had no power.
#[test]
fn a_rest_counts_from_the_reset_of_a_board_that_was_lost_before_it_was_over() {
    check(830_027_890);
}

/// I12: a stronger rule came to say the same, and its delay kept the load behind a member of its interlock that went before it.
#[test]
fn a_load_waits_for_the_delay_of_its_own_stronger_rule() {
    check(830_024_350);
}

/// I12: of two that two trips wanted on in one interlock, each report of one called forth an order against the one under way, and
/// its contact went on and off every ten milliseconds for ever.
#[test]
fn reports_of_what_was_overtaken_turn_nothing_to_and_fro() {
    check(830_263_357);
}
