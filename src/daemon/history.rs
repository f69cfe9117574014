//! Readings on their way to the store: gathered, and handed over in batches that go to disk with the engine's memory. It never
//! judges a reading.

use crate::store::{Store, StoredReading};
use crate::units::{Finite, Span, WallTime};

/// So many readings wait at most before they are handed over, however young the oldest is.
const BATCH: usize = 4096;
/// How often old readings are looked for.
const PRUNE_EVERY: Span = Span::from_h(24);

/// What waits.
#[derive(Debug)]
pub struct History {
    keep: Span,
    waiting: Vec<StoredReading>,
    /// When old readings were dropped last, by the wall clock.
    pruned: Option<WallTime>,
}

impl History {
    /// One that keeps readings for so long.
    pub fn new(keep: Span) -> History {
        History { keep, waiting: Vec::new(), pruned: None }
    }

    /// Takes a reading in as it came. One from while the clock is not trusted has no place in a history and is left out.
    pub fn take(&mut self, sensor: &str, value: Finite, at: WallTime, trusted: bool, store: &Store) {
        if !trusted {
            return;
        }
        self.waiting.push(StoredReading { sensor: sensor.to_owned(), at, value: value.get() });
        if self.waiting.len() >= BATCH {
            self.hand_over(store);
        }
    }

    /// Hands over what waits.
    pub fn hand_over(&mut self, store: &Store) {
        if !self.waiting.is_empty() {
            store.append(std::mem::take(&mut self.waiting));
        }
    }

    /// Has old readings dropped, once a day. Nothing is dropped by a clock that is not trusted.
    pub fn prune(&mut self, now: WallTime, trusted: bool, store: &Store) {
        let is_due = self.pruned.is_none_or(|pruned| now < pruned || now >= pruned + PRUNE_EVERY);
        if trusted && is_due {
            self.pruned = Some(now);
            store.prune(now - self.keep);
        }
    }
}
