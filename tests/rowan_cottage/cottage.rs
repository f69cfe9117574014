//! Rowan Cottage on virtual time: the example house, its boards and the physics behind its sensors, with the engine between
//! them. It judges nothing; whoever lets it live does.

#[path = "../support/example_house.rs"]
mod example_house;

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::tz::TimeZoneDatabase;
use standfast::board::{self, Board, Faults, Flash, OtherBoard, Setup};
use standfast::check;
use standfast::engine::{self, Engine, JournalEntry, Now, Settings, Taken};
use standfast::house::{BoardId, Drive, House, Relay, Source, State};
use standfast::units::{BootTime, Span, WallTime};
use standfast::wire::{Prefix, Router, Topics, Word};
use standfast::world::World;

/// How often the sensors are read.
const TICK_MS: u64 = 30_000;

pub const HOUR_MS: u64 = 3_600_000;

/// Monday 2026-01-12T00:00Z; London keeps UTC then.
pub const WINTER: WallTime = WallTime(1_768_176_000_000);

/// Monday 2026-07-13T00:00Z.
pub const SUMMER: WallTime = WallTime(1_783_900_800_000);

fn house() -> House {
    check::examine(&example_house::files(), &TimeZoneDatabase::bundled()).house.expect("the example house is sound")
}

/// Everything, at one moment.
pub struct Cottage {
    pub house: Arc<House>,
    pub engine: Engine,
    router: Router,
    topics: Topics,
    boards: Vec<Board>,
    /// Those of other firmware, where the board of the contract stands idle.
    others: Vec<Option<OtherBoard>>,
    world: World,
    /// A relay moved, and with it perhaps a contact, which nobody has looked at yet.
    has_moved: bool,
    start: WallTime,
    pub past_ms: u64,
    /// By load: when its contact changed, in ms since the start, and to what.
    pub changes: BTreeMap<String, Vec<(u64, State)>>,
    /// By sensor: the lowest and the highest reading after the first half day.
    pub spans: BTreeMap<&'static str, (f64, f64)>,
    pub lost: Vec<String>,
    /// A load whose fuse has blown: its contact closes and nothing runs.
    pub blown: &'static str,
    /// Hears every step of the engine.
    pub ear: Option<Ear>,
}

/// Hears a step: the engine after it, what it was told, and what it wants done.
pub type Ear = Box<dyn FnMut(&Engine, &engine::Event, &[engine::Effect])>;

impl Cottage {
    pub fn open(start: WallTime) -> Cottage {
        let house = Arc::new(house());
        let prefix = Prefix::default();
        let board = |id| Board::new(Setup::of_house(&house, BoardId(id), &prefix), Flash::default(), Faults::default());
        let boards = (0..house.boards.len() as u32).map(board).collect();
        let now = Now { boot: BootTime(HOUR_MS), wall: start, trusted: true };
        let mut cottage = Cottage {
            engine: Engine::new(house.clone(), Settings { settle: Span::from_s(30) }, now),
            router: Router::new(&house, prefix.clone()),
            topics: Topics::new(prefix),
            world: World::rowan_cottage(house.site.latitude, house.site.longitude, start, 1),
            has_moved: false,
            boards,
            others: house.boards.iter().map(OtherBoard::of_house).collect(),
            house,
            start,
            past_ms: 0,
            changes: BTreeMap::new(),
            spans: BTreeMap::new(),
            lost: Vec::new(),
            blown: "",
            ear: None,
        };
        cottage.tell_engine(engine::Event::LinkUp);
        for number in 0..cottage.boards.len() {
            if let Some(other) = cottage.others[number].clone() {
                let said = other.greet();
                cottage.carry_out(number, said);
                continue;
            }
            cottage.tell_board(number, board::Event::Reset { cause: Word::nearest("power-on") });
            cottage.tell_board(number, board::Event::LinkUp);
        }
        cottage
    }

    fn boot(&self) -> BootTime {
        BootTime(HOUR_MS + self.past_ms)
    }

    fn tell_engine(&mut self, event: engine::Event) {
        let now = Now { boot: self.boot(), wall: self.start + Span(self.past_ms), trusted: true };
        let mut effects = Vec::new();
        let told = self.ear.is_some().then(|| event.clone());
        self.engine.step(now, event, &mut effects);
        if let (Some(ear), Some(told)) = (&mut self.ear, &told) {
            ear(&self.engine, told, &effects);
        }
        for effect in effects {
            let (board, topic, payload) = match effect {
                engine::Effect::SendForeign { board, messages } => {
                    let (now, number) = (self.boot(), board.index());
                    for message in messages {
                        let other = self.others[number].as_mut().expect("only a board of other firmware is told so");
                        let said = other.take(now, &message.topic, message.payload.as_bytes());
                        self.carry_out(number, said);
                    }
                    continue;
                }
                engine::Effect::SendOrders { board, orders } => {
                    (board, self.topics.orders(&self.house.board(board).name), orders.encode())
                }
                engine::Effect::SetFallback { board, fallback } => {
                    (board, self.topics.fallback(&self.house.board(board).name), fallback.encode())
                }
                engine::Effect::Record(row) => {
                    if let JournalEntry::BoardLost { board } = row.entry {
                        self.lost.push(board);
                    }
                    continue;
                }
                _ => continue,
            };
            let message = board::Event::Message { topic: &topic, payload: payload.as_bytes(), retained: false };
            self.tell_board(board.index(), message);
        }
    }

    fn tell_board(&mut self, number: usize, event: board::Event<'_>) {
        let now = self.boot();
        let said = self.boards[number].handle(now, event);
        self.carry_out(number, said);
    }

    fn carry_out(&mut self, number: usize, effects: Vec<board::Effect>) {
        for effect in effects {
            match effect {
                board::Effect::Publish(message) => self.deliver(&message.topic, message.payload.as_bytes()),
                board::Effect::Relay { number: relay, energised } => self.note(number, relay, energised),
                board::Effect::Store => {}
                board::Effect::Ignored(why) => panic!("a board ignores a message: {why}"),
            }
        }
    }

    fn note(&mut self, board: usize, relay: u8, energised: bool) {
        let relay = Relay { board: BoardId(board as u32), number: relay };
        self.world.relay_moved(self.start + Span(self.past_ms), &self.house, relay, energised);
        self.has_moved = true;
        let load = self.house.load_on(relay);
        let load = load.expect("a relay without a load is never ordered");
        let state = match load.drive {
            // A run begins; its end changes nothing of where it goes.
            Drive::Actuator(id) if energised => {
                if self.house.actuator(id).open == relay {
                    State::On
                } else {
                    State::Off
                }
            }
            Drive::Actuator(_) => return,
            _ => load.state(energised),
        };
        self.changes.entry(load.name.clone()).or_default().push((self.past_ms, state));
    }

    fn deliver(&mut self, topic: &str, payload: &[u8]) {
        let mut events = Vec::new();
        let incoming = self.router.route(topic, payload, false).unwrap_or_else(|refusal| panic!("{topic}: {refusal}"));
        engine::take(incoming, 0, &mut |taken| match taken {
            Taken::Event(event) => events.push(event),
            Taken::Refused(why) => panic!("{topic}: {why}"),
        });
        events.into_iter().for_each(|event| self.tell_engine(event));
    }

    /// Whether the load runs: what its contact is, not what was ordered.
    fn runs(house: &House, boards: &[Board], load: &str) -> bool {
        house.load_named(load).is_some_and(|id| {
            let load = house.load(id);
            let is_on = |relay: Relay| load.state(boards[relay.board.index()].energised(relay.number)) == State::On;
            load.relay().is_some_and(is_on)
        })
    }

    fn measure(&mut self) {
        let house = self.house.clone();
        for (name, value) in self.world.readings().collect::<Vec<_>>() {
            if self.past_ms > 12 * HOUR_MS {
                let span = self.spans.entry(name).or_insert((value, value));
                *span = (span.0.min(value), span.1.max(value));
            }
            let sensor = house.sensor(house.sensor_named(name).expect("the world and the house agree on names"));
            match &sensor.source {
                Source::Board { board, reading } => {
                    self.tell_board(board.index(), board::Event::Reading { name: reading, text: &value.to_string() });
                }
                Source::Derived(_) => unreachable!("the world measures; it computes nothing"),
                Source::Topic { topic, .. } => {
                    self.deliver(topic, format!("{{\"wind\":{{\"gust\":{value}}}}}").as_bytes());
                }
            }
        }
        self.move_contacts();
    }

    fn move_contacts(&mut self) {
        let house = self.house.clone();
        for (name, state) in self.world.contacts() {
            let input = house.inputs.iter().find(|input| input.name == name).expect("as above");
            let port = &house.ports[input.port.index()];
            let closed = state == State::On;
            self.tell_board(port.board.index(), board::Event::Contact { input: &port.name, closed });
        }
    }

    /// Lets the house live for some hours.
    pub fn live(&mut self, hours: u64) {
        while self.past_ms < hours * HOUR_MS {
            self.measure();
            let next = self.past_ms + TICK_MS;
            self.pass_until(next);
            self.advance_world();
        }
    }

    fn advance_world(&mut self) {
        let (house, boards, blown) = (&self.house, &self.boards, self.blown);
        let now = self.start + Span(self.past_ms);
        self.world.advance(now, |load| load != blown && Cottage::runs(house, boards, load));
    }

    /// Wakes engine and boards exactly when they ask for it, and moves contacts when what travels is at its end.
    fn pass_until(&mut self, until: u64) {
        loop {
            let deadline = self.engine.next_deadline();
            let boot = deadline.boot.map_or(u64::MAX, |due| due.0.saturating_sub(HOUR_MS));
            let wall = deadline.wall.map_or(u64::MAX, |due| due.0.saturating_sub(self.start.0).max(0) as u64);
            let board = |board: &Board| board.next_deadline().map_or(u64::MAX, |due| due.0.saturating_sub(HOUR_MS));
            let boards = self.boards.iter().map(board).min().unwrap_or(u64::MAX);
            let other =
                |other: &OtherBoard| other.next_deadline().map_or(u64::MAX, |due| due.0.saturating_sub(HOUR_MS));
            let others = self.others.iter().flatten().map(other).min().unwrap_or(u64::MAX);
            let arrives = self.world.arrives().map_or(u64::MAX, |at| at.0.saturating_sub(self.start.0).max(0) as u64);
            let moves = if std::mem::take(&mut self.has_moved) { self.past_ms } else { arrives };
            let due = boot.min(wall).min(boards).min(others).min(moves).max(self.past_ms);
            if due > until {
                break;
            }
            self.past_ms = due;
            if moves <= due {
                self.advance_world();
                self.move_contacts();
            }
            if boot.min(wall) <= due {
                self.tell_engine(engine::Event::Woken);
            }
            for number in 0..self.boards.len() {
                if board(&self.boards[number]) <= due {
                    self.tell_board(number, board::Event::Tick);
                }
                let now = self.boot();
                if let Some(other) = &mut self.others[number] {
                    let said = other.tick(now);
                    self.carry_out(number, said);
                }
            }
        }
        self.past_ms = until;
    }
}
