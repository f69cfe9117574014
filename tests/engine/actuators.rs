//! Actuators: one run for each changed demand, never both directions together, and what is known of where it stands.

mod ends;
mod hands;
mod reload;

use standfast::board::{Event, Faults};
use standfast::engine::Answer;
use standfast::house::State::{Off, On};

use crate::bench::Bench;

const DOOR: &str = r#"
[actuator.door]
open = "yard/1"
close = "yard/2"
travel = "18s"
dead_time = "1s"
[input.daylight]
at = "yard/daylight"
[rule.opens]
load = "door"
demand = "open"
while = { input = "daylight", is = "on" }
"#;

const ENDS: &str = r#"
[input.is-open]
at = "yard/is-open"
[input.is-closed]
at = "yard/is-closed"
"#;

fn with_ends() -> String {
    let named = "travel = \"18s\"\nopen_end = \"is-open\"\nclose_end = \"is-closed\"";
    format!("{}{ENDS}", DOOR.replace("travel = \"18s\"", named))
}

/// What the two relays did: when, in ms since the start of the watch, and which way.
struct Watch {
    bench: Bench,
    begin: u64,
    closed: [bool; 2],
    log: Vec<(u64, &'static str)>,
}

const OPENING: [&str; 2] = ["opening", "open released"];
const CLOSING: [&str; 2] = ["closing", "close released"];

impl Watch {
    /// The door has made its first run, to where it rests.
    fn new(house: &str) -> Watch {
        let mut watch = Watch::of(Bench::new(house));
        watch.bench.play_all();
        watch.run_s(60);
        watch.log.clear();
        watch
    }

    fn of(bench: Bench) -> Watch {
        let begin = bench.now.boot.0;
        Watch { bench, begin, closed: [false; 2], log: Vec::new() }
    }

    /// Lets time pass, looking at the contacts ten times a second.
    fn run_s(&mut self, seconds: u64) {
        for _ in 0..seconds * 10 {
            self.bench.run_for("100ms");
            self.look();
        }
    }

    fn look(&mut self) {
        let now = [self.bench.closed("yard/1"), self.bench.closed("yard/2")];
        assert_ne!(now, [true, true], "both directions are energised: {:?}", self.log);
        let at = self.bench.now.boot.0 - self.begin;
        for (place, words) in [OPENING, CLOSING].into_iter().enumerate() {
            if now[place] != self.closed[place] {
                self.log.push((at, words[usize::from(!now[place])]));
            }
        }
        self.closed = now;
    }

    fn daylight(&mut self, closed: bool) {
        self.contact("daylight", closed);
    }

    fn contact(&mut self, input: &str, closed: bool) {
        self.bench.happen("yard", Event::Contact { input, closed });
    }

    /// What happened since this was last asked, without the times.
    fn words(&mut self) -> Vec<&'static str> {
        std::mem::take(&mut self.log).into_iter().map(|(_, word)| word).collect()
    }

    fn known(&self) -> Option<standfast::house::State> {
        self.bench.explain("door").known
    }

    /// For how long the last thing in the log but one lasted, in ms.
    fn lasted(&self) -> u64 {
        let [.., (from, _), (to, _)] = self.log[..] else { panic!("{:?}", self.log) };
        to - from
    }
}

#[test]
fn one_run_for_each_changed_demand_and_none_for_anything_else() {
    let mut watch = Watch::new(DOOR);
    watch.daylight(true);
    watch.run_s(30);
    assert_eq!(watch.log.len(), 2, "{:?}", watch.log);
    assert!(watch.lasted().abs_diff(18_000) <= 200, "{:?}", watch.log);
    assert_eq!(watch.words(), OPENING);
    assert_eq!(watch.known(), Some(On));
    // Reports, orders, a doubled contact and a new connection repeat nothing.
    watch.daylight(true);
    watch.run_s(200);
    watch.bench.unplug("yard");
    watch.bench.plug("yard");
    watch.run_s(60);
    assert_eq!(watch.words(), [""; 0]);
    watch.daylight(false);
    watch.run_s(30);
    assert_eq!(watch.words(), CLOSING);
    assert_eq!(watch.known(), Some(Off));
    assert_eq!(watch.bench.alarms(), [""; 0]);
}

#[test]
fn the_board_times_the_run() {
    let mut watch = Watch::new(DOOR);
    watch.daylight(true);
    watch.bench.run_for("40ms");
    assert_eq!(watch.bench.ordered("yard"), "on:18000 off - -");
    // While it runs the relay has no order: `on` would make it endless, `off` would end it.
    watch.run_s(10);
    watch.bench.hold("door", "open 1h");
    watch.run_s(2);
    assert_eq!(watch.bench.ordered("yard"), "- off - -");
    // The controller falls silent; the motor stops all the same.
    let end = watch.bench.now.boot + standfast::units::Span::from_s(10);
    watch.bench.run_players_alone(end);
    watch.look();
    assert_eq!(watch.words(), OPENING);
}

#[test]
fn it_says_what_it_does_with_times() {
    let mut watch = Watch::new(DOOR);
    assert_eq!(
        watch.bench.why("door"),
        "door: closed (assumed), nothing is demanded, so it rests; open when input yard/daylight is on (rule opens)"
    );
    watch.daylight(true);
    watch.run_s(8);
    let why = watch.bench.why("door");
    assert!(why.starts_with("door: opening, for 18s at most, as ") && why.ends_with("(rule opens)"), "{why}");
    let status = watch.bench.engine.load_status(watch.bench.load("door"), true, "r1");
    for part in [
        r#""wanted":"open""#,
        r#""ordered":"open""#,
        r#""known":null"#,
        r#""run":{"to":"open""#,
        r#""why":"opening since "#,
    ] {
        assert!(status.contains(part), "{part} in {status}");
    }
    watch.run_s(20);
    let status = watch.bench.engine.load_status(watch.bench.load("door"), true, "r1");
    assert!(status.contains(r#""known":"open","assumed":true"#), "{status}");
    let journal = watch.bench.take_journal().join("\n");
    assert!(journal.contains(r#"{"entry":"driven","actuator":"door","relay":"yard/1","to":"on","energised":true"#));
    assert!(journal.contains(r#""energised":false,"cause":{"cause":"run-over"}"#), "{journal}");
}

#[test]
fn a_reversal_stops_first_and_waits_for_the_dead_time() {
    let mut watch = Watch::new(DOOR);
    watch.daylight(true);
    watch.run_s(5);
    watch.daylight(false);
    watch.run_s(30);
    let log = watch.log.clone();
    assert_eq!(watch.words(), ["opening", "open released", "closing", "close released"]);
    let (released, closing, end) = (log[1].0, log[2].0, log[3].0);
    assert!((1000..1400).contains(&(closing - released)), "{log:?}");
    assert!((end - closing).abs_diff(18_000) <= 200, "from in between it is a whole run: {log:?}");
    assert_eq!(watch.known(), Some(Off));
}

#[test]
fn the_other_direction_waits_until_the_first_is_surely_released() {
    let mut watch = Watch::new(DOOR);
    watch.daylight(true);
    watch.run_s(2);
    // The order that stops it gets lost: the relay may be energised until the board says otherwise.
    watch.bench.player("yard").loses_orders = true;
    watch.daylight(false);
    watch.run_s(8);
    assert_eq!(watch.words(), ["opening"]);
    watch.bench.player("yard").loses_orders = false;
    watch.run_s(60);
    assert_eq!(watch.words(), ["open released", "closing", "close released"]);
}

#[test]
fn an_order_that_was_not_taken_is_sent_again_and_one_that_was_is_not() {
    let mut watch = Watch::new(DOOR);
    watch.bench.player("yard").loses_orders = true;
    watch.daylight(true);
    watch.run_s(1);
    watch.bench.player("yard").loses_orders = false;
    watch.run_s(60);
    assert_eq!(watch.words(), OPENING, "a later number was taken, so the first can come no more");
    // The board's report that it began is lost, and that it ended.
    watch.daylight(false);
    watch.bench.run_for("30ms");
    watch.bench.player("yard").loses_reports = true;
    watch.run_s(20);
    watch.bench.player("yard").loses_reports = false;
    watch.run_s(60);
    assert_eq!(watch.words(), CLOSING, "its count says that it ran");
    assert_eq!(watch.known(), Some(Off));
}

#[test]
fn a_restart_in_the_middle_of_a_run_makes_a_whole_one() {
    // What runs is not broken off; then nobody vouches for how far it came, and a whole run follows.
    let mut watch = Watch::new(DOOR);
    watch.daylight(true);
    watch.run_s(5);
    watch.bench.restart(DOOR, "3s", true, true);
    watch.run_s(12);
    assert_eq!(watch.known(), None);
    assert_eq!(watch.words(), ["opening"]);
    watch.run_s(30);
    assert_eq!(watch.words(), ["open released"]);
    assert_eq!(watch.known(), Some(On));
    let journal = watch.bench.take_journal();
    let runs = journal.iter().filter(|row| row.contains(r#""relay":"yard/1","to":"on","energised":true"#)).count();
    assert_eq!(runs, 2, "{journal:#?}");
    let ends = |row: &&String| row.contains(r#""relay":"yard/1","to":"on","energised":false"#);
    assert!(journal.iter().filter(ends).all(|row| row.contains("run-over")), "{journal:#?}");
    // The machine itself starts again: what it knew of the run is of another clock.
    let mut watch = Watch::new(DOOR);
    watch.daylight(true);
    watch.run_s(5);
    watch.bench.restart(DOOR, "30s", false, true);
    watch.begin = 0;
    watch.look();
    assert_eq!(watch.words(), OPENING);
    assert_eq!(watch.known(), None);
    watch.run_s(30);
    assert_eq!(watch.words(), OPENING);
    assert_eq!(watch.known(), Some(On));
}

#[test]
fn a_machine_that_starts_again_within_a_run_does_not_break_it_off() {
    for trusted in [true, false] {
        let mut watch = Watch::new(DOOR);
        watch.daylight(true);
        watch.run_s(5);
        watch.bench.restart(DOOR, "3s", false, trusted);
        let began = watch.bench.player("yard").did.len();
        watch.bench.run_for("9s");
        assert_eq!(watch.bench.player("yard").did.len(), began, "it goes on for the 10 s that are left");
        watch.bench.run_for("30s");
        let ways: Vec<_> = watch.bench.player("yard").did[began..].iter().map(|(_, relay, on)| (*relay, *on)).collect();
        assert_eq!(ways, [(1, false), (1, true), (1, false)], "and nobody vouches for how far it came");
        assert_eq!(watch.known(), Some(On));
    }
}

#[test]
fn what_got_lost_while_nobody_was_there_to_hear_is_no_disobedience() {
    for same_boot in [true, false] {
        let mut watch = Watch::new(DOOR);
        watch.bench.player("yard").loses_orders = true;
        watch.daylight(true);
        watch.bench.run_for("1s");
        watch.bench.restart(DOOR, "10m", same_boot, true);
        watch.bench.player("yard").loses_orders = false;
        watch.bench.run_for("2m");
        let journal = watch.bench.take_journal();
        assert!(!journal.iter().any(|row| row.contains("obey-door")), "{journal:#?}");
        assert_eq!(watch.known(), Some(On));
    }
}

#[test]
fn a_restart_while_it_stands_still_moves_nothing() {
    let mut watch = Watch::new(DOOR);
    watch.daylight(true);
    watch.run_s(30);
    watch.bench.restart(DOOR, "20s", false, true);
    watch.begin = 0;
    watch.log.clear();
    watch.run_s(100);
    assert_eq!(watch.words(), [""; 0]);
    assert_eq!(watch.known(), Some(On));
}

#[test]
fn before_anything_is_known_it_waits_and_then_makes_a_whole_run() {
    let mut watch = Watch::of(Bench::new(DOOR));
    assert!(watch.bench.why("door").contains("is not heard), wanted closed"), "{}", watch.bench.why("door"));
    watch.bench.play_all();
    watch.run_s(60);
    assert_eq!(watch.words(), CLOSING);
}

#[test]
fn a_board_that_is_lost_in_a_run_owes_a_whole_one() {
    let mut watch = Watch::new(DOOR);
    watch.daylight(true);
    watch.run_s(5);
    watch.bench.cut_power("yard");
    watch.look();
    assert_eq!(watch.known(), None);
    watch.run_s(10);
    watch.bench.power_up("yard");
    // Its contacts start anew.
    watch.daylight(true);
    watch.run_s(40);
    assert!(watch.lasted().abs_diff(18_000) <= 200, "{:?}", watch.log);
    assert_eq!(watch.words(), ["opening", "open released", "opening", "open released"]);
    assert_eq!(watch.known(), Some(On));
}

#[test]
fn a_lost_board_falls_back_to_both_released_whatever_is_safe() {
    let house = DOOR.replace("dead_time = \"1s\"", "dead_time = \"1s\"\nsafe = \"open\"");
    let bench = Bench::played(&house);
    assert_eq!(bench.fallbacks["yard"].encode(), "90 off off off off");
}

#[test]
fn an_unknown_condition_drives_it_to_its_safe_state() {
    let mut watch = Watch::new(&DOOR.replace("at = \"yard/daylight\"", "at = \"hall/daylight\"").replacen(
        "[actuator",
        "[board.yard]\nrelays = 4\n[board.hall]\nrelays = 1\n[actuator",
        1,
    ));
    watch.bench.happen("hall", Event::Contact { input: "daylight", closed: true });
    watch.run_s(30);
    assert_eq!(watch.words(), OPENING);
    watch.bench.cut_power("hall");
    watch.run_s(30);
    assert_eq!(watch.words(), CLOSING);
}

#[test]
fn after_a_start_runs_wait_for_their_turn() {
    let second = DOOR[..DOOR.find("[input").expect("it is there")].replace("door", "hatch");
    let second = second.replace("yard/1", "yard/3").replace("yard/2", "yard/4");
    let site = "[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\nstagger = \"2s\"\n";
    let mut bench = Bench::new(&format!("{site}{DOOR}{second}"));
    bench.play_all();
    bench.run_for("1500ms");
    assert_eq!([bench.closed("yard/2"), bench.closed("yard/4")], [true, false], "{}", bench.why("hatch"));
    assert!(bench.why("hatch").contains("(it waits for its turn)"), "{}", bench.why("hatch"));
    bench.run_for("2s");
    assert_eq!([bench.closed("yard/2"), bench.closed("yard/4")], [true, true]);
}

#[test]
fn a_board_that_takes_orders_and_does_nothing_raises_an_alarm() {
    let mut bench = Bench::new(DOOR);
    bench.play_with("yard", Faults { idles: true, ..Faults::default() });
    bench.run_for("3m");
    assert_eq!(bench.alarms(), ["obey-door"]);
    assert!(bench.alarm("obey-door").text.starts_with("actuator \"door\" does not obey: relay yard/2"));
    assert_eq!(bench.explain("door").known, None);
}

#[test]
fn the_lease_is_never_too_short_for_a_run() {
    // Reports come every 22.5 s; what is demanded long after one waits for the next.
    let mut watch = Watch::new(&DOOR.replace("travel = \"18s\"", "travel = \"55s\""));
    watch.run_s(60);
    watch.log.clear();
    for wait in [3, 9, 14, 20] {
        watch.run_s(wait);
        watch.daylight(true);
        watch.run_s(90);
        assert!(watch.lasted().abs_diff(55_000) <= 200, "{:?}", watch.log);
        watch.daylight(false);
        watch.run_s(90);
        assert!(watch.lasted().abs_diff(55_000) <= 200, "{:?}", watch.log);
    }
}
