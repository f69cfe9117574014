//! Max starts while orders are under way or reports come late: each start that may have happened counts.

use crate::bench::Bench;

fn pump(most: &str) -> String {
    format!("[load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\nmax_starts = \"{most}\"\n")
}

/// A load that may start so often; a board scripted by hand.
fn counted(most: &str) -> Bench {
    let mut bench = Bench::new(&pump(most));
    bench.relays("yard", "off:9000:0:0 off off off");
    bench.run_for("31s");
    bench.relays("yard", "off:9031:0:0 off off off");
    bench
}

fn off_and_on(bench: &mut Bench) {
    bench.hold("pump", "off 8h");
    bench.hold("pump", "on 8h");
}

fn check_one_start_is_left(bench: &mut Bench) {
    off_and_on(bench);
    assert_eq!(bench.ordered("yard"), "on - - -", "{}", bench.why("pump"));
    off_and_on(bench);
    assert_eq!(bench.ordered("yard"), "off - - -", "{}", bench.why("pump"));
}

#[test]
fn an_order_repeated_after_the_lease_ran_out_is_a_further_start() {
    let mut bench = counted("1 per 10m");
    bench.hold("pump", "on 8h");
    assert_eq!(bench.ordered("yard"), "on - - -");
    bench.relays("yard", "on:0:1:0 off off off");
    // The lease has ended it, and the order that had renewed it is still under way.
    bench.relays_taken("yard", 2, "off:0:2:0 off off off");
    assert_eq!(bench.ordered("yard"), "off - - -", "{}", bench.why("pump"));
}

/// What was said before it fell back is said again: until that is taken, off and on again would be one start more.
#[test]
fn an_order_repeated_after_its_lease_is_under_way_like_a_new_one() {
    let mut bench = counted("3 per 10m");
    bench.hold("pump", "on 8h");
    bench.relays("yard", "on:0:1:0 off off off");
    // Its lease has ended it, and the board has taken all that was ordered.
    bench.relays("yard", "off:0:2:0 off off off");
    assert_eq!(bench.ordered("yard"), "on - - -", "{}", bench.why("pump"));
    check_one_start_is_left(&mut bench);
}

/// Reports that come after the end of the lease may be as old as it: what is ordered in answer to one may fall back before the answer
/// to the next one starts it anew.
#[test]
fn each_answer_to_a_late_report_may_be_a_start() {
    let mut bench = counted("3 per 10m");
    bench.run_for("5m");
    bench.hold("pump", "on 8h");
    let taken = bench.orders["yard"].number;
    for seconds in [9391, 9392] {
        bench.relays_taken("yard", taken, &format!("off:{seconds}:0:0 off off off"));
        assert_eq!(bench.ordered("yard"), "on - - -", "{}", bench.why("pump"));
    }
    check_one_start_is_left(&mut bench);
}

/// What is ordered once more in answer to the same beat is leased no longer than what was ordered before, so nothing falls back in
/// between. A change of the house that changes nothing is such a moment, one that makes the lease longer is none.
#[test]
fn what_answers_the_same_late_report_again_is_no_further_start() {
    for (lease, is_start) in [("90s", false), ("5m", true)] {
        let text = |lease: &str| format!("[board.yard]\nrelays = 4\nlease = \"{lease}\"\n{}", pump("3 per 10m"));
        let mut bench = Bench::new(&text("90s"));
        bench.relays("yard", "off:9000:0:0 off off off");
        bench.run_for("5m");
        bench.hold("pump", "on 8h");
        bench.relays_taken("yard", 1, "off:9300:0:0 off off off");
        let number = bench.orders["yard"].number;
        bench.reload(&text(lease));
        assert_eq!((bench.ordered("yard").as_str(), bench.orders["yard"].number), ("on - - -", number + 1));
        if !is_start {
            off_and_on(&mut bench);
            assert_eq!(bench.ordered("yard"), "on - - -", "{}", bench.why("pump"));
        }
        check_one_start_is_left(&mut bench);
    }
}

/// A late report says that it runs, as is wanted; what was ordered in answer to it may have started it anew before its board
/// fell back once more. Nothing there counts changes.
#[test]
fn an_order_that_a_late_report_agreed_with_may_have_been_a_start() {
    for (most, word) in [("2 per 10m", "off - - -"), ("3 per 10m", "on - - -")] {
        let mut bench = Bench::new(&pump(most));
        bench.relays("yard", "off:9000 off off off");
        bench.hold("pump", "on 8h");
        bench.relays("yard", "on:0 off off off");
        let taken = bench.orders["yard"].number;
        bench.run_for("2m");
        bench.relays_taken("yard", taken, "on:119 off off off");
        assert_eq!(bench.ordered("yard"), "on - - -", "{}", bench.why("pump"));
        bench.relays("yard", "off:0 off off off");
        assert_eq!(bench.ordered("yard"), word, "{}", bench.why("pump"));
    }
}

/// The board is heard, and takes no orders until the lease of the last is over: the next one that it takes closes it anew, and that
/// which comes after its lease closes it once more.
#[test]
fn an_order_repeated_after_the_lease_of_what_was_taken_may_be_a_start() {
    for (most, word) in [("3 per 10m", "off - - -"), ("4 per 10m", "on - - -")] {
        let mut bench = Bench::new(&pump(most));
        bench.relays("yard", "off:9000 off off off");
        bench.hold("pump", "on 8h");
        bench.relays("yard", "on:0 off off off");
        let taken = bench.orders["yard"].number;
        for seconds in [30, 60, 90, 120] {
            bench.run_for("30s");
            bench.relays_taken("yard", taken, &format!("on:{seconds} off off off"));
            assert_eq!(bench.ordered("yard"), "on - - -", "{}", bench.why("pump"));
        }
        bench.relays("yard", "off:0 off off off");
        assert_eq!(bench.ordered("yard"), word, "{most}: {}", bench.why("pump"));
    }
}

/// The same where a crash follows, and a reset of the board: what may have been is on disk.
#[test]
fn starts_by_orders_that_outlived_their_lease_are_counted_over_a_crash_and_a_reset() {
    for (most, word) in [("4 per 1h", "off"), ("5 per 1h", "on")] {
        let text = pump(most);
        let mut bench = Bench::new(&text);
        bench.relays("yard", "off:9000:0:0 off off off");
        bench.hold("pump", "on 8h");
        bench.relays("yard", "on:0:1:0 off off off");
        let taken = bench.orders["yard"].number;
        for seconds in [30, 60, 90, 120] {
            bench.run_for("30s");
            bench.relays_taken("yard", taken, &format!("on:{seconds}:1:0 off off off"));
        }
        bench.crash(&text, "1m", true, true);
        reset_yard(&mut bench);
        bench.run_for("1m");
        assert!(bench.ordered("yard").starts_with(word), "{most}: {}", bench.why("pump"));
    }
}

#[test]
fn what_is_turned_over_while_an_order_is_under_way_may_be_one_start_more() {
    let mut bench = counted("1 per 10m");
    bench.hold("pump", "on 8h");
    bench.hold("pump", "release");
    assert_eq!(bench.ordered("yard"), "off - - -");
    bench.hold("pump", "on 8h");
    assert_eq!(bench.ordered("yard"), "off - - -", "the first order may be taken before the second");
}

#[test]
fn a_start_between_two_reports_is_counted_by_its_seconds_where_nothing_is_counted() {
    let mut bench = Bench::new("[load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\nmax_starts = \"1 per 10m\"\n");
    bench.relays("yard", "off:9000 off off off");
    bench.run_for("31s");
    bench.relays("yard", "off:9031 off off off");
    bench.hold("pump", "on 8h");
    bench.hold("pump", "off 8h");
    bench.run_for("5s");
    bench.relays("yard", "off:2 off off off");
    bench.hold("pump", "on 8h");
    assert_eq!(bench.ordered("yard"), "off - - -", "{}", bench.why("pump"));
}

#[test]
fn a_start_that_the_boards_reset_ended_is_counted_though_nobody_saw_it() {
    let mut bench = counted("1 per 10m");
    bench.hold("pump", "on 8h");
    bench.run_for("5s");
    reset_yard(&mut bench);
    assert_eq!(bench.ordered("yard"), "off - - -", "{}", bench.why("pump"));
}

/// The yard starts anew, with everything off.
fn reset_yard(bench: &mut Bench) {
    bench.from("yard/life", "birth 18 power-on");
    bench.from("yard/report", "18 1 0 off:2:0:0 off:2:0:0 off:2:0:0 off:2:0:0");
    bench.run_for("1s");
}

/// The report that it is on came after its lease may have run out, and the order that was repeated may have closed it anew.
#[test]
fn an_order_repeated_after_the_lease_may_be_a_start_that_a_reset_ended() {
    let mut bench = counted("2 per 10m");
    bench.hold("pump", "on 8h");
    bench.relays("yard", "on:0:1:0 off off off");
    let taken = bench.orders["yard"].number;
    bench.run_for("2m");
    bench.relays_taken("yard", taken, "on:3:1:0 off off off");
    assert!(bench.ordered("yard").starts_with("on"), "{}", bench.why("pump"));
    reset_yard(&mut bench);
    assert_eq!(bench.ordered("yard"), "off - - -", "{}", bench.why("pump"));
}

/// Repeated orders may have come once the lease had run out, and the next lapse ended what they closed. A board that starts anew
/// sooner had no time for that.
#[test]
fn an_order_repeated_to_a_board_that_fell_silent_may_be_a_start_that_its_lapse_ended() {
    for (silent, word) in [("2m", "off"), ("20s", "on")] {
        let mut bench = counted("2 per 10m");
        bench.hold("pump", "on 8h");
        bench.relays("yard", "on:0:1:0 off off off");
        bench.run_for(silent);
        reset_yard(&mut bench);
        assert!(bench.ordered("yard").starts_with(word), "{silent}: {}", bench.why("pump"));
    }
}

/// The order of on crossed a report, whose answer repeated it. Both may have come with a lapse between them, if there was time for
/// one before the board started anew.
#[test]
fn an_order_repeated_before_it_was_taken_may_be_a_start_after_its_lease() {
    for (silent, word) in [("2m", "off"), ("20s", "on")] {
        let mut bench = counted("2 per 10m");
        let taken = bench.orders["yard"].number;
        bench.hold("pump", "on 8h");
        bench.relays_taken("yard", taken, "off:9031:0:0 off off off");
        assert_eq!(bench.ordered("yard"), "on - - -", "{}", bench.why("pump"));
        bench.run_for(silent);
        reset_yard(&mut bench);
        assert!(bench.ordered("yard").starts_with(word), "{silent}: {}", bench.why("pump"));
    }
}

/// What falls back on was not ended by its lease, so nothing that was repeated can have started it anew.
#[test]
fn an_order_repeated_to_what_falls_back_on_is_no_start() {
    let load = "[load.fan]\nrelay = \"yard/1\"\nkind = \"motor\"\ncontact = \"NC\"\nsafe = \"on\"\nmax_starts = \"2 per 10m\"\n";
    let mut bench = Bench::new(load);
    bench.relays("yard", "on:9000:0:0 off off off");
    bench.hold("fan", "off 8h");
    bench.run_for("31s");
    bench.relays("yard", "on:9031:0:0 off off off");
    bench.hold("fan", "on 8h");
    bench.relays("yard", "off:0:1:0 off off off");
    bench.run_for("2m");
    reset_yard(&mut bench);
    bench.hold("fan", "off 8h");
    let taken = bench.orders["yard"].number;
    bench.from("yard/report", &format!("18 2 {taken} on:0:1:0 off off off"));
    bench.hold("fan", "on 8h");
    assert!(bench.ordered("yard").starts_with("off"), "the second start: {}", bench.why("fan"));
}

/// Whether it was last reported on or off: each of them may have been taken before the board started anew.
#[test]
fn each_order_of_on_under_way_may_be_a_start_that_a_reset_ended() {
    for (most, is_seen, turns, word) in
        [("2 per 10m", false, 1, "off"), ("3 per 10m", true, 2, "off"), ("4 per 10m", true, 2, "on")]
    {
        let mut bench = counted(most);
        bench.hold("pump", "on 8h");
        if is_seen {
            bench.relays("yard", "on:0:1:0 off off off");
        }
        for _ in 0..turns {
            off_and_on(&mut bench);
        }
        assert!(bench.ordered("yard").starts_with("on"), "{most}: {}", bench.why("pump"));
        reset_yard(&mut bench);
        assert!(bench.ordered("yard").starts_with(word), "{most}: {}", bench.why("pump"));
    }
}

/// The first two orders may have been taken, so that the pump was off and is on again since a moment ago, and the third not.
/// Each of them may have been taken, and no report has told yet.
#[test]
fn as_many_starts_may_have_happened_as_orders_of_on_are_under_way() {
    let mut bench = counted("2 per 10m");
    let taken = bench.orders["yard"].number;
    for hand in ["on 8h", "off 8h", "on 8h"] {
        bench.hold("pump", hand);
        let word = hand.split(' ').next().expect("a word");
        assert!(bench.ordered("yard").starts_with(word), "{}", bench.why("pump"));
        // A report from before the orders tells nothing of them.
        bench.relays_taken("yard", taken, "off:9031:0:0 off off off");
        assert!(bench.ordered("yard").starts_with(word), "{}", bench.why("pump"));
    }
    off_and_on(&mut bench);
    assert!(bench.ordered("yard").starts_with("off"), "{}", bench.why("pump"));
}

/// Three orders of on are under way that may each be a start, the first of them for what the lease had ended.
#[test]
fn an_order_repeated_after_the_lease_ran_out_is_a_start_beside_those_made_anew() {
    let mut bench = counted("3 per 10m");
    bench.hold("pump", "on 8h");
    let taken = bench.orders["yard"].number;
    bench.relays("yard", "on:0:1:0 off off off");
    bench.relays_taken("yard", taken, "off:0:2:0 off off off");
    for may_start in [true, false] {
        off_and_on(&mut bench);
        assert_eq!(bench.ordered("yard").starts_with("on"), may_start, "{}", bench.why("pump"));
    }
}
