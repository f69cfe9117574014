//! Tests of the board: one for each sentence of the contract, then faults, then what holds whatever happens.

mod fallback;
mod hands;
mod random;

use super::*;
use crate::units::BootTime;
use crate::wire::{BoardTopics, Code, Prefix, Report, Word};

/// A board with power, a link and a log of what it did, driven by whole milliseconds of its own clock.
struct Rig {
    board: Board,
    now: u64,
}

fn setup(relays: u8) -> Setup {
    let button = |name: &str, relay| BoardInput { name: name.to_owned(), kind: InputKind::Button { relay } };
    Setup {
        topics: BoardTopics::new(Prefix::default(), "yard"),
        relays,
        inputs: vec![
            button("1", Some(1)),
            button("2", Some(2)),
            button("spare", None),
            BoardInput { name: "ir".to_owned(), kind: InputKind::Remote },
            BoardInput { name: "door".to_owned(), kind: InputKind::Contact },
        ],
    }
}

/// What a board did, in words: `1 on` for a relay, `store`, `report …`, `life! …` for a retained message, `ignored …`.
fn words(effects: &[Effect]) -> Vec<String> {
    let word = |effect: &Effect| match effect {
        Effect::Publish(publish) => {
            let topic = publish.topic.strip_prefix("standfast/from/yard/").expect("below from/yard");
            format!("{topic}{} {}", if publish.retain { "!" } else { "" }, publish.payload)
        }
        Effect::Relay { number, energised } => format!("{number} {}", if *energised { "on" } else { "off" }),
        Effect::Store => "store".to_owned(),
        Effect::Ignored(ignored) => format!("ignored: {ignored}"),
    };
    effects.iter().map(word).collect()
}

impl Rig {
    /// Two relays, just reset, the link up at once: boot 1, beat 1 sent at 0.
    fn new() -> Rig {
        Rig::with(Flash::default(), Faults::default())
    }

    fn with(flash: Flash, faults: Faults) -> Rig {
        let mut rig = Rig { board: Board::new(setup(2), flash, faults), now: 0 };
        rig.reset("power-on");
        rig.does(Event::LinkUp);
        rig
    }

    fn reset(&mut self, cause: &str) -> Vec<String> {
        self.does(Event::Reset { cause: Word::nearest(cause) })
    }

    fn does(&mut self, event: Event<'_>) -> Vec<String> {
        words(&self.board.handle(BootTime(self.now), event))
    }

    fn hears(&mut self, topic: &str, payload: &str) -> Vec<String> {
        let topic = format!("standfast/{topic}");
        self.does(Event::Message { topic: &topic, payload: payload.as_bytes(), retained: false })
    }

    fn orders(&mut self, payload: &str) -> Vec<String> {
        self.hears("to/yard/orders", payload)
    }

    fn fallback(&mut self, payload: &str) -> Vec<String> {
        self.hears("to/yard/fallback", payload)
    }

    /// Lets time pass, stopping at each deadline, and says what happened, reports left out.
    fn until(&mut self, ms: u64) -> Vec<String> {
        let mut log = Vec::new();
        while let Some(BootTime(due)) = self.board.next_deadline().filter(|due| due.0 <= ms) {
            assert!(due > self.now, "a deadline that does not move: {due}");
            self.now = due;
            let done = self.does(Event::Tick);
            log.extend(done.into_iter().filter(|did| !did.starts_with("report")).map(|did| format!("{due}: {did}")));
        }
        self.now = ms;
        let done = self.does(Event::Tick);
        assert_eq!(done, Vec::<String>::new(), "something was due without a deadline");
        log
    }

    /// The last report's beat, by asking for one more.
    fn beat(&mut self) -> u32 {
        let said = self.hears("controller", "birth 0 0");
        let report = said.iter().find_map(|did| did.strip_prefix("report ")).expect("a report");
        Report::decode(report.as_bytes()).expect("a report that reads").beat
    }

    fn on(&self, number: u8) -> bool {
        self.board.no_contact_closed(number)
    }
}

fn check(did: Vec<String>, expected: &[&str]) {
    assert_eq!(did, expected);
}

#[test]
fn each_reset_counts_a_boot_in_flash_before_anything_is_said() {
    let mut rig = Rig { board: Board::new(setup(2), Flash { boot: 16, fallback: None }, Faults::default()), now: 0 };
    check(rig.does(Event::LinkUp), &[]);
    check(rig.reset("power-on"), &["store"]);
    assert_eq!(rig.board.flash().boot, 17);
    check(rig.does(Event::LinkUp), &["life! birth 17 power-on", "input/door off", "report 17 1 0 off:0:0:0 off:0:0:0"]);
    assert_eq!(words(&[Effect::Publish(rig.board.will())]), ["life! death 17"]);
    rig.now = 50;
    check(rig.reset("watchdog"), &["store"]);
    check(rig.does(Event::LinkUp), &["life! birth 18 watchdog", "input/door off", "report 18 1 0 off:0:0:0 off:0:0:0"]);
    assert_eq!(Rig::with(Flash { boot: u32::MAX, fallback: None }, Faults::default()).board.boot(), 1);
}

#[test]
fn orders_move_relays_and_a_change_is_reported() {
    let mut rig = Rig::new();
    rig.now = 100;
    check(rig.orders("4711 1 1 90 on -"), &["1 on", "report 1 2 4711 on:0:1:0 off:0:0:0"]);
    rig.now = 1500;
    check(rig.orders("4712 1 2 90 on off"), &[]);
    check(rig.orders("4713 1 2 90 off on"), &["1 off", "2 on", "report 1 3 4713 off:0:2:0 on:0:1:0"]);
    assert_eq!(rig.board.taken(), 4713);
}

#[test]
fn reports_come_every_quarter_of_the_lease() {
    let mut rig = Rig::new();
    assert_eq!(rig.board.next_deadline(), Some(BootTime(22_500)), "90 s where nothing else is known");
    rig.now = 22_500;
    check(rig.does(Event::Tick), &["report 1 2 0 off:22:0:0 off:22:0:0"]);
    rig.orders("1 1 2 20 off off");
    assert_eq!(rig.board.next_deadline(), Some(BootTime(27_500)));
    rig.orders("2 1 2 0 off off");
    assert_eq!(rig.board.next_deadline(), Some(BootTime(52_500)), "30 s without a lease");
    rig.does(Event::LinkDown);
    assert_eq!(rig.board.next_deadline(), None);
}

#[test]
fn orders_for_another_boot_are_ignored() {
    let mut rig = Rig::with(Flash { boot: 4, fallback: None }, Faults::default());
    check(rig.orders("9 4 1 90 on on"), &["ignored: orders for boot 4, which does not run"]);
    check(rig.orders("9 6 1 90 on on"), &["ignored: orders for boot 6, which does not run"]);
    assert_eq!(rig.board.taken(), 0);
}

#[test]
fn orders_not_higher_than_the_last_taken_are_ignored() {
    let mut rig = Rig::new();
    rig.orders("10 1 1 90 on off");
    check(rig.orders("10 1 1 90 off off"), &["ignored: orders 10 are no newer than the last taken"]);
    check(rig.orders("9 1 1 90 off off"), &["ignored: orders 9 are no newer than the last taken"]);
    assert!(rig.on(1));
}

#[test]
fn the_lease_runs_from_the_beat_that_the_orders_quote() {
    let mut rig = Rig::new();
    rig.now = 60_000;
    check(rig.orders("1 1 1 90 on off"), &["1 on", "report 1 2 1 on:0:1:0 off:60:0:0"]);
    check(rig.until(200_000), &["90000: 1 off"]);
    assert!(rig.board.run_out(1));
}

#[test]
fn orders_that_quote_a_beat_older_than_their_lease_are_ignored() {
    let mut rig = Rig::new();
    rig.now = 20_000;
    check(rig.orders("1 1 1 20 on on"), &["ignored: orders answer beat 1, which is older than their lease"]);
    let mut rig = Rig { now: 19_999, ..Rig::new() };
    assert!(rig.orders("1 1 1 20 on on").contains(&"1 on".to_owned()), "one millisecond is left");
    check(rig.orders("2 1 7 90 on on"), &["ignored: orders answer beat 7, which was never sent"]);
}

#[test]
fn a_beat_that_is_no_longer_remembered_is_too_old() {
    let mut rig = Rig::new();
    for number in 0..40 {
        rig.now += 10;
        let on = number % 2 == 0;
        let beat = number + 1;
        rig.orders(&format!("{} 1 {beat} 3600 {} off", number + 1, if on { "on" } else { "off" }));
    }
    check(rig.orders("99 1 1 3600 on on"), &["ignored: orders answer beat 1, which is older than their lease"]);
    check(rig.orders("99 1 40 3600 on on").into_iter().take(1).collect(), &["1 on"]);
}

#[test]
fn a_pulse_is_timed_by_the_board() {
    let mut rig = Rig::new();
    check(rig.orders("1 1 1 90 on:400 off"), &["1 on", "report 1 2 1 on:0:1:0 off:0:0:0"]);
    check(rig.until(10_000), &["400: 1 off"]);
    // Orders end a pulse or start it anew; `-` lets it run.
    rig.orders("2 1 2 90 on:400 on:400");
    rig.now = 10_300;
    check(rig.orders("3 1 2 90 - on"), &[]);
    check(rig.until(20_000), &["10400: 1 off"]);
    assert!(rig.on(2), "an order to be on ends the pulse without a change");
    // A pulse does not outlive the lease, and `keep` does not make it last.
    rig.fallback("20 off keep");
    let beat = rig.beat();
    rig.orders(&format!("4 1 {beat} 20 on:60000 on:60000"));
    check(rig.until(200_000), &["40000: 1 off", "80000: 2 off"]);
}

#[test]
fn power_loss_drops_every_relay_and_forgets_all_but_flash() {
    let mut rig = Rig::new();
    rig.fallback("45 off on");
    rig.orders("1 1 1 90 on on");
    rig.now = 5_000;
    check(rig.does(Event::PowerLost), &["1 off", "2 off"]);
    check(rig.orders("2 1 1 90 on on"), &[]);
    assert_eq!(rig.board.next_deadline(), None);
    check(rig.reset("power-on"), &["store"]);
    check(rig.orders("3 1 1 90 on on"), &["ignored: orders for boot 1, which does not run"]);
    check(rig.orders("3 2 1 90 on on"), &["ignored: orders answer beat 1, which was never sent"]);
    check(rig.until(60_000), &["50000: 2 on"]);
}

#[test]
fn readings_pass_while_the_link_is_up() {
    let mut rig = Rig::new();
    check(rig.does(Event::Reading { name: "t1", text: "23.4" }), &["reading/t1 23.4"]);
    rig.does(Event::LinkDown);
    check(rig.does(Event::Reading { name: "t1", text: "23.5" }), &[]);
}

#[test]
fn only_what_the_contract_names_is_understood() {
    let mut rig = Rig::new();
    check(rig.hears("to/hall/orders", "1 1 1 90 on on"), &["ignored: no such topic in the contract"]);
    check(rig.orders("1 1 1 90 on"), &["ignored: speaks of 1 relay where the board has 2: dropped whole"]);
    check(rig.orders("nonsense"), &["ignored: word 1 is \"nonsense\": expected the order number, from 1"]);
    let retained = Event::Message { topic: "standfast/to/yard/orders", payload: b"1 1 1 90 on on", retained: true };
    check(rig.does(retained), &["ignored: retained orders: its age is not known; publish it without the retain flag"]);
    assert!(!rig.on(1));
}

#[test]
fn time_that_goes_back_stands_still() {
    let mut rig = Rig::new();
    rig.now = 10_000;
    rig.orders("1 1 1 90 on off");
    rig.now = 4_000;
    check(rig.does(Event::Tick), &[]);
    assert!(rig.on(1));
}

#[test]
fn faults_do_what_they_say() {
    let with = |faults| Rig::with(Flash::default(), faults);
    let mut rig = with(Faults { relays: [(1, RelayFault::Dead)].into(), ..Faults::default() });
    check(rig.orders("1 1 1 90 on off"), &["report 1 2 1 on:0:1:0 off:0:0:0"]);
    assert!(!rig.on(1) && rig.board.energised(1));
    let welded = Faults { relays: [(1, RelayFault::Welded)].into(), ..Faults::default() };
    assert_eq!(rig.board.set_faults(welded), [Effect::Relay { number: 1, energised: true }]);
    rig.orders("2 1 2 90 off off");
    assert!(rig.on(1) && !rig.board.energised(1));

    let mut rig = with(Faults { buttons_always_switch: true, ..Faults::default() });
    rig.orders("1 1 1 90 off off");
    check(rig.does(Event::Pressed { input: "1" }), &["1 on", "report 1 2 1 on:0:1:1 off:0:0:0"]);

    let mut rig = with(Faults { hides_seconds: true, hides_hands: true, ..Faults::default() });
    check(rig.orders("1 1 1 90 on off"), &["1 on", "report 1 2 1 on:-:1 off:-:0"]);
    let mut rig = with(Faults { relays_reported: Some(3), ..Faults::default() });
    check(rig.orders("1 1 1 90 on off"), &["1 on", "report 1 2 1 on:0:1:0 off:0:0:0 on:0:1:0"]);

    let mut rig = with(Faults { doubles_inputs: true, silent: ["t1".to_owned()].into(), ..Faults::default() });
    check(rig.does(Event::Pressed { input: "1" }), &["input/1 press 1", "input/1 press 1"]);
    check(rig.does(Event::Reading { name: "t1", text: "1" }), &[]);
    check(rig.does(Event::Reading { name: "t2", text: "1" }), &["reading/t2 1"]);

    let mut rig = with(Faults { idles: true, ..Faults::default() });
    check(rig.orders("1 1 1 90 on off"), &[]);
    assert_eq!((rig.board.taken(), rig.on(1)), (1, false));

    let mut rig = with(Faults { ignores_lease: true, ..Faults::default() });
    rig.orders("1 1 1 20 on off");
    check(rig.until(1_000_000), &[]);
    assert!(rig.on(1));

    let mut rig = with(Faults { ignores_age: true, ignores_boot: true, ignores_number: true, ..Faults::default() });
    rig.orders("5 1 1 90 off off");
    rig.now = 80_000;
    check(rig.orders("5 9 1 20 on off").into_iter().take(1).collect(), &["1 on"]);
    check(rig.until(120_000), &["100000: 1 off"]);

    let stuck = Flash { boot: 6, fallback: None };
    let mut rig = with(Faults { flash_stuck_at: Some(stuck), ..Faults::default() });
    assert_eq!(rig.board.boot(), 7);
    rig.fallback("30 on on");
    rig.reset("power-on");
    assert_eq!(rig.board.boot(), 7);
    check(rig.until(200_000), &[]);
}

#[test]
fn a_clock_that_drifts_meets_its_deadlines_at_the_right_true_time() {
    let fast = Drift { zero: BootTime(1_000), ppm: 10_000 };
    assert_eq!(fast.board_time(BootTime(101_000)), BootTime(101_000));
    assert_eq!(fast.true_time(BootTime(101_000)), BootTime(101_000));
    let slow = Drift { zero: BootTime(0), ppm: -10_000 };
    assert_eq!(slow.board_time(BootTime(100_000)), BootTime(99_000));
    // I4 grants a lease one per cent and a second.
    assert!(slow.true_time(BootTime(90_000)).0 <= 90_000 * 101 / 100 + 1_000);
    for ppm in [-20_000, -37, 0, 3, 20_000] {
        let drift = Drift { zero: BootTime(777), ppm };
        for due in [0, 1, 999, 1_000, 123_456_789] {
            let at = drift.true_time(BootTime(due));
            assert!(drift.board_time(at) >= BootTime(due), "{ppm} {due}");
            assert!(at.0 == 777 || drift.board_time(BootTime(at.0 - 1)) < BootTime(due), "{ppm} {due}");
        }
    }
}
