//! Max on, rest, max starts, interlocks and circuits: what loads may do by themselves and beside each other, counted from
//! what their contacts may be doing.

use standfast::house::State::{Off, On};

use crate::bench::Bench;

/// Three contacts ask for three loads; a fourth load has nothing to do with them.
fn house(loads: &str) -> String {
    let mut text = String::from(loads);
    for (number, load) in ["first", "second", "third"].into_iter().enumerate() {
        text.push_str(&format!("[input.ask-{load}]\nat = \"yard/ask{number}\"\n"));
        text.push_str(&format!(
            "[rule.asks-{load}]\nload = \"{load}\"\ndemand = \"on\"\npriority = {}\nwhile = {{ input = \"ask-{load}\", is = \"on\" }}\n",
            14 + number
        ));
    }
    text
}

fn load(name: &str, relay: u32, more: &str) -> String {
    format!("[load.{name}]\nrelay = \"yard/{relay}\"\nkind = \"resistive\"\n{more}\n")
}

fn three(first: &str, second: &str, third: &str, more: &str) -> String {
    house(&format!("{}{}{}{more}", load("first", 1, first), load("second", 2, second), load("third", 3, third)))
}

fn ask(bench: &mut Bench, which: usize, on: bool) {
    bench.happen("yard", standfast::board::Event::Contact { input: ["ask0", "ask1", "ask2"][which], closed: on });
    bench.run_for("200ms");
}

mod max_on {
    use super::*;

    fn pump(more: &str) -> Bench {
        Bench::played(&three(&format!("max_on = \"20m\"\nrest = \"5m\"\n{more}"), "", "", ""))
    }

    #[test]
    fn ends_the_run_and_lets_it_rest() {
        let mut bench = pump("");
        ask(&mut bench, 0, true);
        bench.run_for("19m58s");
        assert!(bench.runs("first"));
        // Its board counts whole seconds, so the run may be a second longer than the report says.
        bench.run_for("1s");
        assert!(!bench.runs("first"));
        assert_eq!(bench.explain("first").slot, Some(5));
        let why = bench.why("first");
        assert!(why.contains("ran for as long as it may, and rests for"), "{why}");
        bench.run_for("4m57s");
        assert!(!bench.runs("first"));
        bench.run_for("6s");
        assert!(bench.runs("first"), "after its rest it may run again, as its rule still asks");
    }

    #[test]
    fn an_off_shorter_than_the_rest_begins_no_new_run() {
        let mut bench = pump("");
        ask(&mut bench, 0, true);
        bench.run_for("15m");
        ask(&mut bench, 0, false);
        bench.run_for("1m");
        ask(&mut bench, 0, true);
        bench.run_for("3m30s");
        assert!(bench.runs("first"));
        bench.run_for("1m");
        assert!(!bench.runs("first"), "twenty minutes after the run began");
    }

    #[test]
    fn binds_holds_too_and_breaks_through_min_on() {
        let mut bench = pump("min_on = \"20m\"");
        bench.run_for("1s");
        bench.hold("first", "on 2h");
        bench.run_for("19m58s");
        assert!(bench.runs("first"));
        bench.run_for("5s");
        assert!(!bench.runs("first"));
    }

    #[test]
    fn counts_on_across_a_restart_of_the_controller() {
        let text = three("max_on = \"20m\"\nrest = \"5m\"", "", "", "");
        let mut bench = Bench::played(&text);
        ask(&mut bench, 0, true);
        bench.run_for("15m");
        bench.restart(&text, "10s", true, true);
        bench.link_up();
        bench.run_for("4m");
        assert!(bench.runs("first"));
        bench.run_for("1m");
        assert!(!bench.runs("first"));
    }

    #[test]
    fn counts_a_run_that_was_found_from_when_it_began() {
        let mut bench = Bench::new(&three("max_on = \"20m\"\nrest = \"5m\"", "", "", ""));
        bench.relays("yard", "on:1080:5:0 off off off");
        bench.from("yard/input/ask0", "on");
        bench.from("yard/input/ask1", "off");
        bench.from("yard/input/ask2", "off");
        assert!(bench.ordered("yard").starts_with("on "));
        bench.run_for("1m");
        bench.relays("yard", "on:1140:5:0 off off off");
        bench.run_for("59s");
        bench.relays("yard", "on:1199:5:0 off off off");
        bench.run_for("2s");
        assert!(bench.ordered("yard").starts_with("off "), "{}", bench.ordered("yard"));
    }
}

mod max_starts {
    use super::*;

    #[test]
    fn refuses_a_further_start_until_the_first_is_long_enough_ago() {
        let mut bench = Bench::played(&three("max_starts = \"3 per 1h\"", "", "", ""));
        for _ in 0..3 {
            ask(&mut bench, 0, true);
            bench.run_for("1m");
            assert!(bench.runs("first"));
            ask(&mut bench, 0, false);
            bench.run_for("9m");
        }
        ask(&mut bench, 0, true);
        bench.run_for("1m");
        assert!(!bench.runs("first"));
        assert!(bench.why("first").contains("it started as often as it may"), "{}", bench.why("first"));
        bench.run_for("28m");
        assert!(!bench.runs("first"));
        bench.run_for("2m");
        assert!(bench.runs("first"), "an hour after the first start");
    }

    #[test]
    fn never_switches_off_what_runs() {
        let mut bench = Bench::played(&three("max_starts = \"1 per 1h\"", "", "", ""));
        ask(&mut bench, 0, true);
        bench.run_for("10m");
        assert!(bench.runs("first"));
        assert_eq!(bench.wanted("first"), On);
    }
}

mod interlock {
    use super::*;

    const LOCK: &str = "[interlock.apart]\nloads = [\"first\", \"second\"]\ndead_time = \"2s\"\n";

    #[test]
    fn closes_one_only_after_the_other_is_surely_off_and_the_dead_time_over() {
        let mut bench = Bench::played(&three("", "", "", LOCK));
        ask(&mut bench, 1, true);
        assert!(bench.runs("second"));
        // The first has the lower slot: the second is opened for it.
        ask(&mut bench, 0, true);
        assert!(!bench.runs("second") && !bench.runs("first"));
        assert_eq!(bench.why("first"), "first: off, interlock apart lets its dead time pass");
        assert_eq!(bench.why("second"), "second: off, interlock apart keeps it off beside first");
        bench.run_for("1s");
        assert!(!bench.runs("first"), "the dead time runs");
        bench.run_for("2s");
        assert!(bench.runs("first") && !bench.runs("second"));
        ask(&mut bench, 0, false);
        bench.run_for("3s");
        assert!(bench.runs("second"), "who waited comes back");
    }

    #[test]
    fn the_weaker_stays_until_its_min_on_is_over() {
        let mut bench = Bench::played(&three("", "min_on = \"1m\"", "", LOCK));
        ask(&mut bench, 1, true);
        bench.run_for("20s");
        ask(&mut bench, 0, true);
        bench.run_for("30s");
        assert!(bench.runs("second") && !bench.runs("first"));
        bench.run_for("20s");
        assert!(bench.runs("first") && !bench.runs("second"));
    }

    #[test]
    fn a_tie_goes_to_the_one_that_is_on() {
        let tie = three("", "", "", LOCK).replace("priority = 15", "priority = 14");
        let mut bench = Bench::played(&tie);
        ask(&mut bench, 1, true);
        ask(&mut bench, 0, true);
        bench.run_for("10s");
        assert!(bench.runs("second") && !bench.runs("first"));
        let mut bench = Bench::played(&tie);
        bench.hold("first", "on 1h");
        bench.hold("second", "on 1h");
        bench.run_for("10s");
        assert!(bench.runs("first") && !bench.runs("second"));
    }

    #[test]
    fn orders_under_way_count_as_on() {
        let mut bench = Bench::new(&three("", "", "", LOCK));
        bench.relays("yard", "off:900:1:0 off:900:1:0 off off");
        for ask in ["ask0", "ask1", "ask2"] {
            bench.from(&format!("yard/input/{ask}"), "off");
        }
        bench.from("yard/input/ask1", "on");
        assert!(bench.ordered("yard").starts_with("off on"), "{}", bench.ordered("yard"));
        // Nobody has confirmed that the second is on, and now the first is wanted.
        bench.from("yard/input/ask0", "on");
        assert!(bench.ordered("yard").starts_with("off off"), "{}", bench.ordered("yard"));
        bench.run_for("10s");
        assert!(bench.ordered("yard").starts_with("off off"), "no confirmation, no closing");
        bench.relays("yard", "off:910:1:0 off:911:1:0 off off");
        assert!(bench.ordered("yard").starts_with("on off"), "{}", bench.ordered("yard"));
    }

    #[test]
    fn members_found_on_together_are_all_opened() {
        let mut bench = Bench::new(&three("min_on = \"10m\"", "min_on = \"10m\"", "", LOCK));
        bench.relays("yard", "on:5:1:0 on:5:1:0 off off");
        assert!(bench.ordered("yard").starts_with("off off"), "{}", bench.ordered("yard"));
    }

    #[test]
    fn a_member_gives_way_once_its_min_on_is_over() {
        let mut bench = Bench::new(&three("", "min_on = \"95s\"", "", LOCK));
        bench.relays("yard", "off:900:0:0 off:900:0:0 off off");
        for ask in ["ask0", "ask1", "ask2"] {
            bench.from(&format!("yard/input/{ask}"), "off");
        }
        bench.from("yard/input/ask1", "on");
        bench.relays("yard", "off:900:0:0 on:0:1:0 off off");
        bench.from("yard/input/ask0", "on");
        bench.run_for("50s");
        bench.relays("yard", "off:950:0:0 on:50:1:0 off off");
        assert!(bench.ordered("yard").starts_with("off on"), "{}", bench.ordered("yard"));
        // No report falls into the moment at which it is over.
        bench.run_for("46s");
        assert!(bench.ordered("yard").starts_with("off off"), "{}", bench.why("second"));
    }

    #[test]
    fn a_lost_member_counts_as_on_until_its_lease_has_run_out() {
        let text = three("", "", "", LOCK).replace("relay = \"yard/2\"", "relay = \"cellar/1\"");
        let text = format!("[board.yard]\nrelays = 4\n[board.cellar]\nrelays = 1\n{text}");
        let mut bench = Bench::played(&text);
        ask(&mut bench, 1, true);
        assert!(bench.runs("second"));
        bench.unplug("cellar");
        ask(&mut bench, 1, false);
        ask(&mut bench, 0, true);
        bench.run_for("1m");
        assert!(!bench.runs("first"), "the second may still be on");
        bench.run_for("35s");
        assert!(bench.runs("first"));
    }
}

mod circuit {
    use super::*;

    const ONE_KW: &str = "power = \"1 kW\"";

    fn circuit(more: &str) -> String {
        three(
            ONE_KW,
            ONE_KW,
            "power = \"500 W\"",
            &format!("[circuit.shed]\nloads = [\"first\", \"second\", \"third\"]\nlimit = \"1.6 kW\"\n{more}"),
        )
    }

    #[test]
    fn the_stronger_gets_the_room_and_the_weaker_returns_when_there_is_some() {
        let mut bench = Bench::played(&circuit(""));
        ask(&mut bench, 1, true);
        ask(&mut bench, 2, true);
        assert!(bench.runs("second") && bench.runs("third"), "1.5 kW fit");
        ask(&mut bench, 0, true);
        bench.run_for("2s");
        assert!(bench.runs("first") && bench.runs("third") && !bench.runs("second"), "what is enough is shed, no more");
        assert_eq!(bench.explain("second").slot, Some(5));
        assert!(
            bench.why("second").contains("circuit shed has no room for it under 1.6 kW"),
            "{}",
            bench.why("second")
        );
        ask(&mut bench, 0, false);
        bench.run_for("2s");
        assert!(bench.runs("second"));
    }

    #[test]
    fn within_one_slot_the_order_of_shedding_decides() {
        let text = circuit("shed = [\"third\", \"second\", \"first\"]\n")
            .replace("priority = 15", "priority = 14")
            .replace("priority = 16", "priority = 14");
        let mut bench = Bench::played(&text);
        ask(&mut bench, 0, true);
        ask(&mut bench, 2, true);
        assert!(bench.runs("first") && bench.runs("third"));
        ask(&mut bench, 1, true);
        bench.run_for("2s");
        assert!(
            bench.runs("first") && bench.runs("third") && !bench.runs("second"),
            "it outranks only 500 W, too little"
        );
        let weak_first = text.replace("[\"third\", \"second\", \"first\"]", "[\"first\", \"third\", \"second\"]");
        let mut bench = Bench::played(&weak_first);
        ask(&mut bench, 0, true);
        ask(&mut bench, 1, true);
        bench.run_for("2s");
        assert!(bench.runs("second") && !bench.runs("first"));
    }

    #[test]
    fn the_newcomer_closes_after_the_report_that_the_other_opened() {
        let mut bench = Bench::new(&circuit(""));
        bench.relays("yard", "off off:900:1:0 off off");
        for ask in ["ask0", "ask1", "ask2"] {
            bench.from(&format!("yard/input/{ask}"), "off");
        }
        bench.from("yard/input/ask1", "on");
        bench.relays("yard", "off on:0:2:0 off off");
        bench.from("yard/input/ask0", "on");
        assert!(bench.ordered("yard").starts_with("off off"), "{}", bench.ordered("yard"));
        bench.run_for("5s");
        assert!(bench.ordered("yard").starts_with("off off"));
        bench.relays("yard", "off off:1:3:0 off off");
        assert!(bench.ordered("yard").starts_with("on off"), "{}", bench.ordered("yard"));
    }

    #[test]
    fn closings_keep_their_distance() {
        let text = circuit("stagger = \"5s\"\n").replace("limit = \"1.6 kW\"", "limit = \"3 kW\"");
        let mut bench = Bench::played(&text);
        bench.hold("first", "on 1h");
        bench.hold("second", "on 1h");
        bench.run_for("1s");
        assert!(bench.runs("first") && !bench.runs("second"));
        bench.run_for("5s");
        assert!(bench.runs("second"));
    }

    #[test]
    fn one_that_comes_due_with_a_trip_keeps_its_distance_from_it() {
        let text = circuit("stagger = \"5s\"\n").replace("limit = \"1.6 kW\"", "limit = \"3 kW\"");
        let trip = "[input.smoke]\nat = \"yard/ask0\"\n[rule.vent]\nload = \"third\"\ndemand = \"on\"\npriority = 2\nwhile = { input = \"smoke\", is = \"on\" }\n";
        let mut bench = Bench::played(&format!("{text}{trip}"));
        ask(&mut bench, 0, true);
        assert!(bench.runs("third") && !bench.runs("first"), "{}", bench.why("first"));
        bench.run_for("5s");
        assert!(bench.runs("first"));
    }

    #[test]
    fn closings_keep_their_distance_over_a_change_of_rules() {
        let text = circuit("stagger = \"5s\"\n").replace("limit = \"1.6 kW\"", "limit = \"3 kW\"");
        let mut bench = Bench::played(&text);
        bench.hold("first", "on 1h");
        bench.run_for("1s");
        bench.reload(&text.replace("limit = \"3 kW\"", "limit = \"2.9 kW\""));
        bench.hold("second", "on 1h");
        bench.run_for("1s");
        assert!(bench.runs("first") && !bench.runs("second"));
        bench.run_for("5s");
        assert!(bench.runs("second"));
    }

    #[test]
    fn a_trip_is_not_bound_by_the_limit() {
        let text = circuit("").replace("priority = 14", "priority = 2");
        let mut bench = Bench::played(&text);
        bench.hold("second", "on 1h");
        bench.run_for("1s");
        ask(&mut bench, 0, true);
        bench.run_for("1s");
        assert!(bench.runs("first"));
        assert_eq!(bench.wanted("second"), Off, "the limit binds who is left");
    }
}

/// Its board counts no changes, and all that was ordered was taken between two reports.
#[test]
fn each_order_of_on_that_was_taken_unseen_is_a_start() {
    let text = "[load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\nmax_starts = \"2 per 10m\"\n";
    let mut bench = Bench::new(text);
    bench.relays("yard", "off:900 off off off");
    bench.run_for("31s");
    bench.relays("yard", "off:931 off off off");
    for hand in ["on 8h", "off 8h", "on 8h", "off 8h"] {
        bench.hold("pump", hand);
    }
    bench.relays("yard", "off:0 off off off");
    bench.hold("pump", "on 8h");
    assert!(bench.ordered("yard").starts_with("off"), "{}", bench.why("pump"));
    assert!(bench.why("pump").contains("it started as often as it may"), "{}", bench.why("pump"));
}
