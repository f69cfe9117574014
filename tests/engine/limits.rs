//! Min on and min off count from what contacts did, whoever did it: own orders, foreign changes, hands, reboots, power cuts,
//! orders that are under way or lost, reports that leave things out.

use standfast::board::Faults;
use standfast::house::State::{Off, On};

use crate::bench::Bench;

/// A motor that a contact asks for, and a button at the board.
const HOUSE: &str = r#"
[input.ask]
at = "yard/ask"
[input.button]
at = "yard/button"
toggles = "pump"
[load.pump]
relay = "yard/1"
kind = "motor"
min_on = "2m"
min_off = "3m"
hold_for = "1h"
[rule.asks]
load = "pump"
demand = "on"
while = { input = "ask", is = "on" }
"#;

fn ask(bench: &mut Bench, closed: bool) {
    bench.happen("yard", standfast::board::Event::Contact { input: "ask", closed });
    bench.run_for("100ms");
}

fn played() -> Bench {
    let mut bench = Bench::played(HOUSE);
    bench.run_for("4m");
    bench
}

/// Scripted by hand instead: relay 1 has been off for long, the contact is open, everything has settled.
fn scripted() -> Bench {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off:9000:0:0 off off off");
    bench.from("yard/input/ask", "off");
    bench.run_for("31s");
    bench
}

#[test]
fn on_stays_on_for_min_on_and_off_stays_off_for_min_off() {
    let mut bench = played();
    ask(&mut bench, true);
    assert!(bench.runs("pump"));
    ask(&mut bench, false);
    bench.run_for("1m58s");
    assert!(bench.runs("pump"));
    bench.run_for("3s");
    assert!(!bench.runs("pump"));
    ask(&mut bench, true);
    bench.run_for("2m57s");
    assert!(!bench.runs("pump"));
    bench.run_for("6s");
    assert!(bench.runs("pump"));
}

#[test]
fn the_time_counts_from_the_contact_and_not_from_the_order() {
    let mut bench = scripted();
    bench.from("yard/input/ask", "on");
    assert_eq!(bench.ordered("yard"), "on - - -");
    // The order needs twenty seconds to arrive.
    bench.run_for("20s");
    bench.relays("yard", "on:0:1:0 off off off");
    bench.from("yard/input/ask", "off");
    bench.run_for("40s");
    bench.relays("yard", "on:40:1:0 off off off");
    bench.run_for("40s");
    bench.relays("yard", "on:80:1:0 off off off");
    bench.run_for("39s");
    bench.relays("yard", "on:119:1:0 off off off");
    assert_eq!(bench.ordered("yard"), "on - - -");
    bench.run_for("3s");
    assert_eq!(bench.ordered("yard"), "off - - -");
}

#[test]
fn after_an_order_that_is_not_confirmed_no_other_follows_until_it_is_known_what_became_of_it() {
    let mut bench = scripted();
    bench.from("yard/input/ask", "on");
    let first = bench.orders["yard"].number;
    bench.from("yard/input/ask", "off");
    assert_eq!(bench.ordered("yard"), "- - - -", "the order may have arrived: the pump may be running");
    // The board has only taken what came before.
    bench.relays_taken("yard", first - 1, "off:9050:0:0 off off off");
    assert_eq!(bench.ordered("yard"), "- - - -", "it may still arrive");
    bench.relays("yard", "on:0:1:0 off off off");
    bench.run_for("2m1s");
    assert_eq!(bench.ordered("yard"), "- - - -".replacen('-', "on", 1), "reports stay away, so the board is lost");
}

#[test]
fn lost_orders_come_again_with_every_report() {
    let mut bench = played();
    bench.player("yard").loses_orders = true;
    ask(&mut bench, true);
    bench.run_for("70s");
    assert!(!bench.runs("pump"));
    bench.player("yard").loses_orders = false;
    bench.run_for("23s");
    assert!(bench.runs("pump"));
}

#[test]
fn lost_reports_leave_the_protection_in_place() {
    let mut bench = played();
    bench.player("yard").loses_reports = true;
    ask(&mut bench, true);
    bench.run_for("30s");
    ask(&mut bench, false);
    bench.player("yard").loses_reports = false;
    // The next report tells since when the pump has been running.
    bench.run_for("25s");
    assert!(bench.runs("pump"));
    bench.run_for("60s");
    assert!(bench.runs("pump"), "min on counts from the contact");
    bench.run_for("10s");
    assert!(!bench.runs("pump"));
}

#[test]
fn a_foreign_change_is_kept_for_its_minimum_time_and_then_put_right() {
    let mut bench = scripted();
    // Somebody has pressed the relay's own armature; the firmware counts the change and no hand.
    bench.relays("yard", "on:5:1:0 off off off");
    assert_eq!((bench.ordered("yard").as_str(), bench.explain("pump").slot), ("on - - -", Some(6)));
    for second in [35, 65, 95] {
        bench.run_for("30s");
        bench.relays("yard", &format!("on:{second}:1:0 off off off"));
    }
    bench.run_for("21s");
    bench.relays("yard", "on:117:1:0 off off off");
    assert_eq!(bench.ordered("yard"), "on - - -");
    bench.run_for("5s");
    assert_eq!(bench.ordered("yard"), "off - - -");
}

#[test]
fn a_hand_at_the_board_within_min_on_makes_a_hold_and_starts_min_off() {
    let mut bench = Bench::new(HOUSE);
    bench.play_with("yard", Faults { buttons_always_switch: true, ..Faults::default() });
    bench.run_for("5m");
    ask(&mut bench, true);
    bench.run_for("10s");
    bench.press("yard", "button");
    bench.run_for("1s");
    assert!(!bench.runs("pump"), "the hand switched it");
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (Off, Some(8)));
    bench.hold("pump", "release");
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (Off, Some(6)), "min off since the hand");
    bench.run_for("3m5s");
    assert!(bench.runs("pump"));
}

#[test]
fn a_power_cut_at_the_board_starts_min_off() {
    let mut bench = played();
    ask(&mut bench, true);
    bench.run_for("10m");
    assert!(bench.runs("pump"));
    bench.cut_power("yard");
    bench.run_for("1s");
    bench.power_up("yard");
    bench.run_for("2m55s");
    assert!(!bench.runs("pump"), "a compressor that starts against its own pressure stalls");
    bench.run_for("10s");
    assert!(bench.runs("pump"));
}

#[test]
fn a_reboot_that_no_birth_announced_starts_min_off_too() {
    let mut bench = scripted();
    bench.from("yard/input/ask", "on");
    bench.relays("yard", "on:4000:1:0 off off off");
    assert_eq!(bench.ordered("yard"), "on - - -");
    bench.from("yard/report", "18 1 0 off:2:0:0 off off off");
    bench.from("yard/input/ask", "on");
    assert_eq!(bench.ordered("yard"), "off - - -");
    bench.run_for("59s");
    bench.from("yard/report", "18 2 0 off:61:0:0 off off off");
    bench.run_for("59s");
    bench.from("yard/report", "18 3 0 off:120:0:0 off off off");
    bench.run_for("56s");
    bench.from("yard/report", "18 4 0 off:176:0:0 off off off");
    assert_eq!(bench.ordered("yard"), "off - - -");
    bench.run_for("6s");
    assert_eq!(bench.ordered("yard"), "on - - -");
}

#[test]
fn after_a_reboot_a_report_without_seconds_counts_from_now() {
    let mut bench = scripted();
    bench.from("yard/report", "18 1 0 off off off off");
    bench.from("yard/input/ask", "on");
    bench.run_for("50s");
    bench.from("yard/report", "18 2 0 off off off off");
    bench.run_for("50s");
    bench.from("yard/report", "18 3 0 off off off off");
    bench.run_for("50s");
    bench.from("yard/report", "18 4 0 off off off off");
    assert_eq!(bench.ordered("yard"), "off - - -");
    bench.run_for("30s");
    assert_eq!(bench.ordered("yard"), "on - - -");
}

#[test]
fn a_first_report_without_seconds_keeps_the_state_for_its_minimum_time() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "on off off off");
    bench.from("yard/input/ask", "off");
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (On, Some(6)), "it may have closed just now");
    bench.run_for("59s");
    bench.relays("yard", "on off off off");
    bench.run_for("59s");
    bench.relays("yard", "on off off off");
    assert_eq!(bench.wanted("pump"), On);
    bench.run_for("2s");
    assert_eq!(bench.wanted("pump"), Off);
}

#[test]
fn a_first_report_with_seconds_believes_them_less_the_drift_of_a_bad_clock() {
    // Said to be on for 121 s; a clock that is fast by one part in a hundred may have counted 119.79 s as that.
    let mut bench = Bench::new(HOUSE);
    bench.from("yard/report", "17 1 0 on:121:1:0 off off off");
    bench.from("yard/input/ask", "off");
    assert_eq!(bench.wanted("pump"), On);
    let mut bench = Bench::new(HOUSE);
    bench.from("yard/report", "17 1 0 on:122:1:0 off off off");
    bench.from("yard/input/ask", "off");
    assert_eq!(bench.wanted("pump"), Off);
}

#[test]
fn changes_that_nobody_saw_start_the_time_again() {
    let mut bench = scripted();
    // Still off, but it was on and off again three seconds ago.
    bench.relays("yard", "off:3:2:0 off off off");
    bench.from("yard/input/ask", "on");
    assert_eq!((bench.wanted("pump"), bench.explain("pump").slot), (Off, Some(6)));
    bench.run_for("55s");
    bench.relays("yard", "off:58:2:0 off off off");
    bench.run_for("55s");
    bench.relays("yard", "off:113:2:0 off off off");
    bench.run_for("55s");
    bench.relays("yard", "off:168:2:0 off off off");
    assert_eq!(bench.wanted("pump"), Off);
    bench.run_for("13s");
    assert_eq!(bench.wanted("pump"), On);
}

#[test]
fn flipping_the_wish_within_the_minimum_times_never_chatters() {
    let mut bench = played();
    let mut turns = 0;
    let mut before = bench.runs("pump");
    for step in 0..240 {
        ask(&mut bench, step % 2 == 0);
        bench.run_for("4900ms");
        turns += u32::from(bench.runs("pump") != before);
        before = bench.runs("pump");
    }
    // Twenty minutes: at most one cycle in five minutes, so eight changes and the one at the end.
    assert!((4..=9).contains(&turns), "{turns} changes in twenty minutes");
}

#[test]
fn withdrawing_opens_at_once_and_restoring_waits_for_min_off() {
    let mut bench = played();
    ask(&mut bench, true);
    bench.run_for("5s");
    bench.withdraw("pump", "seal");
    bench.run_for("1s");
    assert!(!bench.runs("pump"));
    bench.restore("pump");
    bench.run_for("2m55s");
    assert!(!bench.runs("pump"));
    bench.run_for("10s");
    assert!(bench.runs("pump"));
}

#[test]
fn orders_lost_with_the_board_do_not_start_the_load_when_it_comes_back_late() {
    let mut bench = played();
    bench.player("yard").loses_orders = true;
    ask(&mut bench, true);
    bench.unplug("yard");
    bench.run_for("10m");
    bench.player("yard").loses_orders = false;
    bench.happen("yard", standfast::board::Event::Contact { input: "ask", closed: false });
    bench.plug("yard");
    bench.run_for("1s");
    assert!(!bench.runs("pump"), "those orders have outlived their lease");
    bench.run_for("30s");
    assert!(!bench.runs("pump"));
    assert_eq!(bench.ordered("yard"), "off - - -");
}

#[test]
fn a_load_without_minimum_times_follows_at_once() {
    let text = HOUSE.replace("min_on = \"2m\"\nmin_off = \"3m\"\n", "");
    let mut bench = Bench::played(&text);
    for closed in [true, false, true, false] {
        ask(&mut bench, closed);
        assert_eq!(bench.runs("pump"), closed);
    }
}

/// Its closing adds nothing, since it runs already by what shows it; once closed it would be shed for the stronger one, opened, and
/// let on again.
#[test]
fn what_is_shown_to_run_does_not_close_before_a_stronger_one_that_finds_no_room() {
    let load = |name: &str, relay: &str, watts: u32, proof: &str| {
        format!(
            "[load.{name}]\nrelay = \"{relay}\"\nkind = \"motor\"\npower = \"{watts} W\"\nmin_on = \"0s\"\nmin_off = \"0s\"\n{proof}"
        )
    };
    let proof = "proof = { sensor = \"amps\", at_least = 10, within = \"24s\" }\n";
    let text = [
        "[board.yard]\nrelays = 4\n[board.shed]\nrelays = 4\nlease = \"30s\"\n".to_owned(),
        "[sensor.amps]\nreading = \"shed/amps\"\nstale_after = \"2m\"\n[input.ask]\nat = \"shed/ask\"\n".to_owned(),
        load("pump-a", "yard/1", 100, proof),
        load("pump-b", "shed/1", 300, proof),
        load("rail", "shed/2", 300, ""),
        "[circuit.supply]\nloads = [\"pump-a\", \"pump-b\", \"rail\"]\nlimit = \"500 W\"\n".to_owned(),
        "shed = [\"pump-b\", \"pump-a\"]\n[rotation.sump]\nloads = [\"pump-a\", \"pump-b\"]\nchange_after = \"1m\"\n"
            .to_owned(),
        "[rule.sump]\nload = \"sump\"\ndemand = \"on\"\nwhile = { input = \"ask\", is = \"on\" }\n".to_owned(),
    ];
    let mut bench = Bench::played(&text.concat());
    bench.step(standfast::engine::Event::LinkDown);
    bench.hold("rail", "on 2h");
    bench.from("shed/input/ask", "on");
    bench.reading("amps", 10.0);
    bench.cut_power("yard");
    bench.run_for("2m");
    assert_eq!((bench.wanted("pump-b"), bench.wanted("rail")), (Off, Off), "{}", bench.why("pump-b"));
}
