//! Seeds on which the same house taken again changed something, each named by what it was. They never play anything else.

use super::check;

/// I9: the same house taken again let a load settle anew.
#[test]
fn the_same_house_again_does_not_settle_anew() {
    check(20_260_568);
    check(20_260_582);
}

/// I9: where several sensors were over at once a threshold saw some of them, and which hung on the order of timers.
#[test]
fn sensors_that_are_over_at_once_are_so_for_every_threshold() {
    check(20_260_551);
}

/// I9: a hold until the next change ended with a change of the house, because its rotation had not been decided yet.
#[test]
fn a_member_of_a_rotation_keeps_its_hold_over_a_reload() {
    check(20_260_541);
    check(20_260_548);
}

/// I9: a change of the house gave loads that had yet to prove their time once more, and alarms their calm.
#[test]
fn a_reload_leaves_no_more_time_to_prove_or_to_calm_down() {
    check(20_261_070);
    check(20_261_396);
    check(20_261_467);
}

/// I9: a change of the house gave the alarm about a second board of one name its time once more.
#[test]
fn a_reload_keeps_the_alarm_about_a_second_board_no_longer() {
    check(40_000_366);
}

/// I9: after a change of the house a board was missed before its sensors, which were due before it.
#[test]
fn what_is_due_keeps_its_order_over_a_reload() {
    check(91_000_490);
}

/// I9: a copy of the engine let a load wait for its circuit, so its run began, and ended, a little later.
#[test]
fn a_copy_that_waited_for_others_is_late() {
    check(100_000_561);
    check(100_003_268);
    check(100_013_688);
}

/// I9: a sensor that had said nothing was unknown while its board was lost, and only after a change of the house nobody knew.
#[test]
fn a_sensor_that_is_known_to_be_unknown_stays_so() {
    check(200_017_944);
    check(200_036_761);
}

/// I9: a load on a board that nobody hears took its turn in a circuit whenever it was looked at, and nothing was ordered of it.
#[test]
fn who_cannot_be_ordered_takes_no_turn() {
    check(200_031_642);
}

/// I9: one that was to stay as it is, with orders under way, was opened because another had taken its turn in the circuit.
#[test]
fn who_waits_for_orders_under_way_needs_no_turn() {
    check(200_023_010);
}

/// I9: that a rest was over was noted only once something else happened, which was too late where the board was lost.
#[test]
fn a_rest_is_over_when_it_is() {
    check(300_004_867);
}

/// I9: a lease ran out a moment sooner for a change of the house, and another load had its turn.
#[test]
fn a_lease_runs_out_no_sooner() {
    check(300_007_120);
}

/// I9: what was said while a load waited for others stayed the last word once its board was lost, and was compared again.
#[test]
fn what_was_said_while_waiting_is_not_compared_later() {
    check(500_005_413);
}

/// I9: a block of numbers had begun when the house was taken again, and the copy was never told that its orders were taken.
#[test]
fn orders_before_a_new_block_of_numbers_are_those_before() {
    check(20_264_027);
}

/// I9: the moment at which the sun passes an elevation was found up to a second later, by where the search began.
#[test]
fn the_sun_passes_an_elevation_when_it_does() {
    check(820_015_377);
}

/// I9: where a late report had been answered already, the house taken again answered it once more, which counted as a further start, so
/// that a button turned on what it was to turn off.
#[test]
fn a_late_report_that_is_answered_again_starts_nothing_anew() {
    check(820_039_266);
}

/// I9: a relay whose load had left it ran hours for it until another one came, so that who leads a rotation hung on when it was asked.
#[test]
fn a_relay_without_a_load_runs_no_hours() {
    check(830_239_582);
}
