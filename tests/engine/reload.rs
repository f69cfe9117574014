//! Another house while running: state goes over by load name, facts about contacts by relay, and what is taken out is
//! opened and confirmed before it is forgotten.

use standfast::engine::{Cause, Effect, Retained};
use standfast::house::State::{Off, On};

use crate::bench::{Bench, house};

pub const HOUSE: &str = r#"
[board.yard]
relays = 4
[input.ask]
at = "yard/ask"
[sensor.air]
reading = "yard/t1"
unit = "°C"
[load.lamp]
relay = "yard/1"
kind = "led"
[load.pump]
relay = "yard/2"
kind = "motor"
min_on = "2m"
min_off = "3m"
[rule.lit]
load = "lamp"
demand = "on"
while = { input = "ask", is = "on" }
"#;

/// The house without a table, up to the next blank or the next header.
pub fn without(text: &str, header: &str) -> String {
    let start = text.find(header).unwrap_or_else(|| panic!("no {header}"));
    let end = text[start + 1..].find("\n[").map_or(text.len(), |at| start + 1 + at + 1);
    format!("{}{}", &text[..start], &text[end..])
}

fn ask(bench: &mut Bench, closed: bool) {
    bench.happen("yard", standfast::board::Event::Contact { input: "ask", closed });
    bench.run_for("100ms");
}

pub fn played() -> Bench {
    let mut bench = Bench::played(HOUSE);
    bench.run_for("4m");
    bench
}

#[test]
fn the_same_house_again_changes_nothing() {
    let mut bench = played();
    ask(&mut bench, true);
    bench.hold("pump", "on 1h");
    bench.run_for("1s");
    let before = (bench.explain("lamp"), bench.explain("pump"), bench.ordered("yard"));
    bench.take_journal();
    bench.reload(HOUSE);
    assert_eq!((bench.explain("lamp"), bench.explain("pump"), bench.ordered("yard")), before);
    bench.run_for("20s");
    assert!(bench.runs("lamp") && bench.runs("pump"));
    assert_eq!(bench.take_journal(), [] as [String; 0]);
}

#[test]
fn a_reload_is_stored_at_once_and_keeps_order_numbers_rising() {
    let mut bench = played();
    let before = bench.orders["yard"].number;
    bench.reload(HOUSE);
    assert!(bench.effects.contains(&Effect::Save));
    bench.run_for("30s");
    let after = bench.orders["yard"].number;
    assert!((before + 1..before + 10).contains(&after), "{before} to {after}: no reservation is wasted");
}

#[test]
fn a_changed_rule_acts_at_once() {
    let mut bench = played();
    bench.reload(&HOUSE.replace("is = \"on\"", "is = \"off\""));
    bench.run_for("1s");
    assert!(bench.runs("lamp"));
}

#[test]
fn a_rule_taken_out_gives_way() {
    let mut bench = played();
    ask(&mut bench, true);
    assert!(bench.runs("lamp"));
    bench.reload(&without(HOUSE, "[rule.lit]"));
    bench.run_for("1s");
    assert!(!bench.runs("lamp"));
}

#[test]
fn min_on_and_min_off_go_over_with_the_relay() {
    let mut bench = played();
    bench.hold("pump", "on 1h");
    bench.run_for("30s");
    bench.reload(HOUSE);
    bench.hold("pump", "off 1h");
    bench.run_for("85s");
    assert!(bench.runs("pump"));
    bench.run_for("10s");
    assert!(!bench.runs("pump"));
}

#[test]
fn holds_and_withdrawals_go_over_with_the_load() {
    let mut bench = played();
    bench.hold("lamp", "on 1h");
    bench.withdraw("pump", "seal");
    bench.reload(HOUSE);
    assert_eq!(bench.explain("lamp").hold.expect("a hold").state, On);
    assert_eq!(bench.explain("pump").slot, Some(1));
    bench.run_for("1h");
    assert_eq!(bench.explain("lamp").hold, None, "it ends when it would have");
}

#[test]
fn a_load_that_moves_opens_its_old_relay_and_closes_its_new_one() {
    let mut bench = played();
    bench.hold("lamp", "on 1h");
    bench.run_for("1s");
    bench.reload(&HOUSE.replace("yard/1", "yard/3"));
    bench.run_for("1s");
    assert!(!bench.closed("yard/1") && bench.closed("yard/3"), "the hold went with the load");
}

#[test]
fn a_renamed_load_keeps_its_relays_facts_and_loses_its_hold() {
    let mut bench = played();
    bench.hold("pump", "on 1h");
    bench.run_for("10s");
    bench.reload(&HOUSE.replace("load.pump", "load.well-pump"));
    assert_eq!(bench.explain("well-pump").hold, None);
    assert!(!bench.retained.contains(&Retained::Load("pump".to_owned())));
    assert!(bench.retained.contains(&Retained::Load("well-pump".to_owned())));
    bench.run_for("100s");
    assert!(bench.runs("well-pump"), "min on belongs to the relay");
    bench.run_for("20s");
    assert!(!bench.runs("well-pump"));
}

#[test]
fn two_loads_that_change_places_take_each_others_relay_facts() {
    let text = HOUSE.replace("kind = \"led\"", "kind = \"led\"\nmin_on = \"2m\"");
    let mut bench = Bench::played(&text);
    bench.run_for("4m");
    bench.hold("pump", "on 1h");
    bench.run_for("1s");
    let swapped = text.replace("yard/1", "yard/X").replace("yard/2", "yard/1").replace("yard/X", "yard/2");
    bench.reload(&swapped);
    bench.run_for("1s");
    assert!(bench.closed("yard/1"), "the pump is held on, at its new place");
    assert!(bench.closed("yard/2"), "the contact that closed a moment ago stays for its min on");
    bench.run_for("2m");
    assert!(bench.closed("yard/1") && !bench.closed("yard/2"));
}

#[test]
fn a_new_board_is_waited_for_and_missed() {
    let mut bench = played();
    bench.reload(&(HOUSE.to_owned() + "[board.hall]\nrelays = 2\n[load.bell]\nrelay = \"hall/1\"\nkind = \"led\"\n"));
    bench.run_for("59s");
    assert!(!bench.alarms().contains(&"board-hall"));
    bench.run_for("2s");
    assert!(bench.alarms().contains(&"board-hall"));
}

#[test]
fn a_load_that_asks_for_a_new_sensor_stays_as_it_is_until_that_is_known() {
    let mut bench = played();
    ask(&mut bench, true);
    let text = HOUSE
        .replace("{ input = \"ask\", is = \"on\" }", "{ sensor = \"lux\", cut_in = \"<= 40\", cut_out = \">= 65\" }")
        + "[sensor.lux]\nreading = \"yard/lux\"\n";
    bench.reload(&text);
    bench.run_for("10s");
    assert!(bench.runs("lamp"), "no blink for want of a reading");
    bench.reading("lux", 10.0);
    bench.run_for("20m");
    assert!(!bench.runs("lamp"), "stale");
}

#[test]
fn a_new_sensor_is_not_waited_for_longer_than_settle() {
    let mut bench = played();
    ask(&mut bench, true);
    let text = HOUSE
        .replace("{ input = \"ask\", is = \"on\" }", "{ sensor = \"lux\", cut_in = \"<= 40\", cut_out = \">= 65\" }")
        + "[sensor.lux]\nreading = \"yard/lux\"\n";
    bench.reload(&text);
    for _ in 0..3 {
        // Reloading again and again does not put it off.
        bench.run_for("9s");
        bench.reload(&text);
    }
    assert!(bench.runs("lamp"));
    bench.run_for("4s");
    assert!(!bench.runs("lamp"));
}

#[test]
fn a_load_that_asks_for_a_new_contact_stays_as_it_is_until_that_is_known() {
    let mut bench = played();
    ask(&mut bench, true);
    bench
        .reload(&(HOUSE.replace("input = \"ask\", is", "input = \"door\", is") + "[input.door]\nat = \"yard/door\"\n"));
    bench.run_for("10s");
    assert!(bench.runs("lamp"));
    bench.from("yard/input/door", "off");
    bench.run_for("1s");
    assert!(!bench.runs("lamp"));
}

#[test]
fn a_sensor_that_now_measures_something_else_is_unknown_until_it_is_heard() {
    let mut bench = played();
    bench.reading("air", 20.0);
    bench.reload(&HOUSE.replace("yard/t1", "yard/t2"));
    assert_eq!(bench.engine.reading(bench.sensor("air")), None, "another place");
    bench.reading("air", 20.0);
    bench.reload(&HOUSE.replace("yard/t1", "yard/t2").replace("°C", "K"));
    assert_eq!(bench.engine.reading(bench.sensor("air")), None, "another unit");
    bench.reading("air", 293.0);
    bench.reload(&HOUSE.replace("yard/t1", "yard/t2").replace("°C", "K").replace("unit", "stale_after = \"9m\"\nunit"));
    assert!(bench.engine.reading(bench.sensor("air")).is_some(), "only for longer");
}

#[test]
fn what_sensors_and_contacts_said_goes_over() {
    let mut bench = played();
    bench.reading("air", 20.0);
    ask(&mut bench, true);
    bench.reload(&(HOUSE.to_owned() + "[sensor.aaa]\nreading = \"yard/t9\"\n[input.aaa]\nat = \"yard/aaa\"\n"));
    assert_eq!(bench.engine.reading(bench.sensor("air")).map(|(value, _)| value.get()), Some(20.0));
    assert_eq!(bench.wanted("lamp"), On, "though every index has moved");
    bench.run_for("6m");
    assert_eq!(bench.engine.reading(bench.sensor("air")), None, "and goes stale when it would have");
}

#[test]
fn a_delay_goes_over_with_its_rule() {
    let text = HOUSE.to_owned() + "off_delay = \"5m\"\n";
    let mut bench = Bench::played(&text);
    ask(&mut bench, true);
    ask(&mut bench, false);
    bench.run_for("3m");
    bench.reload(&(text.clone() + "[input.aaa]\nat = \"yard/aaa\"\n"));
    bench.run_for("119s");
    assert!(bench.runs("lamp"));
    bench.run_for("2s");
    assert!(!bench.runs("lamp"));
}

#[test]
fn a_changed_lease_and_fallback_are_told_at_once() {
    let mut bench = played();
    bench.reload(
        &HOUSE
            .replace("relays = 4", "relays = 4\nlease = \"30s\"")
            .replace("kind = \"led\"", "kind = \"led\"\nsafe = \"on\""),
    );
    assert_eq!(bench.fallbacks["yard"].encode(), "30 on off off off");
    assert_eq!(bench.orders["yard"].lease_s, 30);
}

#[test]
fn a_board_with_more_relays_is_believed_from_its_next_report_on() {
    let mut bench = played();
    let text = HOUSE.replace("relays = 4", "relays = 6")
        + "[load.bell]\nrelay = \"yard/6\"\nkind = \"led\"\nresting = \"on\"\n";
    bench.reload(&text);
    assert_eq!(bench.orders["yard"].relays.len(), 6);
    bench.from("yard/report", "18 1 0 off off off off");
    assert_eq!(bench.explain("bell").known, None, "four relays are not six");
    bench.from("yard/report", "18 2 0 off off off off off off");
    assert_eq!(bench.explain("bell").known, Some(Off));
}

#[test]
fn a_preview_says_which_contacts_would_change_and_changes_none() {
    let mut bench = played();
    ask(&mut bench, true);
    let before = serde_json::to_string(&bench.engine.snapshot()).expect("JSON");
    assert_eq!(bench.engine.preview(house(HOUSE)), []);
    let turned = bench.engine.preview(house(&without(HOUSE, "[rule.lit]")));
    assert_eq!(turned.len(), 1);
    assert_eq!((turned[0].relay.as_str(), turned[0].to), ("yard/1", Off));
    assert_eq!(turned[0].why, Cause::Resting);
    let lamp = turned[0].load.clone().expect("a load is on it");
    let moved = HOUSE.replace("relay = \"yard/1\"", "relay = \"yard/4\"");
    assert_ne!(moved, HOUSE, "the lamp is on yard/1");
    let turned = bench.engine.preview(house(&moved));
    let found: Vec<_> = turned.iter().map(|one| (one.load.as_deref(), one.relay.as_str(), one.to)).collect();
    assert_eq!(found, [(None, "yard/1", Off), (Some(lamp.as_str()), "yard/4", On)]);
    assert_eq!(serde_json::to_string(&bench.engine.snapshot()).expect("JSON"), before);
}

#[test]
fn a_reload_without_the_broker_tells_everything_once_it_is_back() {
    let text = HOUSE.to_owned() + "[load.bell]\nrelay = \"yard/3\"\nkind = \"led\"\n";
    let mut bench = Bench::played(&text);
    bench.step(standfast::engine::Event::LinkDown);
    bench.reload(HOUSE);
    assert!(bench.retained.contains(&Retained::Load("bell".to_owned())), "it cannot be emptied yet");
    bench.link_up();
    assert!(!bench.retained.contains(&Retained::Load("bell".to_owned())));
    bench.run_for("1s");
    assert_eq!(bench.ordered("yard").split(' ').nth(2), Some("-"));
}

#[test]
fn a_load_that_comes_back_without_the_broker_is_not_emptied() {
    let text = HOUSE.to_owned() + "[load.bell]\nrelay = \"yard/3\"\nkind = \"led\"\n";
    let mut bench = Bench::played(&text);
    bench.step(standfast::engine::Event::LinkDown);
    bench.reload(HOUSE);
    bench.reload(&text);
    bench.link_up();
    assert!(bench.retained.contains(&Retained::Load("bell".to_owned())));
}
