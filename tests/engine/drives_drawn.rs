//! A door, a door opener and a rotation under faults drawn at random: whatever is lost, doubled, restarted, changed or taken
//! out of service, no motor is driven both ways or without end, and once all is well again each thing is where it is wanted.

use proptest::prelude::*;
use standfast::board::Event;
use standfast::engine::HandOrder;
use standfast::house::State::{self, Off, On};

use crate::bench::Bench;

const TRAVEL_MS: u64 = 18_000;
/// What a real door takes is a little less.
const WAY_MS: i64 = 17_000;
const PULSE_MS: u64 = 400;
const LOOK_MS: u64 = 50;
const DEAD_MS: u64 = 1000;

const HOUSE: &str = r#"
[board.yard]
relays = 6
[actuator.door]
open = "yard/1"
close = "yard/2"
travel = "18s"
dead_time = "1s"
[load.opener]
relay = "yard/3"
kind = "solenoid"
pulse = "400ms"
[load.pump-a]
relay = "yard/4"
kind = "motor"
[load.pump-b]
relay = "yard/5"
kind = "motor"
[rotation.sump]
loads = ["pump-a", "pump-b"]
[interlock.one-pump]
loads = ["pump-a", "pump-b"]
dead_time = "1s"
[input.daylight]
at = "yard/daylight"
[input.wet]
at = "yard/wet"
[rule.opens]
load = "door"
demand = "open"
while = { input = "daylight", is = "on" }
[rule.pumps]
load = "sump"
demand = "on"
while = { input = "wet", is = "on" }
"#;

#[derive(Clone, Debug)]
enum Deed {
    Wait(u32),
    Contact(&'static str, bool),
    Hold(&'static str, &'static str),
    Withdraw(&'static str),
    Restore(&'static str),
    Unplug,
    Plug,
    PowerCut(u32),
    LoseOrders(bool),
    LoseReports(bool),
    Restart(bool),
    RestartSwapped(bool),
    Swap,
    WithLamp,
    Back,
}

fn deed() -> impl Strategy<Value = Deed> {
    let thing = prop::sample::select(vec!["door", "opener", "sump", "pump-a", "pump-b"]);
    prop_oneof![
        8 => (1..400_u32).prop_map(Deed::Wait),
        5 => (prop::sample::select(vec!["daylight", "wet"]), any::<bool>()).prop_map(|(input, on)| Deed::Contact(input, on)),
        2 => prop::sample::select(vec![
            ("door", "open 30s"), ("door", "closed 30s"), ("door", "release"), ("opener", "on"), ("sump", "on 20s"),
            ("sump", "off 20s"), ("pump-a", "on 20s"), ("pump-b", "off 20s"), ("pump-b", "on 20s"),
        ]).prop_map(|(load, words)| Deed::Hold(load, words)),
        1 => thing.clone().prop_map(Deed::Withdraw),
        1 => thing.prop_map(Deed::Restore),
        1 => Just(Deed::Unplug),
        1 => Just(Deed::Plug),
        1 => (1..100_u32).prop_map(Deed::PowerCut),
        1 => any::<bool>().prop_map(Deed::LoseOrders),
        1 => any::<bool>().prop_map(Deed::LoseReports),
        1 => any::<bool>().prop_map(Deed::Restart),
        1 => any::<bool>().prop_map(Deed::RestartSwapped),
        1 => Just(Deed::Swap),
        1 => Just(Deed::WithLamp),
        1 => Just(Deed::Back),
    ]
}

fn swapped() -> String {
    HOUSE.replace("yard/1", "yard/x").replace("yard/2", "yard/1").replace("yard/x", "yard/2")
}

struct World {
    bench: Bench,
    house: String,
    swapped: bool,
    /// Where the door is, from closed to open.
    place: i64,
    /// Until when, by the board's clock, that is reckoned.
    reckoned: u64,
    since: [Option<u64>; 6],
    until: [u64; 6],
    openings: usize,
}

impl World {
    fn new() -> World {
        let mut bench = Bench::new(HOUSE);
        bench.play_all();
        World {
            reckoned: bench.now.boot.0,
            bench,
            house: HOUSE.to_owned(),
            swapped: false,
            place: 5000,
            since: [None; 6],
            until: [0; 6],
            openings: 0,
        }
    }

    fn run(&mut self, tenths: u32) {
        for _ in 0..u64::from(tenths) * 100 / LOOK_MS {
            self.bench.run_for(&format!("{LOOK_MS}ms"));
            self.look();
        }
    }

    /// By the board's own clock, which goes on over a restart of the controller.
    fn now(&self) -> u64 {
        (self.bench.now.boot.0 as i64 + self.bench.players["yard"].ahead) as u64
    }

    fn look(&mut self) {
        for (at, relay, closed) in std::mem::take(&mut self.bench.player("yard").did) {
            self.pass_to(at.0);
            let place = usize::from(relay) - 1;
            if closed {
                self.close(place, at.0);
            } else {
                (self.since[place], self.until[place]) = (None, at.0);
            }
        }
        self.pass_to(self.now());
    }

    fn close(&mut self, place: usize, now: u64) {
        self.since[place] = Some(now);
        self.openings += usize::from(place == 2);
        let mate = [Some(1), Some(0), None, Some(4), Some(3), None][place];
        if let Some(mate) = mate {
            assert!(self.since[mate].is_none(), "{place} closes beside {mate}");
            let rest = now.saturating_sub(self.until[mate]);
            assert!(rest >= DEAD_MS, "{place} closes {rest} ms after {mate}");
        }
    }

    /// Nothing is driven for longer than one run, and the door moves with its motor.
    fn pass_to(&mut self, now: u64) {
        let longest = [TRAVEL_MS, TRAVEL_MS, PULSE_MS, u64::MAX, u64::MAX, u64::MAX];
        for (place, since) in self.since.iter().enumerate() {
            let lasted = since.map_or(0, |since| now - since);
            assert!(lasted <= longest[place], "{place} is driven for {lasted} ms");
        }
        let way = (now - self.reckoned) as i64 * if self.swapped { -1 } else { 1 };
        let moved = [1, -1].into_iter().zip(self.since).map(|(by, since)| if since.is_some() { by * way } else { 0 });
        self.place = (self.place + moved.sum::<i64>()).clamp(0, WAY_MS);
        self.reckoned = now;
    }

    fn reload(&mut self, house: String, swapped: bool) {
        // Whoever says in the house that the wires are swapped has swapped them.
        self.bench.reload(&house);
        (self.house, self.swapped) = (house, swapped);
    }

    fn happen(&mut self, deed: &Deed) {
        let bench = &mut self.bench;
        match deed {
            Deed::Wait(tenths) => self.run(*tenths),
            Deed::Contact(input, closed) => bench.happen("yard", Event::Contact { input, closed: *closed }),
            Deed::Hold(load, words) => {
                bench.hold(load, words);
            }
            Deed::Withdraw(load) => {
                bench.withdraw(load, "drawn");
            }
            Deed::Restore(load) => {
                bench.restore(load);
            }
            Deed::Unplug => bench.unplug("yard"),
            Deed::Plug if !bench.player("yard").linked => bench.plug("yard"),
            Deed::Plug => {}
            Deed::PowerCut(tenths) => {
                bench.cut_power("yard");
                self.run(*tenths);
                self.bench.power_up("yard");
            }
            Deed::LoseOrders(loses) => bench.player("yard").loses_orders = *loses,
            Deed::LoseReports(loses) => bench.player("yard").loses_reports = *loses,
            Deed::Restart(same_boot) => bench.restart(&self.house, &format!("{LOOK_MS}ms"), *same_boot, true),
            Deed::Swap => self.reload(swapped(), true),
            Deed::RestartSwapped(same_boot) => {
                (self.house, self.swapped) = (swapped(), true);
                bench.restart(&self.house, &format!("{LOOK_MS}ms"), *same_boot, true);
            }
            Deed::WithLamp => {
                let lamp = "[load.lamp]\nrelay = \"yard/6\"\nkind = \"led\"\nresting = \"on\"\n";
                self.reload(format!("{HOUSE}{lamp}"), false);
            }
            Deed::Back => self.reload(HOUSE.to_owned(), false),
        }
        self.look();
    }

    /// All is well again, and enough time passes.
    fn heal(&mut self) {
        let player = self.bench.player("yard");
        (player.loses_orders, player.loses_reports) = (false, false);
        self.bench.unplug("yard");
        self.bench.plug("yard");
        for load in ["door", "opener", "sump", "pump-a", "pump-b"] {
            self.bench.restore(load);
            let load = self.bench.load(load);
            self.bench.hand(HandOrder::Release { load });
        }
        self.run(3000);
    }

    fn check_end(&self, demanded: [State; 2]) {
        let door = self.bench.explain("door");
        assert_eq!((door.wanted, door.known), (demanded[0], Some(demanded[0])), "{}", self.bench.why("door"));
        let end = if demanded[0] == On { WAY_MS } else { 0 };
        assert_eq!(self.place, end, "{}", self.bench.why("door"));
        assert_eq!(self.since[..3], [None; 3]);
        let pumps = self.since[3..5].iter().filter(|since| since.is_some()).count();
        assert_eq!(pumps, usize::from(demanded[1] == On), "{}", self.bench.why("sump"));
        let counts = ["restarts-yard", "switching-pump-a", "switching-pump-b"];
        let alarms: Vec<&str> = self.bench.alarms().into_iter().filter(|alarm| !counts.contains(alarm)).collect();
        assert_eq!(alarms, [""; 0]);
    }
}

/// Lets it all happen, heals it, and looks whether all came right.
fn check(deeds: &[Deed]) {
    let mut world = World::new();
    let mut demanded = [Off; 2];
    let mut asked = 0;
    for deed in deeds {
        match deed {
            Deed::Contact("daylight", on) => demanded[0] = if *on { On } else { Off },
            Deed::Contact(_, on) => demanded[1] = if *on { On } else { Off },
            Deed::Hold("opener", _) => asked += 1,
            _ => {}
        }
        world.happen(deed);
    }
    world.heal();
    assert!(world.openings <= asked, "{} openings for {asked} that were asked for", world.openings);
    world.check_end(demanded);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, max_shrink_iters: 300, ..ProptestConfig::default() })]

    // What fails is printed as the least that does: it becomes a test of its own below.
    #[test]
    fn nothing_is_driven_wrongly_and_all_comes_right(deeds in prop::collection::vec(deed(), 1..40)) {
        check(&deeds);
    }
}

#[test]
fn restarts_one_after_the_other_in_a_run_drive_it_no_longer_than_that_run() {
    check(&[
        Deed::Restart(false),
        Deed::Wait(11),
        Deed::Restart(true),
        Deed::Wait(191),
        Deed::Restart(false),
        Deed::Wait(1),
    ]);
}
