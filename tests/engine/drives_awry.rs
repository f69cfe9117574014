//! Motors, pulses and rotations when things go wrong: never both ways, never without end, nothing believed that nobody saw.

use standfast::board::Event;
use standfast::house::State::{Off, On};

use crate::bench::Bench;

const DOOR: &str = r#"
[actuator.door]
open = "yard/1"
close = "yard/2"
travel = "18s"
dead_time = "1s"
[input.daylight]
at = "yard/daylight"
[rule.opens]
load = "door"
demand = "open"
while = { input = "daylight", is = "on" }
"#;

const ENDS: &str = "[input.is-open]\nat = \"yard/is-open\"\n[input.is-closed]\nat = \"yard/is-closed\"\n";

fn swapped() -> String {
    DOOR.replace("yard/1", "yard/x").replace("yard/2", "yard/1").replace("yard/x", "yard/2")
}

fn contact(bench: &mut Bench, input: &str, closed: bool) {
    bench.happen("yard", Event::Contact { input, closed });
}

/// Which relays were seen energised within so many seconds, looking ten times a second.
fn watch(bench: &mut Bench, seconds: u32) -> Vec<&'static str> {
    let mut seen = Vec::new();
    for _ in 0..seconds * 10 {
        bench.run_for("100ms");
        for relay in ["yard/1", "yard/2", "yard/3", "yard/4"] {
            if bench.closed(relay) && seen.last() != Some(&relay) {
                seen.push(relay);
            }
        }
        let both = |one, other| bench.closed(one) && bench.closed(other);
        assert!(!both("yard/1", "yard/2") && !both("yard/3", "yard/4"), "both ways: {seen:?}");
    }
    seen
}

#[test]
fn both_directions_found_energised_are_released_at_once() {
    let mut bench = Bench::new(DOOR);
    bench.relays("yard", "on:5:1:0 on:5:1:0 off off");
    assert_eq!(bench.ordered("yard"), "off off - -", "not only once it has settled");
}

#[test]
fn a_motor_found_driven_for_longer_than_a_run_is_released_at_once() {
    let mut bench = Bench::new(DOOR);
    bench.relays("yard", "on:600:1:0 off:900:0:0 off off");
    assert_eq!(bench.ordered("yard"), "off off - -");
    // One that may still be running is not broken off, and is released when it has run for long enough.
    let mut bench = Bench::new(DOOR);
    bench.relays("yard", "on:2:1:0 off:900:0:0 off off");
    assert_eq!(bench.ordered("yard"), "- off - -");
    bench.run_for("18s");
    bench.relays("yard", "on:20:1:0 off:900:0:0 off off");
    assert_eq!(bench.ordered("yard"), "off off - -");
}

#[test]
fn a_house_that_changed_while_nobody_looked_makes_its_place_unknown() {
    let mut bench = Bench::new(DOOR);
    bench.play_all();
    contact(&mut bench, "daylight", true);
    watch(&mut bench, 60);
    assert_eq!(bench.explain("door").known, Some(On));
    bench.restart(&swapped(), "5s", true, true);
    contact(&mut bench, "daylight", true);
    bench.run_for("1s");
    assert_eq!(bench.explain("door").known, None, "what was called open is closed now");
    assert_eq!(watch(&mut bench, 60), ["yard/2"]);
    assert_eq!(bench.explain("door").known, Some(On));
}

#[test]
fn a_house_that_changed_while_nobody_looked_waits_for_what_drove_it() {
    let mut bench = Bench::new(DOOR);
    bench.play_all();
    contact(&mut bench, "daylight", true);
    watch(&mut bench, 60);
    contact(&mut bench, "daylight", false);
    bench.run_for("3s");
    assert!(bench.closed("yard/2"));
    bench.restart(&DOOR.replace("yard/1", "yard/3").replace("yard/2", "yard/4"), "1s", true, true);
    contact(&mut bench, "daylight", true);
    let mut last_old = bench.now.boot;
    for _ in 0..900 {
        bench.run_for("100ms");
        let old = bench.closed("yard/1") || bench.closed("yard/2");
        let new = bench.closed("yard/3") || bench.closed("yard/4");
        if old {
            last_old = bench.now.boot;
        }
        assert!(!new || bench.now.boot.since(last_old).0 >= 900, "the new ones beside the old ones");
    }
    assert_eq!(bench.explain("door").known, Some(On));
}

/// How long ago a run was ordered tells nothing of how far it went.
#[test]
fn a_run_that_waited_with_the_order_that_stops_it_is_no_whole_one() {
    let mut bench = Bench::new(DOOR);
    bench.play_all();
    watch(&mut bench, 60);
    bench.player("yard").loses_orders = true;
    let mut waiting = Vec::new();
    for daylight in [true, false, true] {
        contact(&mut bench, "daylight", daylight);
        bench.run_for("40ms");
        waiting.push(bench.orders["yard"].encode());
    }
    assert!(waiting[0].ends_with("on:18000 off - -") && waiting[1].ends_with("off off - -"), "{waiting:?}");
    bench.run_for("20s");
    bench.player("yard").loses_orders = false;
    for (place, orders) in waiting.iter().enumerate() {
        bench.player("yard").loses_reports = place == 0;
        bench.send("standfast/to/yard/orders", orders);
        bench.run_for("50ms");
    }
    assert_eq!(bench.explain("door").known, None);
    assert_eq!(watch(&mut bench, 40), ["yard/1"]);
    assert_eq!(bench.explain("door").known, Some(On));
}

#[test]
fn a_board_that_takes_no_orders_raises_an_alarm() {
    let mut bench = Bench::new(DOOR);
    bench.play_all();
    bench.player("yard").loses_orders = true;
    bench.run_for("10m");
    assert_eq!(bench.alarms(), ["obey-door"], "{}", bench.why("door"));
    bench.player("yard").loses_orders = false;
    bench.run_for("2m");
    assert_eq!(bench.alarms(), [""; 0]);
    assert_eq!(bench.explain("door").known, Some(Off));
}

#[test]
fn two_ends_at_once_are_believed_neither() {
    let ends = "travel = \"18s\"\nopen_end = \"is-open\"\nclose_end = \"is-closed\"";
    let mut bench = Bench::new(&(DOOR.replace("travel = \"18s\"", ends) + ENDS));
    bench.play_all();
    contact(&mut bench, "is-open", true);
    contact(&mut bench, "is-closed", true);
    bench.run_for("40s");
    assert_eq!(bench.explain("door").known, None);
    assert_eq!(bench.alarms(), ["reach-door"]);
    contact(&mut bench, "is-open", false);
    bench.run_for("5s");
    assert_eq!(bench.explain("door").known, Some(Off));
    assert_eq!(bench.alarms(), [""; 0]);
}

#[test]
fn what_is_found_at_its_end_has_reached_it_at_once() {
    let ends = "travel = \"18s\"\nopen_end = \"is-open\"\nclose_end = \"is-closed\"";
    let mut bench = Bench::new(&(DOOR.replace("travel = \"18s\"", ends) + ENDS));
    bench.play_all();
    contact(&mut bench, "is-open", false);
    contact(&mut bench, "is-closed", true);
    bench.run_for("40s");
    contact(&mut bench, "daylight", true);
    bench.run_for("40s");
    assert_eq!(bench.alarms(), ["reach-door"], "it is stuck where it was");
    contact(&mut bench, "daylight", false);
    bench.run_for("200ms");
    assert_eq!(bench.alarms(), [""; 0], "it is where it is wanted");
    assert_eq!(watch(&mut bench, 60), [""; 0]);
}

#[test]
fn a_lamp_on_the_old_relay_does_not_keep_it_from_moving() {
    let mut bench = Bench::new(DOOR);
    bench.play_all();
    bench.run_for("60s");
    let moved = DOOR.replace("yard/1", "yard/3").replace("yard/2", "yard/4");
    bench.reload(&format!("{moved}[load.lamp]\nrelay = \"yard/1\"\nkind = \"led\"\nresting = \"on\"\n"));
    bench.run_for("2s");
    assert!(bench.closed("yard/1"));
    contact(&mut bench, "daylight", true);
    watch(&mut bench, 120);
    assert_eq!(bench.explain("door").known, Some(On), "{}", bench.why("door"));
}

#[test]
fn a_lamp_relay_that_becomes_a_motor_relay_is_released_first() {
    let mut bench = Bench::played("[load.lamp]\nrelay = \"yard/2\"\nkind = \"led\"\nresting = \"on\"\n");
    assert!(bench.closed("yard/2"));
    bench.reload(DOOR);
    bench.run_for("1s");
    assert!(!bench.closed("yard/2") && !bench.closed("yard/1"));
    assert_eq!(watch(&mut bench, 60), ["yard/2"]);
    assert_eq!(bench.explain("door").known, Some(Off));
}

#[test]
fn withdrawn_in_the_middle_while_the_board_is_lost_nothing_moves_it() {
    let mut bench = Bench::played(DOOR);
    bench.run_for("60s");
    contact(&mut bench, "daylight", true);
    bench.run_for("3s");
    bench.unplug("yard");
    bench.withdraw("door", "new rope");
    watch(&mut bench, 30);
    bench.plug("yard");
    assert_eq!(watch(&mut bench, 200), [""; 0]);
    bench.restart(DOOR, "5s", false, true);
    contact(&mut bench, "daylight", true);
    assert_eq!(watch(&mut bench, 200), [""; 0]);
    bench.press("yard", "nothing");
    assert_eq!(bench.explain("door").known, None);
}

mod tripped {
    use super::*;

    const TRIP: &str = "[input.blocked]\nat = \"yard/blocked\"\n[rule.stuck]\nload = \"door\"\ndemand = \"closed\"\npriority = 2\n\
         reset = \"manual\"\nwhile = { input = \"blocked\", is = \"on\" }\n";

    #[test]
    fn a_latched_trip_outlasts_holds_and_restarts() {
        let house = format!("{DOOR}{TRIP}");
        let mut bench = Bench::new(&house);
        bench.play_all();
        contact(&mut bench, "blocked", false);
        contact(&mut bench, "daylight", true);
        watch(&mut bench, 60);
        assert_eq!(bench.explain("door").known, Some(On));
        bench.hold("door", "open 8h");
        contact(&mut bench, "blocked", true);
        bench.run_for("200ms");
        contact(&mut bench, "blocked", false);
        assert_eq!(watch(&mut bench, 60), ["yard/2"]);
        bench.restart(&house, "10s", false, true);
        contact(&mut bench, "daylight", true);
        contact(&mut bench, "blocked", false);
        assert_eq!(watch(&mut bench, 100), [""; 0]);
        assert_eq!(bench.explain("door").known, Some(Off));
        let load = bench.load("door");
        bench.hand(standfast::engine::HandOrder::Reset { load });
        assert_eq!(watch(&mut bench, 60), ["yard/1"]);
    }
}

mod pulsed {
    use super::*;

    const OPENER: &str = "[load.opener]\nrelay = \"yard/1\"\nkind = \"solenoid\"\npulse = \"400ms\"\n";

    fn pulses(bench: &mut Bench, seconds: u32) -> usize {
        let mut count = 0;
        let mut before = false;
        for _ in 0..seconds * 20 {
            bench.run_for("50ms");
            let now = bench.closed("yard/1");
            count += usize::from(now && !before);
            before = now;
        }
        count
    }

    #[test]
    fn a_door_is_not_opened_long_after_somebody_asked() {
        let mut bench = Bench::played(OPENER);
        bench.unplug("yard");
        bench.run_for("3m");
        let answer = bench.hold("opener", "on");
        let refused = "load \"opener\" opens at once or not at all, and board \"yard\" is not heard";
        assert_eq!(answer, standfast::engine::Answer::Refused(refused.to_owned()));
        bench.run_for("2h");
        bench.plug("yard");
        assert_eq!(pulses(&mut bench, 60), 0, "{}", bench.why("opener"));
        bench.unplug("yard");
        bench.hold("opener", "on");
        bench.run_for("2h");
        bench.plug("yard");
        assert_eq!(pulses(&mut bench, 60), 0, "asked before anybody knew that the board was lost");
        bench.hold("opener", "on");
        assert_eq!(pulses(&mut bench, 10), 1);
    }

    #[test]
    fn a_door_is_not_opened_after_a_restart_that_came_between() {
        let mut bench = Bench::played(OPENER);
        bench.unplug("yard");
        bench.hold("opener", "on");
        bench.restart(OPENER, "1h", false, true);
        bench.plug("yard");
        assert_eq!(pulses(&mut bench, 90), 0, "{}", bench.why("opener"));
    }

    #[test]
    fn a_door_that_a_trip_keeps_shut_is_not_opened_when_the_trip_is_reset() {
        let trip = "[input.alarm]\nat = \"yard/alarm\"\n[rule.shut]\nload = \"opener\"\ndemand = \"off\"\npriority = 2\n\
             reset = \"manual\"\nwhile = { input = \"alarm\", is = \"on\" }\n";
        let mut bench = Bench::played(&format!("{OPENER}{trip}"));
        contact(&mut bench, "alarm", true);
        bench.run_for("1s");
        contact(&mut bench, "alarm", false);
        bench.hold("opener", "on");
        bench.run_for("1h");
        let load = bench.load("opener");
        bench.hand(standfast::engine::HandOrder::Reset { load });
        assert_eq!(pulses(&mut bench, 60), 0, "{}", bench.why("opener"));
        bench.hold("opener", "on");
        assert_eq!(pulses(&mut bench, 10), 1);
    }

    #[test]
    fn an_opening_that_was_not_made_is_not_made_after_a_restart() {
        let mut bench = Bench::played(OPENER);
        // Its last report is too old to give a pulse its lease, so the next one is waited for.
        bench.player("yard").loses_reports = true;
        bench.run_for("35s");
        bench.hold("opener", "on");
        assert_eq!(pulses(&mut bench, 1), 0);
        bench.player("yard").loses_reports = false;
        bench.restart(OPENER, "1h", true, true);
        assert_eq!(pulses(&mut bench, 90), 0, "{}", bench.why("opener"));
    }

    #[test]
    fn asked_twice_while_an_order_gets_lost_it_opens_once() {
        let mut bench = Bench::played(OPENER);
        bench.player("yard").loses_orders = true;
        bench.hold("opener", "on");
        bench.run_for("10ms");
        bench.hold("opener", "on");
        bench.run_for("1s");
        bench.player("yard").loses_orders = false;
        assert_eq!(pulses(&mut bench, 60), 1, "{}", bench.why("opener"));
    }

    #[test]
    fn a_latching_relay_is_not_pulsed_at_a_start_before_it_is_known_what_is_wanted() {
        let house = "[load.stairs]\nrelay = \"yard/1\"\nkind = \"solenoid\"\npulse = \"250ms\"\npulse_at = \"change\"\n\
             feedback = \"lit\"\n[input.lit]\nat = \"yard/lit\"\n[input.ask]\nat = \"yard/ask\"\n\
             [rule.asks]\nload = \"stairs\"\ndemand = \"on\"\nwhile = { input = \"ask\", is = \"on\" }\n";
        let mut bench = Bench::played(house);
        contact(&mut bench, "ask", true);
        bench.run_for("1s");
        contact(&mut bench, "lit", true);
        bench.run_for("20s");
        assert_eq!(bench.explain("stairs").known, Some(On));
        bench.unlinked_restart(house);
        // Its report comes before its contacts.
        bench.relays("yard", "off:100:2:0 off off off");
        assert_eq!(bench.ordered("yard"), "- - - -", "orders of before may be under way");
        bench.run_for("5s");
        bench.relays("yard", "off:105:2:0 off off off");
        assert_eq!(bench.ordered("yard"), "off - - -", "{}", bench.why("stairs"));
    }

    #[test]
    fn a_latching_relay_that_hands_pulsed_at_its_board_is_followed() {
        let house =
            "[load.stairs]\nrelay = \"yard/1\"\nkind = \"solenoid\"\npulse = \"250ms\"\npulse_at = \"change\"\n";
        let mut bench = Bench::new(house);
        bench.relays("yard", "off:500:0:0 off off off");
        bench.run_for("31s");
        bench.relays("yard", "off:531:0:0 off off off");
        // Pressed and pressed again between two reports: one pulse.
        bench.run_for("5s");
        bench.relays("yard", "off:2:2:2 off off off");
        let hold = bench.explain("stairs").hold.expect("the hand's hold");
        assert_eq!((hold.state, bench.explain("stairs").known), (On, Some(On)));
        assert_eq!(bench.ordered("yard"), "off - - -");
    }
}
