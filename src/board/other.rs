//! A board with firmware of another kind, as the house says that it speaks: it obeys orders in those words, reports in them, and
//! releases a relay by itself after the seconds that an order gave it. It never knows the contract.

use super::{Effect, Publish};
use crate::house::{Board, Ear, Foreign, LEASE_SECONDS};
use crate::units::{BootTime, Span};

/// The board, with its relays released.
#[derive(Clone, Debug)]
pub struct OtherBoard {
    foreign: Foreign,
    lease: Option<Span>,
    relays: Vec<bool>,
    /// When each relay is released by itself.
    release_at: Vec<Option<BootTime>>,
}

impl OtherBoard {
    /// The board of a house that speaks otherwise; `None` for one that knows the contract.
    pub fn of_house(board: &Board) -> Option<OtherBoard> {
        let foreign = board.foreign.clone()?;
        let relays = foreign.relays.len();
        let (relays, release_at) = (vec![false; relays], vec![None; relays]);
        Some(OtherBoard { foreign, lease: board.lease, relays, release_at })
    }

    /// The topics that it reads.
    pub fn filters(&self) -> Vec<String> {
        let mut filters: Vec<String> = self.foreign.said_on().map(str::to_owned).collect();
        filters.sort_unstable();
        filters.dedup();
        filters
    }

    /// What it says once it is connected: that it is there, and what its relays do.
    pub fn greet(&self) -> Vec<Effect> {
        let alive = self.alive(true).map(Effect::Publish);
        alive.into_iter().chain((0..self.relays.len()).filter_map(|relay| self.report(relay))).collect()
    }

    /// What the broker is to say for it when it is gone, where it says such a thing at all.
    pub fn will(&self) -> Option<Publish> {
        self.alive(false)
    }

    /// Takes a message. One that is no order in its words does nothing.
    pub fn take(&mut self, now: BootTime, topic: &str, payload: &[u8]) -> Vec<Effect> {
        let seconds = self.lease.map_or(0, Span::whole_s).to_string();
        let mut effects = Vec::new();
        for place in 0..self.relays.len() {
            let relay = &self.foreign.relays[place];
            let said = |energised: bool| {
                let expected = relay.payloads[usize::from(energised)].replace(LEASE_SECONDS, &seconds);
                relay.topic == topic && expected.as_bytes() == payload
            };
            let Some(energised) = [false, true].into_iter().find(|energised| said(*energised)) else { continue };
            let is_timed = energised && relay.payloads[1].contains(LEASE_SECONDS);
            self.release_at[place] = self.lease.filter(|_| is_timed).map(|lease| now + lease);
            self.turn(place, energised, &mut effects);
        }
        if self.foreign.ask.as_ref().is_some_and(|ask| ask.topic == topic && ask.payload.as_bytes() == payload) {
            effects.extend((0..self.relays.len()).filter_map(|relay| self.report(relay)));
        }
        effects
    }

    /// Releases what nobody has ordered again in time.
    pub fn tick(&mut self, now: BootTime) -> Vec<Effect> {
        let mut effects = Vec::new();
        for place in 0..self.relays.len() {
            if self.release_at[place].is_some_and(|at| at <= now) {
                self.release_at[place] = None;
                self.turn(place, false, &mut effects);
            }
        }
        effects
    }

    /// When it wants to be told the time next.
    pub fn next_deadline(&self) -> Option<BootTime> {
        self.release_at.iter().flatten().copied().min()
    }

    fn turn(&mut self, place: usize, energised: bool, effects: &mut Vec<Effect>) {
        if std::mem::replace(&mut self.relays[place], energised) != energised {
            effects.push(Effect::Relay { number: place as u8 + 1, energised });
        }
        effects.extend(self.report(place));
    }

    fn report(&self, place: usize) -> Option<Effect> {
        let ear = self.foreign.relays[place].report.as_ref()?;
        Some(Effect::Publish(said(ear, self.relays[place], false)))
    }

    fn alive(&self, there: bool) -> Option<Publish> {
        self.foreign.alive.as_ref().map(|ear| said(ear, there, true))
    }
}

/// A word at its place: bare, or in a JSON document. True, false and numbers stand there as JSON writes them.
fn said(ear: &Ear, yes: bool, retain: bool) -> Publish {
    let word = &ear.words[usize::from(yes)];
    let payload = match &ear.field {
        None => word.clone(),
        Some(pointer) => {
            let value = serde_json::from_str(word).unwrap_or_else(|_| serde_json::Value::from(word.as_str()));
            document(Some(pointer), value)
        }
    };
    Publish { topic: ear.topic.clone(), payload, qos: 1, retain }
}

/// A value as a payload: bare, or in a JSON document at a pointer (RFC 6901).
pub fn document(pointer: Option<&str>, value: serde_json::Value) -> String {
    let names = pointer.unwrap_or_default().split('/').skip(1).map(|name| name.replace("~1", "/").replace("~0", "~"));
    let names: Vec<String> = names.collect();
    let wrap = |inner: serde_json::Value, name: String| serde_json::Value::from_iter([(name, inner)]);
    names.into_iter().rev().fold(value, wrap).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::house::{Ask, ForeignRelay};

    fn socket() -> OtherBoard {
        let ear = |topic: &str, field: Option<&str>, no: &str, yes: &str| Ear {
            topic: topic.to_owned(),
            field: field.map(str::to_owned),
            words: [no.to_owned(), yes.to_owned()],
        };
        let relay = |number: u8| ForeignRelay {
            topic: "socket/put".to_owned(),
            payloads: [format!("drop {number}"), format!("pull {number} {{lease_s}}")],
            report: Some(ear(&format!("socket/got/{number}"), Some("/coil/is"), "false", "true")),
        };
        let foreign = Foreign {
            relays: vec![relay(1), relay(2)],
            acknowledged: true,
            retain: false,
            repeat: None,
            alive: Some(ear("socket/link", None, "down", "up")),
            ask: Some(Ask { topic: "socket/ask".to_owned(), payload: "all".to_owned(), every: Span::from_min(1) }),
            lost_after: None,
        };
        let (relays, release_at) = (vec![false; 2], vec![None; 2]);
        OtherBoard { foreign, lease: Some(Span::from_s(90)), relays, release_at }
    }

    fn shown(effects: Vec<Effect>) -> Vec<String> {
        let show = |effect| match effect {
            Effect::Publish(Publish { topic, payload, .. }) => format!("{topic} {payload}"),
            Effect::Relay { number, energised } => format!("relay {number} {energised}"),
            other => format!("{other:?}"),
        };
        effects.into_iter().map(show).collect()
    }

    #[test]
    fn a_value_stands_where_the_pointer_says() {
        for (pointer, expected) in [
            (None, "4.5"),
            (Some("/wind/gust"), r#"{"wind":{"gust":4.5}}"#),
            (Some("/a~1b"), r#"{"a/b":4.5}"#),
            (Some(""), "4.5"),
        ] {
            assert_eq!(document(pointer, 4.5.into()), expected, "{pointer:?}");
        }
    }

    #[test]
    fn it_obeys_reports_and_lets_go_by_itself() {
        let mut socket = socket();
        assert_eq!(socket.filters(), ["socket/ask", "socket/put"]);
        let (off, on) = (r#"{"coil":{"is":false}}"#, r#"{"coil":{"is":true}}"#);
        let greeting = [&"socket/link up".to_owned(), &format!("socket/got/1 {off}"), &format!("socket/got/2 {off}")];
        assert_eq!(shown(socket.greet()).iter().collect::<Vec<_>>(), greeting);
        let pull = |socket: &mut OtherBoard, at| shown(socket.take(BootTime(at), "socket/put", b"pull 2 90"));
        assert_eq!(pull(&mut socket, 0), ["relay 2 true".to_owned(), format!("socket/got/2 {on}")]);
        assert_eq!(pull(&mut socket, 60_000), [format!("socket/got/2 {on}")], "said again, the time runs anew");
        assert_eq!(socket.next_deadline(), Some(BootTime(150_000)));
        assert!(socket.tick(BootTime(149_999)).is_empty());
        assert_eq!(shown(socket.tick(BootTime(150_000))), ["relay 2 false".to_owned(), format!("socket/got/2 {off}")]);
        assert_eq!(socket.next_deadline(), None);
        assert!(socket.take(BootTime(0), "socket/put", b"pull 2 91").is_empty(), "in no words of its own");
        assert_eq!(socket.take(BootTime(0), "socket/ask", b"all").len(), 2);
        assert_eq!(socket.will().map(|will| (will.payload, will.retain)), Some(("down".to_owned(), true)));
    }
}
