//! Everything with durations, through the engine, the wire and a board on recorded time. Nothing here waits.

use std::collections::VecDeque;
use std::sync::Arc;

use jiff::tz::TimeZoneDatabase;
use standfast::board::{self, Board, Faults, Flash, Setup};
use standfast::engine::{self, Engine, Now, Settings, Taken};
use standfast::house::{BoardId, House};
use standfast::syntax;
use standfast::units::{BootTime, Span, WallTime};
use standfast::wire::{Prefix, Router, Topics, Word};

use super::data::{self, Row};
use super::expected::{DAMP, DARK, Durations, with_durations};

/// The machine has been up for an hour when the recording begins.
const START_MS: u64 = 3_600_000;

/// 2015-02-04T17:51:00Z.
const START_WALL_MS: i64 = 1_423_072_260_000;

/// The house as its owner would write it.
fn house(fan: Durations, lamp: Durations) -> House {
    let text = format!(
        r#"
[site]
position = [54.60, -3.14]
zone = "Europe/London"

[board.room]
relays = 2

[sensor.air]
reading = "room/h"
unit = "%"
range = [0, 100]

[sensor.light]
reading = "room/lux"
unit = "lx"
range = [0, 100000]

[load.fan]
relay = "room/1"
kind = "motor"
min_on = "{}s"
min_off = "{}s"

[load.lamp]
relay = "room/2"
kind = "led"
min_on = "{}s"
min_off = "{}s"

[rule.vent-when-damp]
load = "fan"
demand = "on"
on_delay = "{}s"
off_delay = "{}s"
while = {{ sensor = "air", cut_in = ">= {}", cut_out = "<= {}" }}

[rule.light-when-dark]
load = "lamp"
demand = "on"
on_delay = "{}s"
off_delay = "{}s"
while = {{ sensor = "light", cut_in = "<= {}", cut_out = ">= {}" }}
"#,
        fan.min_on,
        fan.min_off,
        lamp.min_on,
        lamp.min_off,
        fan.on_delay,
        fan.off_delay,
        DAMP.0,
        DAMP.1,
        lamp.on_delay,
        lamp.off_delay,
        DARK.0,
        DARK.1,
    );
    let (house, diagnostics) = syntax::read(&[("room.toml".to_owned(), text)], &TimeZoneDatabase::bundled());
    house.unwrap_or_else(|| panic!("{diagnostics:?}"))
}

/// The engine and one board, with a wire between them that takes no time.
struct Rig {
    engine: Engine,
    router: Router,
    topics: Topics,
    board: Board,
    now_ms: u64,
    /// Second, relay, state of each contact that moved.
    switches: Vec<(u64, u8, bool)>,
}

impl Rig {
    fn start(house: House) -> Rig {
        let prefix = Prefix::default();
        let board = Board::new(Setup::of_house(&house, BoardId(0), &prefix), Flash::default(), Faults::default());
        let router = Router::new(&house, prefix.clone());
        let now = Now { boot: BootTime(START_MS), wall: WallTime(START_WALL_MS), trusted: true };
        let engine = Engine::new(Arc::new(house), Settings { settle: Span::from_s(30) }, now);
        let mut rig =
            Rig { engine, router, topics: Topics::new(prefix), board, now_ms: START_MS, switches: Vec::new() };
        rig.tell_engine(engine::Event::LinkUp);
        rig.tell_board(board::Event::Reset { cause: Word::nearest("power-on") });
        rig.tell_board(board::Event::LinkUp);
        rig
    }

    fn tell_engine(&mut self, event: engine::Event) {
        let past = self.now_ms - START_MS;
        let now = Now { boot: BootTime(self.now_ms), wall: WallTime(START_WALL_MS) + Span(past), trusted: true };
        let mut effects = Vec::new();
        self.engine.step(now, event, &mut effects);
        let mut for_board = VecDeque::new();
        for effect in effects {
            match effect {
                engine::Effect::SendOrders { orders, .. } => {
                    for_board.push_back((self.topics.orders("room"), orders.encode()))
                }
                engine::Effect::SetFallback { fallback, .. } => {
                    for_board.push_back((self.topics.fallback("room"), fallback.encode()));
                }
                _ => {}
            }
        }
        for (topic, payload) in for_board {
            self.tell_board(board::Event::Message { topic: &topic, payload: payload.as_bytes(), retained: false });
        }
    }

    fn tell_board(&mut self, event: board::Event<'_>) {
        for effect in self.board.handle(BootTime(self.now_ms), event) {
            match effect {
                board::Effect::Publish(message) => self.deliver(&message.topic, message.payload.as_bytes()),
                board::Effect::Relay { number, energised } => {
                    self.switches.push(((self.now_ms - START_MS) / 1000, number, energised));
                }
                board::Effect::Store => {}
                board::Effect::Ignored(why) => panic!("the board ignores a message: {why}"),
            }
        }
    }

    fn deliver(&mut self, topic: &str, payload: &[u8]) {
        let mut events = Vec::new();
        let incoming = self.router.route(topic, payload, false).expect("the house knows its board's topics");
        engine::take(incoming, 0, &mut |taken| match taken {
            Taken::Event(event) => events.push(event),
            Taken::Refused(why) => panic!("{topic}: {why}"),
        });
        for event in events {
            self.tell_engine(event);
        }
    }

    /// Lets time pass until a second of the recording, waking engine and board exactly when they ask for it.
    fn pass_until(&mut self, second: u64) {
        let until = START_MS + second * 1000;
        loop {
            let engine = self.engine.next_deadline().boot.map_or(u64::MAX, |due| due.0);
            let board = self.board.next_deadline().map_or(u64::MAX, |due| due.0);
            let due = engine.min(board).max(self.now_ms);
            if due > until {
                break;
            }
            self.now_ms = due;
            if engine <= due {
                self.tell_engine(engine::Event::Woken);
            }
            if board <= due {
                self.tell_board(board::Event::Tick);
            }
        }
        self.now_ms = until;
    }
}

/// What the engine made of the recording: second and state, for the fan and for the lamp.
fn replay(rows: &[Row], fan: Durations, lamp: Durations) -> [Vec<(u64, bool)>; 2] {
    let mut rig = Rig::start(house(fan, lamp));
    for row in rows {
        rig.pass_until(row.second);
        rig.tell_board(board::Event::Reading { name: "h", text: &row.humidity });
        rig.tell_board(board::Event::Reading { name: "lux", text: &row.light });
    }
    let of = |relay| {
        let own = rig.switches.iter().filter(move |(_, number, _)| *number == relay);
        own.map(|(second, _, state)| (*second, *state)).collect()
    };
    [of(1), of(2)]
}

fn check(fan: Durations, lamp: Durations, at_least: usize) {
    let rows = data::read();
    let humidity: Vec<(u64, f64)> = rows.iter().map(|row| (row.second, row.humidity_percent())).collect();
    let light: Vec<(u64, f64)> = rows.iter().map(|row| (row.second, row.light_lux())).collect();
    let fan_expected = with_durations(&humidity, |value| value >= DAMP.0, |value| value <= DAMP.1, fan);
    let lamp_expected = with_durations(&light, |value| value <= DARK.0, |value| value >= DARK.1, lamp);
    // A recording in which nothing happens would prove nothing.
    assert!(fan_expected.len() >= at_least && lamp_expected.len() >= at_least, "{fan_expected:?} {lamp_expected:?}");
    let [fan_switches, lamp_switches] = replay(&rows, fan, lamp);
    assert_eq!(fan_switches, fan_expected, "the fan");
    assert_eq!(lamp_switches, lamp_expected, "the lamp");
}

#[test]
fn without_durations() {
    let none = Durations { on_delay: 0, off_delay: 0, min_on: 0, min_off: 0 };
    check(none, none, 8);
}

#[test]
fn with_delays() {
    let fan = Durations { on_delay: 330, off_delay: 1000, min_on: 0, min_off: 0 };
    let lamp = Durations { on_delay: 90, off_delay: 45, min_on: 0, min_off: 0 };
    check(fan, lamp, 4);
}

#[test]
fn with_min_on_and_min_off() {
    let fan = Durations { on_delay: 0, off_delay: 0, min_on: 3607, min_off: 7211 };
    let lamp = Durations { on_delay: 0, off_delay: 0, min_on: 617, min_off: 1801 };
    check(fan, lamp, 4);
}

#[test]
fn with_all_durations_together() {
    let fan = Durations { on_delay: 121, off_delay: 299, min_on: 1807, min_off: 905 };
    let lamp = Durations { on_delay: 61, off_delay: 30, min_on: 245, min_off: 77 };
    check(fan, lamp, 4);
}
