//! Rotations: which of two loads does the job, by hours run, and when the other takes over.

mod words;

use standfast::board::Event;
use standfast::engine::{Answer, HandOrder, Unproved};
use standfast::house::State::{Off, On};

use crate::bench::Bench;

const SUMP: &str = r#"
[sensor.amps-a]
reading = "yard/i1"
unit = "A"
stale_after = "10s"
[sensor.amps-b]
reading = "yard/i2"
unit = "A"
stale_after = "10s"
[load.pump-a]
relay = "yard/1"
kind = "motor"
proof = { sensor = "amps-a", at_least = 0.5, within = "10s" }
[load.pump-b]
relay = "yard/2"
kind = "motor"
proof = { sensor = "amps-b", at_least = 0.5, within = "10s" }
[rotation.sump]
loads = ["pump-a", "pump-b"]
change_after = "10m"
[input.wet]
at = "yard/wet"
[rule.pumped]
load = "sump"
demand = "on"
while = { input = "wet", is = "on" }
"#;

struct Sump {
    bench: Bench,
    /// What each pump draws while its contact is closed.
    draws: [f64; 2],
}

impl Sump {
    fn new(text: &str) -> Sump {
        let mut sump = Sump { bench: Bench::played(text), draws: [2.0, 2.0] };
        sump.run(4);
        sump
    }

    fn with(load: &str, key: &str) -> Sump {
        let header = format!("[load.{load}]\n");
        Sump::new(&SUMP.replace(&header, &format!("{header}{key}\n")))
    }

    /// Lets so many seconds pass, with readings every two seconds.
    fn run(&mut self, seconds: u32) {
        for _ in 0..seconds.div_ceil(2) {
            for (place, sensor) in ["amps-a", "amps-b"].into_iter().enumerate() {
                let closed = self.bench.closed(["yard/1", "yard/2"][place]);
                self.bench.reading(sensor, if closed { self.draws[place] } else { 0.0 });
            }
            self.bench.run_for("2s");
        }
    }

    fn wet(&mut self, wet: bool) {
        self.bench.happen("yard", Event::Contact { input: "wet", closed: wet });
        self.run(4);
    }

    /// A run of so many seconds; returns who ran at its end.
    fn job(&mut self, seconds: u32) -> &'static str {
        self.wet(true);
        self.run(seconds);
        let who = self.who();
        self.wet(false);
        who
    }

    fn who(&self) -> &'static str {
        match (self.bench.runs("pump-a"), self.bench.runs("pump-b")) {
            (true, false) => "a",
            (false, true) => "b",
            (true, true) => "both",
            (false, false) => "none",
        }
    }
}

#[test]
fn one_does_the_job_and_hours_run_decide_between_runs() {
    let mut sump = Sump::new(SUMP);
    assert_eq!(sump.job(300), "a");
    assert_eq!(sump.job(200), "a", "not ten minutes ahead yet");
    assert_eq!(sump.job(300), "a", "the lead passes between runs, never in the middle of one");
    assert_eq!(sump.who(), "none");
    assert_eq!(sump.job(60), "b", "a has run for ten minutes more");
    assert_eq!(sump.job(600), "b", "b keeps the lead until it has run for ten minutes more than a");
    assert_eq!(sump.job(600), "b");
    sump.wet(true);
    sump.run(300);
    assert_eq!(sump.who(), "b");
    sump.run(900);
    assert_eq!(sump.who(), "b", "in the middle of a run nothing is swapped");
    sump.wet(false);
    assert_eq!(sump.job(10), "a");
    assert_eq!(sump.bench.alarms(), [""; 0]);
}

#[test]
fn the_other_takes_over_from_one_that_does_not_prove_on() {
    let mut sump = Sump::new(SUMP);
    sump.draws[0] = 0.0;
    sump.wet(true);
    assert_eq!(sump.who(), "a");
    sump.run(14);
    assert_eq!(sump.who(), "b");
    assert_eq!(sump.bench.alarms(), ["proof-pump-a"]);
    let why = sump.bench.why("sump");
    assert!(why.contains("pump-b took over from pump-a, which did not prove on"), "{why}");
    // It is not tried again until somebody has looked, whatever the hours say.
    sump.wet(false);
    assert_eq!(sump.job(700), "b");
    assert_eq!(sump.job(100), "b");
    let pump = sump.bench.load("pump-a");
    assert_eq!(sump.bench.hand(HandOrder::Reset { load: pump }), Answer::Done);
    sump.draws[0] = 2.0;
    assert_eq!(sump.job(60), "a");
    assert_eq!(sump.bench.alarms(), [""; 0]);
}

#[test]
fn a_hand_that_tries_a_failed_pump_brings_it_back() {
    let mut sump = Sump::new(SUMP);
    sump.draws[0] = 0.0;
    sump.job(30);
    sump.draws[0] = 2.0;
    sump.bench.hold("pump-a", "on 1m");
    sump.run(10);
    assert_eq!((sump.who(), sump.bench.alarms().len()), ("a", 0), "a member may be tried alone, and proves");
    sump.run(60);
    assert_eq!(sump.who(), "none");
    assert_eq!(sump.job(30), "a");
}

#[test]
fn the_other_takes_over_for_each_reason() {
    for (what, key) in [("withdrawn", ""), ("held off", ""), ("max on", "max_on = \"30s\"\nrest = \"1h\"")] {
        let mut sump = Sump::with("pump-a", key);
        sump.wet(true);
        assert_eq!(sump.who(), "a", "{what}");
        match what {
            "withdrawn" => _ = sump.bench.withdraw("pump-a", "bearing"),
            "held off" => _ = sump.bench.hold("pump-a", "off 1h"),
            _ => sump.run(30),
        }
        sump.run(6);
        assert_eq!(sump.who(), "b", "{what}: {}", sump.bench.why("sump"));
        assert!(sump.bench.why("sump").contains("pump-b took over from pump-a, which "), "{what}");
        assert_eq!(sump.bench.alarms(), [""; 0], "{what}: one that does the job is enough");
    }
}

#[test]
fn the_other_takes_over_where_max_starts_keeps_the_first_off() {
    let mut sump = Sump::with("pump-a", "max_starts = \"2 per 1h\"");
    assert_eq!(sump.job(20), "a");
    assert_eq!(sump.job(20), "a");
    assert_eq!(sump.job(20), "b");
    assert!(sump.bench.alarms().is_empty());
}

#[test]
fn the_other_takes_over_from_a_lost_board() {
    let text = SUMP.replace("relay = \"yard/1\"", "relay = \"attic/1\"")
        + "[board.yard]\nrelays = 4\n[board.attic]\nrelays = 2\n";
    let mut bench = Bench::played(&text);
    bench.happen("yard", Event::Contact { input: "wet", closed: true });
    bench.run_for("2s");
    assert!(bench.closed("attic/1") && !bench.closed("yard/2"));
    bench.unplug("attic");
    bench.run_for("50s");
    assert!(!bench.closed("yard/2"), "it may still be doing the job");
    bench.run_for("15s");
    assert!(bench.closed("yard/2"));
    assert!(bench.why("sump").contains("which was on a board that was not heard"), "{}", bench.why("sump"));
    bench.plug("attic");
    bench.run_for("1m");
    assert!(!bench.closed("attic/1") && bench.closed("yard/2"), "a run is not handed back in the middle");
    assert!(
        bench.why("pump-a").starts_with(
            "pump-a: off, in rotation sump pump-b took over from pump-a, which was on a board that was not heard"
        ),
        "{}",
        bench.why("pump-a")
    );
}

#[test]
fn two_that_fail_are_an_alarm_and_are_tried_in_turn() {
    let mut sump = Sump::new(SUMP);
    sump.draws = [0.0, 0.0];
    sump.wet(true);
    sump.run(40);
    assert_eq!(sump.bench.alarms(), ["proof-pump-a", "proof-pump-b", "rotation-sump"]);
    let text = &sump.bench.alarm("rotation-sump").text;
    assert!(text.contains("pump-a did not prove on, and pump-b did not prove on"), "{text}");
    assert_eq!(sump.who(), "b", "the last one goes on trying");
    sump.run(60);
    assert_eq!(sump.who(), "b", "it does not go back and forth");
    sump.wet(false);
    sump.wet(true);
    assert_eq!(sump.who(), "a", "at the next run the one is tried that failed first");
    sump.draws[0] = 2.0;
    sump.run(4);
    assert_eq!(sump.bench.alarms(), ["proof-pump-b"]);
}

#[test]
fn to_withdraw_the_rotation_withdraws_both() {
    let mut sump = Sump::new(SUMP);
    sump.wet(true);
    sump.bench.withdraw("sump", "cleaning");
    sump.run(4);
    assert_eq!(sump.who(), "none");
    assert_eq!(sump.bench.fallbacks["yard"].encode(), "90 off! off! off off", "deaf to the board's own buttons");
    assert_eq!(sump.bench.explain("pump-a").slot, Some(1));
    let Answer::Refused(why) = sump.bench.hold("pump-b", "on 1h") else { panic!("it is out of service") };
    assert!(why.contains("with its rotation"), "{why}");
    assert!(sump.bench.alarms().is_empty(), "a person did it");
    assert_eq!(sump.bench.restore("sump"), Answer::Done);
    sump.run(4);
    assert_eq!(sump.who(), "a");
    assert_eq!(sump.bench.fallbacks["yard"].encode(), "90 off off off off");
}

#[test]
fn holds_speak_to_the_rotation_or_to_one_member() {
    let mut sump = Sump::new(SUMP);
    sump.bench.hold("sump", "on 1h");
    sump.run(4);
    assert_eq!(sump.who(), "a");
    assert_eq!(sump.bench.explain("pump-a").slot, Some(8));
    sump.bench.hold("pump-b", "on 1h");
    sump.run(4);
    assert_eq!(sump.who(), "both", "a person wants it so, and the one that runs is not stopped for it");
    sump.bench.hold("sump", "off 1h");
    sump.run(4);
    assert_eq!(sump.who(), "b", "a hold on the member itself goes first");
    sump.bench.hold("pump-b", "release");
    sump.run(4);
    assert_eq!(sump.who(), "none");
}

#[test]
fn a_trip_of_the_rotation_breaks_through_and_one_of_a_member_makes_way() {
    let trip = |load: &str| {
        format!(
            "[input.stop]\nat = \"yard/stop\"\n[rule.trip]\nload = \"{load}\"\ndemand = \"off\"\npriority = 2\nwhile = {{ input = \"stop\", is = \"on\" }}\n"
        )
    };
    for (load, expected, slot) in [("sump", "none", Some(2)), ("pump-a", "b", Some(2))] {
        let text = SUMP.replace("[load.pump-a]\n", "[load.pump-a]\nmin_on = \"1h\"\n") + &trip(load);
        let mut sump = Sump::new(&text);
        sump.bench.happen("yard", Event::Contact { input: "stop", closed: false });
        sump.wet(true);
        assert_eq!(sump.who(), "a", "{}", sump.bench.why("pump-a"));
        sump.bench.happen("yard", Event::Contact { input: "stop", closed: true });
        sump.run(4);
        assert_eq!((sump.who(), sump.bench.explain("pump-a").slot), (expected, slot), "{load}");
    }
}

#[test]
fn a_member_that_min_on_keeps_on_is_not_doubled() {
    let mut sump = Sump::with("pump-a", "min_on = \"30s\"");
    sump.job(620);
    // a is ten minutes ahead now; b leads.
    let mut sump = Sump { bench: sump.bench, draws: sump.draws };
    assert_eq!(sump.job(20), "b");
    let mut fresh = Sump::with("pump-a", "min_on = \"30s\"");
    fresh.wet(true);
    fresh.wet(false);
    assert_eq!(fresh.who(), "a", "min on");
    fresh.wet(true);
    assert_eq!(fresh.who(), "a", "it is still at it, so the job is its own");
}

#[test]
fn hours_and_the_lead_survive_restarts_and_reloads() {
    let mut sump = Sump::new(SUMP);
    sump.job(640);
    for same_boot in [true, false] {
        sump.bench.restart(SUMP, "20s", same_boot, true);
        sump.run(34);
        sump.wet(true);
        assert_eq!(sump.who(), "b", "{}", sump.bench.why("sump"));
        assert!(sump.bench.why("sump").contains("against 10 min"), "{}", sump.bench.why("sump"));
        sump.wet(false);
    }
    sump.bench.reload(&SUMP.replace("change_after = \"10m\"", "change_after = \"20m\""));
    assert_eq!(sump.job(10), "b", "what leads goes on leading");
    // In the middle of a run nothing changes hands.
    sump.wet(true);
    sump.bench.restart(SUMP, "10s", true, true);
    sump.run(10);
    assert_eq!(sump.who(), "b");
    sump.run(60);
    assert_eq!(sump.who(), "b");
}

#[test]
fn a_start_changes_no_contact_before_it_is_known_what_is_wanted() {
    let mut bench = Bench::new(SUMP);
    bench.relays("yard", "off on:700 off off");
    assert_eq!(bench.ordered("yard"), "off on - -", "as reported until the contact is known");
    assert_eq!(bench.wanted("sump"), On);
    bench.from("yard/input/wet", "off");
    assert_eq!((bench.wanted("sump"), bench.wanted("pump-b")), (Off, Off));
}

#[test]
fn two_pumps_behind_one_clamp_prove_one_at_a_time() {
    let text = SUMP.replace("amps-b\", at_least", "amps-a\", at_least");
    let mut sump = Sump::new(&text);
    let read = |sump: &mut Sump, amps: f64, seconds: u32| {
        for _ in 0..seconds / 2 {
            sump.bench.reading("amps-a", amps);
            sump.bench.run_for("2s");
        }
    };
    sump.bench.happen("yard", Event::Contact { input: "wet", closed: true });
    read(&mut sump, 0.0, 16);
    assert_eq!(sump.who(), "b");
    read(&mut sump, 2.0, 30);
    assert_eq!(sump.bench.alarms(), ["proof-pump-a", "sensor-amps-b"], "what b draws does not speak for a");
    // When b stops, the last reading is still its own; it is not a's contact that is welded.
    sump.bench.happen("yard", Event::Contact { input: "wet", closed: false });
    read(&mut sump, 2.0, 8);
    read(&mut sump, 0.0, 20);
    assert_eq!(sump.bench.alarms(), ["proof-pump-a", "sensor-amps-b"]);
    let view = sump.bench.explain("pump-a").proof.expect("it is in alarm");
    assert_eq!(view.fault, Some(Unproved::On));
}

/// The pumps hang on two boards, and an order to the first one's gets lost: it goes on running for a while.
#[test]
fn one_that_is_still_on_is_not_doubled_by_the_one_that_takes_over() {
    let boards = "[board.yard]\nrelays = 4\n[board.hall]\nrelays = 4\n";
    let house = format!("{boards}{}", SUMP.replace("yard/2", "hall/1"));
    for deed in ["withdraw", "hold"] {
        let mut bench = Bench::played(&house);
        bench.happen("yard", Event::Contact { input: "wet", closed: true });
        bench.run_for("2s");
        assert!(bench.closed("yard/1"));
        bench.player("yard").loses_orders = true;
        match deed {
            "withdraw" => bench.withdraw("pump-a", "bearing"),
            _ => bench.hold("pump-a", "off 1h"),
        };
        for _ in 0..100 {
            bench.run_for("100ms");
            assert!(!(bench.closed("yard/1") && bench.closed("hall/1")), "both run: {}", bench.why("pump-b"));
        }
        bench.player("yard").loses_orders = false;
        for _ in 0..400 {
            bench.run_for("100ms");
            assert!(!(bench.closed("yard/1") && bench.closed("hall/1")), "both run: {}", bench.why("pump-b"));
        }
        assert!(bench.closed("hall/1"), "{}", bench.why("pump-b"));
    }
}

/// Its relay had no load for a while, and was off by a reset when it was heard with one again: it ran no longer than it was seen to.
#[test]
fn a_relay_runs_no_hours_for_a_load_that_has_left_it() {
    let mut bench = Bench::new(SUMP);
    bench.relays("yard", "off:900:0:0 off:900:0:0 off:900:0:0 off:900:0:0");
    bench.from("yard/input/wet", "on");
    assert_eq!(bench.ordered("yard"), "on off - -", "{}", bench.why("sump"));
    bench.relays("yard", "on:0:1:0 off:901:0:0 off:901:0:0 off:901:0:0");
    bench.reload(&SUMP.replace("yard/1", "yard/3"));
    bench.relays("yard", "off:0:2:0 off:902:0:0 off:902:0:0 off:902:0:0");
    bench.from("yard/input/wet", "off");
    for _ in 0..30 {
        bench.run_for("30s");
        bench.relays("yard", "off:30:2:0 off:930:0:0 off:930:0:0 off:930:0:0");
    }
    bench.from("yard/life", "birth 18 power-on");
    bench.from("yard/report", "18 1 0 off:2:0:0 off:2:0:0 off:2:0:0 off:2:0:0");
    bench.reload(SUMP);
    bench.from("yard/report", "18 2 0 off:3:0:0 off:3:0:0 off:3:0:0 off:3:0:0");
    bench.from("yard/input/wet", "on");
    assert!(bench.why("sump").contains("0 min against 0 min"), "{}", bench.why("sump"));
}
