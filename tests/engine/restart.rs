//! The daemon or its machine restarts: nothing moves within the lease, and what ran goes on as far as the clocks allow.

use standfast::house::State::{Off, On};

use crate::bench::{Bench, span};

/// What a contact asks for: at once, going on for a while, and after a while.
pub const HOUSE: &str = r#"
[input.ask]
at = "yard/ask"
[sensor.air]
reading = "yard/t1"
stale_after = "5m"
[load.pump]
relay = "yard/1"
kind = "motor"
min_on = "2m"
min_off = "3m"
[load.lamp]
relay = "yard/2"
kind = "led"
[load.fan]
relay = "yard/3"
kind = "led"
[rule.asks]
load = "pump"
demand = "on"
while = { input = "ask", is = "on" }
[rule.lit]
load = "lamp"
demand = "on"
off_delay = "5m"
while = { input = "ask", is = "on" }
[rule.late]
load = "fan"
demand = "on"
on_delay = "5m"
while = { input = "ask", is = "on" }
"#;

pub fn ask(bench: &mut Bench, closed: bool) {
    bench.happen("yard", standfast::board::Event::Contact { input: "ask", closed });
    bench.run_for("100ms");
}

pub fn played() -> Bench {
    let mut bench = Bench::played(HOUSE);
    bench.run_for("4m");
    bench
}

/// Runs on and says which contacts moved.
fn moves_within(bench: &mut Bench, time: &str) -> Vec<String> {
    let state = |bench: &Bench| [1, 2, 3, 4].map(|n| bench.closed(&format!("yard/{n}")));
    let mut moves = Vec::new();
    let mut before = state(bench);
    for _ in 0..span(time).0 / 20 {
        bench.run_for("20ms");
        let now = state(bench);
        for (n, (was, is)) in before.iter().zip(&now).enumerate() {
            if was != is {
                moves.push(format!("yard/{} {is}", n + 1));
            }
        }
        before = now;
    }
    moves
}

#[test]
fn a_restart_within_the_lease_changes_no_contact() {
    for same_boot in [true, false] {
        let mut bench = played();
        ask(&mut bench, true);
        bench.run_for("6m");
        bench.hold("lamp", "on 2h");
        bench.run_for("1s");
        assert_eq!([1, 2, 3].map(|n| bench.closed(&format!("yard/{n}"))), [true; 3]);
        bench.restart(HOUSE, "40s", same_boot, true);
        assert_eq!(moves_within(&mut bench, "2m"), [] as [String; 0], "same boot: {same_boot}");
    }
}

#[test]
fn a_restart_without_a_trusted_clock_changes_no_contact_either() {
    let text = HOUSE.replace("{ input = \"ask\", is = \"on\" }", "{ from = \"06:00\", to = \"22:00\" }");
    let mut bench = Bench::played(&text);
    bench.run_for("6m");
    bench.restart(&text, "40s", false, false);
    let moves = moves_within(&mut bench, "10s");
    bench.trust(true);
    assert_eq!(moves, [] as [String; 0]);
    assert_eq!(moves_within(&mut bench, "1m"), [] as [String; 0]);
}

#[test]
fn beyond_the_lease_the_relays_fell_back_and_come_back_after_settling() {
    let mut bench = played();
    ask(&mut bench, true);
    bench.run_for("3m");
    bench.restart(HOUSE, "10m", true, true);
    assert!(!bench.runs("pump"), "its fallback");
    bench.run_for("10s");
    assert!(bench.runs("lamp"));
    assert!(bench.runs("pump"), "off for longer than min off, by the board's own count");
}

#[test]
fn min_on_goes_on_across_a_restart() {
    let mut bench = played();
    ask(&mut bench, true);
    bench.run_for("30s");
    ask(&mut bench, false);
    bench.restart(HOUSE, "20s", true, true);
    bench.run_for("60s");
    assert!(bench.runs("pump"));
    bench.run_for("15s");
    assert!(!bench.runs("pump"));
}

#[test]
fn in_another_boot_with_nothing_to_tell_how_long_it_took_a_protection_starts_in_full() {
    let text = format!("{HOUSE}\n[board.yard]\nrelays = 4\n");
    let mut bench = Bench::new(&text);
    bench.from("yard/report", "17 1 0 on off off off");
    bench.from("yard/input/ask", "off");
    bench.run_for("110s");
    bench.from("yard/report", "17 2 0 on off off off");
    // Firmware that tells neither seconds nor counts; the clock is wrong by years.
    bench.restart(&text, "10m", false, false);
    bench.from("yard/report", "17 3 0 on off off off");
    bench.from("yard/input/ask", "off");
    bench.run_for("59s");
    bench.from("yard/report", "17 4 0 on off off off");
    bench.run_for("58s");
    bench.from("yard/report", "17 5 0 on off off off");
    assert_eq!(bench.wanted("pump"), On);
    bench.run_for("4s");
    assert_eq!(bench.wanted("pump"), Off);
}

#[test]
fn an_off_delay_goes_on_across_a_restart_of_the_daemon() {
    let mut bench = played();
    ask(&mut bench, true);
    ask(&mut bench, false);
    bench.run_for("2m");
    assert!(bench.runs("lamp"));
    bench.restart(HOUSE, "30s", true, true);
    bench.run_for("2m28s");
    assert!(bench.runs("lamp"), "five minutes since the contact opened are not over");
    bench.run_for("3s");
    assert!(!bench.runs("lamp"));
}

#[test]
fn an_on_delay_goes_on_across_a_restart_of_the_daemon() {
    let mut bench = played();
    ask(&mut bench, true);
    bench.run_for("4m");
    bench.restart(HOUSE, "30s", true, true);
    bench.run_for("29s");
    assert!(!bench.runs("fan"));
    bench.run_for("3s");
    assert!(bench.runs("fan"), "five minutes since the contact closed");
}

#[test]
fn an_off_delay_that_ended_during_the_restart_ends_with_the_first_answer() {
    let mut bench = played();
    ask(&mut bench, true);
    ask(&mut bench, false);
    bench.run_for("4m50s");
    bench.restart(HOUSE, "20s", true, true);
    bench.run_for("1s");
    assert!(!bench.runs("lamp"));
}

#[test]
fn a_condition_that_stays_unknown_after_a_restart_loses_its_delay_when_settling_is_over() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off off off off");
    bench.from("yard/input/ask", "on");
    bench.from("yard/input/ask", "off");
    assert_eq!(bench.wanted("lamp"), On);
    bench.restart(HOUSE, "5s", true, true);
    bench.relays("yard", "off on off off");
    bench.run_for("29s");
    assert_eq!(bench.wanted("lamp"), On, "as reported");
    bench.run_for("2s");
    assert_eq!(bench.wanted("lamp"), Off, "the contact is still unknown: safe");
    bench.from("yard/input/ask", "off");
    assert_eq!(bench.wanted("lamp"), Off);
}

#[test]
fn a_reading_keeps_its_age_across_a_restart() {
    let text = r#"
[sensor.air]
reading = "yard/t1"
stale_after = "5m"
[load.fan]
relay = "yard/1"
kind = "led"
[rule.airs]
load = "fan"
demand = "on"
while = { sensor = "air", cut_in = ">= 28", cut_out = "<= 26" }
"#;
    for same_boot in [true, false] {
        let mut bench = Bench::played(text);
        bench.reading("air", 30.0);
        bench.run_for("3m");
        bench.restart(text, "1m", same_boot, true);
        bench.run_for("1s");
        assert_eq!(bench.wanted("fan"), On);
        let (_, at) = bench.engine.reading(bench.sensor("air")).expect("known");
        assert_eq!(at.age(bench.now.boot), span("241s"));
        bench.run_for("58s");
        assert_eq!(bench.wanted("fan"), On);
        bench.run_for("2s");
        assert_eq!(bench.wanted("fan"), Off, "five minutes since it was measured");
    }
}

#[test]
fn a_reading_whose_age_nobody_knows_is_forgotten() {
    let mut bench = played();
    bench.reading("air", 30.0);
    bench.restart(HOUSE, "1m", false, false);
    assert_eq!(bench.engine.reading(bench.sensor("air")), None);
}

#[test]
fn a_reading_older_than_it_keeps_is_forgotten_in_another_boot_too() {
    let mut bench = played();
    bench.reading("air", 30.0);
    bench.run_for("2m");
    // The machine has run for twenty seconds when it is asked; the reading is from long before.
    bench.restart(HOUSE, "10m", false, true);
    assert_eq!(bench.engine.reading(bench.sensor("air")), None);
}

#[test]
fn what_a_board_tells_of_the_time_before_the_machine_started_is_believed() {
    let mut bench = Bench::unlinked("2026-06-01 12:00", HOUSE);
    bench.now.boot = standfast::units::BootTime(20_000);
    let settings = standfast::engine::Settings { settle: span("30s") };
    bench.engine = standfast::engine::Engine::new(bench.engine.house().clone(), settings, bench.now);
    bench.link_up();
    bench.from("yard/report", "17 1 0 off:9000:0:0 off:9000:0:0 off off");
    bench.from("yard/input/ask", "on");
    bench.run_for("1s");
    assert_eq!(bench.wanted("pump"), On, "off for hours, so min off is over");
}

#[test]
fn a_hand_from_before_the_machine_started_is_dated_from_then() {
    let text = HOUSE.replace("[load.lamp]", "[load.lamp]\nhold_for = \"1h\"");
    let mut bench = Bench::new(&text);
    bench.from("yard/report", "17 1 0 off:9000:0:0 off:9000:0:0 off off");
    bench.from("yard/input/ask", "off");
    bench.restart(&text, "2h", false, true);
    bench.from("yard/report", "17 300 0 off:16200:0:0 on:1800:1:1 off off");
    let hold = bench.explain("lamp").hold.expect("a hold");
    assert_eq!(hold.until.0 - bench.now.wall.0, 30 * 60_000);
    bench.restart(&text, "1h", false, true);
    bench.from("yard/report", "17 600 0 off:19800:0:0 off:4000:2:2 off off");
    assert_eq!(bench.explain("lamp").hold, None, "over already");
}

#[test]
fn a_reading_too_old_by_the_time_of_the_restart_is_forgotten() {
    let mut bench = played();
    bench.reading("air", 30.0);
    bench.restart(HOUSE, "6m", true, true);
    assert_eq!(bench.engine.reading(bench.sensor("air")), None);
}

/// Nobody would ever clear it: nothing of it is heard any more.
#[test]
fn an_alarm_about_a_load_that_is_gone_does_not_stand_for_ever() {
    let lamp = "[load.lamp]\nrelay = \"yard/1\"\nkind = \"led\"\nresting = \"on\"\n";
    let other = "[load.other]\nrelay = \"yard/2\"\nkind = \"led\"\n";
    let mut bench = Bench::new(&format!("{lamp}{other}"));
    bench.play_all();
    bench.player("yard").loses_orders = true;
    bench.run_for("5m");
    assert_eq!(bench.alarms(), ["obey-lamp"]);
    bench.restart(&format!("{lamp}{other}"), "5s", true, true);
    assert_eq!(bench.alarms(), ["obey-lamp"], "its reason is not gone");
    bench.take_journal();
    bench.restart(other, "5s", true, true);
    assert_eq!(bench.alarms(), [""; 0]);
    let journal = bench.take_journal();
    assert!(journal.iter().any(|row| row.contains("alarm-cleared") && row.contains("obey-lamp")), "{journal:#?}");
    assert!(!bench.retained.contains(&standfast::engine::Retained::Alarm("obey-lamp".to_owned())));
}

const TWO_BOARDS: &str = r#"
[board.near]
relays = 1
lease = "60s"
[board.far]
relays = 1
lease = "60s"
[load.heater]
relay = "near/1"
kind = "motor"
power = "1 kW"
min_off = "0s"
[load.boiler]
relay = "far/1"
kind = "motor"
power = "1 kW"
[circuit.supply]
loads = ["heater", "boiler"]
limit = "1.6 kW"
"#;

#[test]
fn a_lease_that_was_renewed_since_the_memory_was_stored_still_counts() {
    let mut bench = Bench::new(TWO_BOARDS);
    bench.relays("near", "off");
    bench.relays("far", "off");
    bench.run_for("31s");
    bench.hold("boiler", "on 2h");
    bench.relays("far", "on:1:1:0");
    for _ in 0..12 {
        bench.run_for("15s");
        bench.relays("near", "off");
        bench.relays("far", "on");
    }
    bench.crash(TWO_BOARDS, "10s", false, true);
    bench.relays("near", "off");
    bench.hold("heater", "on 1h");
    for _ in 0..3 {
        bench.run_for("15s");
        bench.relays("near", "off");
        assert_eq!(bench.ordered("near"), "off", "the boiler may be on: {}", bench.why("heater"));
    }
    bench.run_for("20s");
    bench.relays("near", "off");
    assert_eq!(bench.ordered("near"), "on", "it has fallen back: {}", bench.why("heater"));
}

#[test]
fn a_step_of_the_wall_clock_before_a_restart_of_the_machine_is_no_time_that_passed() {
    let text = HOUSE.replace("min_on = \"2m\"\n", "max_starts = \"1 per 1h\"\n");
    let mut bench = Bench::played(&text);
    bench.run_for("4m");
    ask(&mut bench, true);
    bench.run_for("10s");
    assert!(bench.runs("pump"));
    ask(&mut bench, false);
    bench.run_for("4m");
    assert!(!bench.runs("pump"));
    bench.step_clock(2 * 3_600_000);
    bench.crash(&text, "10s", false, true);
    bench.run_for("31s");
    ask(&mut bench, true);
    bench.run_for("10s");
    assert!(!bench.runs("pump"));
    assert!(bench.why("pump").contains("it started as often as it may"), "{}", bench.why("pump"));
}

/// Each time the machine starts anew, nothing tells for how long it was off, and the daemon is killed before anything happens that it
/// stores.
#[test]
fn a_run_has_its_end_though_one_untimed_restart_follows_another() {
    let text = "[board.yard]\nrelays = 1\n[load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\nresting = \"on\"\nmax_on = \"10m\"\n";
    let mut bench = Bench::new(text);
    bench.from("yard/report", "17 1 0 on");
    bench.run_for("31s");
    for beat in 2..10 {
        bench.from("yard/report", &format!("17 {beat} 0 on"));
        bench.crash(text, "80s", false, false);
    }
    bench.from("yard/report", "17 10 0 on");
    assert_eq!(bench.ordered("yard"), "off", "{}", bench.why("pump"));
}
