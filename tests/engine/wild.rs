//! Numbers far from all that was there before, as garbled firmware or a stranger says them: what is not believed, and that what
//! is believed leaves no board deaf or unheard.

use standfast::engine::{Dropped, Effect, Presence};
use standfast::house::State::{Off, On};

use crate::bench::Bench;

const HOUSE: &str = r#"
[input.button]
at = "yard/button"
toggles = "lamp"
hold_for = "1h"
[load.lamp]
relay = "yard/1"
kind = "led"
"#;

/// The house with its board there, which has taken orders.
fn bench() -> Bench {
    let mut bench = Bench::played(HOUSE);
    bench.hold("lamp", "on 5m");
    bench.run_for("6m");
    bench
}

/// Whether the board still does what is ordered.
fn obeys(bench: &mut Bench) -> bool {
    ["on 5m", "off 5m"].iter().all(|words| {
        bench.hold("lamp", words);
        bench.run_for("2s");
        bench.runs("lamp") == words.starts_with("on")
    })
}

/// Forges a report of the board that says nothing new of its relays.
fn forge(bench: &mut Bench, boot: u32, beats_on: u32, taken: u32) {
    let beat = bench.orders["yard"].beat.saturating_add(beats_on);
    bench.from("yard/report", &format!("{boot} {beat} {taken} off off off off"));
}

fn dropped(bench: &Bench) -> Vec<Dropped> {
    let of = |effect: &Effect| if let Effect::MessageDropped(dropped) = effect { Some(*dropped) } else { None };
    bench.effects.iter().filter_map(of).collect()
}

#[test]
fn a_report_of_orders_far_beyond_all_that_were_given_is_dropped_whole() {
    let mut bench = bench();
    let (boot, given) = (bench.orders["yard"].boot, bench.orders["yard"].number);
    for taken in [u32::MAX, u32::MAX / 2 + 1] {
        forge(&mut bench, boot, 1, taken);
        let board = bench.board("yard");
        assert_eq!(dropped(&bench), [Dropped::Report { board, taken, given }]);
        assert!(!bench.sent_orders("yard"), "it is not answered");
    }
    assert!(obeys(&mut bench));
    assert!(bench.orders["yard"].number < given + 100, "{}", bench.orders["yard"].number);
    assert_eq!(bench.alarms(), [""; 0]);
}

#[test]
fn the_highest_number_that_is_believed_leaves_room_to_go_on_and_is_surpassed_by_no_other() {
    let mut bench = bench();
    let boot = bench.orders["yard"].boot;
    let believed = u32::MAX / 2;
    forge(&mut bench, boot, 1, believed);
    assert_eq!(bench.orders["yard"].number, believed + 1);
    assert_eq!(bench.alarms(), ["memory"], "a number that was never given");
    bench.run_for("2m");
    assert!(obeys(&mut bench), "what is given here is believed, however high");
    forge(&mut bench, boot, 1, believed + 10_000);
    assert_eq!(dropped(&bench).len(), 1);
    assert!(obeys(&mut bench));
    bench.restart(HOUSE, "1s", true, true);
    bench.run_for("1m");
    assert!(obeys(&mut bench));
}

#[test]
fn a_beat_or_a_boot_that_no_board_ever_reaches_makes_it_unheard_for_no_longer_than_its_lease() {
    let ends = |bench: &mut Bench| {
        bench.run_for("2m30s");
        assert_eq!(bench.engine.presence(bench.board("yard")), Presence::Present);
        assert!(obeys(bench));
    };
    let mut beat = bench();
    let boot = beat.orders["yard"].boot;
    forge(&mut beat, boot, u32::MAX, 0);
    ends(&mut beat);

    let mut report = bench();
    forge(&mut report, u32::MAX, 0, 0);
    ends(&mut report);

    let mut birth = bench();
    birth.from("yard/life", &format!("birth {} power-on", u32::MAX));
    ends(&mut birth);

    // All of them, and again.
    let mut all = bench();
    for _ in 0..2 {
        all.from("yard/life", &format!("birth {} power-on", u32::MAX));
        forge(&mut all, u32::MAX, u32::MAX, 0);
        ends(&mut all);
    }
}

#[test]
fn a_press_with_a_wild_count_makes_no_button_dead() {
    let mut bench = bench();
    bench.from("yard/input/button", "press 4");
    assert_eq!(bench.wanted("lamp"), On);
    bench.from("yard/input/button", "press 4294967295");
    assert_eq!(bench.wanted("lamp"), Off, "nothing tells that it is none");
    bench.from("yard/input/button", "press 5");
    assert_eq!(bench.wanted("lamp"), On);
    bench.from("yard/input/button", "press 6");
    assert_eq!(bench.wanted("lamp"), Off);
}

#[test]
fn a_press_that_comes_twice_or_late_is_dropped_with_a_word() {
    let mut bench = bench();
    bench.from("yard/input/button", "press 1004");
    assert_eq!(bench.wanted("lamp"), On);
    let port = bench.engine.house().inputs[0].port;
    for count in [1004, 1003, 4] {
        bench.from("yard/input/button", &format!("press {count}"));
        assert_eq!(bench.wanted("lamp"), On);
        assert_eq!(dropped(&bench), [Dropped::Press { port, count, last: 1004 }]);
    }
    bench.from("yard/input/button", "press 1005");
    assert_eq!(bench.wanted("lamp"), Off);
    assert_eq!(dropped(&bench), []);
}
