//! Accounts of rules that rest on several conditions: the one that decided is named, with its numbers then and now, and what
//! it would take to turn the load again.

use crate::bench::Bench;

const HOUSE: &str = r#"
[selector.house]
positions = ["lived-in", "away"]
[input.door]
at = "yard/door"
[sensor.air]
reading = "yard/t1"
unit = "°C"
stale_after = "1d"
[sensor.lux]
reading = "yard/l1"
stale_after = "1d"
[load.fan]
relay = "yard/1"
kind = "motor"
[load.lamp]
relay = "yard/2"
kind = "led"
[load.horn]
relay = "yard/3"
kind = "electronics"
[load.blind]
relay = "yard/4"
kind = "motor"
[condition.lived-in]
selector = "house"
is = "lived-in"
[rule.vents]
load = "fan"
demand = "on"
while.all = [{ sensor = "air", cut_in = ">= 28.0", cut_out = "<= 26.5" }, { from = "11:00", to = "22:30" }, "lived-in"]
[rule.lit]
load = "lamp"
demand = "on"
while.any = [{ sensor = "lux", cut_in = "<= 40", cut_out = ">= 65" }, { input = "door", is = "on" }]
[rule.trips]
load = "horn"
demand = "off"
priority = 2
while.any = [{ sensor = "air", cut_in = ">= 60", cut_out = "<= 50" }, { input = "door", is = "on" }]
[rule.shades]
load = "blind"
demand = "on"
otherwise = "off"
while = { not = { sensor = "lux", cut_in = "<= 40", cut_out = ">= 65" } }
"#;

/// A June noon, everything heard and settled.
fn bench() -> Bench {
    let mut bench = Bench::played(HOUSE);
    bench.from("yard/input/door", "off");
    bench.reading("air", 21.0);
    bench.reading("lux", 900.0);
    bench.run_until("14:01");
    bench.reading("air", 27.0);
    bench
}

fn check(bench: &Bench, load: &str, expected: &str) {
    assert_eq!(bench.engine.account(bench.load(load)), format!("{load}: {expected}"));
}

#[test]
fn of_all_the_one_that_came_last_decided_and_any_of_them_ends_it() {
    let mut bench = bench();
    check(
        &bench,
        "fan",
        "off since 12:00, nothing is demanded, so it rests; on when air, now 27 °C, reaches 28 (rule vents)",
    );
    bench.reading("air", 28.3);
    bench.run_for("5s");
    bench.reading("air", 27.2);
    let ends = "off at 26.5, or at 22:30, when window from 11:00 to 22:30 closes, or when selector house is turned from \
                lived-in";
    check(&bench, "fan", &format!("on since 14:01, when air 28.3 °C reached 28; now 27.2; {ends} (rule vents)"));
    bench.message("standfast/selector/house", "away", false);
    bench.reading("air", 25.0);
    bench.run_for("5s");
    let awaits = "on when air, now 25 °C, reaches 28 and when selector house is turned to lived-in";
    check(&bench, "fan", &format!("off since 14:01, nothing is demanded, so it rests; {awaits} (rule vents)"));
    bench.reading("air", 28.4);
    bench.message("standfast/selector/house", "lived-in", false);
    bench.run_for("5s");
    let ends = "off when air, now 28.4 °C, reaches 26.5, or at 22:30, when window from 11:00 to 22:30 closes, or when \
                selector house is turned from lived-in";
    check(&bench, "fan", &format!("on since 14:01, as selector house is lived-in; {ends} (rule vents)"));
}

#[test]
fn of_any_all_that_are_true_have_to_end() {
    let mut bench = bench();
    bench.reading("lux", 40.0);
    bench.run_for("1m");
    bench.from("yard/input/door", "on");
    bench.reading("lux", 44.0);
    let ends = "off when lux reaches 65 and when input yard/door is off";
    check(&bench, "lamp", &format!("on since 14:01, when lux 40 reached 40; now 44; {ends} (rule lit)"));
    bench.reading("lux", 66.0);
    check(&bench, "lamp", "on since 14:01, as input yard/door is on; off when input yard/door is off (rule lit)");
}

#[test]
fn a_trip_says_what_lets_it_go() {
    let mut bench = bench();
    bench.reading("air", 61.0);
    check(&bench, "horn", "off since 12:00, as air is 61 °C; lets go at 50 (rule trips)");
}

#[test]
fn behind_a_not_the_words_are_those_of_the_reading() {
    let mut bench = bench();
    bench.run_for("5s");
    check(&bench, "blind", "on since 12:00, when lux was 900; now 900; off at 40 (rule shades)");
    bench.reading("lux", 39.0);
    bench.run_for("5s");
    check(&bench, "blind", "off since 14:01, when lux 39 reached 40; now 39; on at 65 (rule shades)");
}

/// The condition that decided is remembered with the contact, over a restart and a house that says the same.
#[test]
fn it_is_the_same_after_a_restart_and_after_a_reload() {
    let mut bench = bench();
    bench.reading("air", 28.3);
    bench.run_for("5s");
    let before = bench.engine.account(bench.load("fan"));
    assert!(before.contains("when air 28.3 °C reached 28; now 28.3"), "{before}");
    bench.reload(HOUSE);
    assert_eq!(bench.engine.account(bench.load("fan")), before);
    bench.restart(HOUSE, "1s", true, true);
    bench.from("yard/input/door", "off");
    bench.reading("air", 28.3);
    bench.run_for("31s");
    let after = bench.engine.account(bench.load("fan"));
    assert!(after.contains("when air 28.3 °C reached 28; now 28.3"), "{after}");
}

/// However many conditions there are, a sentence stays one that is read.
#[test]
fn a_few_of_many_are_told() {
    // Of nine windows that are all open or all shut, and of those that the clock opens only the next.
    let parts: Vec<String> =
        (0..9).map(|hour| format!("{{ from = \"1{hour}:00\", to = \"2{}:00\" }}", hour % 4)).collect();
    let house = format!(
        "[load.lamp]\nrelay = \"yard/1\"\nkind = \"led\"\n[rule.lit]\nload = \"lamp\"\ndemand = \"on\"\nwhile.any = [{}]\n",
        parts.join(", ")
    );
    let mut bench = Bench::played(&house);
    bench.run_for("1m");
    let account = bench.engine.account(bench.load("lamp"));
    assert_eq!(account.matches("window").count(), 6, "three that are open, and all have to close: {account}");
}

/// Of two rules that the clock turns, the one that comes first.
#[test]
fn a_load_that_rests_waits_for_what_comes_first() {
    let mut bench = Bench::played(
        "[load.rail]\nrelay = \"yard/1\"\nkind = \"resistive\"\n\
         [rule.at-the-weekend]\nload = \"rail\"\ndemand = \"on\"\nwhile = { from = \"08:00\", to = \"10:00\", days = \"sat,sun\" }\n\
         [rule.on-workdays]\nload = \"rail\"\ndemand = \"on\"\nwhile = { from = \"18:00\", to = \"19:30\", days = \"mon..fri\" }\n",
    );
    bench.run_for("1m");
    let awaits = "on at 18:00, when window from 18:00 to 19:30, mon..fri opens (rule on-workdays)";
    check(&bench, "rail", &format!("off since 12:00, nothing is demanded, so it rests; {awaits}"));
}
