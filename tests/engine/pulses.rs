//! Pulsed loads: a door opener and a latching relay. Each changed demand is one pulse at most, and nothing repeats it.

use standfast::board::Event;
use standfast::house::State::{self, Off, On};

use crate::bench::Bench;

/// A door opener at relay 1 and a latching relay at relay 2, each with a contact that asks for it and a button.
pub fn house(latch: &str) -> String {
    let mut text = format!(
        "[load.opener]\nrelay = \"yard/1\"\nkind = \"solenoid\"\npulse = \"400ms\"\n\
         [load.stairs]\nrelay = \"yard/2\"\nkind = \"solenoid\"\npulse = \"250ms\"\npulse_at = \"change\"\n{latch}\n"
    );
    for load in ["opener", "stairs"] {
        text.push_str(&format!(
            "[input.ask-{load}]\nat = \"yard/ask-{load}\"\n[input.button-{load}]\nat = \"yard/{load}\"\ntoggles = \"{load}\"\n\
             [rule.asks-{load}]\nload = \"{load}\"\ndemand = \"on\"\nwhile = {{ input = \"ask-{load}\", is = \"on\" }}\n"
        ));
    }
    text
}

/// Counts the pulses of both relays, with the length of each in ms.
pub struct Pulses {
    pub bench: Bench,
    since: [Option<u64>; 2],
    seen: [Vec<u64>; 2],
}

impl Pulses {
    pub fn new(house: &str) -> Pulses {
        Pulses { bench: Bench::played(house), since: [None; 2], seen: [Vec::new(), Vec::new()] }
    }

    pub fn run_ms(&mut self, ms: u64) {
        for _ in 0..ms / 10 {
            self.bench.run_for("10ms");
            let now = self.bench.now.boot.0;
            for (place, relay) in ["yard/1", "yard/2"].into_iter().enumerate() {
                match (self.bench.closed(relay), self.since[place]) {
                    (true, None) => self.since[place] = Some(now),
                    (false, Some(since)) => {
                        self.seen[place].push(now - since);
                        self.since[place] = None;
                    }
                    _ => {}
                }
            }
        }
    }

    pub fn ask(&mut self, load: &str, on: bool) {
        self.bench.happen("yard", Event::Contact { input: &format!("ask-{load}"), closed: on });
    }

    /// How many pulses each relay had since this was last asked.
    pub fn counts(&mut self) -> [usize; 2] {
        std::mem::take(&mut self.seen).map(|seen| seen.len())
    }

    pub fn known(&self, load: &str) -> Option<State> {
        self.bench.explain(load).known
    }
}

#[test]
fn a_changed_demand_is_one_pulse_that_the_board_times() {
    let mut pulses = Pulses::new(&house(""));
    pulses.ask("opener", true);
    pulses.run_ms(50);
    assert_eq!(pulses.bench.ordered("yard"), "on:400 off - -");
    pulses.run_ms(300);
    pulses.bench.hold("stairs", "on 1h");
    assert!(pulses.bench.ordered("yard").starts_with("- on:250"), "{}", pulses.bench.ordered("yard"));
    pulses.run_ms(2000);
    assert_eq!(pulses.bench.ordered("yard"), "off off - -");
    assert!(pulses.seen[0].iter().all(|ms| ms.abs_diff(400) <= 10), "{:?}", pulses.seen);
    assert!(pulses.seen[1].iter().all(|ms| ms.abs_diff(250) <= 10), "{:?}", pulses.seen);
    assert_eq!(pulses.counts(), [1, 1]);
    // While it is demanded as before, nothing repeats it.
    pulses.bench.unplug("yard");
    pulses.run_ms(1000);
    pulses.bench.plug("yard");
    pulses.ask("opener", true);
    pulses.run_ms(60_000);
    assert_eq!(pulses.counts(), [0, 0]);
    pulses.ask("opener", false);
    pulses.bench.hold("stairs", "off 1h");
    pulses.run_ms(1000);
    assert_eq!(pulses.counts(), [0, 1], "a door opener is off by itself, a latching relay turns over");
    pulses.ask("opener", true);
    pulses.run_ms(1000);
    assert_eq!(pulses.counts(), [1, 0]);
    assert_eq!(pulses.bench.alarms(), [""; 0]);
}

#[test]
fn a_door_opener_opens_at_every_press() {
    let mut pulses = Pulses::new(&house(""));
    for _ in 0..3 {
        pulses.bench.press("yard", "opener");
        pulses.run_ms(2000);
        assert_eq!(pulses.counts(), [1, 0]);
        assert_eq!(pulses.bench.explain("opener").hold, None, "its hold is over with its pulse");
    }
    // Also while a rule wants it open anyhow.
    pulses.ask("opener", true);
    pulses.run_ms(2000);
    pulses.bench.hold("opener", "on");
    pulses.run_ms(2000);
    assert_eq!(pulses.counts(), [2, 0]);
    pulses.run_ms(60_000);
    assert_eq!(pulses.counts(), [0, 0]);
}

#[test]
fn what_was_not_taken_is_sent_again_once() {
    let mut pulses = Pulses::new(&house(""));
    pulses.bench.player("yard").loses_orders = true;
    pulses.ask("stairs", true);
    pulses.run_ms(1000);
    pulses.bench.player("yard").loses_orders = false;
    assert_eq!(pulses.bench.ordered("yard"), "off on:250 - -");
    pulses.run_ms(60_000);
    assert_eq!(pulses.counts(), [0, 1]);
}

#[test]
fn what_was_taken_unseen_is_not_sent_again() {
    let mut pulses = Pulses::new(&house(""));
    pulses.ask("stairs", true);
    pulses.run_ms(20);
    pulses.bench.player("yard").loses_reports = true;
    pulses.run_ms(1000);
    pulses.bench.player("yard").loses_reports = false;
    pulses.run_ms(60_000);
    assert_eq!(pulses.counts(), [0, 1]);
    assert_eq!(pulses.known("stairs"), Some(On));
}

#[test]
fn a_restart_repeats_no_pulse() {
    for same_boot in [true, false] {
        let mut pulses = Pulses::new(&house(""));
        pulses.ask("opener", true);
        pulses.ask("stairs", true);
        pulses.run_ms(1000);
        assert_eq!(pulses.counts(), [1, 1]);
        pulses.bench.restart(&house(""), "10s", same_boot, true);
        pulses.run_ms(60_000);
        assert_eq!(pulses.counts(), [0, 0]);
        assert_eq!(pulses.known("stairs"), Some(On));
        assert!(
            pulses.bench.why("stairs").starts_with("stairs: on (assumed), as input"),
            "{}",
            pulses.bench.why("stairs")
        );
        pulses.ask("stairs", false);
        pulses.run_ms(1000);
        assert_eq!(pulses.counts(), [0, 1]);
    }
}

#[test]
fn a_restart_repeats_no_pulse_of_a_rule_that_watches_a_load_of_the_same_board() {
    // The board's first report settles the opener and tells of the load that its rule asks about, in one step.
    let text = house("")
        + "[load.zone]\nrelay = \"yard/3\"\nkind = \"lamp\"\n\
           [rule.zone-is-asked]\nload = \"zone\"\ndemand = \"on\"\nwhile = { input = \"ask-stairs\", is = \"on\" }\n\
           [rule.opens-with-zone]\nload = \"opener\"\ndemand = \"on\"\nwhile = { load = \"zone\", is = \"on\" }\n";
    for same_boot in [true, false] {
        let mut pulses = Pulses::new(&text);
        pulses.ask("stairs", true);
        pulses.run_ms(3_000);
        assert_eq!((pulses.bench.closed("yard/3"), pulses.counts()), (true, [1, 1]));
        pulses.bench.restart(&text, "10s", same_boot, true);
        pulses.run_ms(20_000);
        assert_eq!((pulses.bench.closed("yard/3"), pulses.counts()), (true, [0, 0]), "same boot: {same_boot}");
    }
}

#[test]
fn a_reload_repeats_no_pulse_and_a_board_that_restarts_none_either() {
    let mut pulses = Pulses::new(&house(""));
    pulses.ask("stairs", true);
    pulses.run_ms(1000);
    pulses.bench.reload(&format!("{}[load.lamp]\nrelay = \"yard/4\"\nkind = \"led\"\n", house("")));
    pulses.run_ms(1000);
    pulses.bench.cut_power("yard");
    pulses.run_ms(1000);
    pulses.bench.power_up("yard");
    pulses.ask("stairs", true);
    pulses.run_ms(60_000);
    assert_eq!(pulses.counts(), [0, 1]);
    assert_eq!(pulses.known("stairs"), Some(On));
}

#[test]
fn withdrawn_a_latching_relay_is_turned_off_and_a_board_alone_pulses_nothing() {
    let mut pulses = Pulses::new(&house("safe = \"on\""));
    assert_eq!(pulses.bench.fallbacks["yard"].encode(), "90 off off off off");
    pulses.ask("stairs", true);
    pulses.run_ms(1000);
    pulses.bench.withdraw("stairs", "new lamp");
    pulses.run_ms(1000);
    assert_eq!(pulses.counts(), [0, 2]);
    assert_eq!(pulses.known("stairs"), Some(Off));
    assert_eq!(pulses.bench.fallbacks["yard"].encode(), "90 off off! off off");
}

mod feedback {
    use super::*;

    fn latch() -> Pulses {
        let mut pulses = Pulses::new(&(house("feedback = \"lit\"") + "[input.lit]\nat = \"yard/lit\"\n"));
        pulses.run_ms(1000);
        pulses
    }

    fn lit(pulses: &mut Pulses, on: bool) {
        pulses.bench.happen("yard", Event::Contact { input: "lit", closed: on });
        pulses.run_ms(200);
    }

    #[test]
    fn it_is_known_by_its_feedback() {
        let mut pulses = latch();
        pulses.ask("stairs", true);
        pulses.run_ms(500);
        assert_eq!(pulses.known("stairs"), Some(Off));
        lit(&mut pulses, true);
        assert_eq!(pulses.known("stairs"), Some(On));
        pulses.run_ms(10_000);
        assert!(
            pulses.bench.why("stairs").starts_with("stairs: on, as input yard/ask-stairs is on"),
            "{}",
            pulses.bench.why("stairs")
        );
        assert_eq!(pulses.bench.alarms(), [""; 0]);
        assert_eq!(pulses.counts(), [0, 1]);
    }

    #[test]
    fn a_pulse_that_it_does_not_answer_raises_an_alarm_and_is_not_repeated() {
        let mut pulses = latch();
        pulses.ask("stairs", true);
        pulses.run_ms(60_000);
        assert_eq!(pulses.counts(), [0, 1]);
        assert_eq!(pulses.bench.alarms(), ["obey-stairs"]);
        let text = &pulses.bench.alarm("obey-stairs").text;
        assert!(text.contains("was to be on, and its feedback says off"), "{text}");
        // Wanted off again, it is so already: a pulse would turn it on.
        pulses.ask("stairs", false);
        pulses.run_ms(10_000);
        assert_eq!(pulses.counts(), [0, 0]);
        assert_eq!(pulses.bench.alarms(), [""; 0]);
    }

    #[test]
    fn switched_by_hand_beside_the_relay_it_is_held() {
        let mut pulses = latch();
        lit(&mut pulses, true);
        let hold = pulses.bench.explain("stairs").hold.expect("a hand's hold");
        assert_eq!(hold.state, On);
        pulses.run_ms(20_000);
        assert_eq!(pulses.counts(), [0, 0], "the hand has had its way");
        pulses.bench.hold("stairs", "release");
        pulses.run_ms(1000);
        assert_eq!(pulses.counts(), [0, 1]);
    }

    #[test]
    fn switched_while_nobody_looked_it_is_what_its_rules_say_again() {
        let mut pulses = latch();
        let text = house("feedback = \"lit\"") + "[input.lit]\nat = \"yard/lit\"\n";
        pulses.bench.player("yard").linked = false;
        pulses.bench.happen("yard", Event::LinkDown);
        pulses.bench.happen("yard", Event::Contact { input: "lit", closed: true });
        pulses.bench.restart(&text, "5s", true, true);
        pulses.bench.plug("yard");
        pulses.run_ms(2000);
        assert_eq!(pulses.counts(), [0, 0], "a pulse of before the restart may be under way until orders are taken");
        pulses.run_ms(30_000);
        assert_eq!(pulses.bench.explain("stairs").hold, None);
        assert_eq!(pulses.counts(), [0, 1], "its rules want it off");
    }
}

#[test]
fn who_asks_once_more_while_the_pulse_is_under_way_is_served_by_it() {
    let mut pulses = Pulses::new(&house(""));
    pulses.ask("opener", true);
    pulses.run_ms(2000);
    assert_eq!(pulses.counts(), [1, 0]);
    pulses.bench.hold("opener", "on");
    pulses.run_ms(100);
    pulses.bench.hold("opener", "on");
    pulses.run_ms(60_000);
    assert_eq!(pulses.counts(), [1, 0], "the rule that wants it open has had its pulse");
}

#[test]
fn after_a_reconnect_pulses_take_turns_with_other_closings() {
    let site = "[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\nstagger = \"5s\"\n";
    let text = format!("{site}{}", house(""));
    let mut pulses = Pulses::new(&text);
    pulses.bench.step(standfast::engine::Event::LinkDown);
    pulses.bench.link_up();
    pulses.ask("opener", true);
    pulses.ask("stairs", true);
    pulses.run_ms(3000);
    let first = pulses.counts();
    assert_eq!(first.iter().sum::<usize>(), 1, "{first:?}");
    pulses.run_ms(4000);
    assert_eq!(pulses.counts().iter().sum::<usize>(), 1);
}

/// An alarm goes and another one comes in the same moment: the bell is wanted all along.
#[test]
fn what_is_wanted_for_a_moment_within_a_step_calls_for_no_pulse() {
    let text = r#"
[sensor.amps]
reading = "yard/amps"
stale_after = "1m"
[load.bell]
relay = "yard/1"
kind = "solenoid"
pulse = "400ms"
pulse_at = "on"
[rule.rings]
load = "bell"
demand = "on"
while = { alarm = "any", is = "standing" }
[load.pump]
relay = "yard/2"
kind = "motor"
[rule.too-much]
load = "pump"
demand = "off"
priority = 2
reset = "manual"
while = { sensor = "amps", cut_in = ">= 4", cut_out = "<= 3" }
"#;
    let mut pulses = Pulses::new(text);
    pulses.run_ms(65_000);
    assert_eq!(pulses.bench.alarms(), ["sensor-amps"]);
    assert_eq!(pulses.counts(), [1, 0]);
    pulses.bench.reading("amps", 5.0);
    assert_eq!(pulses.bench.alarms(), ["trip-too-much"]);
    pulses.run_ms(3_000);
    assert_eq!(pulses.counts(), [0, 0], "{}", pulses.bench.why("bell"));
}
