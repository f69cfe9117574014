//! Wear: operations are counted as boards report them, those that nobody saw included, over restarts too; the share of a
//! contact's life is that of the load's endurance, else of the board's. "Electrical endurance" is the term of IEC 61810-1
//! (from memory).

use standfast::engine::Wear;

use crate::bench::Bench;

const HOUSE: &str = r#"
[board.yard]
relays = 4
endurance = 100000
[load.fan]
relay = "yard/1"
kind = "motor"
endurance = 50
[load.lamp]
relay = "yard/2"
kind = "led"
[actuator.door]
open = "yard/3"
close = "yard/4"
travel = "18s"
"#;

fn check(bench: &Bench, load: &str, operations: u64, endurance: Option<u32>) {
    assert_eq!(bench.engine.wear(bench.load(load)), Some(Wear { operations, endurance, replaced: None }), "{load}");
}

#[test]
fn each_closing_of_the_coil_is_an_operation_also_one_that_nobody_saw() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off:900:4:0 off:900:0:0 off:900:0:0 off:900:0:0");
    // What the board counted before it was known is not counted.
    check(&bench, "fan", 0, Some(50));
    bench.relays("yard", "on:0:5:0 off:901:0:0 off:901:0:0 off:901:0:0");
    check(&bench, "fan", 1, Some(50));
    bench.relays("yard", "off:0:6:0 off:902:0:0 off:902:0:0 off:902:0:0");
    check(&bench, "fan", 1, Some(50));
    // Off, on, off, on, off between two reports: two more.
    bench.relays("yard", "off:0:10:0 off:903:0:0 off:903:0:0 off:903:0:0");
    check(&bench, "fan", 3, Some(50));
    bench.relays("yard", "on:0:13:0 off:904:0:0 off:904:0:0 off:904:0:0");
    check(&bench, "fan", 5, Some(50));
    check(&bench, "lamp", 0, Some(100_000));
    assert_eq!(bench.engine.wear(bench.load("fan")).and_then(|wear| wear.share()), Some(0.1));
}

#[test]
fn a_restart_and_a_changed_house_forget_no_operation() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off:900:0:0 off:900:0:0 off:900:0:0 off:900:0:0");
    bench.relays("yard", "off:0:6:0 on:0:1:0 off:901:0:0 off:901:0:0");
    bench.restart(HOUSE, "1m", true, true);
    check(&bench, "fan", 3, Some(50));
    // A contact stays as worn as it is whatever hangs on it.
    bench.reload(&HOUSE.replace("load.fan", "load.pump").replace("endurance = 50\n", ""));
    check(&bench, "pump", 3, Some(100_000));
    check(&bench, "lamp", 1, Some(100_000));
}

#[test]
fn of_an_actuator_the_more_worn_relay_counts_and_without_a_data_sheet_there_is_no_share() {
    let mut bench = Bench::new(&HOUSE.replace("endurance = 100000\n", ""));
    bench.relays("yard", "off:900:0:0 off:900:0:0 off:900:0:0 off:900:0:0");
    bench.relays("yard", "off:901:0:0 off:901:0:0 off:0:2:0 off:0:8:0");
    check(&bench, "door", 4, None);
    assert_eq!(bench.engine.wear(bench.load("door")).and_then(|wear| wear.share()), None);
}

#[test]
fn a_relay_that_was_replaced_is_counted_anew_from_when_it_is_read() {
    let replaced =
        |days: &str| HOUSE.replace("endurance = 100000\n", &format!("endurance = 100000\nreplaced = [{days}]\n"));
    let counts = |bench: &Bench, fan: u64, lamp: u64, day: Option<&str>| {
        let wear = |load: &str| bench.engine.wear(bench.load(load)).expect("a relay");
        assert_eq!((wear("fan").operations, wear("lamp").operations), (fan, lamp));
        assert_eq!(wear("fan").replaced.as_deref(), day);
    };
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off:900:0:0 off:900:0:0 off:900:0:0 off:900:0:0");
    bench.relays("yard", "off:0:6:0 on:0:1:0 off:901:0:0 off:901:0:0");
    counts(&bench, 3, 1, None);
    bench.reload(&replaced("\"1 on 2026-05-12\""));
    counts(&bench, 0, 1, Some("2026-05-12"));
    bench.relays("yard", "off:0:8:0 on:1:1:0 off:902:0:0 off:902:0:0");
    counts(&bench, 1, 1, Some("2026-05-12"));
    // The same house, a restart and a day that is put right are no other relay.
    bench.reload(&replaced("\"1 on 2026-05-12\""));
    bench.restart(&replaced("\"1 on 2026-05-12\""), "1m", true, true);
    bench.reload(&replaced("\"1 on 2026-05-02\""));
    counts(&bench, 1, 1, Some("2026-05-02"));
    // The line goes, and what was counted stays.
    bench.reload(HOUSE);
    counts(&bench, 1, 1, Some("2026-05-02"));
    // All of them, and one of them later still.
    bench.restart(&replaced("\"all on 2026-06-01\", \"1 on 2026-05-02\""), "1m", true, true);
    counts(&bench, 0, 0, Some("2026-06-01"));
}
