//! Seeds that once found a bug, each named by it. What a seed draws may change with what can be drawn, so each says what was
//! wrong; a seed that has lost its story still plays.

mod beside;
mod calm;
mod taken_again;
mod untold;

use standfast::rehearse::Trial;

#[track_caller]
fn check(seed: u64) {
    if let Err(broken) = Trial::new(seed).play() {
        panic!("{broken}");
    }
}

/// I2: a board's lease ran out and closed a contact; the order to open it, sent before, was repeated at once.
#[test]
fn orders_under_way_are_not_repeated_into_min_on() {
    check(20_260_530);
    check(20_260_525);
}

/// I2: a hand closed a contact while an order to open it was lost on its way; it was sent again.
#[test]
fn a_hand_is_not_undone_within_min_on() {
    check(20_260_532);
}

/// I2: without a count of changes two changes between two reports looked like none.
#[test]
fn seconds_date_a_change_that_no_count_tells_of() {
    check(20_260_618);
}

/// I2: reports that were late themselves said nothing of orders that had been carried out since.
#[test]
fn late_reports_do_not_kill_orders_under_way() {
    check(20_260_840);
    check(20_260_852);
    check(515);
}

/// I2: an order that went out was forgotten when the next one was made for another relay's sake.
#[test]
fn each_order_reckons_with_the_one_before() {
    check(116);
    check(1436);
}

/// I2: across a restart of the machine a contact's age was taken from a wall clock that was wrong by minutes.
#[test]
fn after_a_restart_the_board_dates_its_changes() {
    check(1353);
}

/// I5: with each restart of the machine a hold began anew with the time it had left when it was last stored.
#[test]
fn holds_do_not_last_longer_for_a_restart_without_a_clock() {
    check(20_260_519);
    check(20_260_529);
}

/// I7: a threshold forgot over a restart what it had passed just before.
#[test]
fn thresholds_are_stored_when_they_change() {
    check(20_260_700);
}

/// I12: a board that was missed for a moment does not repeat its contacts, and they stayed unknown for good.
#[test]
fn contacts_are_remembered_while_their_board_is_missed() {
    check(20_260_633);
    check(20_260_674);
}

/// I12: a late report of the boot that runs was taken for a new start, and the contacts just told were forgotten.
#[test]
fn a_late_report_is_no_new_start() {
    check(20_260_644);
}

/// I12: a new board counted its boots from one as the old one had, and a late report of the old one made it unheard.
#[test]
fn a_board_that_insists_is_heard_again() {
    check(20_260_524);
    check(20_260_600);
}

/// stagger: after a reconnect an order that may have been lost was repeated without waiting for its turn.
#[test]
fn an_order_that_is_repeated_takes_its_turn() {
    check(20_260_999);
    check(20_260_833);
    check(20_260_814);
}

/// stagger: on a circuit only what was surely off took its turn.
#[test]
fn what_may_be_closing_takes_its_turn_on_a_circuit() {
    check(20_260_739);
    check(20_260_791);
}

/// I3: what was ordered on, and had gone off with the lease, was started once more than it may.
#[test]
fn an_order_repeated_after_a_lapse_is_a_start() {
    check(20_260_520);
    check(20_260_551);
}

/// I3: a start between two reports was counted only by boards that count changes.
#[test]
fn a_start_that_only_seconds_show_is_counted() {
    check(20_260_681);
}

/// I3: a start that the board's reset ended before any report showed it was not counted.
#[test]
fn a_start_lost_with_the_power_is_counted() {
    check(20_260_768);
    check(20_260_990);
}

/// I3: over a restart of the machine without a clock a run began anew.
#[test]
fn a_run_goes_on_over_a_restart_without_a_clock() {
    check(20_260_776);
    check(20_260_804);
}

/// I2: an order under way was undone for an interlock's sake, perhaps just after it was taken.
#[test]
fn an_order_under_way_is_not_undone_for_an_interlock() {
    check(20_260_545);
    check(20_260_669);
    check(20_260_840);
}

/// stagger: a load that was decided otherwise within the same step had used up its turn.
#[test]
fn a_turn_that_was_not_used_is_still_to_come() {
    check(20_260_646);
}

/// I3: with a fast clock at the board a start seemed to lie further back than it did.
#[test]
fn a_start_is_dated_as_late_as_it_can_have_been() {
    check(20_260_587);
}

/// I1: what a hand had switched on at a board whose lease had run out was taken for off once the lease of its last report was over.
#[test]
fn what_a_hand_did_at_a_board_alone_stays() {
    check(20_260_942);
}

/// I2: a safety trip's order to close over min off was undone for an interlock's sake, within min on.
#[test]
fn what_a_trip_has_ordered_on_is_not_undone_by_an_interlock() {
    check(20_261_073);
}

/// pulse: a restart settled an opener on a watched load that its rule had not heard of yet, and it was pulsed once more.
#[test]
fn an_opener_that_watches_a_load_is_not_pulsed_again_after_a_restart() {
    check(20_260_960);
}

/// I11: over a restart of the machine a lease seemed to have run out that had been renewed since the memory was stored.
#[test]
fn a_lease_renewed_since_the_memory_was_stored_is_counted() {
    check(40_000_400);
}

/// I11: a board without a lease that was not heard since the start was taken to be off.
#[test]
fn a_board_without_a_lease_is_not_off_because_nobody_hears_it() {
    check(70_000_768);
}

/// I6: a daemon was killed before a slow disk had its reservation, and the next one used the same numbers.
#[test]
fn numbers_are_on_disk_before_they_are_used() {
    check(70_001_042);
}

/// I2: a daemon was killed after its orders went out, and the next one did not know of them.
#[test]
fn orders_under_way_outlive_the_daemon() {
    check(70_001_408);
}

/// I12: an end contact that had been heard before a run was believed after it, and a demand never had its run.
#[test]
fn an_actuator_that_is_not_where_it_was_found_makes_its_run() {
    check(90_001_399);
}

/// I1: a hand had closed a contact at a board alone, and the one report of it agreed with the last orders that were sent.
#[test]
fn what_a_hand_closed_at_a_board_heard_once_may_stay() {
    check(91_000_930);
}

/// I3: however many orders of on were under way, they counted as one start.
#[test]
fn each_order_of_on_under_way_may_be_a_start() {
    check(20_262_431);
    check(20_263_829);
}

/// I3: what was a run only by the house of now was taken to have begun with the report before.
#[test]
fn a_run_that_a_change_of_the_house_makes_began_before_it() {
    check(20_262_669);
}

/// I1: a contact that a hand had closed opened with its relay's fault and closed once that was mended; I11: a board that was gone
/// told of relays that another had by then; trip: why a load stayed off under a trip was asked once.
#[test]
fn what_is_judged_is_what_the_controller_could_know() {
    check(100_000_389);
    check(100_001_706);
    check(100_001_924);
}

/// proof: nobody is told of anything by a controller that does not get to run.
#[test]
fn a_frozen_controller_tells_nobody() {
    check(100_000_876);
    check(100_002_712);
}

/// I1: a hand had closed a contact at a board alone, and the daemon was restarted, or had last ordered the same.
#[test]
fn what_a_hand_closed_at_a_board_alone_is_known_to_the_next_daemon() {
    check(100_004_333);
    check(100_004_988);
}

/// stagger: a load was decided before another one that tripped in the same step, and both closed at once.
#[test]
fn trips_take_their_turns_first() {
    check(100_004_587);
    check(200_024_630);
}

/// proof: each of two in a rotation waited for orders of the other that never arrived.
#[test]
fn who_waits_for_the_other_of_a_rotation_says_so() {
    check(100_004_540);
}

/// press: a report of an earlier boot came late and was taken for an exchanged board's.
#[test]
fn a_late_report_may_tell_of_a_hand_again() {
    check(100_005_577);
    check(100_013_945);
}

/// I12: a start of an NC contact was looked for in its closings, and one whose report came late was dated too early; a member of
/// an interlock went on until the next report though its min on was over.
#[test]
fn nothing_waits_longer_than_it_must() {
    check(200_000_268);
    check(200_002_460);
}

/// I12: a late report of a board that is gone let the contacts of the one that is there be forgotten, which it never repeats.
#[test]
fn contacts_of_a_board_that_is_believed_again_count_again() {
    check(200_002_773);
}

/// pulse: an alarm went and another one came within one step, and the bell rang again.
#[test]
fn what_is_wanted_only_within_a_step_calls_for_no_pulse() {
    check(200_003_256);
    check(200_023_863);
}

/// I3: over a restart of the machine that nothing timed, a run was taken to be no older than its lease.
#[test]
fn a_run_is_as_old_as_it_may_be_where_nothing_timed_a_restart() {
    check(200_004_498);
    check(200_010_633);
    check(200_015_351);
    check(200_019_375);
    check(200_026_061);
}

/// I1: every report of a backlog may be older than the lease, not only the first.
#[test]
fn a_backlog_is_doubted_as_a_whole() {
    check(200_007_269);
}

/// I2: orders that repeated what had been said last were under way when the daemon was killed.
#[test]
fn orders_that_were_repeated_outlive_the_daemon() {
    check(200_011_628);
    check(200_015_603);
    check(200_019_226);
}

/// I3: orders of on that were taken between two reports of a board that counts nothing were taken for one start at most.
#[test]
fn starts_that_nobody_counts_are_counted_by_what_was_taken() {
    check(200_004_857);
    check(200_011_728);
}

/// I2, I1, I11: orders that a crash took before they were stored; a board that is gone told of a member; a fallback that had been
/// changed and had not arrived.
#[test]
fn what_never_reached_the_controller_or_the_board_is_no_fault_of_theirs() {
    check(200_035_581);
    check(200_038_632);
    check(200_031_527);
    check(200_010_877);
    check(200_028_579);
}

/// I3, I9: late reports of an earlier boot passed for restarts, and a copy was told of more orders than it had sent.
#[test]
fn what_is_told_late_misleads_the_controller() {
    check(20_262_037);
    check(20_267_368);
    check(20_268_824);
}

/// I2: what decides changed while earlier orders were under way, and the order was the same, so that its reason was not asked.
#[test]
fn what_decides_is_asked_anew_while_orders_are_under_way() {
    check(20_268_734);
}

/// I3: while the machine was off its clock ran fast, to be right again, so that a start was free a moment too early.
#[test]
fn a_clock_that_ran_fast_frees_no_start_early() {
    check(500_003_021);
}

/// I1: a hand closed a relay that no load was on, whose own lease had long run out, and it counted as fallen back once a load was.
#[test]
fn what_a_hand_closed_at_a_relay_without_a_load_stays() {
    check(400_000_736);
    check(400_012_109);
}

/// stagger: a load came from a board of other firmware, whose orders the checker does not see, as if it had never closed.
#[test]
fn a_load_from_a_foreign_board_has_taken_its_turn() {
    check(500_006_675);
}

/// I12, stray: a mean that is 46.8 in decimals is a little more in binary fractions, and did not reach a threshold at 46.8; and a
/// checker reckoned so itself.
#[test]
fn what_a_person_reckons_in_decimals_counts() {
    check(400_008_338);
    check(400_006_294);
}

/// press: a press of a board's new boot came before the news of that boot, which forgot it, and came once more.
#[test]
fn a_press_that_comes_before_the_news_of_its_boot_may_count_twice() {
    check(400_007_019);
}

/// I5: a hold was judged in the millisecond in which a frozen controller got to run again, before it had.
#[test]
fn nothing_is_judged_before_all_that_is_due_has_happened() {
    check(730_001_468);
}

/// I2: a clock that had been stepped while its machine was off was set right in the moment of the start, after the engine had read
/// it, and passed for one that had never been wrong.
#[test]
fn a_clock_is_as_wrong_as_it_was_when_it_was_read() {
    check(820_031_311);
}

/// I3: a clock was set right while the controller did not get to run, and its machine restarted before it had read that.
#[test]
fn what_a_controller_had_no_time_to_read_of_its_clock_misleads_it() {
    check(830_085_919);
}

/// I2: what became due was ordered in the step in which the house changed, and the min off of the one that came was asked of it.
#[test]
fn what_is_ordered_before_a_house_is_taken_is_judged_by_the_one_before() {
    check(830_149_444);
}
