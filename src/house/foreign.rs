//! Boards whose firmware speaks otherwise than the contract: what is said to them and what they say, as data. It never
//! encodes or decodes a message.

use serde::{Deserialize, Serialize};

use super::model::Board;
use crate::units::Span;

/// Stands for the lease in whole seconds in an order's payload.
pub const LEASE_SECONDS: &str = "{lease_s}";

/// The habits of a board of other firmware.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Foreign {
    /// Its relays by number, the first at 0; as many as the board has.
    pub relays: Vec<ForeignRelay>,
    /// Whether orders go out with QoS 1 instead of 0.
    pub acknowledged: bool,
    /// Whether the broker keeps the last order for the board's next connection.
    pub retain: bool,
    /// How often standing orders are said again; `None` for only when they change or are not obeyed.
    pub repeat: Option<Span>,
    /// Where it says whether it is there.
    pub alive: Option<Ear>,
    /// How it is asked what its relays do.
    pub ask: Option<Ask>,
    /// After this long without a word of it, it is lost; `None` where only its alive topic tells, or nothing does.
    pub lost_after: Option<Span>,
}

/// One relay of such a board.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ForeignRelay {
    /// The topic of its orders.
    pub topic: String,
    /// The payload that releases it and the one that energises it; in both [`LEASE_SECONDS`] may stand for the lease.
    pub payloads: [String; 2],
    /// Where it reports; its words say released and energised.
    pub report: Option<Ear>,
}

/// A place where one of two words is said.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ear {
    /// The topic.
    pub topic: String,
    /// Where the word stands in the JSON there (RFC 6901); `None` where the whole payload is the word.
    pub field: Option<String>,
    /// The word for no and the word for yes.
    pub words: [String; 2],
}

/// A question that a board answers with reports.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ask {
    /// The topic.
    pub topic: String,
    /// What is said there.
    pub payload: String,
    /// How often.
    pub every: Span,
}

impl Foreign {
    /// Whether it reports what its relays do. All of its relays do, or none.
    pub fn reports(&self) -> bool {
        self.relays.iter().any(|relay| relay.report.is_some())
    }

    /// Whether anything ever tells that it is there.
    pub fn is_heard(&self) -> bool {
        self.reports() || self.alive.is_some()
    }

    /// Every topic that it is spoken to on, by relay number less one; the question's last.
    pub fn said_on(&self) -> impl Iterator<Item = &str> {
        let ask = self.ask.iter().map(|ask| ask.topic.as_str());
        self.relays.iter().map(|relay| relay.topic.as_str()).chain(ask)
    }

    /// Every place where it is listened to.
    pub fn ears(&self) -> impl Iterator<Item = &Ear> {
        self.relays.iter().filter_map(|relay| relay.report.as_ref()).chain(&self.alive)
    }

    /// Whether orders to one may reach the relays of the other: it says whether two boards are told apart.
    pub fn speaks_like(&self, other: &Foreign) -> bool {
        self.relays.len() == other.relays.len()
            && self.relays.iter().zip(&other.relays).all(|(one, two)| {
                one.topic == two.topic && one.payloads == two.payloads && one.report.is_some() == two.report.is_some()
            })
    }
}

impl Board {
    /// Whether what its relays do is only assumed, because it cannot report.
    pub fn is_assumed(&self) -> bool {
        self.foreign.as_ref().is_some_and(|foreign| !foreign.reports())
    }

    /// Whether `other`, a board of the same name, is the same thing to speak to.
    pub fn speaks_like(&self, other: &Board) -> bool {
        match (&self.foreign, &other.foreign) {
            (None, None) => true,
            (Some(one), Some(two)) => one.speaks_like(two),
            _ => false,
        }
    }
}
