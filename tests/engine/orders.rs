//! Orders: when they go out, what they say and quote, their numbers, and what happens when a load does not obey.

use standfast::engine::{Effect, Engine, Event, Settings, Snapshot};
use standfast::house::State::{Off, On};
use standfast::units::Span;

use crate::bench::Bench;

const HOUSE: &str = r#"
[board.yard]
relays = 4
[board.hall]
relays = 2
lease = "none"
[input.ask]
at = "yard/ask"
[load.lamp]
relay = "yard/2"
kind = "led"
[load.bell]
relay = "hall/1"
kind = "led"
[rule.lit]
load = "lamp"
demand = "on"
while = { input = "ask", is = "on" }
"#;

fn bench() -> Bench {
    let mut bench = Bench::new(HOUSE);
    bench.from("yard/report", "17 1 0 off:9000:0:0 off:9000:0:0 off off");
    bench.from("yard/input/ask", "off");
    bench.run_for("31s");
    bench
}

#[test]
fn nothing_is_ordered_of_a_board_that_was_not_heard() {
    let mut bench = Bench::new(HOUSE);
    bench.run_for("10m");
    assert!(bench.orders.is_empty());
}

#[test]
fn every_report_is_answered_with_orders_that_quote_it() {
    let mut bench = bench();
    bench.from("yard/report", "17 2 0 off off off off");
    let first = bench.orders["yard"].clone();
    assert_eq!((first.boot, first.beat, first.lease_s), (17, 2, 90));
    bench.from("yard/report", "17 3 1 off off off off");
    let second = bench.orders["yard"].clone();
    assert_eq!((second.boot, second.beat, second.number), (17, 3, first.number + 1));
}

#[test]
fn a_change_of_mind_is_ordered_at_once_and_quotes_the_last_beat() {
    let mut bench = bench();
    bench.from("yard/report", "17 2 0 off off off off");
    bench.run_for("10s");
    bench.from("yard/input/ask", "on");
    assert!(bench.sent_orders("yard"));
    assert_eq!((bench.orders["yard"].beat, bench.ordered("yard").as_str()), (2, "- on - -"));
}

#[test]
fn a_reading_that_changes_nothing_orders_nothing() {
    let mut bench = bench();
    bench.from("yard/input/ask", "off");
    assert!(!bench.sent_orders("yard"));
    bench.run_for("10s");
    assert!(!bench.sent_orders("yard"));
}

#[test]
fn relays_without_a_load_get_no_order() {
    let bench = bench();
    assert_eq!(bench.ordered("yard"), "- off - -");
}

#[test]
fn a_lease_of_none_is_sent_as_zero_in_orders_and_fallback() {
    let mut bench = bench();
    bench.from("hall/report", "3 1 0 off off");
    assert_eq!(bench.orders["hall"].lease_s, 0);
    assert_eq!(bench.fallbacks["hall"].encode(), "0 keep off");
}

#[test]
fn numbers_rise_by_one_from_one_for_each_board_apart() {
    let mut bench = Bench::new(HOUSE);
    for beat in 1..20 {
        bench.from("yard/report", &format!("17 {beat} 0 off off off off"));
        assert_eq!(bench.orders["yard"].number, beat);
    }
    bench.from("hall/report", "3 1 0 off off");
    assert_eq!(bench.orders["hall"].number, 1);
}

#[test]
fn numbers_go_on_above_what_the_board_has_taken() {
    let mut bench = bench();
    bench.from("yard/report", "17 2 4711 off off off off");
    assert_eq!(bench.orders["yard"].number, 4712);
}

#[test]
fn numbers_are_reserved_before_they_are_used() {
    let mut bench = Bench::new(HOUSE);
    // The first block is reserved at the start, long before a board is heard.
    let mut reserved = 1001;
    for beat in 1..5000 {
        bench.from("yard/report", &format!("17 {beat} 0 off off off off"));
        for effect in &bench.effects {
            match effect {
                Effect::ReserveOrders { board, through } => {
                    assert_eq!(board, "yard");
                    assert!(*through > reserved);
                    reserved = *through;
                }
                Effect::SendOrders { orders, .. } => assert!(orders.number <= reserved, "{} is used", orders.number),
                _ => {}
            }
        }
    }
    assert!(reserved < 7000, "{reserved}: not without measure");
}

/// The shell stores them and waits before it tells the engine anything: a kill right after the first orders leaves no number
/// that is used again.
#[test]
fn what_a_start_may_use_is_reserved_before_its_first_step() {
    let bench = bench();
    let stored = bench.engine.snapshot();
    let start = |stored: Snapshot| {
        let settings = Settings { settle: Span::from_s(30) };
        Engine::restore(bench.engine.house().clone(), settings, bench.now, stored, true)
    };
    let mut next = start(stored.clone());
    let reserved = next.reserve();
    assert_eq!(reserved.iter().map(|(board, _)| board.as_str()).collect::<Vec<_>>(), ["hall", "yard"]);
    assert_eq!(next.reserve(), [], "once");
    let mut effects = Vec::new();
    next.step(bench.now, Event::Woken, &mut effects);
    assert!(!effects.iter().any(|effect| matches!(effect, Effect::ReserveOrders { .. })), "{effects:?}");
    // It is killed, having stored nothing but that.
    let mut stored = stored;
    reserved.iter().for_each(|(board, through)| stored.reserve(board, *through));
    let after = start(stored).reserve();
    assert!(
        after.iter().zip(&reserved).all(|(after, before)| after.1 > before.1 + 500),
        "{after:?} after {reserved:?}"
    );
}

/// A board without a load, so that a house that does not name it lets it go at once.
const SHED: &str = "[board.shed]\nrelays = 1\n";

/// The numbers that are to be reserved for the board `shed`, by what the last step brought.
fn asked_for_shed(bench: &Bench) -> Option<u32> {
    bench.effects.iter().find_map(|effect| match effect {
        Effect::ReserveOrders { board, through } if board == "shed" => Some(*through),
        _ => None,
    })
}

/// A kill right after its first orders would else leave numbers that are used again.
#[test]
fn a_board_that_comes_with_a_change_of_the_house_is_ordered_once_its_numbers_are_on_disk() {
    let mut bench = bench();
    let with_shed = format!("{HOUSE}{SHED}");
    let mut taken = 0;
    for time in ["the first time", "once more", "and again"] {
        bench.reload_with(&with_shed, false);
        let through = asked_for_shed(&bench).expect("asked for at once");
        bench.from("shed/report", &format!("3 1 {taken} off"));
        assert!(!bench.sent_orders("shed"), "{time}: the disk has not taken them yet");
        // Another change meanwhile neither lets them go nor asks again.
        bench.reload_with(&with_shed, false);
        assert!(!bench.sent_orders("shed") && asked_for_shed(&bench).is_none(), "{time}");
        bench.step(Event::Reserved { board: bench.board("shed"), through });
        assert!(bench.sent_orders("shed"), "{time}");
        let number = bench.orders["shed"].number;
        assert!(number > taken && number <= through, "{time}: {number} of {through}");
        taken = number;
        bench.from("shed/report", &format!("3 2 {taken} off"));
        bench.reload_with(HOUSE, true);
        bench.run_for("2m");
    }
}

/// Of a board that took orders of somebody else, the numbers come to be higher than what was reserved first.
#[test]
fn a_new_board_with_higher_numbers_waits_for_those() {
    let mut bench = bench();
    bench.reload_with(&format!("{HOUSE}{SHED}"), false);
    let first = asked_for_shed(&bench).expect("asked for at once");
    bench.from("shed/report", "3 1 60000 off");
    bench.step(Event::Reserved { board: bench.board("shed"), through: first });
    assert!(!bench.sent_orders("shed"));
    let through = asked_for_shed(&bench).expect("more are needed");
    bench.step(Event::Reserved { board: bench.board("shed"), through });
    assert!(bench.sent_orders("shed") && bench.orders["shed"].number == 60_001 && through > 60_001);
}

#[test]
fn a_disk_that_takes_nothing_keeps_a_new_board_waiting_for_two_seconds() {
    let mut bench = bench();
    bench.reload_with(&format!("{HOUSE}{SHED}"), false);
    bench.from("shed/report", "3 1 0 off");
    bench.run_for("1900ms");
    assert!(!bench.orders.contains_key("shed"));
    bench.run_for("100ms");
    assert_eq!(bench.orders["shed"].number, 1);
}

#[test]
fn a_restart_goes_on_above_what_was_reserved_and_above_the_board() {
    let mut bench = bench();
    bench.from("yard/report", "17 2 0 off off off off");
    let before = bench.orders["yard"].number;
    bench.restart(HOUSE, "5s", true, true);
    bench.from("yard/report", "17 3 0 off off off off");
    let after = bench.orders["yard"].number;
    assert!(after > before + 400, "{after} after {before}: what the snapshot does not know of was reserved");
    bench.restart(HOUSE, "5s", true, true);
    bench.from("yard/report", "17 4 90000 off off off off");
    assert_eq!(bench.orders["yard"].number, 90_001);
}

#[test]
fn between_a_birth_and_the_first_report_no_orders_go_out() {
    let mut bench = bench();
    bench.from("yard/report", "17 2 0 off off off off");
    bench.from("yard/life", "birth 18 power-on");
    bench.from("yard/input/ask", "on");
    assert!(!bench.sent_orders("yard"), "there is no beat to quote");
    bench.from("yard/report", "18 1 0 off off off off");
    assert_eq!((bench.orders["yard"].boot, bench.orders["yard"].beat), (18, 1));
    assert_eq!(bench.ordered("yard"), "- on - -");
}

#[test]
fn orders_speak_to_the_boot_that_reported() {
    let mut bench = bench();
    bench.from("yard/report", "18 1 0 off off off off");
    assert_eq!((bench.orders["yard"].boot, bench.orders["yard"].beat), (18, 1));
}

#[test]
fn without_the_broker_nothing_is_ordered_and_afterwards_every_report_is_answered_again() {
    let mut bench = bench();
    bench.step(standfast::engine::Event::LinkDown);
    bench.from("yard/input/ask", "on");
    assert!(!bench.sent_orders("yard"));
    bench.run_for("10s");
    bench.link_up();
    bench.from("yard/report", "17 2 0 off off off off");
    assert_eq!(bench.ordered("yard"), "- on - -");
}

#[test]
fn a_load_that_does_not_obey_is_told_again_and_after_half_a_lease_a_person_is_told() {
    let mut bench = bench();
    bench.from("yard/input/ask", "on");
    for beat in 2..6 {
        bench.from("yard/report", &format!("17 {beat} {} off off off off", beat - 1));
        assert!(bench.sent_orders("yard"));
        assert_eq!(bench.ordered("yard"), "- on - -");
        assert_eq!(bench.alarms().contains(&"obey-lamp"), beat >= 4, "report {beat}");
        bench.run_for("22500ms");
    }
    let text = &bench.alarm("obey-lamp").text;
    assert!(text.contains("yard/2") && text.contains("the load is off"), "{text}");
    bench.from("yard/report", "17 6 5 off on off off");
    assert!(!bench.alarms().contains(&"obey-lamp"));
}

#[test]
fn the_alarm_of_disobedience_is_raised_once_and_cleared_once() {
    let mut bench = Bench::new(HOUSE);
    let weld = [(2, standfast::board::RelayFault::Dead)].into();
    bench.play_with("yard", standfast::board::Faults { relays: weld, idles: true, ..Default::default() });
    bench.run_for("31s");
    bench.happen("yard", standfast::board::Event::Contact { input: "ask", closed: true });
    bench.run_for("10m");
    bench.player("yard").board.set_faults(standfast::board::Faults::default());
    bench.run_for("1m");
    let rows = bench.take_journal().into_iter().filter(|row| row.contains("obey-lamp")).collect::<Vec<_>>();
    assert_eq!(rows.len(), 2, "{rows:?}");
    assert!(rows[0].contains("alarm-raised") && rows[1].contains("alarm-cleared"));
}

#[test]
fn a_report_that_left_before_its_orders_came_is_no_disobedience() {
    let mut bench = bench();
    bench.from("yard/report", "17 2 1 off off off off");
    for beat in 3..40_u32 {
        bench.from("yard/input/ask", if beat % 2 == 1 { "on" } else { "off" });
        // The report crosses the orders, then the board obeys.
        bench.from(
            "yard/report",
            &format!("17 {} 0 off {} off off", beat * 2, if beat % 2 == 1 { "off" } else { "on" }),
        );
        bench.run_for("5s");
        bench.from(
            "yard/report",
            &format!("17 {} 0 off {} off off", beat * 2 + 1, if beat % 2 == 1 { "on" } else { "off" }),
        );
        bench.run_for("15s");
        assert!(!bench.alarms().contains(&"obey-lamp"));
    }
}

#[test]
fn a_report_with_another_number_of_relays_is_dropped_whole() {
    let mut bench = bench();
    bench.from("yard/report", "17 2 1 on on on");
    bench.from("yard/report", "17 3 1 on on on on on");
    assert!(!bench.sent_orders("yard"));
    assert_eq!(bench.explain("lamp").known, Some(Off));
    let board = bench.board("yard");
    let relays = vec![standfast::wire::RelayReport { energised: true, ..Default::default() }; 3];
    let report = standfast::wire::Report { boot: 17, beat: 4, taken: 1, relays };
    bench.step(standfast::engine::Event::Report { board, report });
    assert!(!bench.sent_orders("yard"), "nor where nobody has looked before");
    bench.from("yard/report", "17 2 1 off on off off");
    assert_eq!(bench.explain("lamp").known, Some(On));
}

#[test]
fn a_report_that_came_twice_or_late_changes_nothing() {
    let mut bench = bench();
    bench.from("yard/report", "17 5 1 off on off off");
    assert_eq!(bench.explain("lamp").known, Some(On));
    for late in ["17 5 1 off off off off", "17 4 1 off off off off", "16 900 1 off off off off"] {
        bench.from("yard/report", late);
        assert_eq!(bench.explain("lamp").known, Some(On), "{late}");
        assert!(!bench.sent_orders("yard"), "{late}");
    }
}

#[test]
fn a_load_is_published_when_something_of_it_changes_and_not_else() {
    let mut bench = bench();
    let publishes =
        |bench: &Bench| bench.effects.iter().filter(|effect| matches!(effect, Effect::PublishLoad { .. })).count();
    bench.from("yard/input/ask", "on");
    assert_eq!(publishes(&bench), 1, "wanted and ordered");
    bench.from("yard/report", "17 2 2 off on off off");
    assert_eq!(publishes(&bench), 1, "known");
    bench.from("yard/report", "17 3 2 off on off off");
    assert_eq!(publishes(&bench), 0);
    bench.hold("lamp", "on 1h");
    assert_eq!(publishes(&bench), 1, "held");
}

#[test]
fn every_reported_change_has_one_row_with_its_reason() {
    let mut bench = bench();
    bench.take_journal();
    bench.from("yard/input/ask", "on");
    bench.from("yard/report", "17 2 2 off on:0:1:0 off off");
    bench.from("yard/report", "17 3 3 off on:20:1:0 off off");
    let rows = bench.take_journal();
    assert_eq!(rows.len(), 1, "{rows:?}");
    for part in
        [r#""entry":"changed""#, r#""load":"lamp""#, r#""relay":"yard/2""#, r#""state":"on""#, r#""rule":"lit""#]
    {
        assert!(rows[0].contains(part), "{part} in {}", rows[0]);
    }
}

#[test]
fn a_first_report_is_no_change() {
    let mut bench = Bench::new(HOUSE);
    bench.from("yard/report", "17 1 0 off:9000:0:0 on:9000:0:0 off off");
    assert!(bench.take_journal().iter().all(|row| !row.contains("\"changed\"")));
}

#[test]
fn changes_that_no_report_showed_have_one_row_with_their_number() {
    let mut bench = bench();
    bench.take_journal();
    bench.from("yard/report", "17 2 1 off:9031:0:0 off:3:6:0 off off");
    let rows = bench.take_journal();
    assert_eq!(rows, [r#"{"entry":"unseen","relay":"yard/2","changes":6}"#]);
}

#[test]
fn a_change_is_dated_by_the_board() {
    let mut bench = bench();
    bench.take_journal();
    bench.from("yard/report", "17 2 1 off:9031:0:0 on:20:1:0 off off");
    let row = bench.journal.iter().find(|row| matches!(row.entry, standfast::engine::JournalEntry::Changed { .. }));
    let ago = bench.now.wall.0 - row.expect("a row").at.0;
    assert!((19_800..=20_000).contains(&ago), "{ago} ms ago");
}
