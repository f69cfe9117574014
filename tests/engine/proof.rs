//! Proofs: an alarm on a load that does not prove on or off, what still shows current counts as on, and an unknown sensor
//! says nothing.

use standfast::board::Event;
use standfast::engine::Answer;
use standfast::house::State::Off;

use crate::bench::Bench;

const AMPS: &str = "[sensor.amps]\nreading = \"yard/i1\"\nunit = \"A\"\nrange = [0, 10]\nstale_after = \"6s\"\n";

/// A pump with a proof, a heater beside it, and a contact that asks for each.
fn house(pump: &str, more: &str) -> String {
    let mut text = format!(
        "[load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\n{pump}\n[load.heater]\nrelay = \"yard/2\"\nkind = \"resistive\"\n{AMPS}{more}\n"
    );
    for (number, load) in ["pump", "heater"].into_iter().enumerate() {
        text.push_str(&format!("[input.ask-{load}]\nat = \"yard/ask{number}\"\n"));
        text.push_str(&format!(
            "[rule.asks-{load}]\nload = \"{load}\"\ndemand = \"on\"\nwhile = {{ input = \"ask-{load}\", is = \"on\" }}\n"
        ));
    }
    text
}

fn by_amps(more: &str) -> String {
    format!("proof = {{ sensor = \"amps\", at_least = 0.2, within = \"10s\"{more} }}")
}

fn played(pump: &str, more: &str) -> Bench {
    Bench::played(&house(pump, more))
}

fn ask(bench: &mut Bench, which: &str, on: bool) {
    let input = if which == "pump" { "ask0" } else { "ask1" };
    bench.happen("yard", Event::Contact { input, closed: on });
    bench.run_for("200ms");
}

/// The sensor reads this every two seconds.
fn reads(bench: &mut Bench, amps: f64, seconds: u32) {
    for _ in 0..seconds / 2 {
        bench.reading("amps", amps);
        bench.run_for("2s");
    }
}

#[test]
fn a_load_that_proves_on_and_off_is_no_news() {
    let mut bench = played(&by_amps(""), "");
    reads(&mut bench, 0.0, 20);
    ask(&mut bench, "pump", true);
    reads(&mut bench, 0.0, 4);
    reads(&mut bench, 1.3, 60);
    ask(&mut bench, "pump", false);
    reads(&mut bench, 1.3, 4);
    reads(&mut bench, 0.1, 60);
    assert_eq!(bench.alarms(), [""; 0]);
    assert!(!bench.journal.iter().any(|row| format!("{row:?}").contains("proof-")), "{:?}", bench.journal);
}

#[test]
fn one_that_does_not_prove_on_raises_an_alarm_with_the_numbers() {
    let mut bench = played(&by_amps(""), "");
    ask(&mut bench, "pump", true);
    reads(&mut bench, 0.03, 8);
    assert_eq!(bench.alarms(), [""; 0], "within its time");
    reads(&mut bench, 0.03, 4);
    assert_eq!(bench.alarms(), ["proof-pump"]);
    let text = &bench.alarm("proof-pump").text;
    assert!(
        text.starts_with("load \"pump\" is on since 12:00 but amps reads 0.03 A, at least 0.2 A proves on: "),
        "{text}"
    );
    assert!(text.contains("fuse") && !text.contains("withdrawn"), "{text}");
    assert!(bench.runs("pump"), "the alarm alone switches nothing");
    assert!(bench.why("pump").contains("pump did not prove on: amps reads 0.03 A"), "{}", bench.why("pump"));
    // Off and without current it does what it says, and is as broken as before.
    ask(&mut bench, "pump", false);
    reads(&mut bench, 0.0, 30);
    assert_eq!(bench.alarms(), ["proof-pump"]);
    ask(&mut bench, "pump", true);
    reads(&mut bench, 1.3, 2);
    assert_eq!(bench.alarms(), [""; 0], "it proves on");
}

#[test]
fn a_reading_from_before_the_contact_changed_proves_nothing() {
    let mut bench = played(&by_amps("").replace("10s", "3s"), "");
    bench.reading("amps", 0.0);
    ask(&mut bench, "pump", true);
    bench.run_for("4s");
    assert_eq!(bench.alarms(), [""; 0], "nothing was read since");
    bench.reading("amps", 0.0);
    assert_eq!(bench.alarms(), ["proof-pump"], "the first reading after its time tells");
}

#[test]
fn an_unknown_sensor_neither_proves_nor_disproves() {
    let mut bench = played(&by_amps(""), "");
    ask(&mut bench, "pump", true);
    bench.reading("amps", 0.0);
    bench.run_for("40s");
    assert_eq!(bench.alarms(), ["sensor-amps"], "the alarm of the sensor stands, none of the load");
    reads(&mut bench, 1.2, 4);
    assert_eq!(bench.alarms(), [""; 0]);
}

#[test]
fn a_proof_that_is_lost_may_be_away_for_as_long() {
    let mut bench = played(&by_amps(""), "");
    ask(&mut bench, "pump", true);
    reads(&mut bench, 1.2, 60);
    reads(&mut bench, 0.0, 8);
    reads(&mut bench, 1.2, 2);
    reads(&mut bench, 0.0, 8);
    assert_eq!(bench.alarms(), [""; 0], "no absence was that long");
    reads(&mut bench, 0.0, 4);
    assert_eq!(bench.alarms(), ["proof-pump"]);
}

#[test]
fn on_failure_withdraws_until_a_person_restores() {
    let mut bench = played(&by_amps(", on_failure = \"withdraw\""), "");
    ask(&mut bench, "pump", true);
    reads(&mut bench, 0.0, 14);
    assert!(!bench.runs("pump"));
    assert_eq!(bench.explain("pump").slot, Some(1));
    assert!(
        bench.why("pump").contains("withdrawn (it did not prove on); this is no isolation"),
        "{}",
        bench.why("pump")
    );
    assert!(bench.alarm("proof-pump").text.contains("no isolation"));
    reads(&mut bench, 0.0, 600);
    assert!(!bench.runs("pump") && bench.alarms() == ["proof-pump"]);
    assert_eq!(bench.restore("pump"), Answer::Done);
    assert_eq!(bench.alarms(), [""; 0], "whoever restores it has seen to it");
    reads(&mut bench, 1.2, 30);
    assert!(bench.runs("pump") && bench.alarms().is_empty());
}

#[test]
fn a_weld_alarms_and_is_not_withdrawn() {
    let mut bench = played(&by_amps(", on_failure = \"withdraw\""), "");
    ask(&mut bench, "pump", true);
    reads(&mut bench, 1.2, 30);
    ask(&mut bench, "pump", false);
    reads(&mut bench, 1.2, 8);
    assert_eq!(bench.alarms(), [""; 0]);
    reads(&mut bench, 1.2, 4);
    assert_eq!(bench.alarms(), ["proof-pump"]);
    let text = &bench.alarm("proof-pump").text;
    assert!(
        text.contains("is off since 12:0") && text.contains("amps reads 1.2 A") && text.contains("welded"),
        "{text}"
    );
    assert!(text.contains("isolator"), "{text}");
    assert!(!matches!(bench.explain("pump").slot, Some(1)), "it is off already: to withdraw it would add nothing");
    // Switched on again it runs, which says nothing of whether it can stop.
    ask(&mut bench, "pump", true);
    reads(&mut bench, 1.2, 20);
    assert_eq!(bench.alarms(), ["proof-pump"]);
    ask(&mut bench, "pump", false);
    reads(&mut bench, 0.0, 2);
    assert_eq!(bench.alarms(), [""; 0], "it proves off");
}

#[test]
fn an_input_proves_too() {
    let flow = "proof = { input = \"flow\", within = \"5s\" }";
    let mut bench = played(flow, "[input.flow]\nat = \"yard/flow\"\n");
    bench.happen("yard", Event::Contact { input: "flow", closed: false });
    ask(&mut bench, "pump", true);
    reads(&mut bench, 0.0, 6);
    assert_eq!(bench.alarms(), ["proof-pump"]);
    let text = &bench.alarm("proof-pump").text;
    assert!(text.contains("input yard/flow is off, on proves on"), "{text}");
    bench.happen("yard", Event::Contact { input: "flow", closed: true });
    bench.run_for("1s");
    assert_eq!(bench.alarms(), [""; 0], "{}", bench.why("pump"));
}

mod counts_as_on {
    use super::*;

    const LOCK: &str = "[interlock.one]\nloads = [\"pump\", \"heater\"]\ndead_time = \"1s\"\n";

    fn welded(pump: &str, more: &str) -> Bench {
        let mut bench = played(&format!("{}\n{pump}", by_amps("")), more);
        ask(&mut bench, "pump", true);
        reads(&mut bench, 1.2, 30);
        ask(&mut bench, "pump", false);
        reads(&mut bench, 1.2, 20);
        assert_eq!(bench.alarms(), ["proof-pump"]);
        bench
    }

    #[test]
    fn for_the_interlock_until_it_proves_off() {
        let mut bench = welded("", LOCK);
        ask(&mut bench, "heater", true);
        reads(&mut bench, 1.2, 60);
        assert!(!bench.runs("heater"));
        let why = bench.why("heater");
        assert!(why.contains("interlock one keeps it off beside pump; pump did not prove off"), "{why}");
        assert!(why.contains("amps reads 1.2 A"), "{why}");
        // A sensor that has fallen silent proves nothing, so the weld stands.
        bench.run_for("60s");
        assert!(!bench.runs("heater"));
        bench.reading("amps", 0.0);
        bench.run_for("900ms");
        assert!(!bench.runs("heater"), "the dead time runs from when it was seen off");
        bench.run_for("500ms");
        assert!(bench.runs("heater"));
    }

    #[test]
    fn for_the_interlock_at_once_and_not_only_when_it_has_failed() {
        let mut bench = played(&by_amps(""), LOCK);
        ask(&mut bench, "pump", true);
        reads(&mut bench, 1.2, 10);
        ask(&mut bench, "pump", false);
        ask(&mut bench, "heater", true);
        bench.run_for("3s");
        assert!(!bench.runs("heater"), "the last reading still shows current");
        assert!(bench.why("heater").contains("pump is not off until its proof shows it"), "{}", bench.why("heater"));
        bench.reading("amps", 0.0);
        bench.run_for("2s");
        assert!(bench.runs("heater"));
    }

    #[test]
    fn a_member_that_is_on_is_opened_when_another_shows_current() {
        let mut bench = played(&by_amps(""), LOCK);
        bench.reading("amps", 0.0);
        ask(&mut bench, "heater", true);
        bench.run_for("2s");
        assert!(bench.runs("heater"));
        bench.reading("amps", 3.0);
        bench.run_for("1s");
        assert!(!bench.runs("heater"), "two members are on together, one of them by another way");
    }

    #[test]
    fn what_was_read_before_its_contact_opened_opens_no_other() {
        let boards = "[board.yard]\nrelays = 4\n[board.shed]\nrelays = 4\n";
        let text = format!("{boards}{}", house(&by_amps(""), LOCK))
            .replace("\"6s\"", "\"6m\"")
            .replace("relay = \"yard/2\"", "relay = \"shed/2\"\nmin_on = \"10m\"");
        let mut bench = Bench::played(&text);
        ask(&mut bench, "pump", true);
        reads(&mut bench, 1.2, 10);
        ask(&mut bench, "pump", false);
        bench.unplug("yard");
        bench.hold("heater", "on 1h");
        bench.run_for("2m");
        assert!(bench.runs("heater"), "{}", bench.why("heater"));
        bench.plug("yard");
        bench.run_for("5s");
        assert!(!bench.alarms().contains(&"board-yard"));
        assert!(bench.runs("heater"), "within its min on: {}", bench.why("heater"));
        bench.reading("amps", 1.2);
        bench.run_for("1s");
        assert!(!bench.runs("heater"), "now the pump is seen to run");
    }

    #[test]
    fn for_the_circuit() {
        let circuit = "[circuit.shed]\nloads = [\"pump\", \"heater\"]\nlimit = \"2 kW\"\n";
        let powers = |text: &str| text.replace("kind = \"resistive\"", "kind = \"resistive\"\npower = \"1.5 kW\"");
        let text = powers(&house(&format!("{}\npower = \"1 kW\"", by_amps("")), circuit));
        let mut bench = Bench::played(&text);
        ask(&mut bench, "pump", true);
        reads(&mut bench, 4.0, 10);
        ask(&mut bench, "pump", false);
        ask(&mut bench, "heater", true);
        reads(&mut bench, 4.0, 60);
        assert!(!bench.runs("heater"), "{}", bench.why("heater"));
        reads(&mut bench, 0.0, 4);
        assert!(bench.runs("heater"));
        // One that draws current past its open contact does not get a room of its own by that.
        reads(&mut bench, 4.0, 4);
        assert!(!bench.runs("heater"), "too much is on together: {}", bench.why("heater"));
        ask(&mut bench, "pump", true);
        reads(&mut bench, 4.0, 4);
        assert!(bench.runs("pump") && !bench.runs("heater"), "{}", bench.why("pump"));
    }

    #[test]
    fn for_max_on_and_its_rest() {
        let mut bench = welded("max_on = \"2m\"\nrest = \"1m\"", "");
        reads(&mut bench, 1.2, 120);
        assert_eq!(bench.explain("pump").slot, Some(5), "{}", bench.why("pump"));
        assert_eq!(bench.wanted("pump"), Off);
        ask(&mut bench, "pump", true);
        reads(&mut bench, 1.2, 120);
        assert!(!bench.runs("pump"), "it has not rested: current flowed all the while");
        reads(&mut bench, 0.0, 56);
        assert!(!bench.runs("pump"));
        reads(&mut bench, 0.0, 10);
        assert!(bench.runs("pump"), "a minute after it was seen off: {}", bench.why("pump"));
    }

    #[test]
    fn a_person_resets_it_only_once_it_is_gone() {
        let mut bench = welded("", "");
        let reset = |bench: &mut Bench| {
            let load = bench.load("pump");
            bench.hand(standfast::engine::HandOrder::Reset { load })
        };
        bench.reading("amps", 1.2);
        let Answer::Refused(why) = reset(&mut bench) else { panic!("it still shows current") };
        assert!(why.contains("amps reads 1.2 A"), "{why}");
        bench.run_for("20s");
        assert_eq!(reset(&mut bench), Answer::Done, "the sensor is gone, and a person has looked");
        assert_eq!(bench.alarms(), ["sensor-amps"]);
    }
}

mod restarts_and_reloads {
    use super::*;

    #[test]
    fn a_load_found_on_has_its_time_from_then_on() {
        let text = house(&by_amps(""), "");
        let mut bench = Bench::new(&text);
        bench.relays("yard", "on:4000 off off off");
        reads(&mut bench, 0.0, 8);
        bench.relays("yard", "on:4008 off off off");
        assert_eq!(bench.alarms(), [""; 0]);
        reads(&mut bench, 0.0, 4);
        assert_eq!(bench.alarms(), ["proof-pump"]);
    }

    #[test]
    fn a_weld_survives_a_restart() {
        let text = house(&by_amps(""), "[interlock.one]\nloads = [\"pump\", \"heater\"]\n");
        let mut bench = Bench::played(&text);
        ask(&mut bench, "pump", true);
        reads(&mut bench, 1.2, 30);
        ask(&mut bench, "pump", false);
        reads(&mut bench, 1.2, 20);
        for same_boot in [true, false] {
            bench.restart(&text, "20s", same_boot, true);
            ask(&mut bench, "heater", true);
            bench.run_for("40s");
            assert!(bench.alarms().contains(&"proof-pump"));
            assert!(!bench.runs("heater"), "nothing has shown since that the pump is off");
        }
        reads(&mut bench, 0.0, 4);
        assert!(bench.runs("heater") && bench.alarms().is_empty(), "{:?}", bench.alarms());
    }

    #[test]
    fn a_reload_keeps_what_is_the_same_and_forgets_what_is_not() {
        let text = house(&by_amps(""), "");
        let mut bench = Bench::played(&text);
        ask(&mut bench, "pump", true);
        reads(&mut bench, 0.0, 14);
        bench.reload(&text.replace("kind = \"motor\"", "kind = \"motor\"\nlabel = \"Pump\""));
        reads(&mut bench, 0.0, 2);
        assert_eq!(bench.alarms(), ["proof-pump"]);
        bench.reload(&text.replace("at_least = 0.2", "at_least = 0.1"));
        assert_eq!(bench.alarms(), [""; 0], "another proof starts anew");
        reads(&mut bench, 0.0, 14);
        assert_eq!(bench.alarms(), ["proof-pump"]);
        bench.reload(&house("", "[rule.cold]\nload = \"heater\"\ndemand = \"on\"\nwhile = { sensor = \"amps\", cut_in = \">= 9\", cut_out = \"<= 8\" }\n"));
        assert_eq!(bench.alarms(), [""; 0], "without a proof there is nothing to prove");
    }

    #[test]
    fn a_reload_while_a_load_has_yet_to_prove_leaves_it_no_more_time() {
        let text = house(&by_amps(""), "");
        let mut bench = Bench::played(&text);
        ask(&mut bench, "pump", true);
        reads(&mut bench, 0.0, 6);
        bench.reload(&text);
        reads(&mut bench, 0.0, 6);
        assert_eq!(bench.alarms(), ["proof-pump"]);
    }

    #[test]
    fn a_lost_board_is_not_judged_and_starts_anew() {
        let mut bench = played(&by_amps(""), "");
        ask(&mut bench, "pump", true);
        bench.unplug("yard");
        bench.run_for("70s");
        assert!(bench.alarms().contains(&"board-yard") && !bench.alarms().contains(&"proof-pump"));
        bench.plug("yard");
        reads(&mut bench, 1.2, 4);
        assert_eq!(bench.alarms(), [""; 0]);
    }
}
