//! The same house taken again at an awkward moment: while a board is lost, while orders are under way, while a delay runs. It
//! changes nothing, since what is decided holds until something happens or a time is over that was waited for.

use standfast::engine::Event;
use standfast::house::State::{Off, On};
use standfast::house::{LoadId, Relay};

use crate::bench::Bench;
use crate::in_flight::TWO_BOARDS;

/// Three loads on two boards share a supply that bears them all, one closing in a minute.
const SUPPLY: &str = r#"
[board.yard]
relays = 4
[board.shed]
relays = 4
[load.fan]
relay = "yard/1"
kind = "motor"
power = "100 W"
resting = "on"
min_on = "10m"
min_off = "1m"
[load.pump]
relay = "shed/1"
kind = "motor"
power = "100 W"
[load.rail]
relay = "yard/2"
kind = "resistive"
power = "100 W"
[circuit.supply]
loads = ["fan", "pump", "rail"]
limit = "1 kW"
stagger = "1m"
"#;

/// The fan has been on for three minutes.
fn supplied() -> Bench {
    let mut bench = Bench::played(SUPPLY);
    bench.run_for("3m");
    assert!(bench.runs("fan"));
    bench
}

/// Lets time pass, and at every second a copy takes the same house again and is of the same mind.
fn same_again_for(bench: &mut Bench, seconds: u32) {
    for _ in 0..seconds {
        bench.run_for("1s");
        let house = bench.engine.house().clone();
        let mut again = bench.engine.clone();
        again.reload((*house).clone(), &mut Vec::new());
        for load in (0..house.loads.len() as u32).map(LoadId) {
            assert_eq!(again.explain(load).cause, bench.engine.explain(load).cause, "{}", house.load(load).name);
        }
    }
}

#[test]
fn a_load_that_cannot_be_ordered_takes_no_turn_in_its_circuit() {
    let mut bench = supplied();
    bench.cut_power("shed");
    bench.run_for("1s");
    bench.hold("pump", "on 1h");
    bench.reload(SUPPLY);
    bench.hold("rail", "on 1h");
    bench.run_for("1s");
    assert!(bench.runs("rail"), "{}", bench.why("rail"));
    bench.power_up("shed");
    bench.run_for("20s");
    assert!(!bench.runs("pump"), "it takes its turn once it can close");
    bench.run_for("1m");
    assert!(bench.runs("pump"), "{}", bench.why("pump"));
}

#[test]
fn who_waits_for_the_stagger_of_the_site_takes_no_turn_in_its_circuit_yet() {
    let site = "[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\nstagger = \"3s\"\n";
    let lamp = "[load.lamp]\nrelay = \"shed/2\"\nkind = \"led\"\n";
    let mut bench = Bench::played(&format!("{site}{SUPPLY}{lamp}"));
    bench.run_for("3m");
    bench.step(Event::LinkDown);
    bench.link_up();
    bench.run_for("10s");
    bench.hold("lamp", "on 1h");
    bench.hold("rail", "on 1h");
    bench.run_for("1s");
    assert!(bench.runs("lamp") && !bench.runs("rail"), "{}", bench.why("rail"));
    bench.run_for("3s");
    assert!(bench.runs("rail"), "{}", bench.why("rail"));
}

#[test]
fn what_waits_for_orders_under_way_is_not_opened_for_want_of_a_turn() {
    let mut bench = supplied();
    bench.hold("rail", "on 1h");
    bench.run_for("1s");
    bench.withdraw("fan", "belt");
    assert_eq!(bench.ordered("yard"), "off on - -");
    bench.restore("fan");
    assert_eq!(bench.ordered("yard"), "- on - -", "{}", bench.why("fan"));
    bench.reload(SUPPLY);
    assert_eq!(bench.ordered("yard"), "- on - -", "{}", bench.why("fan"));
}

#[test]
fn min_on_ends_also_while_an_order_is_under_way() {
    let text = "[load.fan]\nrelay = \"yard/1\"\nkind = \"motor\"\nmin_on = \"30s\"\nmin_off = \"1m\"\n";
    let mut bench = Bench::new(text);
    bench.relays("yard", "on:10:1:0 off off off");
    bench.withdraw("fan", "belt");
    bench.restore("fan");
    bench.hold("fan", "off 1h");
    assert_eq!(bench.ordered("yard"), "- - - -", "{}", bench.why("fan"));
    bench.run_for("22s");
    assert_eq!(bench.ordered("yard"), "off - - -", "{}", bench.why("fan"));
}

#[test]
fn a_rest_that_was_over_is_not_doubted_once_the_board_is_lost() {
    let text = "[load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\nmax_on = \"1m\"\nrest = \"5s\"\n";
    let mut bench = Bench::new(text);
    bench.relays("yard", "off:9000:0:0 off off off");
    bench.hold("pump", "on 15s");
    bench.relays("yard", "on:0:1:0 off off off");
    bench.run_for("15s");
    bench.relays("yard", "off:0:2:0 off off off");
    bench.run_for("6s");
    bench.from("yard/life", "death 17");
    bench.run_for("5m");
    bench.hold("pump", "on 1h");
    bench.from("yard/report", "18 1 0 off:1:0:0 off off off");
    assert_eq!(bench.ordered("yard"), "on - - -", "{}", bench.why("pump"));
}

#[test]
fn max_on_is_over_when_it_is_also_of_a_load_that_started_too_often() {
    let text = "[load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\nmax_on = \"1m\"\nrest = \"10m\"\nmax_starts = \"1 per 1h\"\n";
    let mut bench = Bench::played(text);
    bench.hold("pump", "on 50s");
    bench.run_for("62s");
    same_again_for(&mut bench, 1);
    assert!(bench.why("pump").contains("ran for as long as it may"), "{}", bench.why("pump"));
}

#[test]
fn a_lease_does_not_run_out_sooner_for_a_change_of_the_house() {
    let mut bench = Bench::played(TWO_BOARDS);
    bench.hold("rail", "on 8h");
    bench.run_for("2s");
    // The machine was suspended, and nothing is heard after that.
    bench.player("yard").loses_reports = true;
    bench.pass_to(bench.now.boot + standfast::units::Span::from_min(10));
    bench.step(Event::Woken);
    let relay = Relay { board: bench.board("yard"), number: 1 };
    let before = bench.engine.possible(relay);
    bench.reload(TWO_BOARDS);
    assert_eq!(bench.engine.possible(relay), before);
    bench.run_for("1s");
    assert!(!bench.engine.possible(relay).energised);
}

#[test]
fn a_member_of_a_withdrawn_rotation_takes_no_turn() {
    let text = r#"
[site]
position = [54.60, -3.14]
zone = "Europe/London"
stagger = "5s"
[load.pump-a]
relay = "yard/1"
kind = "motor"
[load.pump-b]
relay = "yard/2"
kind = "motor"
[rotation.sump]
loads = ["pump-a", "pump-b"]
change_after = "10m"
[load.well-lamp]
relay = "yard/3"
kind = "led"
"#;
    let mut bench = Bench::played(text);
    bench.hold("pump-b", "on 1h");
    bench.withdraw("sump", "seal");
    bench.step(Event::LinkDown);
    bench.link_up();
    bench.run_for("6s");
    bench.reload(text);
    bench.hold("well-lamp", "on 1h");
    bench.run_for("1s");
    assert!(bench.runs("well-lamp"), "{}", bench.why("well-lamp"));
    assert_eq!((bench.wanted("pump-b"), bench.wanted("well-lamp")), (Off, On));
}

#[test]
fn what_turned_a_rule_is_known_also_while_its_delay_runs() {
    let text = r#"
[input.ask]
at = "yard/ask"
[input.door]
at = "yard/door"
[load.lamp]
relay = "yard/1"
kind = "led"
[rule.lit]
load = "lamp"
demand = "on"
while.all = [{ input = "ask", is = "on" }, { input = "door", is = "on" }]
off_delay = "5m"
"#;
    let mut bench = Bench::played(text);
    for word in ["ask", "door"] {
        bench.from(&format!("yard/input/{word}"), "on");
    }
    bench.from("yard/input/door", "off");
    bench.run_for("1s");
    let before = bench.explain("lamp");
    bench.reload(text);
    assert_eq!(bench.explain("lamp"), before);
}
