//! Conditions about loads: they follow what is reported of another load, are unknown with it, and never go round in a step.

use standfast::engine::Effect;
use standfast::house::State::{Off, On};

use crate::bench::Bench;

/// A boiler by its sensor on one board, and on another board a pump that runs while the boiler does.
const HOUSE: &str = r#"
[board.cellar]
relays = 2
lease = "60s"
[board.yard]
relays = 2
[sensor.tank]
reading = "yard/t1"
stale_after = "10m"
[load.boiler]
relay = "cellar/1"
kind = "resistive"
[load.pump]
relay = "yard/1"
kind = "motor"
[rule.heats]
load = "boiler"
demand = "on"
while = { sensor = "tank", cut_in = "<= 40", cut_out = ">= 50" }
[rule.circulates]
load = "pump"
demand = "on"
while = { load = "boiler", is = "on" }
"#;

/// Both boards heard, everything off, the tank warm.
fn bench(text: &str) -> Bench {
    let mut bench = Bench::new(text);
    bench.relays("cellar", "off off");
    bench.relays("yard", "off off");
    bench.reading("tank", 60.0);
    bench
}

#[test]
fn it_follows_the_report_and_not_the_order() {
    let mut bench = bench(HOUSE);
    bench.run_for("1s");
    bench.reading("tank", 30.0);
    assert_eq!((bench.wanted("boiler"), bench.ordered("cellar").as_str()), (On, "on -"));
    assert_eq!(bench.wanted("pump"), Off, "the boiler is ordered on, and not on yet");
    assert!(bench.why("pump").starts_with("pump: off, nothing is demanded"), "{}", bench.why("pump"));
    // After a start closings take turns.
    bench.run_for("1s");
    bench.relays("cellar", "on off");
    assert_eq!((bench.wanted("pump"), bench.ordered("yard").as_str()), (On, "on -"));
    assert!(
        bench.why("pump").ends_with("as boiler is on; off when boiler is off (rule circulates)"),
        "{}",
        bench.why("pump")
    );
    bench.reading("tank", 50.0);
    assert_eq!(bench.wanted("pump"), On);
    bench.relays("cellar", "off off");
    assert_eq!(bench.wanted("pump"), Off);
}

#[test]
fn it_follows_a_hand_at_the_board_too_and_a_load_on_a_normally_closed_contact() {
    let mut bench = bench(HOUSE);
    bench.relays("cellar", "on:1:1:1 off:9:0:0");
    assert_eq!(bench.wanted("pump"), On);
    let closed = HOUSE.replace("kind = \"resistive\"", "kind = \"resistive\"\ncontact = \"NC\"");
    let mut bench = Bench::new(&closed);
    bench.relays("yard", "off off");
    bench.relays("cellar", "off off");
    assert_eq!(bench.wanted("pump"), On, "its relay is not energised, so it runs");
}

#[test]
fn it_is_unknown_while_the_board_is_lost_or_has_not_reported_since_its_birth() {
    let safe_on = HOUSE.replace("kind = \"motor\"", "kind = \"motor\"\nsafe = \"on\"");
    let mut bench = bench(&safe_on);
    assert_eq!(bench.wanted("pump"), Off);
    for loss in ["death 17", "birth 18 power-on"] {
        bench.from("cellar/life", loss);
        assert_eq!(bench.wanted("pump"), On, "{loss}: nobody knows, so it is safe");
        let why = bench.why("pump");
        assert!(why.contains("cannot tell") && why.contains("what boiler does is not known"), "{why}");
        let beat = if loss.starts_with("death") { "17 9 0" } else { "18 1 0" };
        bench.from("cellar/report", &format!("{beat} off off"));
        assert_eq!(bench.wanted("pump"), Off, "{loss}: it is heard again");
    }
}

#[test]
fn at_a_start_it_is_waited_for_and_no_longer_than_settle() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "on off");
    assert_eq!((bench.wanted("pump"), bench.ordered("yard").as_str()), (On, "on -"));
    assert!(bench.why("pump").contains("until load boiler is known"), "{}", bench.why("pump"));
    bench.relays("cellar", "off off");
    assert_eq!(bench.wanted("pump"), Off, "it is known, so the rule decides");
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "on off");
    bench.run_for("29999ms");
    assert_eq!(bench.wanted("pump"), On);
    bench.run_for("1ms");
    assert_eq!(bench.wanted("pump"), Off, "waited for long enough, so the safe state");
}

#[test]
fn a_restart_within_the_lease_changes_no_contact() {
    let mut bench = bench(HOUSE);
    bench.reading("tank", 30.0);
    bench.relays("cellar", "on off");
    bench.relays("yard", "on off");
    bench.restart(HOUSE, "10s", true, true);
    bench.relays("yard", "on off");
    assert_eq!(bench.ordered("yard"), "on -");
    bench.relays("cellar", "on off");
    assert_eq!((bench.ordered("cellar").as_str(), bench.wanted("pump")), ("on -", On));
}

#[test]
fn after_a_reload_a_load_on_another_relay_is_waited_for_and_a_known_one_is_not() {
    let text = format!("{HOUSE}[load.lamp]\nrelay = \"cellar/2\"\nkind = \"led\"\n");
    let mut bench = bench(&text);
    bench.relays("cellar", "off on");
    bench.reload(&text.replace("load = \"boiler\", is", "load = \"lamp\", is"));
    assert_eq!(bench.wanted("pump"), On, "what the lamp does was known all along");
    let mut bench = self::bench(&text);
    bench.relays("yard", "on off");
    bench.run_for("1s");
    assert_eq!(bench.wanted("pump"), Off);
    let moved = text.replace("\"cellar/1\"", "\"shed/1\"") + "[board.shed]\nrelays = 1\n";
    bench.relays("yard", "on off");
    bench.reload(&moved);
    assert!(bench.why("pump").contains("until load boiler is known"), "{}", bench.why("pump"));
    bench.from("shed/report", "1 1 0 off");
    assert_eq!(bench.wanted("pump"), Off);
}

/// `check` refuses such a house. One that runs all the same turns with reports, one turn for each.
#[test]
fn a_circle_turns_once_for_each_report() {
    let text = r#"
[load.chaser]
relay = "yard/1"
kind = "led"
[load.runner]
relay = "yard/2"
kind = "led"
[rule.chases]
load = "chaser"
demand = "on"
while = { load = "runner", is = "on" }
[rule.runs-away]
load = "runner"
demand = "on"
while = { load = "chaser", is = "off" }
"#;
    let mut bench = Bench::new(text);
    let mut orders = 0;
    for (report, ordered) in [("off off", "off on"), ("off on", "on on"), ("on on", "on off"), ("on off", "off off")] {
        bench.relays("yard", &format!("{report} off off"));
        // The answer to the report; after a start closings take turns.
        orders += bench.effects.iter().filter(|effect| matches!(effect, Effect::SendOrders { .. })).count();
        bench.run_for("1s");
        assert_eq!(bench.ordered("yard"), format!("{ordered} - -"));
    }
    assert_eq!(orders, 4);
    // With a board that obeys it goes on for ever, and each turn takes the board's time.
    let mut bench = Bench::played(text);
    bench.run_for("1m");
    assert!(bench.journal.len() > 100, "{}", bench.journal.len());
}
