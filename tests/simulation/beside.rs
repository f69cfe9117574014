//! Seeds about what interlocks, trips and pulses rest upon, each named by what it once found. It never looks at starts or hours.

use super::check;

/// I3: a trip behind an interlock that keeps from opening as well, as long as an order under way may have opened already.
#[test]
fn a_trip_behind_an_interlock_that_orders_nothing_goes_on() {
    check(830_335_013);
    check(830_553_657);
}

/// I1: a hand moved the coil of a welded relay, which followed once it was mended, before anybody was told.
#[test]
fn what_a_hand_closed_at_a_welded_relay_is_told_late_too() {
    check(830_553_751);
}

/// pulse: what was wanted turned over and back between the sending of a pulse and its coming.
#[test]
fn a_pulse_that_comes_late_was_for_the_demand_of_before() {
    check(830_558_811);
}

/// pulse: late reports of an earlier boot hid the one that a pulse had gone out to.
#[test]
fn a_pulse_for_a_boot_that_another_one_hid_is_not_repeated() {
    check(830_608_886);
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
    check(830_577_480);
}

/// I12: what runs through a reset, as an NC contact lets it, may have started once more before that.
#[test]
fn what_runs_through_a_reset_may_have_started_again() {
    check(830_601_625);
}

/// I9: the copy that took the house again has more under way, and lets a pulse wait for that.
#[test]
fn a_pulse_waits_for_the_orders_under_way() {
    check(830_618_623);
}

/// I1: a hand's switching at a board that may have been alone stayed, after a start of the machine that nothing timed.
#[test]
fn what_a_hand_closed_after_an_untimed_start_stays() {
    check(830_633_796);
    check(830_634_916);
}

/// I11: what a late report said to be on had made room on its circuit by then, and an order repeated closed it anew.
#[test]
fn what_may_have_lapsed_does_not_close_beside_what_took_its_room() {
    check(830_633_076);
}

/// I11: a board that was taken for lost had not heard of its new fallback as its room was given away.
#[test]
fn a_fallback_that_has_not_come_is_looked_at_as_of_the_sending() {
    check(830_639_774);
}

/// I11: a relay that never moved was said to be energised by a report that somebody else sent.
#[test]
fn what_never_moved_is_as_it_was_told() {
    check(830_664_134);
}

/// I11: two that once found a circuit's limit exceeded.
#[test]
fn a_circuit_stays_within_its_limit() {
    check(830_339_693);
    check(830_415_938);
}

/// I1: a hand had closed a relay whose board had taken an order of off before, repeats of which were under way.
#[test]
fn what_is_on_though_off_was_taken_may_stay() {
    check(830_344_028);
}

/// I3: a load left the house and came back, and its rest was that of the load before.
#[test]
fn a_load_that_comes_back_rests_anew() {
    check(830_348_438);
}

/// I12: one that once found a load kept off by its starts for longer than they were known to count.
#[test]
fn max_starts_keeps_off_for_no_longer_than_its_span() {
    check(830_353_003);
}

/// I9: an alarm about a load that waits in one of two copies is what a rule rests upon.
#[test]
fn a_rule_on_an_alarm_follows_the_copy_that_is_disobeyed() {
    check(830_496_308);
}

/// pulse: a board was exchanged for one in a boot of the same number, and is taken for the one before.
#[test]
fn a_pulse_of_a_board_that_is_mistaken_for_another_is_known_to_nobody() {
    check(830_668_746);
}

/// I12: a board that dates nothing told long after of the end of a run, from where its rest counted.
#[test]
fn a_rest_of_a_board_that_dates_nothing_counts_from_its_telling() {
    check(830_681_942);
}
