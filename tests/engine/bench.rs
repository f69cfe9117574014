//! The bench: a house from text, an engine, virtual time, and what the engine said last. Time moves only when a test says
//! so, and on the way the engine is stepped at each of its deadlines, no sooner and no later.

mod change;
mod seen;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, OnceLock};

use jiff::civil::DateTime;
use jiff::tz::TimeZoneDatabase;
use standfast::engine::{
    Answer, By, Deadline, Effect, Engine, Event, Hand, HandOrder, JournalRow, Now, Retained, Settings, Snapshot, Taken,
    take,
};
use standfast::house::{House, OWN_ALARMS, alarm_about};
use standfast::units::{BootTime, Finite, Span, WallTime};
use standfast::wire::{Fallback, Orders, Prefix, Router};

use crate::boards::Player;

/// The site of every test that does not write one.
const SITE: &str = "[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\n";

/// The board of every test that does not write one.
const BOARD: &str = "[board.yard]\nrelays = 4\n";

/// Ten days of boot time: a board may then say that a relay has been still for days.
const BOOT: BootTime = BootTime(864_000_000);

/// More steps than any story here needs in one go.
const STEPS_MAX: usize = 200_000;

pub struct Bench {
    pub engine: Engine,
    router: Router,
    pub now: Now,
    /// What the last call made the engine want done.
    pub effects: Vec<Effect>,
    pub journal: Vec<JournalRow>,
    /// The last orders to each board, by its name.
    pub orders: BTreeMap<String, Orders>,
    pub fallbacks: BTreeMap<String, Fallback>,
    /// What was said to boards of other firmware: topics and payloads.
    pub foreign: Vec<(String, String)>,
    pub retained: BTreeSet<Retained>,
    pub answers: Vec<Answer>,
    /// What the last answer said beside it.
    pub then: Option<String>,
    pub players: BTreeMap<String, Player>,
    /// On their way: due time, order of sending, topic, payload.
    pub in_air: BTreeMap<(BootTime, u64), (String, String)>,
    pub sent: u64,
    /// Relays of which at most one may ever be closed.
    pub never_together: Vec<&'static str>,
    beats: BTreeMap<String, u32>,
    settle: Span,
    /// By board: the order numbers that it wanted reserved, up to this one.
    pub reserved: BTreeMap<String, u32>,
    /// What the engine asked last to be stored, with the order numbers reserved since.
    pub stored: Snapshot,
    /// Nothing is stored any more but order numbers.
    pub stores_nothing: bool,
}

pub fn zones() -> &'static TimeZoneDatabase {
    static ZONES: OnceLock<TimeZoneDatabase> = OnceLock::new();
    ZONES.get_or_init(TimeZoneDatabase::bundled)
}

/// The house of a text, with a site and a board `yard` of four relays where it names none.
pub fn house(text: &str) -> House {
    let mut whole = String::new();
    for (word, default) in [("[site]", SITE), ("[board.", BOARD)] {
        if !text.contains(word) {
            whole.push_str(default);
        }
    }
    whole.push_str(text);
    let files = vec![("house.toml".to_owned(), whole)];
    let (house, found) = standfast::syntax::read(&files, zones());
    let said: Vec<String> = found.iter().map(|one| standfast::diagnostic::render::line(one, &files)).collect();
    house.unwrap_or_else(|| panic!("{}\n{text}", said.join("\n")))
}

pub fn span(text: &str) -> Span {
    Span::parse(text).unwrap_or_else(|_| panic!("{text} is no duration"))
}

pub fn prefix() -> Prefix {
    Prefix::parse("standfast").expect("the default prefix")
}

/// `2026-06-01 12:00` on the clock of the house.
fn wall(text: &str, house: &House) -> WallTime {
    let civil: DateTime = text.parse().unwrap_or_else(|_| panic!("{text} is no date and time"));
    civil.to_zoned_datetime(house.site.zone.clone()).expect("a time of our age").timestamp().into()
}

impl Bench {
    /// A summer noon; the broker is there, no board has been heard.
    pub fn new(text: &str) -> Bench {
        Bench::at("2026-06-01 12:00", text)
    }

    /// The same at another date and time of the house's clock.
    pub fn at(start: &str, text: &str) -> Bench {
        let mut bench = Bench::unlinked(start, text);
        bench.link_up();
        bench
    }

    /// The same with every board there and obedient, and settled.
    pub fn played(text: &str) -> Bench {
        let mut bench = Bench::new(text);
        bench.play_all();
        bench.run_for("31s");
        bench
    }

    /// An engine that has just been made.
    pub fn unlinked(start: &str, text: &str) -> Bench {
        Bench::of_house(start, house(text))
    }

    /// The same for a house that was changed in code.
    pub fn of_house(start: &str, house: House) -> Bench {
        let house = Arc::new(house);
        let now = Now { boot: BOOT, wall: wall(start, &house), trusted: true };
        let settle = Span::from_s(30);
        let engine = Engine::new(house.clone(), Settings { settle }, now);
        Bench {
            stored: engine.snapshot(),
            stores_nothing: false,
            router: Router::new(&house, prefix()),
            engine,
            now,
            effects: Vec::new(),
            journal: Vec::new(),
            orders: BTreeMap::new(),
            fallbacks: BTreeMap::new(),
            foreign: Vec::new(),
            retained: BTreeSet::new(),
            answers: Vec::new(),
            then: None,
            players: BTreeMap::new(),
            in_air: BTreeMap::new(),
            sent: 0,
            never_together: Vec::new(),
            beats: BTreeMap::new(),
            settle,
            reserved: BTreeMap::new(),
        }
    }

    // What happens.

    /// One step at the present time.
    pub fn step(&mut self, event: Event) {
        let mut out = Vec::new();
        self.engine.step(self.now, event, &mut out);
        let Deadline { boot, wall } = self.engine.next_deadline();
        assert!(boot.is_none_or(|due| due > self.now.boot), "a boot time that is over is waited for");
        assert!(wall.is_none_or(|due| due > self.now.wall), "a wall time that is over is waited for");
        self.carry_out(out);
    }

    fn carry_out(&mut self, effects: Vec<Effect>) {
        self.effects.clone_from(&effects);
        for effect in effects {
            match effect {
                Effect::Record(row) => self.journal.push(row),
                Effect::Answer { answer, then, .. } => {
                    self.answers.push(answer);
                    self.then = then;
                }
                Effect::SendOrders { board, orders } => {
                    let name = self.engine.house().board(board).name.clone();
                    assert_eq!(
                        Orders::decode(orders.encode().as_bytes()),
                        Ok(orders.clone()),
                        "orders a board can read"
                    );
                    self.send(&format!("standfast/to/{name}/orders"), &orders.encode());
                    self.orders.insert(name, orders);
                }
                Effect::SendForeign { messages, .. } => {
                    self.foreign.extend(messages.into_iter().map(|said| (said.topic, said.payload)));
                }
                Effect::SetFallback { board, fallback } => {
                    let name = self.engine.house().board(board).name.clone();
                    self.send(&format!("standfast/to/{name}/fallback"), &fallback.encode());
                    self.fallbacks.insert(name.clone(), fallback);
                    self.retained.insert(Retained::Board(name));
                }
                Effect::PublishLoad { load } => {
                    let name = self.engine.house().load(load).name.clone();
                    self.retained.insert(Retained::Load(name));
                }
                Effect::PublishAlarm { id, .. } => {
                    let is_known = alarm_about(&id).is_some() || OWN_ALARMS.contains(&id.as_str());
                    assert!(is_known, "alarm {id} could be named in no condition: add it to src/house/alarm.rs");
                    self.retained.insert(Retained::Alarm(id));
                }
                Effect::ClearRetained(topic) => {
                    self.retained.remove(&topic);
                }
                Effect::ReserveOrders { board, through } => {
                    self.stored.reserve(&board, through);
                    self.reserved.insert(board, through);
                }
                Effect::Save if self.stores_nothing => {}
                Effect::Save => self.stored = self.engine.snapshot(),
                Effect::ReadingDropped { .. } | Effect::MessageDropped(_) => {}
            }
        }
    }

    pub fn link_up(&mut self) {
        self.step(Event::LinkUp);
        self.greet_players();
    }

    /// A message as it comes from the broker; one that the wire refuses never reaches the engine.
    pub fn message(&mut self, topic: &str, payload: &str, retained: bool) {
        let mut events = Vec::new();
        if let Ok(incoming) = self.router.route(topic, payload.as_bytes(), retained) {
            take(incoming, 7, &mut |taken| {
                if let Taken::Event(event) = taken {
                    events.push(event);
                }
            });
        }
        events.into_iter().for_each(|event| self.step(event));
    }

    /// `from("yard/report", "17 1 0 off off off off")`.
    pub fn from(&mut self, topic: &str, payload: &str) {
        self.message(&format!("standfast/from/{topic}"), payload, false);
    }

    /// A report of boot 17 with the next beat that has taken the last orders: only the relays are said.
    pub fn relays(&mut self, board: &str, relays: &str) {
        let taken = self.orders.get(board).map_or(0, |orders| orders.number);
        self.relays_taken(board, taken, relays);
    }

    /// The same with the number of the last orders taken.
    pub fn relays_taken(&mut self, board: &str, taken: u32, relays: &str) {
        let beat = self.beats.entry(board.to_owned()).or_default();
        *beat += 1;
        let report = format!("17 {beat} {taken} {relays}");
        self.from(&format!("{board}/report"), &report);
    }

    pub fn reading(&mut self, sensor: &str, value: f64) {
        let sensor = self.sensor(sensor);
        self.step(Event::Reading { sensor, value: Finite::new(value).expect("a finite number") });
    }

    pub fn bad_reading(&mut self, sensor: &str) {
        let sensor = self.sensor(sensor);
        self.step(Event::ReadingRefused { sensor });
    }

    /// `hold("hall-lamp", "on 2h")`, as on `hold/<load>`; returns the answer.
    pub fn hold(&mut self, load: &str, words: &str) -> Answer {
        let before = self.answers.len();
        self.message(&format!("standfast/hold/{load}"), words, false);
        assert_eq!(self.answers.len(), before + 1, "one answer to {words:?}");
        self.answers[before].clone()
    }

    pub fn hand(&mut self, order: HandOrder) -> Answer {
        self.step(Event::Hand(Hand { token: 9, by: By::Command("morag".to_owned()), order }));
        self.answers.last().expect("every hand is answered").clone()
    }

    pub fn withdraw(&mut self, load: &str, why: &str) -> Answer {
        let load = self.load(load);
        self.hand(HandOrder::Withdraw { load, why: why.to_owned() })
    }

    pub fn restore(&mut self, load: &str) -> Answer {
        let load = self.load(load);
        self.hand(HandOrder::Restore { load, why: String::new() })
    }

    pub fn acknowledge(&mut self, alarm: &str) -> Answer {
        self.hand(HandOrder::Acknowledge { alarm: alarm.to_owned() })
    }

    /// The daemon is stopped, and starts after some time from what it stored as it went.
    pub fn restart(&mut self, text: &str, after: &str, same_boot: bool, trusted: bool) {
        self.stored = self.engine.snapshot();
        self.crash(text, after, same_boot, trusted);
    }

    /// The daemon is killed, and starts after some time from what it was asked last to store, in its JSON form.
    pub fn crash(&mut self, text: &str, after: &str, same_boot: bool, trusted: bool) {
        self.crash_unlinked(text, after, same_boot, trusted);
        self.link_up();
    }

    /// The same where there is no link yet.
    pub fn crash_unlinked(&mut self, text: &str, after: &str, same_boot: bool, trusted: bool) {
        let stored = serde_json::to_string(&self.stored).expect("a snapshot has a JSON form");
        let snapshot: Snapshot = serde_json::from_str(&stored).expect("what was stored is read back");
        let gap = span(after);
        // Boards go on by themselves meanwhile; what they say is heard by nobody.
        self.run_players_alone(self.now.boot + gap);
        let boot = if same_boot { self.now.boot + gap } else { BootTime(20_000) };
        self.shift_boards(boot, self.now.boot + gap);
        self.now = Now { boot, wall: self.now.wall + gap, trusted };
        let settings = Settings { settle: self.settle };
        self.engine = Engine::restore(Arc::new(house(text)), settings, self.now, snapshot, same_boot);
        self.router = Router::new(self.engine.house(), prefix());
    }

    /// The daemon restarts at once, and no board has said anything to it yet.
    pub fn unlinked_restart(&mut self, text: &str) {
        self.players.clear();
        self.in_air.clear();
        self.orders.clear();
        self.beats.insert("yard".to_owned(), 5000);
        self.restart(text, "1s", true, true);
    }

    // Time.

    /// The wall clock is stepped, `h` hours ahead or back.
    pub fn step_clock(&mut self, ms: i64) {
        self.now.wall = WallTime(self.now.wall.0 + ms);
        self.step(Event::Woken);
    }

    pub fn trust(&mut self, trusted: bool) {
        self.now.trusted = trusted;
        self.step(Event::Woken);
    }

    /// Lets time pass, stepping at every deadline and playing the boards, and steps once at the end.
    pub fn run_for(&mut self, text: &str) {
        let end = self.now.boot + span(text);
        for _ in 0..STEPS_MAX {
            let Some(due) = self.next_due().filter(|due| *due <= end) else {
                self.pass_to(end);
                return self.step(Event::Woken);
            };
            self.pass_to(due);
            if self.engine_due() {
                self.step(Event::Woken);
            }
            self.play_due();
        }
        panic!("more than {STEPS_MAX} steps in {text}");
    }

    /// Lets time pass until the house's clock shows this next.
    pub fn run_until(&mut self, clock: &str) {
        let term = standfast::house::Term::parse(clock).expect("a clock time");
        let end = term.resolve(self.now.wall, self.engine.house().site.setting()).expect("it comes");
        let ms = end.0 - self.now.wall.0;
        self.run_for(&format!("{ms}ms"));
    }

    fn engine_due(&self) -> bool {
        let Deadline { boot, wall } = self.engine.next_deadline();
        boot.is_some_and(|due| due <= self.now.boot) || wall.is_some_and(|due| due <= self.now.wall)
    }

    fn next_due(&self) -> Option<BootTime> {
        let Deadline { boot, wall } = self.engine.next_deadline();
        let wall = wall.map(|due| self.now.boot + Span((due.0 - self.now.wall.0).max(0) as u64));
        let message = self.in_air.keys().next().map(|(due, _)| *due);
        let due = [boot, wall, message, self.next_of_players()].into_iter().flatten().min();
        due.map(|due| due.max(self.now.boot))
    }

    pub fn pass_to(&mut self, boot: BootTime) {
        self.now.wall = self.now.wall + boot.since(self.now.boot);
        self.now.boot = boot;
    }
}
