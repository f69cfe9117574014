//! The losses and the tests of each. It finds none of them out by itself.

/// A loss and the tests of it, each as `file::name`, with the file below `tests/` unless it begins with `src/`.
pub type Row = (&'static str, &'static [&'static str]);

const SENSORS_AND_BOARDS: &[Row] = &[
    (
        "sensor silent",
        &[
            "engine/sensors.rs::a_sensor_never_heard_is_unknown_and_after_its_time_an_alarm_says_so_once",
            "engine/sensors.rs::a_reading_makes_it_known_until_its_time_is_up_to_the_millisecond",
            "engine/slots.rs::an_unknown_rule_demands_safe_at_its_own_priority_only",
        ],
    ),
    (
        "sensor absurd",
        &[
            "engine/sensors.rs::three_bad_readings_in_a_row_make_it_unknown_until_the_next_good_one",
            "engine/sensors.rs::a_median_wants_more_than_half_and_shrugs_at_one_that_is_absurd",
            "engine/measuring.rs::a_reading_faster_than_its_greatest_rate_is_dropped_and_refreshes_nothing",
            "daemon/bad_input.rs::a_reading_that_is_not_a_number",
            "daemon/bad_input.rs::a_reading_out_of_range",
        ],
    ),
    (
        "board reboots",
        &[
            "engine/life.rs::a_board_that_reboots_is_ordered_back_and_the_journal_says_why_its_contact_moved",
            "engine/limits.rs::a_reboot_that_no_birth_announced_starts_min_off_too",
            "engine/unrest.rs::a_board_that_restarts_three_times_in_ten_minutes_is_told_until_it_has_been_calm",
            "real_faults.rs::a_board_that_is_killed",
        ],
    ),
    (
        "board returns with other states",
        &[
            "daemon/restart.rs::a_board_that_returns_with_other_states_is_ordered_back_and_the_journal_says_why_they_moved",
            "engine/limits.rs::a_foreign_change_is_kept_for_its_minimum_time_and_then_put_right",
        ],
    ),
    (
        "board returns after its lease",
        &[
            "engine/lost.rs::when_the_lease_is_over_the_contact_is_in_its_fallback_or_without_power",
            "engine/lost.rs::a_lease_that_ran_out_is_named_as_the_reason_of_what_the_relay_did",
            "engine/alone.rs::what_a_hand_closed_may_stay_so_over_a_restart",
            "engine/alone.rs::what_a_hand_closed_while_its_relay_had_no_load_may_stay_so",
            "engine/alone.rs::every_report_of_a_backlog_may_be_older_than_the_lease",
            "engine/limits.rs::orders_lost_with_the_board_do_not_start_the_load_when_it_comes_back_late",
            "real_faults.rs::a_board_that_is_frozen",
        ],
    ),
    (
        "two boards with one name",
        &[
            "engine/losses.rs::of_two_boards_with_one_name_one_is_obeyed_and_a_person_is_told",
            "engine/losses.rs::the_alarm_about_two_boards_with_one_name_goes_with_the_second_one",
            "engine/losses.rs::reports_of_an_earlier_boot_that_a_stalled_link_delivers_together_are_no_second_board",
            "stand_in.rs::it_refuses_while_the_real_board_is_there",
        ],
    ),
    (
        "board without lease",
        &[
            "engine/lost.rs::a_board_without_a_lease_may_stay_on_for_ever",
            "engine/lost.rs::a_board_without_a_lease_is_lost_after_sixty_seconds_and_the_alarm_says_that_it_stays_as_it_is",
            "src/board/tests/fallback.rs::a_lease_of_none_never_runs_out",
        ],
    ),
    (
        "board without report",
        &[
            "foreign.rs::a_board_that_cannot_report_is_assumed_to_obey_and_told_again_after_a_restart",
            "foreign.rs::what_such_a_board_cannot_be_trusted_with_is_refused",
        ],
    ),
    (
        "all boards returning at once after a power cut",
        &[
            "engine/losses.rs::after_a_power_cut_every_board_is_back_at_once_and_one_load_closes_at_a_time",
            "engine/start.rs::the_turns_are_those_of_the_whole_house",
            "engine/stories.rs::a_power_cut_in_the_cellar",
        ],
    ),
];

const WAYS: &[Row] = &[
    (
        "link stalled and released",
        &[
            "real_faults/network.rs::orders_that_waited_in_a_stalled_link_are_ignored_when_they_come",
            "real_faults/network.rs::a_link_that_stalls_for_less_than_the_lease_moves_nothing",
            "daemon/network.rs::what_waited_in_a_stalled_network_is_taken_in_order_once_it_comes",
            "src/board/tests.rs::orders_that_quote_a_beat_older_than_their_lease_are_ignored",
        ],
    ),
    (
        "broker killed",
        &[
            "daemon/broker.rs::a_broker_killed_and_back_finds_the_house_going_on",
            "daemon/broker.rs::a_broker_that_stays_away_is_an_alarm_and_has_its_rows",
            "real_faults.rs::a_broker_that_is_killed",
        ],
    ),
    (
        "broker frozen",
        &[
            "daemon/broker.rs::a_frozen_broker_is_given_up_and_found_again",
            "real_faults.rs::a_broker_that_is_frozen",
            "real_faults/within.rs::a_broker_frozen_for_less_than_the_lease_moves_no_contact",
        ],
    ),
    (
        "broker restarted empty",
        &[
            "daemon/broker.rs::a_broker_killed_and_back_finds_the_house_going_on",
            "engine/start.rs::alarms_and_loads_and_fallbacks_are_published_again_when_the_broker_is_back",
        ],
    ),
    (
        "network half open",
        &[
            "daemon/network.rs::a_network_that_is_half_open_is_noticed_at_both_ends_and_no_contact_changes",
            "real_faults/network.rs::a_boards_network_that_is_half_open_leaves_the_heater_off_and_heals",
        ],
    ),
    (
        "board's host cut off, or behind a link that delays and drops",
        &[
            "real_faults/hosts.rs::a_board_on_another_host_whose_cable_is_pulled_falls_back_and_comes_back",
            "real_faults/hosts.rs::a_link_that_delays_and_drops_what_is_sent_keeps_no_board_from_its_fallback_nor_from_coming_back",
        ],
    ),
];

const DAEMON: &[Row] = &[
    (
        "daemon killed and back within the lease",
        &["daemon/restart.rs::killed_and_back_within_the_lease_no_contact_changes_and_numbers_go_on"],
    ),
    (
        "daemon killed and back after the lease",
        &[
            "real_faults.rs::a_daemon_that_is_killed",
            "engine/restart.rs::beyond_the_lease_the_relays_fell_back_and_come_back_after_settling",
        ],
    ),
    (
        "daemon frozen within the lease",
        &["real_faults/within.rs::a_daemon_frozen_for_less_than_the_lease_moves_no_contact"],
    ),
    (
        "daemon frozen beyond the lease",
        &[
            "real_faults.rs::a_daemon_that_is_frozen",
            "daemon/standstill.rs::what_was_pressed_and_asked_for_while_it_stood_still_comes_to_nothing",
        ],
    ),
    ("daemon stopped", &["daemon/restart.rs::asked_to_stop_it_says_so_and_leaves_the_leases_to_run"]),
    (
        "two daemons, by the store",
        &[
            "daemon/start.rs::a_second_daemon_on_the_same_data_is_refused",
            "store.rs::a_second_daemon_is_refused_and_told_whom_it_meets",
        ],
    ),
    (
        "our topics written by somebody else",
        &["daemon/broker.rs::what_somebody_else_writes_on_our_topics_is_put_right_and_told"],
    ),
    (
        "two daemons, by the broker",
        &[
            "daemon/broker.rs::a_second_daemon_on_the_same_broker_is_refused_while_the_first_lives",
            "daemon/broker.rs::a_second_daemon_takes_the_place_of_one_that_hangs_which_stays_away",
            "mqtt_client.rs::the_embedded_broker_tells_of_a_take_over_too",
        ],
    ),
];

const CLOCKS: &[Row] = &[
    (
        "clock untrusted at start",
        &[
            "engine/losses.rs::a_machine_that_starts_in_1970_keeps_what_runs_and_waits_with_schedules",
            "engine/start.rs::a_load_whose_rule_asks_the_clock_waits_for_a_trusted_one",
            "src/daemon/clock.rs::synchronised_follows_the_kernel",
            "inside/clocks.rs::a_clock_that_cannot_be_right_is_not_believed_until_it_is_set_again",
        ],
    ),
    (
        "clock stepped by an hour",
        &[
            "engine/clock.rs::a_window_follows_a_clock_that_is_stepped",
            "engine/clock.rs::a_hold_for_a_duration_does_not_care_for_the_wall_clock",
            "src/daemon/clock.rs::a_step_by_hand_removes_trust_until_synchronised_again",
            "inside/clocks.rs::schedules_follow_a_clock_that_is_set_and_holds_and_contacts_do_not",
        ],
    ),
    (
        "clock stepped by ten years",
        &[
            "engine/clock.rs::a_window_follows_a_clock_that_is_years_off",
            "inside/clocks.rs::schedules_follow_a_clock_that_is_set_and_holds_and_contacts_do_not",
            "inside/clocks.rs::a_clock_that_cannot_be_right_is_not_believed_until_it_is_set_again",
            "engine/clock.rs::schedules_are_recomputed_and_never_replayed",
            "engine/clock.rs::min_on_does_not_care_for_the_wall_clock",
        ],
    ),
    (
        "start of summer time",
        &[
            "engine/windows.rs::the_night_in_spring_that_loses_an_hour",
            "inside/clocks.rs::summer_time_begins_and_ends",
            "engine/clock.rs::a_hold_until_a_clock_time_that_does_not_exist_ends_at_the_transition",
        ],
    ),
    (
        "end of summer time",
        &[
            "engine/windows.rs::the_night_in_autumn_that_has_an_hour_twice",
            "inside/clocks.rs::summer_time_begins_and_ends",
            "engine/clock.rs::a_hold_across_the_end_of_summer_time_lasts_the_hours_that_were_said",
            "engine/clock.rs::a_hold_until_a_clock_time_that_comes_twice_ends_the_first_time",
        ],
    ),
    (
        "suspend",
        &[
            "engine/clock.rs::a_step_that_comes_late_does_everything_that_was_due",
            "inside/clocks.rs::after_a_suspend_what_ran_out_meanwhile_is_over_and_what_did_not_goes_on",
        ],
    ),
];

const HOUSE: &[Row] = &[
    (
        "house edited badly",
        &[
            "daemon/change.rs::a_half_written_or_wrong_house_changes_nothing_and_raises_an_alarm_that_says_why",
            "daemon/start.rs::a_house_with_errors_does_not_start_unless_one_was_accepted_before",
            "daemon/change.rs::a_pipe_among_the_files_of_the_house_keeps_nobody_waiting",
        ],
    ),
    (
        "house half checked out",
        &[
            "daemon/change.rs::a_checkout_that_is_half_done_changes_nothing_until_it_is_committed",
            "src/daemon/house_dir/tests.rs::the_committed_tree_is_read_and_not_what_is_saved",
        ],
    ),
    (
        "house emptied",
        &[
            "daemon/change.rs::a_house_that_was_emptied_by_a_commit_changes_nothing",
            "daemon/change.rs::a_house_that_was_emptied_of_its_loads_waits_for_a_person",
            "daemon/waits.rs::a_house_that_was_emptied_of_its_loads_opens_nothing_over_restarts",
        ],
    ),
    (
        "house removed",
        &[
            "daemon/change.rs::a_house_that_is_gone_changes_nothing",
            "daemon/change.rs::a_work_tree_that_is_moved_away_is_told_soon_and_once_and_is_found_again",
        ],
    ),
    (
        "house changed while the daemon is down",
        &[
            "daemon/waits.rs::what_would_not_have_to_wait_is_taken_at_a_start",
            "daemon/waits.rs::a_load_that_was_taken_out_while_the_daemon_was_off_waits_for_a_person",
            "daemon/waits.rs::a_latched_trip_whose_rule_was_taken_out_keeps_its_load_off_over_restarts",
            "daemon/waits.rs::on_command_a_start_takes_nothing_that_nobody_applied",
        ],
    ),
    (
        "load removed while on",
        &[
            "daemon/change.rs::a_watched_change_that_takes_a_load_away_waits_for_a_person",
            "daemon/waits.rs::a_load_that_was_taken_out_while_the_daemon_was_off_waits_for_a_person",
            "engine/removal.rs::a_relay_that_no_load_names_any_more_is_opened_confirmed_and_then_left_alone",
            "engine/removal.rs::a_house_that_lost_a_load_while_the_daemon_was_down_opens_its_relay",
        ],
    ),
    (
        "load renamed while on",
        &[
            "daemon/change.rs::a_load_that_is_renamed_while_it_is_on_stays_on_and_one_that_moves_is_opened_where_it_was",
            "engine/reload.rs::a_renamed_load_keeps_its_relays_facts_and_loses_its_hold",
            "engine/service.rs::a_renamed_load_stays_withdrawn_until_a_person_restores_it",
            "daemon/waits.rs::a_load_that_was_renamed_while_it_is_withdrawn_waits_and_stays_withdrawn",
            "daemon/waits.rs::a_load_that_was_renamed_while_it_is_held_on_stays_so_over_restarts",
        ],
    ),
    (
        "load moved while on",
        &[
            "daemon/change.rs::a_load_that_is_renamed_while_it_is_on_stays_on_and_one_that_moves_is_opened_where_it_was",
            "engine/reload.rs::a_load_that_moves_opens_its_old_relay_and_closes_its_new_one",
            "engine/reload.rs::two_loads_that_change_places_take_each_others_relay_facts",
        ],
    ),
];

const MEMORY: &[Row] = &[
    (
        "disk full",
        &[
            "daemon/disk.rs::a_full_disk_stops_no_switching_is_told_and_forgets_nothing_once_there_is_room",
            "daemon/disk.rs::a_start_on_a_full_disk_runs_on_what_was_kept_and_is_told",
            "daemon/disk.rs::a_very_first_start_on_a_full_disk_runs_and_has_forgotten_nothing",
            "daemon/disk.rs::with_its_own_broker_on_the_full_disk_it_goes_on_as_well",
            "daemon/disk.rs::what_the_journal_lacks_after_an_end_on_a_full_disk_is_said_at_the_next_start",
            "daemon/disk/kept.rs::who_ends_with_a_disk_that_takes_nothing_says_what_is_lost_by_that",
        ],
    ),
    (
        "disk failing",
        &[
            "daemon/disk.rs::a_disk_that_fails_stops_no_switching_is_told_and_forgets_nothing_once_it_works",
            "daemon/disk.rs::a_start_on_a_disk_that_fails_runs_on_what_was_kept_and_is_told",
            "daemon/disk.rs::a_start_on_a_disk_that_has_become_read_only_runs_on_what_was_kept_and_is_told",
            "daemon/disk/kept.rs::a_start_on_a_read_only_disk_after_a_clean_stop_reads_what_was_kept_and_forgets_nothing",
            "daemon/disk/kept.rs::a_memory_that_could_not_be_read_at_the_start_is_kept_beside_the_one_that_takes_its_place",
            "daemon/hands.rs::with_a_disk_that_fails_a_hold_is_in_force_and_says_that_it_is_not_saved",
            "src/store/writer/tests.rs::rows_that_could_not_be_held_leave_one_row_that_says_so",
            "store.rs::an_end_with_a_disk_that_takes_nothing_is_no_close",
        ],
    ),
    (
        "store lost",
        &[
            "daemon/memory.rs::a_store_that_is_lost_moves_no_contact_and_numbers_resume_above_the_boards",
            "daemon/memory.rs::what_the_broker_kept_of_a_load_that_is_gone_or_of_an_alarm_that_is_over_is_emptied",
            "daemon/memory.rs::a_store_that_is_empty_where_one_was_is_told_like_one_that_is_gone",
            "daemon/memory.rs::a_data_folder_that_is_gone_at_a_start_is_told_by_the_boards",
            "engine/older.rs::who_begins_without_any_memory_is_told_by_the_boards_that_there_was_one",
            "daemon/memory.rs::a_store_that_is_taken_away_under_the_running_daemon_is_written_anew_and_forgets_nothing",
            "daemon/memory.rs::a_data_folder_that_is_removed_under_the_running_daemon_is_there_again_with_socket_and_lock",
            "store/damage.rs::a_log_that_is_taken_away_costs_nothing",
            "daemon/memory.rs::a_store_that_is_damaged_is_put_aside_a_person_is_told_and_the_house_goes_on",
            "daemon/disk.rs::a_start_on_a_full_disk_with_a_damaged_store_runs_and_is_told",
            "daemon/disk.rs::a_start_on_a_read_only_disk_with_a_damaged_store_runs_and_is_told",
            "store/damage.rs::damage_among_readings_is_found_beside_the_running_store_and_costs_no_memory",
            "store/damage.rs::damage_in_the_journal_or_in_one_small_table_costs_nothing_else",
            "store/damage.rs::of_a_damaged_memory_what_can_be_read_is_kept",
        ],
    ),
    (
        "store restored from an old backup",
        &[
            "daemon/memory.rs::an_old_backup_brings_back_what_was_withdrawn_then_and_numbers_resume_above_the_boards",
            "daemon/memory.rs::a_copy_of_minutes_ago_that_does_not_know_of_a_withdrawal_shows",
            "engine/older.rs::a_copy_from_right_before_a_withdrawal_or_a_latch_shows_as_one",
            "engine/orders.rs::numbers_go_on_above_what_the_board_has_taken",
            "engine/older.rs::a_board_that_took_orders_nobody_remembers_shows_that_the_memory_is_not_the_latest",
        ],
    ),
    (
        "killed at any instant",
        &[
            "daemon/kills.rs::whatever_was_answered_survives_a_kill_at_any_instant",
            "daemon/memory.rs::dwell_times_and_starts_are_not_forgotten_by_a_kill",
            "store.rs::what_was_answered_survives_without_a_close",
        ],
    ),
    (
        "store of a later version",
        &[
            "daemon/memory.rs::a_store_of_a_later_version_is_refused_clearly",
            "store.rs::a_newer_database_is_refused_and_left_alone",
        ],
    ),
    (
        "store of an earlier version",
        &[
            "store/formats.rs::every_earlier_format_opens_and_keeps_all_that_was_in_it",
            "store/formats.rs::no_format_is_left_out",
            "store.rs::a_memory_of_another_form_is_said_and_the_rest_is_kept",
            "daemon/memory.rs::a_memory_that_cannot_be_read_costs_no_number_its_second_use",
            "daemon/disk.rs::a_start_of_a_new_version_on_a_full_disk_forgets_nothing_of_what_the_earlier_one_kept",
        ],
    ),
];

pub const ALL: [&[Row]; 6] = [SENSORS_AND_BOARDS, WAYS, DAEMON, CLOCKS, HOUSE, MEMORY];
