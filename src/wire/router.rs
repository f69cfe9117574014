//! From topic and payload to something typed with ids of the house. It never keeps a message and never decides what one means.

use super::foreign::{ForeignWord, Heard};
use super::hold::HoldWord;
use super::input::InputWord;
use super::life::Life;
use super::mode::{SelectorWord, SetpointWord};
use super::reading;
use super::refusal::{Excerpt, Refusal};
use super::report::Report;
use super::topics::Prefix;
use crate::house::{BoardId, Ear, House, LoadId, PortId, SelectorId, SensorId, SetpointId, Source, Words};
use crate::units::Finite;

/// Finds what a message is about. Made once for each accepted house; routing searches sorted lists and allocates only for
/// reports, codes, terms and JSON.
#[derive(Clone, Debug)]
pub struct Router {
    prefix: Prefix,
    boards: Vec<BoardRoute>,
    loads: Vec<(String, Words)>,
    selectors: Vec<String>,
    setpoints: Vec<String>,
    foreign: Vec<Spring>,
    /// Topics of boards of other firmware, sorted.
    ears: Vec<(String, Vec<Speaker>)>,
}

/// What one such board says on a topic.
#[derive(Clone, Debug)]
struct Speaker {
    board: BoardId,
    alive: Option<Ear>,
    relays: Vec<(u8, Ear)>,
    /// It says elsewhere whether it is there, so that a report which the broker kept can be believed once it is.
    has_alive: bool,
}

#[derive(Clone, Debug)]
struct BoardRoute {
    name: String,
    /// Its firmware does not know the contract, so nothing below `from/` is from it.
    is_foreign: bool,
    relays: usize,
    readings: Vec<Spring>,
    ports: Vec<(String, PortId)>,
}

/// One place that readings come from, and the sensors that draw on it.
#[derive(Clone, Debug)]
struct Spring {
    name: String,
    taps: Vec<Tap>,
}

/// A sensor, and the pointer at which its number stands, `None` for a bare number.
#[derive(Clone, Debug)]
struct Tap {
    sensor: SensorId,
    field: Option<String>,
}

/// A message that the house knows.
#[derive(Clone, Debug)]
pub enum Incoming<'r> {
    /// A board was born or died; may be retained.
    Life {
        /// The board.
        board: BoardId,
        /// What it said.
        life: Life,
    },
    /// A board reported, with as many relays as it has.
    Report {
        /// The board.
        board: BoardId,
        /// What it said.
        report: Report,
    },
    /// A reading, for one sensor or more. It counts as one bad reading for each sensor whose value is a refusal.
    Readings(Readings<'r>),
    /// Boards of other firmware spoke, perhaps with readings in the same message.
    Foreign(Foreign<'r>),
    /// An input spoke.
    Input {
        /// Its endpoint; several keys of a remote share one.
        port: PortId,
        /// What it said.
        word: InputWord,
    },
    /// A hand by message.
    Hold {
        /// The load.
        load: LoadId,
        /// What was said.
        word: HoldWord,
    },
    /// A selector by message.
    Selector {
        /// The selector.
        selector: SelectorId,
        /// What was said.
        word: SelectorWord,
    },
    /// A setpoint by message.
    Setpoint {
        /// The setpoint.
        setpoint: SetpointId,
        /// What was said.
        word: SetpointWord,
    },
}

/// What one message means to the sensors that draw on it.
#[derive(Clone, Debug)]
pub struct Readings<'r> {
    taps: &'r [Tap],
    bare: Result<Finite, Refusal>,
    document: Option<Result<serde_json::Value, Refusal>>,
}

impl Readings<'_> {
    /// Each sensor with its number, or why there is none; in order of sensors.
    pub fn iter(&self) -> impl Iterator<Item = (SensorId, Result<Finite, Refusal>)> + '_ {
        self.taps.iter().map(|tap| (tap.sensor, self.value(tap)))
    }

    fn value(&self, tap: &Tap) -> Result<Finite, Refusal> {
        match (&tap.field, &self.document) {
            (Some(pointer), Some(Ok(document))) => reading::number_at(document, pointer),
            (Some(_), Some(Err(refusal))) => Err(refusal.clone()),
            _ => self.bare.clone(),
        }
    }
}

/// What a message on the topic of a board of other firmware means.
#[derive(Clone, Debug)]
pub struct Foreign<'r> {
    /// By board what it said, or why that is not understood.
    pub words: Vec<(BoardId, Result<ForeignWord, Refusal>)>,
    /// What the message means to the sensors that draw on it.
    pub readings: Option<Readings<'r>>,
}

impl Router {
    /// Prepares for a house.
    pub fn new(house: &House, prefix: Prefix) -> Router {
        let mut boards: Vec<BoardRoute> = house
            .boards
            .iter()
            .map(|board| BoardRoute {
                name: board.name.clone(),
                is_foreign: board.foreign.is_some(),
                relays: usize::from(board.relays),
                readings: Vec::new(),
                ports: Vec::new(),
            })
            .collect();
        let mut foreign = Vec::new();
        for (index, sensor) in house.sensors.iter().enumerate() {
            let id = SensorId(index as u32);
            match &sensor.source {
                Source::Board { board, reading } => {
                    draw(&mut boards[board.index()].readings, reading, Tap { sensor: id, field: None });
                }
                Source::Topic { topic, field } => draw(&mut foreign, topic, Tap { sensor: id, field: field.clone() }),
                // Nobody sends it.
                Source::Derived(_) => {}
            }
        }
        for (index, port) in house.ports.iter().enumerate() {
            boards[port.board.index()].ports.push((port.name.clone(), PortId(index as u32)));
        }
        for board in &mut boards {
            board.ports.sort_unstable();
        }
        Router {
            prefix,
            boards,
            loads: house.loads.iter().map(|load| (load.name.clone(), load.words())).collect(),
            selectors: house.selectors.iter().map(|selector| selector.name.clone()).collect(),
            setpoints: house.setpoints.iter().map(|setpoint| setpoint.name.clone()).collect(),
            foreign,
            ears: speakers(house),
        }
    }

    /// The prefix that it was made with.
    pub fn prefix(&self) -> &Prefix {
        &self.prefix
    }

    /// Understands one message. `retained` is the flag as it arrived under [`super::subscriptions`].
    ///
    /// # Errors
    /// A [`Refusal`] for what is not in the contract or not in the house. A bad or retained reading is no such error: it
    /// arrives as [`Incoming::Readings`] with refusals inside, because it counts against its sensors.
    pub fn route(&self, topic: &str, payload: &[u8], retained: bool) -> Result<Incoming<'_>, Refusal> {
        let Some(below) = self.prefix.below(topic) else {
            let spring = find(&self.foreign, topic, |spring| &spring.name);
            let readings = spring.map(|spring| readings(&self.foreign[spring].taps, payload, retained));
            if let Some(ear) = find(&self.ears, topic, |(topic, _)| topic) {
                let words = heard(&self.ears[ear].1, payload, retained);
                return Ok(Incoming::Foreign(Foreign { words, readings }));
            }
            return readings.map(Incoming::Readings).ok_or(Refusal::UnknownTopic);
        };
        match below.split_once('/') {
            Some(("from", rest)) => {
                let (name, rest) = rest.split_once('/').ok_or(Refusal::UnknownTopic)?;
                let index = find(&self.boards, name, |board| &board.name)
                    .ok_or_else(|| Refusal::UnknownName { what: "board", name: Excerpt::of(name) })?;
                self.board_said(index, rest, payload, retained)
            }
            Some(("hold", name)) => {
                let index = find(&self.loads, name, |(load, _)| load)
                    .ok_or_else(|| Refusal::UnknownName { what: "load", name: Excerpt::of(name) })?;
                live(retained, "hold")?;
                Ok(Incoming::Hold { load: LoadId(index as u32), word: HoldWord::decode(payload, self.loads[index].1)? })
            }
            Some(("selector", name)) => {
                let selector = SelectorId(named(&self.selectors, "selector", name)? as u32);
                live(retained, "turn of a selector")?;
                Ok(Incoming::Selector { selector, word: SelectorWord::decode(payload)? })
            }
            Some(("setpoint", name)) => {
                let setpoint = SetpointId(named(&self.setpoints, "setpoint", name)? as u32);
                live(retained, "setpoint")?;
                Ok(Incoming::Setpoint { setpoint, word: SetpointWord::decode(payload)? })
            }
            _ => Err(Refusal::UnknownTopic),
        }
    }

    fn board_said(&self, index: usize, rest: &str, payload: &[u8], retained: bool) -> Result<Incoming<'_>, Refusal> {
        let board = BoardId(index as u32);
        let route = &self.boards[index];
        if route.is_foreign {
            return Err(Refusal::UnknownTopic);
        }
        match rest.split_once('/') {
            None if rest == "life" => Ok(Incoming::Life { board, life: Life::decode(payload)? }),
            None if rest == "report" => {
                live(retained, "report")?;
                let report = Report::decode(payload)?.of_relays(route.relays)?;
                Ok(Incoming::Report { board, report })
            }
            Some(("reading", name)) => {
                let spring =
                    find(&route.readings, name, |spring| &spring.name).ok_or(Refusal::Unused { what: "reading" })?;
                Ok(Incoming::Readings(readings(&route.readings[spring].taps, payload, retained)))
            }
            Some(("input", name)) => {
                let port = find(&route.ports, name, |(name, _)| name).ok_or(Refusal::Unused { what: "input" })?;
                live(retained, "input")?;
                Ok(Incoming::Input { port: route.ports[port].1, word: InputWord::decode(payload)? })
            }
            _ => Err(Refusal::UnknownTopic),
        }
    }
}

fn readings<'r>(taps: &'r [Tap], payload: &[u8], retained: bool) -> Readings<'r> {
    let wants_json = taps.iter().any(|tap| tap.field.is_some());
    let (bare, document) = match live(retained, "reading") {
        Ok(()) => (reading::number(payload), wants_json.then(|| reading::document(payload))),
        Err(refusal) => (Err(refusal.clone()), wants_json.then_some(Err(refusal))),
    };
    Readings { taps, bare, document }
}

/// The places where boards of other firmware are heard, by topic.
fn speakers(house: &House) -> Vec<(String, Vec<Speaker>)> {
    let mut found: Vec<(String, Vec<Speaker>)> = Vec::new();
    for (index, board) in house.boards.iter().enumerate() {
        let Some(foreign) = &board.foreign else { continue };
        let reports =
            foreign.relays.iter().zip(1..).filter_map(|(relay, number)| Some((Some(number), relay.report.as_ref()?)));
        for (number, ear) in reports.chain(foreign.alive.iter().map(|ear| (None, ear))) {
            let place = found.binary_search_by(|(topic, _)| topic.cmp(&ear.topic)).unwrap_or_else(|place| {
                found.insert(place, (ear.topic.clone(), Vec::new()));
                place
            });
            let speakers = &mut found[place].1;
            let board = BoardId(index as u32);
            if speakers.last().is_none_or(|speaker| speaker.board != board) {
                let has_alive = foreign.alive.is_some();
                speakers.push(Speaker { board, alive: None, relays: Vec::new(), has_alive });
            }
            let Some(speaker) = speakers.last_mut() else { continue };
            match number {
                Some(number) => speaker.relays.push((number, ear.clone())),
                None => speaker.alive = Some(ear.clone()),
            }
        }
    }
    found
}

/// What the boards that speak on a topic say in one message. A message that speaks of some of the relays only is a report of
/// those.
fn heard(speakers: &[Speaker], payload: &[u8], retained: bool) -> Vec<(BoardId, Result<ForeignWord, Refusal>)> {
    let mut payload = Heard::new(payload);
    let mut words = Vec::new();
    for speaker in speakers {
        if let Some(ear) = &speaker.alive {
            words.push((speaker.board, payload.word(ear).map(ForeignWord::Alive)));
        }
        if speaker.relays.is_empty() {
            continue;
        }
        if retained && !speaker.has_alive {
            words.push((speaker.board, Err(Refusal::Retained { what: "report" })));
            continue;
        }
        let mut said = Vec::new();
        let mut missing = None;
        for (number, ear) in &speaker.relays {
            match payload.word(ear) {
                Ok(energised) => said.push((*number, energised)),
                Err(refusal @ Refusal::NoField { .. }) => missing = Some(refusal),
                Err(refusal) => words.push((speaker.board, Err(refusal))),
            }
        }
        match missing {
            Some(refusal) if said.is_empty() => words.push((speaker.board, Err(refusal))),
            _ if said.is_empty() => {}
            _ => words.push((speaker.board, Ok(ForeignWord::Relays { said, kept: retained }))),
        }
    }
    words
}

fn live(retained: bool, what: &'static str) -> Result<(), Refusal> {
    if retained { Err(Refusal::Retained { what }) } else { Ok(()) }
}

/// Adds a sensor to what it draws on, keeping the list sorted by name.
fn draw(springs: &mut Vec<Spring>, name: &str, tap: Tap) {
    match springs.binary_search_by(|spring| spring.name.as_str().cmp(name)) {
        Ok(at) => springs[at].taps.push(tap),
        Err(at) => springs.insert(at, Spring { name: name.to_owned(), taps: vec![tap] }),
    }
}

fn find<T>(sorted: &[T], name: &str, key: impl Fn(&T) -> &String) -> Option<usize> {
    sorted.binary_search_by(|item| key(item).as_str().cmp(name)).ok()
}

/// The index of a name that the house has.
fn named(sorted: &[String], what: &'static str, name: &str) -> Result<usize, Refusal> {
    find(sorted, name, |known| known).ok_or_else(|| Refusal::UnknownName { what, name: Excerpt::of(name) })
}
