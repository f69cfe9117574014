//! Conditions made of conditions: all, any, not, names, inputs, under Kleene's strong logic; delays and otherwise.

use standfast::house::State::{self, Off, On};

use crate::bench::Bench;

/// Three contacts, each known on, known off or not known at all, and a rule over them. Safe is off, so true shows as on;
/// `otherwise` is on and tells false from unknown in the second load.
fn wanted(condition: &str, contacts: [Option<bool>; 2]) -> State {
    let text = format!(
        r#"
[input.a]
at = "yard/a"
[input.b]
at = "yard/b"
[condition.a-closed]
input = "a"
is = "on"
[load.lamp]
relay = "yard/1"
kind = "led"
[rule.lit]
load = "lamp"
demand = "on"
while{condition}
"#
    );
    let mut bench = Bench::new(&text);
    bench.relays("yard", "off off off off");
    bench.run_for("31s");
    for (name, state) in ["a", "b"].iter().zip(contacts) {
        if let Some(state) = state {
            bench.from(&format!("yard/input/{name}"), if state { "on" } else { "off" });
        }
    }
    bench.wanted("lamp")
}

const KNOWN: [Option<bool>; 2] = [Some(false), Some(true)];
const EITHER: [Option<bool>; 3] = [Some(false), Some(true), None];

#[test]
fn all_wants_every_part() {
    let all = r#".all = [{ input = "a", is = "on" }, { input = "b", is = "on" }]"#;
    for a in EITHER {
        for b in EITHER {
            let on = a == Some(true) && b == Some(true);
            assert_eq!(wanted(all, [a, b]) == On, on, "{a:?} and {b:?}");
        }
    }
}

#[test]
fn any_wants_one_part_and_a_true_one_outweighs_an_unknown_one() {
    let any = r#".any = [{ input = "a", is = "on" }, { input = "b", is = "on" }]"#;
    for a in EITHER {
        for b in EITHER {
            let on = a == Some(true) || b == Some(true);
            assert_eq!(wanted(any, [a, b]) == On, on, "{a:?} or {b:?}");
        }
    }
}

#[test]
fn not_turns_over_what_is_known_and_leaves_unknown() {
    let not = r#".not = { input = "a", is = "on" }"#;
    assert_eq!(wanted(not, [Some(false), None]), On);
    assert_eq!(wanted(not, [Some(true), None]), Off);
    assert_eq!(wanted(not, [None, None]), Off, "unknown demands the safe state");
}

#[test]
fn a_false_part_outweighs_an_unknown_one_so_the_rule_gives_way() {
    let text = r#"
[input.a]
at = "yard/a"
[input.b]
at = "yard/b"
[load.flap]
relay = "yard/1"
kind = "led"
safe = "on"
[rule.shut]
load = "flap"
demand = "off"
while.all = [{ input = "a", is = "on" }, { input = "b", is = "on" }]
"#;
    let mut bench = Bench::new(text);
    bench.relays("yard", "off off off off");
    bench.run_for("31s");
    assert_eq!(bench.wanted("flap"), On, "unknown, so safe");
    bench.from("yard/input/a", "off");
    assert_eq!(bench.wanted("flap"), Off, "false whatever b is: it rests");
}

#[test]
fn is_off_is_true_while_the_contact_is_open() {
    for state in KNOWN {
        let on = state == Some(false);
        assert_eq!(wanted(r#" = { input = "a", is = "off" }"#, [state, None]) == On, on);
    }
}

#[test]
fn named_conditions_and_deep_trees_follow_the_same_logic() {
    let deep = r#".all = ["a-closed", { any = [{ not = "a-closed" }, { input = "b", is = "off" }] }]"#;
    assert_eq!(wanted(deep, [Some(true), Some(false)]), On);
    assert_eq!(wanted(deep, [Some(true), Some(true)]), Off);
    assert_eq!(wanted(deep, [Some(false), Some(false)]), Off);
    assert_eq!(wanted(" = \"a-closed\"", [Some(true), None]), On);
}

// Delays. A fan on yard/1 that a contact asks for; safe off.

fn delayed(keys: &str) -> String {
    format!(
        r#"
[input.door]
at = "yard/door"
[load.fan]
relay = "yard/1"
kind = "led"
[rule.airs]
load = "fan"
demand = "on"
while = {{ input = "door", is = "on" }}
{keys}
"#
    )
}

fn contact(bench: &mut Bench, closed: bool) {
    bench.happen("yard", standfast::board::Event::Contact { input: "door", closed });
    bench.run_for("50ms");
}

#[test]
fn on_delay_waits_for_the_condition_to_hold_so_long() {
    let mut bench = Bench::played(&delayed("on_delay = \"1m\""));
    contact(&mut bench, true);
    bench.run_for("59s");
    assert_eq!(bench.wanted("fan"), Off);
    bench.run_for("1s");
    assert_eq!(bench.wanted("fan"), On);
}

#[test]
fn a_condition_that_drops_out_meanwhile_starts_its_on_delay_again() {
    let mut bench = Bench::played(&delayed("on_delay = \"1m\""));
    contact(&mut bench, true);
    bench.run_for("50s");
    contact(&mut bench, false);
    contact(&mut bench, true);
    bench.run_for("55s");
    assert_eq!(bench.wanted("fan"), Off);
    bench.run_for("5s");
    assert_eq!(bench.wanted("fan"), On);
}

#[test]
fn off_delay_goes_on_demanding_so_long() {
    let mut bench = Bench::played(&delayed("off_delay = \"5m\""));
    contact(&mut bench, true);
    assert_eq!(bench.wanted("fan"), On);
    contact(&mut bench, false);
    bench.run_for("4m59s");
    assert_eq!(bench.wanted("fan"), On);
    bench.run_for("1s");
    assert_eq!(bench.wanted("fan"), Off);
}

#[test]
fn a_condition_that_comes_back_ends_its_off_delay() {
    let mut bench = Bench::played(&delayed("off_delay = \"5m\""));
    contact(&mut bench, true);
    contact(&mut bench, false);
    bench.run_for("4m");
    contact(&mut bench, true);
    bench.run_for("10m");
    assert_eq!(bench.wanted("fan"), On);
    contact(&mut bench, false);
    bench.run_for("4m59s");
    assert_eq!(bench.wanted("fan"), On, "the delay starts in full");
    bench.run_for("1s");
    assert_eq!(bench.wanted("fan"), Off);
}

#[test]
fn unknown_demands_safe_without_delays() {
    let mut bench = Bench::played(&delayed("off_delay = \"5m\""));
    contact(&mut bench, true);
    bench.unplug("yard");
    bench.run_for("61s");
    assert_eq!(bench.wanted("fan"), Off, "the board is lost, so the contact is unknown");
}

#[test]
fn unknown_in_the_middle_starts_an_on_delay_again() {
    let mut bench = Bench::played(&delayed("on_delay = \"4m\""));
    contact(&mut bench, true);
    bench.run_for("3m");
    bench.unplug("yard");
    bench.run_for("70s");
    bench.plug("yard");
    bench.run_for("1s");
    assert_eq!(bench.wanted("fan"), Off);
    bench.run_for("3m55s");
    assert_eq!(bench.wanted("fan"), Off, "nobody knows that it held all the while");
    bench.run_for("5s");
    assert_eq!(bench.wanted("fan"), On);
}

#[test]
fn unknown_in_the_middle_ends_an_off_delay() {
    let mut bench = Bench::played(&delayed("off_delay = \"10m\""));
    contact(&mut bench, true);
    contact(&mut bench, false);
    bench.run_for("10s");
    bench.unplug("yard");
    bench.run_for("70s");
    bench.plug("yard");
    bench.run_for("1s");
    assert_eq!(bench.wanted("fan"), Off, "the safe state was ordered meanwhile; it does not come back on");
}

#[test]
fn both_delays_together_ride_out_short_changes_both_ways() {
    let mut bench = Bench::played(&delayed("on_delay = \"10s\"\noff_delay = \"20s\""));
    contact(&mut bench, true);
    bench.run_for("12s");
    assert_eq!(bench.wanted("fan"), On);
    for _ in 0..4 {
        contact(&mut bench, false);
        bench.run_for("15s");
        contact(&mut bench, true);
        bench.run_for("5s");
        assert_eq!(bench.wanted("fan"), On);
    }
}

#[test]
fn otherwise_is_demanded_while_false_and_without_it_the_rule_gives_way() {
    for (keys, expected) in [("otherwise = \"off\"", Off), ("", On)] {
        let weaker = "[rule.weaker]\nload = \"fan\"\ndemand = \"on\"\nwhile = { input = \"door\", is = \"off\" }\n";
        let text = format!("{}{weaker}", delayed(&format!("priority = 10\n{keys}")));
        let bench = Bench::played(&text);
        assert_eq!(bench.wanted("fan"), expected, "{keys}");
    }
}

#[test]
fn otherwise_waits_for_the_off_delay_too() {
    let mut bench = Bench::played(&delayed("otherwise = \"off\"\noff_delay = \"1m\""));
    contact(&mut bench, true);
    contact(&mut bench, false);
    bench.run_for("58s");
    assert_eq!(bench.wanted("fan"), On);
    bench.run_for("2s");
    assert_eq!(bench.wanted("fan"), Off);
    assert!(bench.why("fan").contains("rule airs"), "{}", bench.why("fan"));
}

#[test]
fn on_unknown_release_gives_way_and_a_weaker_rule_speaks() {
    for (keys, expected) in [("", Off), ("on_unknown = \"release\"", On)] {
        let weaker = r#"
[sensor.lux]
reading = "yard/lux"
[rule.weaker]
load = "fan"
demand = "on"
while = { sensor = "lux", cut_in = "<= 40", cut_out = ">= 65" }
"#;
        let mut bench = Bench::new(&format!("{}{weaker}", delayed(&format!("priority = 10\n{keys}"))));
        bench.relays("yard", "off off off off");
        bench.run_for("31s");
        bench.reading("lux", 10.0);
        assert_eq!(bench.wanted("fan"), expected, "{keys:?}");
    }
}
