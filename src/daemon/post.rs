//! The engine's effects as messages. What a broker should keep is sent again until it is taken; orders never are, because a
//! newer one follows. It never decides what is said.

use std::collections::BTreeMap;

use super::clock;
use crate::engine::Retained;
use crate::house::Board;
use crate::mqtt::{Message, Outbox};
use crate::units::{BootTime, Span};
use crate::wire::{ControllerLife, FOREIGN_EXPIRY, Fallback, ForeignMessage, Orders, Prefix, Topics, Word};

/// Orders to a board without a lease expire after this long, so that no queue hands them out much later.
const WITHOUT_LEASE: Span = Span::from_s(90);

/// It is said so often at most, on demand, that this lives.
const KNOCKS: Span = Span::from_s(1);

/// The way out.
pub struct Post {
    outbox: Outbox,
    prefix: Prefix,
    topics: Topics,
    /// Retained messages that were not taken, by topic: at most one for each load, board and alarm.
    unsent: BTreeMap<String, Message>,
    /// What was said last on the topics that nobody else may write: boards go by it.
    said: BTreeMap<String, String>,
    /// When it was said last on demand that this lives.
    answered: Option<BootTime>,
}

impl Post {
    /// Over this outbox, below this prefix.
    pub fn new(outbox: Outbox, prefix: Prefix) -> Post {
        Post {
            outbox,
            topics: Topics::new(prefix.clone()),
            prefix,
            unsent: BTreeMap::new(),
            said: BTreeMap::new(),
            answered: None,
        }
    }

    /// Where the messages go out.
    pub fn outbox(&self) -> &Outbox {
        &self.outbox
    }

    /// Sends orders, to expire with the lease.
    pub fn orders(&self, board: &Board, orders: &Orders) {
        let message = Message {
            topic: self.topics.orders(&board.name),
            payload: orders.encode().into_bytes(),
            acknowledged: true,
            retain: false,
            expires: Some(board.lease.unwrap_or(WITHOUT_LEASE)),
        };
        if let Err(refusal) = self.outbox.publish(&message) {
            // The board's next report is answered with newer ones.
            tracing::debug!(board = board.name, "orders not sent: {refusal}");
        }
    }

    /// Sends messages to a board of other firmware, in order.
    pub fn foreign(&self, board: &str, messages: Vec<ForeignMessage>) {
        for said in messages {
            if self.prefix.below(&said.topic).is_some() {
                // `check` knows the usual prefix only.
                tracing::error!(board, topic = said.topic, "no order goes out: the topic lies among Standfast's own");
                continue;
            }
            let message = Message {
                topic: said.topic,
                payload: said.payload.into_bytes(),
                acknowledged: said.acknowledged,
                retain: said.retain,
                expires: (!said.retain).then_some(FOREIGN_EXPIRY),
            };
            if let Err(refusal) = self.outbox.publish(&message) {
                // Orders that stand are said again.
                tracing::debug!(board, "orders not sent: {refusal}");
            }
        }
    }

    /// Sends a board's fallback.
    pub fn fallback(&mut self, board: &str, fallback: &Fallback) {
        self.say(self.topics.fallback(board), fallback.encode());
    }

    /// Sends a load's state.
    pub fn load(&mut self, load: &str, status: String) {
        self.keep(self.topics.load(load), status);
    }

    /// Sends an alarm.
    pub fn alarm(&mut self, id: &str, status: String) {
        self.keep(self.topics.alarm(id), status);
    }

    /// Empties a topic.
    pub fn clear(&mut self, retained: &Retained) {
        let topic = match retained {
            Retained::Alarm(id) => self.topics.alarm(id),
            Retained::Load(load) => self.topics.load(load),
            Retained::Board(board) => self.topics.fallback(board),
        };
        self.said.remove(&topic);
        self.keep(topic, String::new());
    }

    /// Says that the controller is there, with the revision of its house.
    pub fn birth(&mut self, revision: &str) {
        let version = Word::nearest(env!("CARGO_PKG_VERSION"));
        let life = ControllerLife::Birth { version, revision: Word::nearest(revision) };
        self.say(self.topics.controller(), life.encode());
    }

    /// Answers whoever asks on this topic whether a controller lives; false where that is not what it is for. Boards report
    /// on each birth, so that none is said on demand more often than once a second.
    pub fn answers(&mut self, topic: &str, retain: bool, revision: &str) -> bool {
        if topic != self.topics.knock() {
            return false;
        }
        let now = clock::boot_now();
        if !retain && self.answered.is_none_or(|answered| now.since(answered) >= KNOCKS) {
            self.answered = Some(now);
            self.birth(revision);
        }
        true
    }

    /// Whether a topic is one of those that nobody else may write, and something was said there.
    pub fn owns(&self, topic: &str) -> bool {
        self.said.contains_key(topic)
    }

    /// Whether a payload on such a topic is another than what was said there last.
    pub fn contradicts(&self, topic: &str, payload: &[u8]) -> bool {
        self.said.get(topic).is_some_and(|said| said.as_bytes() != payload)
    }

    /// Says again what was said last on a topic.
    pub fn put_right(&mut self, topic: &str) {
        if let Some(said) = self.said.get(topic).cloned() {
            self.keep(topic.to_owned(), said);
        }
    }

    /// What the controller says last, and the broker for it when it cannot.
    pub fn death(prefix: &Prefix) -> Message {
        let topic = Topics::new(prefix.clone()).controller();
        retained(topic, ControllerLife::Death.encode())
    }

    /// Tries again what was not taken.
    pub fn flush(&mut self) {
        let outbox = &self.outbox;
        self.unsent.retain(|_, message| outbox.publish(message).is_err());
    }

    fn say(&mut self, topic: String, payload: String) {
        self.said.insert(topic.clone(), payload.clone());
        self.keep(topic, payload);
    }

    fn keep(&mut self, topic: String, payload: String) {
        let message = retained(topic, payload);
        // Older words on the same topic are void either way.
        self.unsent.remove(&message.topic);
        if self.outbox.publish(&message).is_err() {
            self.unsent.insert(message.topic.clone(), message);
        }
    }
}

fn retained(topic: String, payload: String) -> Message {
    Message { topic, payload: payload.into_bytes(), acknowledged: true, retain: true, expires: None }
}
