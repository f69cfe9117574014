//! Accounts: one sentence says what a load does, since when and why, with the numbers of then and now and what would turn it.

use standfast::house::LoadId;

use crate::bench::Bench;

const HOUSE: &str = r#"
[sensor.sunroom-air]
reading = "yard/t1"
unit = "°C"
[sensor.lux]
reading = "yard/l1"
[load.fan]
relay = "yard/1"
kind = "motor"
[load.lamp]
relay = "yard/2"
kind = "led"
[load.heater]
relay = "yard/3"
kind = "resistive"
[rule.vents]
load = "fan"
demand = "on"
while = { sensor = "sunroom-air", cut_in = ">= 28.0", cut_out = "<= 26.5" }
[rule.lit]
load = "lamp"
demand = "on"
while = { from = "11:00", to = "22:30" }
[rule.frost-free]
load = "heater"
demand = "on"
priority = 12
while = { sensor = "sunroom-air", cut_in = "<= 5.0", cut_out = ">= 6.5" }
[rule.never-in-the-light]
load = "heater"
demand = "on"
priority = 14
while.all = [{ sensor = "lux", cut_in = "<= 40", cut_out = ">= 65" }, { not = { from = "06:00", to = "20:00" } }]
"#;

/// A June noon, everything heard and settled.
fn bench() -> Bench {
    let mut bench = Bench::played(HOUSE);
    bench.reading("sunroom-air", 21.0);
    bench.reading("lux", 900.0);
    bench.run_for("1m");
    bench
}

fn check(bench: &Bench, load: &str, expected: &str) {
    let id: LoadId = bench.load(load);
    assert_eq!(bench.engine.reasons(id).account(&bench.engine.house().site.zone, bench.now.wall), expected);
}

#[test]
fn the_numbers_of_then_and_now_and_what_turns_it() {
    let mut bench = bench();
    bench.run_until("14:01");
    bench.reading("sunroom-air", 27.0);
    bench.run_for("1m");
    bench.reading("sunroom-air", 28.1);
    bench.run_for("5s");
    check(&bench, "fan", "on since 14:02, when sunroom-air 28.1 °C reached 28; now 28.1; off at 26.5 (rule vents)");
    bench.run_for("1m");
    bench.reading("sunroom-air", 27.2);
    check(&bench, "fan", "on since 14:02, when sunroom-air 28.1 °C reached 28; now 27.2; off at 26.5 (rule vents)");
    bench.reading("sunroom-air", 26.4);
    bench.run_for("5s");
    check(
        &bench,
        "fan",
        "off since 14:03, nothing is demanded, so it rests; on when sunroom-air, now 26.4 °C, reaches 28 (rule vents)",
    );
}

/// It came to be known after a silence: nobody saw it reach anything.
#[test]
fn what_nobody_saw_turn_is_told_as_it_was() {
    let mut bench = bench();
    bench.run_until("14:02");
    bench.reading("sunroom-air", 28.1);
    bench.run_for("5s");
    bench.reading("sunroom-air", 27.2);
    check(&bench, "fan", "on since 14:02, when sunroom-air was 28.1 °C; now 27.2; off at 26.5 (rule vents)");
}

#[test]
fn a_window_says_when_it_closes() {
    let bench = bench();
    check(&bench, "lamp", "on since 12:00, as window from 11:00 to 22:30 is open; off at 22:30 (rule lit)");
}

#[test]
fn a_hold_says_whose_and_until_when() {
    let mut bench = bench();
    bench.hold("lamp", "off 2h");
    bench.run_for("2s");
    check(&bench, "lamp", "off since 12:01, held off by a message until 14:01");
}

#[test]
fn a_load_that_would_stay_as_it_is_is_not_said_to_turn() {
    let mut bench = bench();
    bench.reading("lux", 3.0);
    bench.run_until("21:00");
    bench.reading("lux", 3.0);
    bench.reading("sunroom-air", 4.0);
    bench.run_for("5s");
    // Both rules want it on: that the frost ends turns nothing.
    let id = bench.load("heater");
    let account = bench.engine.reasons(id).account(&bench.engine.house().site.zone, bench.now.wall);
    assert!(account.contains("sunroom-air") && !account.contains("off at"), "{account}");
}

#[test]
fn what_is_not_as_wanted_is_said_so() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off off off off");
    bench.reading("sunroom-air", 21.0);
    bench.run_for("31s");
    bench.relays("yard", "off off off off");
    bench.reading("sunroom-air", 30.0);
    check(
        &bench,
        "fan",
        "off since 12:00, wanted on (board yard has not answered yet), as sunroom-air is 30 °C; off at 26.5 (rule vents)",
    );
    bench.run_for("10m");
    let id = bench.load("fan");
    let account = bench.engine.reasons(id).account(&bench.engine.house().site.zone, bench.now.wall);
    assert!(
        account.starts_with("not known (board yard is not heard), wanted off, rule vents cannot tell"),
        "{account}"
    );
}
