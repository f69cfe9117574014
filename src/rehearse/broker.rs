//! The broker: retained messages, and who reads what. It never loses or delays anything itself; links do.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::link::{Client, Parcel};
use crate::wire::{BoardTopics, Prefix};

/// A broker.
#[derive(Clone, Debug)]
pub(super) struct Broker {
    pub up: bool,
    prefix: Prefix,
    retained: BTreeMap<Arc<str>, Arc<[u8]>>,
    /// What was retained when it was last written to disk.
    on_disk: BTreeMap<Arc<str>, Arc<[u8]>>,
    readers: BTreeMap<String, Vec<Client>>,
}

/// What a broker still has when it comes back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Comeback {
    /// All retained messages.
    Kept,
    /// None of them.
    Lost,
    /// Those of when it last wrote them to disk.
    Stale,
}

impl Broker {
    pub fn new(prefix: Prefix, boards: &[String]) -> Broker {
        let mut readers: BTreeMap<String, Vec<Client>> = BTreeMap::new();
        for (place, name) in boards.iter().enumerate() {
            for filter in BoardTopics::new(prefix.clone(), name).filters() {
                readers.entry(filter).or_default().push(Client::Board(place));
            }
        }
        Broker { up: true, prefix, retained: BTreeMap::new(), on_disk: BTreeMap::new(), readers }
    }

    /// Keeps a message if it is to be retained; an empty one is forgotten (MQTT 5.0, 3.3.1.3).
    pub fn keep(&mut self, parcel: &Parcel) {
        if !parcel.retained {
            return;
        }
        if parcel.payload.is_empty() {
            self.retained.remove(&parcel.topic);
        } else {
            self.retained.insert(parcel.topic.clone(), parcel.payload.clone());
        }
    }

    /// Who reads a topic.
    pub fn readers(&self, topic: &str) -> Vec<Client> {
        if let Some(readers) = self.readers.get(topic) {
            return readers.clone();
        }
        if self.is_for_controller(topic) { vec![Client::Controller] } else { Vec::new() }
    }

    /// `from/#`, what hands say, and what lies outside the prefix.
    fn is_for_controller(&self, topic: &str) -> bool {
        self.prefix.below(topic).is_none_or(|below| below.starts_with("from/") || is_by_hand(below))
    }

    /// Whether subscribers are told that a live message asks to be stored: only what hands say is subscribed so.
    pub fn shows_retain(&self, topic: &str) -> bool {
        self.prefix.below(topic).is_some_and(is_by_hand)
    }

    /// One more client reads some topics.
    pub fn subscribe(&mut self, client: Client, topics: impl Iterator<Item = String>) {
        topics.for_each(|topic| self.readers.entry(topic).or_default().push(client));
    }

    /// What a client gets that has just subscribed.
    pub fn retained_for(&self, client: Client) -> Vec<(Arc<str>, Arc<[u8]>)> {
        let fits = |topic: &str| self.readers(topic).contains(&client);
        self.retained
            .iter()
            .filter(|(topic, _)| fits(topic))
            .map(|(topic, text)| (topic.clone(), text.clone()))
            .collect()
    }

    /// Writes what is retained to disk.
    pub fn write(&mut self) {
        self.on_disk = self.retained.clone();
    }

    /// Comes back.
    pub fn come_back(&mut self, how: Comeback) {
        self.up = true;
        match how {
            Comeback::Kept => {}
            Comeback::Lost => self.retained.clear(),
            Comeback::Stale => self.retained = self.on_disk.clone(),
        }
    }
}

fn is_by_hand(below: &str) -> bool {
    ["hold/", "selector/", "setpoint/"].iter().any(|hand| below.starts_with(hand))
}
