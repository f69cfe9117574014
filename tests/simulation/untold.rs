//! Seeds that once found what the engine, or a checker, made of what was lost or came late. Like `regressions`, it never
//! looks at why: each says what was wrong.

use super::check;

/// I3: orders to start that were under way, or repeated after the lease, may have been starts before the board's reset.
#[test]
fn starts_that_a_reset_ended_are_counted_by_each_order_under_way() {
    check(300_005_682);
    check(300_008_171);
    check(600_008_122);
}

/// I1: a hand had closed a contact at a board alone whose last beat had come late; another one was ordered to stay as a hand had
/// closed it while a member on a lost board might be on, and the next hand opened it before the order came.
#[test]
fn what_a_hand_closed_is_reckoned_with_by_its_interlock() {
    check(300_005_850);
    check(300_008_596);
}

/// trip: a reading came in the step in which its board was found to be lost.
#[test]
fn a_reading_that_comes_as_its_board_is_lost_trips_nothing() {
    check(300_009_862);
}

/// I1: a late report of a board that was exchanged, in a higher boot than the new one's, was taken for the new one's.
#[test]
fn what_an_exchanged_board_said_before_is_not_said_of_the_new_one() {
    check(600_003_840);
}

/// I1: a board was exchanged, and the new one took orders for the old one that were late by minutes.
#[test]
fn a_new_board_may_take_what_was_meant_for_the_old_one() {
    check(600_004_707);
}

/// I7: what turned as a sensor was known again showed only once the next reading had come.
#[test]
fn what_turns_as_a_sensor_is_known_again_may_show_late() {
    check(600_004_108);
}

/// I12: a run was taken and over before a crash, a restart that nothing timed followed, and the board counts no changes.
#[test]
fn a_run_that_a_crash_forgot_is_seen_by_its_seconds() {
    check(600_003_569);
}

/// I2: orders for a board that was exchanged meanwhile came late to the new one, which was in a boot of the same number.
#[test]
fn orders_for_a_board_that_is_gone_may_come_to_the_new_one() {
    check(500_008_818);
}

/// I2: a board insisted in the boot that was known, and what it had been ordered in it before was forgotten.
#[test]
fn orders_for_a_boot_that_is_believed_again_outlive_it() {
    check(600_011_379);
}

/// I3: a board was exchanged for one in a boot of the same number, and nobody was told of what the one before had started.
#[test]
fn what_a_board_that_is_gone_started_untold_is_known_to_nobody() {
    check(20_261_635);
}

/// I1, I11: what a hand had closed was thought to fall back with a lease that orders without a word for it do not give.
#[test]
fn orders_that_say_nothing_of_a_relay_do_not_undo_a_hand() {
    check(400_013_649);
    check(720_002_949);
}

/// I4: the lease of new flash had run out when the house's longer one came, and what a hand did after that stays.
#[test]
fn a_lease_that_comes_to_a_board_that_is_alone_changes_nothing() {
    check(720_012_993);
}

/// I2: a pump was ordered off as its board was lost, and once that was found again what it had drawn before opened another member
/// of its interlock within its min on.
#[test]
fn what_was_read_before_a_board_was_lost_opens_no_other_member() {
    check(730_017_587);
}

/// stray: what a sensor still went by was forgotten as other boards were found, and a second stray went on from the first.
#[test]
fn a_stray_may_go_on_from_one_that_silence_let_in() {
    check(730_015_176);
}

/// I2: late reports of two earlier boots hid the boot of a board that had been ordered on in it.
#[test]
fn orders_for_a_boot_that_others_hid_outlive_them() {
    check(800_003_830);
    check(810_000_877);
}

/// I1: a board had not been heard since a start whose link came late, and what a hand had closed there was thought to be over.
#[test]
fn what_a_hand_left_outlasts_a_start_without_a_link() {
    check(800_004_159);
}

/// I1: orders without a word for a relay had let its lease run out, and one of on that was repeated closed it anew within the
/// dead time behind what a hand had opened.
#[test]
fn what_may_lapse_within_a_dead_time_is_not_ordered_on() {
    check(400_002_858);
    check(810_002_782);
}

/// I3: what repeated an order of on was under way as a lease ran out, and with two orders of on after it made a start too many.
#[test]
fn what_repeats_an_order_may_be_a_start_after_the_lease() {
    check(20_260_969);
}

/// I3: what a lapse had ended was ordered anew, off and anew again, and the first of these orders was not counted as under way; each
/// answer to a late report may have been a start, too.
#[test]
fn every_order_under_way_after_a_lapse_may_be_a_start() {
    check(810_301_831);
    check(810_600_131);
}

/// press: its input had left the house and come back to it before the message came once more, two minutes late.
#[test]
fn an_input_that_comes_back_to_the_house_knows_no_press_of_before() {
    check(820_025_015);
}

/// I3: a crash of the machine had taken the orders of on that a contact took after it, and its run was told of later.
#[test]
fn orders_that_a_crash_took_begin_a_run_when_it_is_told() {
    check(820_038_001);
}

/// I2: a circuit opened again what had just been ordered on, and then an interlock, which held a trip back, as it closed.
#[test]
fn what_is_under_way_to_close_is_not_opened_by_an_interlock() {
    check(820_015_946);
}

/// I1: late reports told that a member was on that had lapsed since, and it was ordered on anew beside one that a hand had closed,
/// whose board was not heard for a moment.
#[test]
fn what_may_lapse_beside_one_on_a_lost_board_is_not_ordered_on() {
    check(820_022_317);
}

/// proof: a sensor fell silent for longer than it is believed, so that what it read against a report began anew.
#[test]
fn a_silent_sensor_contradicts_no_report() {
    check(830_017_033);
}

/// I3: late reports told of a load that ran, as was wanted, and what answered them started it anew after its lease.
#[test]
fn what_a_late_report_agrees_with_may_be_a_start() {
    check(830_038_550);
}

/// I12: late news called a run over of which the order was under way, and the board never took it.
#[test]
fn a_run_that_never_began_is_owed_though_its_end_was_told() {
    check(830_042_842);
}

/// I1: of two that a hand had put on together one was opened, and the other told to stay on; a hand had just opened that, too.
#[test]
fn what_a_hand_opens_in_a_dead_time_may_close_once_more() {
    check(830_048_652);
}

/// pulse: a crash took the memory of a pulse under way to a board that counts no changes, and the next controller sent it again.
#[test]
fn a_pulse_that_a_crash_forgot_is_known_by_counts_alone() {
    check(830_025_157);
}

/// I3: what had repeated an order of on under way came after the lease of that order, and a reset hid both starts.
#[test]
fn what_repeats_an_order_under_way_may_be_a_start_that_a_reset_ended() {
    check(830_068_430);
}

/// I3: a lapse ended what a late order had started, untold by a board that counts no changes, and the load hangs on an NC contact.
#[test]
fn a_start_that_nobody_could_see_is_let_be_on_either_contact() {
    check(830_081_218);
}

/// I2: a load ran by an order of which no report had told yet, which was taken for a weld, and opened another member of its interlock.
#[test]
fn what_an_order_under_way_explains_is_no_weld() {
    check(830_118_355);
}

/// I2: late reports of a board that was exchanged were answered, and the new one took that once it had sent a beat of the same number.
#[test]
fn a_new_board_may_take_what_answers_a_beat_of_the_old_one() {
    check(830_119_212);
}

/// I3: two restarts of the machine, which nothing timed, passed for one, since nothing had been stored between them.
#[test]
fn what_an_untimed_restart_leaves_is_stored_at_once() {
    check(830_145_427);
}

/// stray: readings and reports came in one moment, and what switched the load was not the last of them, which was refused.
#[test]
fn a_stray_that_is_refused_may_be_read_before_orders_go_out() {
    check(830_154_013);
}

/// I3: orders of on were under way as late reports of an earlier boot passed for a restart, and their run was told of late, too.
#[test]
fn orders_that_earlier_boots_hid_begin_a_run_when_it_is_told() {
    check(830_156_847);
}

/// pulse: orders for a board that was exchanged since pulsed the new one, in a boot of the same number.
#[test]
fn a_pulse_by_orders_for_the_board_of_before_is_nobodys() {
    check(830_146_041);
}

/// I11: a lapse had moved the coil of a welded relay, and once that was mended orders of before brought its load on again.
#[test]
fn a_welded_relay_may_have_lapsed_unseen() {
    check(830_173_539);
}

/// I7: a setpoint was set and moved the ends of a threshold over a reading that stayed.
#[test]
fn ends_that_a_setpoint_moves_may_pass_a_reading_that_stays() {
    check(830_190_979);
}

/// I1: a lapse closed the other contact by the fallback of an earlier house, after the orders had been sent.
#[test]
fn a_fallback_of_before_may_close_what_orders_under_way_did_not_count_on() {
    check(830_199_507);
}

/// I11: after a start that nobody timed a board, whose lease had long run out, stood by a fallback of before and was lost again.
#[test]
fn what_an_old_fallback_switched_on_stays_once_its_board_is_lost() {
    check(830_186_173);
}

/// I12: a crash took the memory of a run, and a reset of its board what told of it; only the end contacts knew.
#[test]
fn a_run_that_a_crash_forgot_leaves_its_demand_owed() {
    check(830_203_617);
}

/// I6: a board came back with a change of the house, and a crash took the block of numbers that its first orders were from.
#[test]
fn numbers_of_a_board_that_comes_back_are_on_disk_first() {
    check(830_197_758);
}

/// I10: a board that came with a change of the house reported before its order numbers were on disk, and was not answered at once.
#[test]
fn a_board_that_waits_for_its_numbers_is_heard_all_the_same() {
    check(830_261_855);
}

/// stagger: a latch took its turn while its board, which came with a change of the house, waited for its numbers.
#[test]
fn a_turn_is_taken_once_a_board_is_ordered() {
    check(830_290_163);
}

/// I3: a trip wants a load on, and an interlock keeps from ordering it anew, beside which its lease might end.
#[test]
fn a_trip_behind_an_interlock_is_no_late_opening() {
    check(830_303_887);
}

/// I3: orders for the board of before reached a new one in a boot of the same number, and started a load there.
#[test]
fn orders_for_an_exchanged_board_are_no_start_of_the_new_one() {
    check(830_304_184);
}

/// I3: a board that was heard took no orders until its lease was over, and the next one closed it anew; it counts no changes.
#[test]
fn what_is_taken_after_a_lease_that_nobody_renewed_may_be_a_start() {
    check(830_240_236);
}

/// I3: two repeats of an order of on were taken each after a lapse, and a crash and a reset of the board followed.
#[test]
fn repeats_that_outlive_their_lease_are_starts_over_a_crash() {
    check(830_206_746);
}

/// I1: a late report of a board that is gone, later than all that was heard of it, passed for one of the board in its place.
#[test]
fn a_late_report_of_a_board_that_is_gone_needs_a_birth_to_be_news() {
    check(830_355_582);
}

/// I3: a hand closed a contact, and a backlog of before, which insisted as another board does, said that it was open.
#[test]
fn a_backlog_that_insists_makes_a_run_a_new_one() {
    check(830_355_599);
}

/// I3: a crash took the order that began a run, which counts from when the next one is told of it.
#[test]
fn a_run_that_a_crash_took_counts_from_its_telling() {
    check(830_397_954);
}

/// I9: the house lost all that was on a board while nobody looked, whose alarm stood on until the same house was taken again.
#[test]
fn alarms_of_a_board_that_has_nothing_left_go_at_a_start() {
    check(830_421_238);
}

/// I12: a crash took the memory of a flap's run, and a reset the counts of its board that could have told of it.
#[test]
fn a_run_that_a_crash_and_a_reset_took_is_known_to_nobody() {
    check(830_429_907);
}

/// I3: a crash took an order that was under way, and a reset of its board the count of the start that it made.
#[test]
fn a_start_that_a_crash_and_a_reset_took_is_known_to_nobody() {
    check(830_443_517);
}

/// I1: a hand at a board alone closed a relay that was ordered nothing since, though its board took orders for others.
#[test]
fn what_a_hand_closed_at_a_relay_that_was_ordered_nothing_stays() {
    check(830_444_350);
}

/// I11: a dead relay's coil fell back before orders went out to another load of its circuit, and its board told of it after.
#[test]
fn what_a_coil_did_that_its_contact_does_not_follow_is_told_late_too() {
    check(830_461_232);
}

/// I3: a late birth of a board that is gone made a load that ran look like one that its reset had released.
#[test]
fn a_late_birth_of_a_board_that_is_gone_is_no_reset_of_the_one_there() {
    check(830_480_747);
}

/// I10: a board left the house and came back over two crashes, and what was stored knew it all the while.
#[test]
fn a_board_that_left_and_came_back_over_crashes_is_known_as_it_was_stored() {
    check(830_503_255);
}

/// I9: the copy that took the house again has one order more under way, and a load rests only once that is taken.
#[test]
fn a_rest_waits_for_the_orders_under_way() {
    check(830_496_633);
}

/// I9: a press that toggles finds one of two engines waiting, with more orders under way, and asks each for the opposite.
#[test]
fn a_toggle_asks_for_the_opposite_of_what_waits() {
    check(830_513_314);
}

/// pulse: orders of the house before closed a relay for another load than the one that is pulsed there now.
#[test]
fn what_another_load_was_ordered_on_its_relay_is_no_pulse() {
    check(830_533_649);
}
