//! Pulses that went out just before a crash, which took the memory of them: the board has counted them, or will.

use standfast::house::State::On;

use crate::bench::Bench;
use crate::pulses::{Pulses, house};

#[test]
fn a_pulse_that_a_crash_forgot_is_not_repeated() {
    let mut pulses = Pulses::new(&house(""));
    pulses.bench.stores_nothing = true;
    pulses.ask("opener", true);
    pulses.ask("stairs", true);
    pulses.run_ms(1000);
    assert_eq!(pulses.counts(), [1, 1]);
    pulses.bench.crash(&house(""), "10s", true, true);
    pulses.run_ms(60_000);
    assert_eq!(pulses.counts(), [0, 0]);
    assert_eq!(pulses.known("stairs"), Some(On));
    pulses.ask("stairs", false);
    pulses.run_ms(1000);
    assert_eq!(pulses.counts(), [0, 1]);
}

#[test]
fn after_a_crash_it_is_not_pulsed_before_all_that_was_under_way_has_shown() {
    for was_taken in [false, true] {
        let mut bench = Bench::new(&house(""));
        bench.relays("yard", "off:900:0:0 off:900:0:0 off off");
        bench.run_for("31s");
        bench.relays("yard", "off:931:0:0 off:931:0:0 off off");
        bench.stores_nothing = true;
        bench.from("yard/input/ask-stairs", "on");
        assert_eq!(bench.ordered("yard"), "off on:250 - -");
        let number = bench.orders["yard"].number;
        bench.crash(&house(""), "5s", true, true);
        bench.from("yard/input/ask-stairs", "on");
        bench.from("yard/input/ask-opener", "off");
        bench.relays_taken("yard", number - 1, "off:936:0:0 off:936:0:0 off off");
        bench.run_for("1s");
        assert_eq!(bench.ordered("yard"), "- - - -", "off would cut short what is under way");
        let own = bench.orders["yard"].number;
        let (stairs, then) = if was_taken { ("off:0:2:0", "off") } else { ("off:937:0:0", "on:250") };
        bench.relays_taken("yard", own, &format!("off:937:0:0 {stairs} off off"));
        assert_eq!(bench.ordered("yard"), format!("off {then} - -"), "{}", bench.why("stairs"));
    }
}

#[test]
fn who_presses_after_a_crash_has_the_door_opened_at_once() {
    let mut bench = Bench::new(&house(""));
    bench.relays("yard", "off:900:0:0 off:900:0:0 off off");
    bench.run_for("31s");
    bench.crash(&house(""), "5s", true, true);
    bench.relays_taken("yard", 1, "off:936:2:0 off:936:0:0 off off");
    bench.hold("opener", "on");
    assert!(bench.ordered("yard").starts_with("on:400"), "{}", bench.why("opener"));
}
