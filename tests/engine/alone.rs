//! A board that is alone: its lease has run out, it goes on by itself, and what hands did there or late reports tell of it bears
//! on another board behind the same interlock; and a lease that may run out before the next orders arrive.

use standfast::house::State::On;

use crate::bench::Bench;
use crate::in_flight::TWO_BOARDS;
use crate::reload::without;

/// Both boards are heard, with everything off.
fn heard(text: &str) -> Bench {
    let mut bench = Bench::new(text);
    for (endpoint, state) in [("yard/input/cold", "on"), ("shed/input/ask", "off")] {
        bench.from(endpoint, state);
    }
    bench.relays("yard", "off:900:0:0 off off off");
    bench.relays("shed", "off:900:0:0 off off off");
    bench.run_for("31s");
    bench
}

/// The yard takes one order of on for the rail and none after it until its lease has run out; yields the number of that order.
fn left_alone(bench: &mut Bench) -> u32 {
    bench.relays("yard", "off:931:0:0 off off off");
    let taken = bench.orders["yard"].number;
    bench.relays_taken("yard", taken, "on:0:1:0 off off off");
    bench.run_for("5m");
    taken
}

/// The immersion is held on and waits, however long, until the yard tells that the rail is off.
fn check_that_the_immersion_waits(bench: &mut Bench, rail_off: &str) {
    bench.hold("immersion", "on 8h");
    for beat in 0..30 {
        bench.run_for("20s");
        bench.relays("shed", &format!("off:{}:0:0 off off off", 1251 + 20 * beat));
        assert!(!bench.ordered("shed").starts_with("on"), "{}", bench.why("immersion"));
    }
    bench.relays("yard", rail_off);
    bench.run_for("1s");
    assert!(bench.ordered("shed").starts_with("on"), "{}", bench.why("immersion"));
}

/// A hand closed it while its board was alone, and one report told of it before the board was lost again.
#[test]
fn what_a_hand_closed_may_stay_so_though_it_was_heard_only_once() {
    let mut bench = heard(TWO_BOARDS);
    bench.hold("rail", "on 8h");
    let taken = left_alone(&mut bench);
    bench.relays_taken("yard", taken, "on:3:3:1 off off off");
    bench.hold("rail", "off 8h");
    check_that_the_immersion_waits(&mut bench, "off:3:4:1 off off off");
}

/// A relay without a load is ordered nothing, so its own lease has run out however well its board is heard.
#[test]
fn what_a_hand_closed_while_its_relay_had_no_load_may_stay_so() {
    let bare = without(&without(TWO_BOARDS, "[load.rail]"), "[interlock.heat]");
    let mut bench = heard(&bare);
    bench.relays("yard", "on:3:1:1 off off off");
    bench.run_for("20s");
    bench.relays("yard", "on:23:1:1 off off off");
    bench.run_for("5m");
    bench.reload(TWO_BOARDS);
    check_that_the_immersion_waits(&mut bench, "off:3:2:1 off off off");
}

/// The same with a load on it by then, of which no order had arrived when its board was lost.
#[test]
fn what_a_hand_closed_before_any_order_of_its_load_arrived_may_stay_so() {
    let bare = without(&without(TWO_BOARDS, "[load.rail]"), "[interlock.heat]");
    let mut bench = heard(&bare);
    bench.relays("yard", "on:3:1:1 off off off");
    bench.run_for("20s");
    let taken = bench.orders["yard"].number;
    bench.relays("yard", "on:23:1:1 off off off");
    bench.reload(TWO_BOARDS);
    assert!(bench.ordered("yard").starts_with("off"), "{}", bench.why("rail"));
    bench.relays_taken("yard", taken + 1, "on:24:1:1 off off off");
    bench.run_for("5m");
    check_that_the_immersion_waits(&mut bench, "off:3:2:1 off off off");
}

/// The same over a restart of the daemon, which has not heard the board since.
#[test]
fn what_a_hand_closed_may_stay_so_over_a_restart() {
    let mut bench = heard(TWO_BOARDS);
    bench.hold("rail", "on 8h");
    let taken = left_alone(&mut bench);
    bench.relays_taken("yard", taken, "on:3:3:1 off off off");
    bench.hold("rail", "off 8h");
    bench.restart(TWO_BOARDS, "1s", true, true);
    bench.link_up();
    check_that_the_immersion_waits(&mut bench, "off:3:4:1 off off off");
}

/// The same where the last orders had said what the hand did: its lease had run out between.
#[test]
fn what_a_hand_closed_anew_may_stay_so() {
    let mut bench = heard(&TWO_BOARDS.replace("[load.immersion]", "min_on = \"4m\"\n[load.immersion]"));
    bench.hold("rail", "on 8h");
    let taken = left_alone(&mut bench);
    // It opened with the lease, and then a hand closed it. Within its min on nothing else is ordered.
    bench.relays_taken("yard", taken, "on:3:3:1 off off off");
    bench.hold("rail", "release");
    assert!(!bench.ordered("yard").starts_with("off"), "{}", bench.why("rail"));
    bench.run_for("10m");
    bench.hold("immersion", "on 8h");
    bench.relays("shed", "off:1831:0:0 off off off");
    assert!(!bench.ordered("shed").starts_with("on"), "{}", bench.why("immersion"));
    bench.relays("yard", "off:3:4:1 off off off");
    bench.hold("rail", "release");
    bench.relays("yard", "off:4:4:1 off off off");
    bench.run_for("1s");
    assert!(bench.ordered("shed").starts_with("on"), "{}", bench.why("immersion"));
}

/// Two reports were under way for longer than the lease. The first tells of the fallback, the second of what was before it.
#[test]
fn every_report_of_a_backlog_may_be_older_than_the_lease() {
    let rules = r#"
[input.cold]
at = "yard/cold"
[rule.cold]
load = "rail"
demand = "on"
priority = 9
on_unknown = "release"
while = { input = "cold", is = "on" }
[rule.asked]
load = "immersion"
demand = "on"
while = { input = "ask", is = "on" }
"#;
    let boards = TWO_BOARDS.replace("[load.immersion]", "min_on = \"2m\"\n[load.immersion]");
    let mut bench = heard(&format!("{boards}{rules}"));
    let taken = left_alone(&mut bench);
    bench.relays("shed", "off:1231:0:0 off off off");
    bench.from("shed/input/ask", "on");
    assert!(bench.ordered("shed").starts_with("on"), "{}", bench.why("immersion"));
    bench.relays_taken("yard", taken, "off:3:2:0 off off off");
    bench.relays_taken("yard", taken, "on:20:1:0 off off off");
    assert!(!bench.ordered("yard").starts_with("on"), "the immersion may be closing: {}", bench.why("rail"));
}

/// The last beat may have come late, so that the lease had run out when the hand came, though less than a lease ago by the clock
/// of the house.
#[test]
fn what_a_hand_closed_after_late_beats_may_stay_so() {
    let mut bench = heard(TWO_BOARDS);
    bench.relays("yard", "off:931:0:0 off off off");
    let taken = bench.orders["yard"].number;
    bench.run_for("40s");
    bench.relays_taken("yard", taken, "off:971:0:0 off off off");
    bench.run_for("40s");
    bench.relays_taken("yard", taken, "on:3:1:1 off off off");
    bench.hold("rail", "off 8h");
    bench.run_for("5m");
    check_that_the_immersion_waits(&mut bench, "off:3:2:1 off off off");
}

/// The same where it has taken orders since: it obeyed then, and falls back with its lease.
#[test]
fn what_a_hand_closed_before_orders_that_were_taken_falls_back_with_the_lease() {
    let mut bench = heard(TWO_BOARDS);
    bench.relays("yard", "on:3:1:1 off off off");
    bench.relays("yard", "on:4:1:1 off off off");
    bench.hold("immersion", "on 8h");
    bench.hold("rail", "off 8h");
    for beat in 0..6 {
        bench.run_for("20s");
        bench.relays("shed", &format!("off:{}:0:0 off off off", 931 + 20 * beat));
    }
    assert!(bench.ordered("shed").starts_with("on"), "{}", bench.why("immersion"));
}

/// The next hand may have opened it before an order of on arrives, which would close it beside the other one.
#[test]
fn what_a_hand_closed_is_not_ordered_on_beside_one_that_may_be_on() {
    for (dwell, word) in [("", "off"), ("min_on = \"2m\"\n", "-")] {
        let mut bench = heard(&TWO_BOARDS.replace("[load.immersion]", &format!("{dwell}[load.immersion]")));
        bench.hold("immersion", "on 8h");
        bench.relays("shed", "on:0:1:0 off off off");
        for beat in 0..4 {
            bench.run_for("20s");
            bench.relays("yard", &format!("off:{}:0:0 off off off", 951 + 20 * beat));
        }
        assert_eq!(bench.alarms(), ["board-shed"]);
        bench.hold("immersion", "off 8h");
        let taken = bench.orders["yard"].number;
        bench.relays_taken("yard", taken, "on:0:1:1 off off off");
        assert!(bench.ordered("yard").starts_with(word), "{}: {}", bench.ordered("yard"), bench.why("rail"));
        bench.run_for("20s");
        // The lease of the immersion has run out by now.
        bench.relays("yard", "on:20:1:1 off off off");
        assert!(bench.ordered("yard").starts_with("on"), "{}: {}", bench.ordered("yard"), bench.why("rail"));
    }
}

/// Where a board counts no hands, a contact against the last word for it tells of one.
#[test]
fn what_a_hand_closed_that_nobody_counts_may_stay_so() {
    let mut bench = heard(TWO_BOARDS);
    bench.relays("yard", "off:931:0 off off off");
    bench.relays("yard", "on:3:1 off off off");
    bench.hold("rail", "off 8h");
    bench.run_for("5m");
    check_that_the_immersion_waits(&mut bench, "off:3:2 off off off");
}

/// The daemon starts anew and has no link until every lease is over: as long as the board is not heard, and not missed yet, what a
/// hand left there goes on.
#[test]
fn what_a_hand_closed_may_stay_so_until_its_board_is_heard() {
    let mut bench = heard(TWO_BOARDS);
    bench.hold("rail", "on 8h");
    let taken = left_alone(&mut bench);
    bench.relays_taken("yard", taken, "on:3:3:1 off off off");
    bench.hold("rail", "off 8h");
    bench.hold("immersion", "on 8h");
    bench.crash_unlinked(TWO_BOARDS, "1s", true, true);
    bench.run_for("5m");
    bench.link_up();
    bench.from("shed/input/ask", "off");
    for seconds in [1300, 1301] {
        bench.relays("shed", &format!("off:{seconds}:0:0 off off off"));
        bench.run_for("1s");
        assert!(!bench.ordered("shed").starts_with("on"), "{}", bench.why("immersion"));
    }
    check_that_the_immersion_waits(&mut bench, "off:3:4:1 off off off");
}

/// A rail that is on, behind one interlock with an immersion. Half a minute later a hand there switched the immersion on and off.
struct Beside {
    bench: Bench,
    on_for_s: u32,
}

impl Beside {
    fn text() -> String {
        TWO_BOARDS.replace("shed/1", "yard/2") + "dead_time = \"30s\"\n"
    }

    /// `is_late` tells that no orders arrive after the first that close the rail.
    fn touched(is_late: bool) -> Beside {
        let mut bench = Bench::new(&Beside::text());
        bench.relays("yard", "off:900:0:0 off:900:0:0 off off");
        bench.run_for("31s");
        bench.relays("yard", "off:931:0:0 off:931:0:0 off off");
        bench.hold("rail", "on 8h");
        let mut beside = Beside { bench, on_for_s: 0 };
        let taken = beside.bench.orders["yard"].number;
        for immersion in ["off:931:0:0", "off:946:0:0", "off:0:2:2"] {
            let latest = beside.bench.orders["yard"].number;
            beside.report(if is_late { taken } else { latest }, immersion);
        }
        beside
    }

    /// Fifteen seconds pass, and the yard reports.
    fn report(&mut self, taken: u32, immersion: &str) {
        self.bench.run_for("15s");
        self.bench.relays_taken("yard", taken, &format!("on:{}:1:0 {immersion} off off", self.on_for_s));
        self.on_for_s += 15;
    }

    fn check(&self, words: &str) {
        assert_eq!(self.bench.ordered("yard"), words, "{}", self.bench.why("rail"));
    }
}

#[test]
fn what_lasts_for_longer_than_the_dead_time_beside_it_is_ordered_on() {
    let mut beside = Beside::touched(false);
    beside.check("on off - -");
    beside.bench.reload(&Beside::text());
    beside.check("on off - -");
}

#[test]
fn what_may_lapse_within_the_dead_time_beside_it_is_ordered_nothing() {
    let mut beside = Beside::touched(true);
    beside.check("- off - -");
    assert_eq!(beside.bench.wanted("rail"), On, "{}", beside.bench.why("rail"));
    // Orders without a word for it renew nothing, however well they arrive.
    let latest = beside.bench.orders["yard"].number;
    beside.report(latest, "off:15:2:2");
    beside.check("- off - -");
    beside.bench.run_for("16s");
    beside.check("on off - -");
}

/// Late reports tell that the immersion was closed before the rail was; its lease of then may be over, and to say anew that it is
/// on would close it beside what a hand had closed on a board that is not heard any more.
#[test]
fn what_may_lapse_beside_one_that_was_on_as_its_board_was_lost_is_ordered_nothing() {
    let text = TWO_BOARDS
        .replace("[board.shed]\n", "[board.shed]\nlease = \"10s\"\n")
        .replace("[load.immersion]\n", "[load.immersion]\nmin_on = \"2m\"\n");
    let mut bench = heard(&text);
    for _ in 0..2 {
        bench.relays("shed", "off:931:0:0 off off off");
    }
    let before = bench.orders["shed"].number;
    bench.hold("immersion", "on 8h");
    assert!(bench.ordered("shed").starts_with("on"), "{}", bench.why("immersion"));
    let taken = bench.orders["shed"].number;
    bench.relays("yard", "off:931:0:0 off off off");
    bench.relays("yard", "on:0:1:1 off off off");
    for beat in 1..=13 {
        bench.run_for("5s");
        bench.relays_taken("shed", before, &format!("off:{}:0:0 off off off", 931 + 5 * beat));
    }
    assert_eq!(bench.alarms(), ["board-yard", "obey-immersion"]);
    bench.relays_taken("shed", taken, "on:64:1:0 off off off");
    assert!(bench.ordered("shed").starts_with('-'), "{}: {}", bench.ordered("shed"), bench.why("immersion"));
    assert_eq!(bench.wanted("immersion"), On, "{}", bench.why("immersion"));
    bench.relays("yard", "off:9:2:2 off off off");
    bench.relays("shed", "on:65:1:0 off off off");
    assert!(bench.ordered("shed").starts_with("on"), "{}: {}", bench.ordered("shed"), bench.why("immersion"));
}
