//! What a change of the house takes out: relays are opened and confirmed before they are forgotten, and topics emptied.

use standfast::engine::Retained;

use crate::bench::Bench;
use crate::reload::{HOUSE, played, without};

#[test]
fn a_relay_that_no_load_names_any_more_is_opened_confirmed_and_then_left_alone() {
    let mut bench = played();
    bench.hold("lamp", "on 1h");
    bench.run_for("1s");
    let text = without(&without(HOUSE, "[load.lamp]"), "[rule.lit]");
    bench.reload(&text);
    assert_eq!(bench.ordered("yard"), "off off - -", "opened");
    bench.run_for("1s");
    assert!(!bench.closed("yard/1"));
    bench.run_for("23s");
    assert_eq!(bench.ordered("yard"), "- off - -", "confirmed, so forgotten");
    assert!(!bench.retained.contains(&Retained::Load("lamp".to_owned())));
    assert_eq!(bench.fallbacks["yard"].encode(), "90 off off off off");
}

#[test]
fn opening_a_relay_that_lost_its_load_goes_on_until_it_is_confirmed() {
    let mut bench = played();
    bench.hold("lamp", "on 1h");
    bench.run_for("1s");
    bench.player("yard").loses_orders = true;
    bench.reload(&without(&without(HOUSE, "[load.lamp]"), "[rule.lit]"));
    bench.run_for("40s");
    assert_eq!(bench.ordered("yard"), "off off - -");
    bench.player("yard").loses_orders = false;
    bench.run_for("46s");
    assert!(!bench.closed("yard/1"));
    assert_eq!(bench.ordered("yard"), "- off - -");
}

#[test]
fn opening_a_relay_that_lost_its_load_goes_on_across_a_restart() {
    let text = without(&without(HOUSE, "[load.lamp]"), "[rule.lit]");
    let mut bench = played();
    bench.hold("lamp", "on 1h");
    bench.run_for("1s");
    bench.player("yard").loses_orders = true;
    bench.reload(&text);
    bench.run_for("1s");
    bench.restart(&text, "5s", true, true);
    bench.player("yard").loses_orders = false;
    bench.run_for("1s");
    assert!(!bench.closed("yard/1"));
}

#[test]
fn a_house_that_lost_a_load_while_the_daemon_was_down_opens_its_relay() {
    let mut bench = played();
    bench.hold("lamp", "on 1h");
    bench.run_for("1s");
    bench.restart(&without(&without(HOUSE, "[load.lamp]"), "[rule.lit]"), "5s", true, true);
    bench.run_for("1s");
    assert!(!bench.closed("yard/1"));
    bench.run_for("30s");
    assert_eq!(bench.ordered("yard"), "- off - -");
}

/// A crash took the memory of the house that had the load back, and of its orders. A hand at the board is another matter.
#[test]
fn what_orders_that_nobody_remembers_closed_is_opened_once_it_has_no_load() {
    let text = without(&without(HOUSE, "[load.lamp]"), "[rule.lit]");
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off:900:0:0 off:900:0:0 off:900:0:0 off:900:0:0");
    bench.from("input/ask", "off");
    bench.hold("lamp", "on 1h");
    bench.relays("yard", "on:1:1:0 off:900:0:0 off:900:0:0 off:900:0:0");
    bench.reload(&text);
    bench.relays("yard", "off:1:2:0 off:900:0:0 off:900:0:0 off:900:0:0");
    assert_eq!(bench.ordered("yard"), "- off - -", "opened, confirmed and forgotten");
    bench.relays("yard", "on:3:3:1 off:900:0:0 off:900:0:0 off:900:0:0");
    assert_eq!(bench.ordered("yard"), "- off - -", "by a hand");
    bench.relays("yard", "off:1:4:2 off:900:0:0 off:900:0:0 off:900:0:0");
    bench.relays("yard", "on:3:5:2 off:900:0:0 off:900:0:0 off:900:0:0");
    assert_eq!(bench.ordered("yard"), "off off - -", "by no hand");
    bench.relays("yard", "off:1:6:2 off:900:0:0 off:900:0:0 off:900:0:0");
    assert_eq!(bench.ordered("yard"), "- off - -", "confirmed");
}

#[test]
fn a_relay_that_was_never_ordered_is_not_opened_for_want_of_a_load() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off off on off");
    assert_eq!(bench.ordered("yard"), "off off - -", "somebody else's business");
    bench.reload(&without(HOUSE, "[rule.lit]"));
    assert_eq!(bench.ordered("yard"), "off off - -");
}

#[test]
fn a_board_taken_out_is_opened_before_it_is_forgotten_and_makes_no_alarm() {
    let text = HOUSE.to_owned()
        + "[board.hall]\nrelays = 2\n[load.bell]\nrelay = \"hall/1\"\nkind = \"led\"\nresting = \"on\"\nsafe = \"on\"\n";
    let mut bench = Bench::played(&text);
    assert!(bench.closed("hall/1"));
    bench.reload(HOUSE);
    bench.run_for("1s");
    assert!(!bench.closed("hall/1"));
    assert_eq!(bench.player("hall").board.flash().fallback.clone().expect("heard").encode(), "90 off off");
    bench.unplug("hall");
    bench.run_for("10m");
    assert!(!bench.closed("hall/1"), "nor does its old fallback bring it back");
    assert!(bench.alarms().iter().all(|alarm| !alarm.contains("hall")), "{:?}", bench.alarms());
    bench.reload(HOUSE);
    assert!(!bench.retained.contains(&Retained::Board("hall".to_owned())), "its topic is emptied in the end");
}

#[test]
fn a_board_taken_out_whose_relays_are_open_is_forgotten_and_its_topic_emptied() {
    let text = HOUSE.to_owned() + "[board.hall]\nrelays = 2\n[load.bell]\nrelay = \"hall/1\"\nkind = \"led\"\n";
    let mut bench = Bench::played(&text);
    bench.reload(HOUSE);
    assert!(!bench.retained.contains(&Retained::Board("hall".to_owned())));
    assert!(!bench.retained.contains(&Retained::Load("bell".to_owned())));
    assert!(bench.engine.house().board_named("hall").is_none());
}

#[test]
fn alarms_of_what_is_taken_out_are_cleared() {
    let text = HOUSE.to_owned()
        + "[board.hall]\nrelays = 2\n[load.bell]\nrelay = \"hall/1\"\nkind = \"led\"\n[sensor.lux]\ntopic = \"roof\"\n";
    let mut bench = Bench::new(&text);
    bench.play("yard");
    bench.run_for("10m");
    assert_eq!(bench.alarms(), ["board-hall", "sensor-air", "sensor-lux"]);
    bench.reload(HOUSE);
    assert_eq!(bench.alarms(), ["sensor-air"]);
    assert!(!bench.retained.contains(&Retained::Alarm("board-hall".to_owned())));
}

/// A board on which nothing is left may go without a word, be it found so by a change of the house or by a start.
#[test]
fn alarms_of_a_board_that_has_nothing_left_are_cleared() {
    let board = "[board.hall]\nrelays = 2\n";
    let text = format!("{HOUSE}{board}[load.bell]\nrelay = \"hall/1\"\nkind = \"led\"\n");
    for is_start in [false, true] {
        let mut bench = Bench::new(&text);
        bench.run_for("10m");
        assert!(bench.alarms().contains(&"board-hall"));
        let without = format!("{HOUSE}{board}");
        if is_start {
            bench.restart(&without, "5s", true, true)
        } else {
            bench.reload(&without)
        }
        assert!(!bench.alarms().contains(&"board-hall"), "at a start: {is_start}");
    }
}

#[test]
fn a_board_taken_out_hears_of_it_before_its_fallback_could_bring_a_load_back() {
    let text =
        HOUSE.to_owned() + "[board.hall]\nrelays = 2\n[load.bell]\nrelay = \"hall/1\"\nkind = \"led\"\nsafe = \"on\"\n";
    let mut bench = Bench::played(&text);
    assert!(!bench.closed("hall/1"), "nothing demands it");
    bench.reload(HOUSE);
    bench.run_for("1s");
    bench.unplug("hall");
    bench.run_for("10m");
    assert!(!bench.closed("hall/1"));
}
