//! What goes to disk, and when: what an engine's step leads to at once and in one piece, readings in batches, the whole memory
//! once a minute even if nothing asks for it. It never waits for the disk.
//!
//! Rows of the journal go with the memory of the step that wrote them: a crash keeps both or loses both, so that what a
//! report told is written once, not again when it is told again after the restart.

use tokio::sync::oneshot;

use super::history::History;
use crate::engine::{Engine, JournalRow, Now};
use crate::store::{Parcel, Shelf, Store, StoredSnapshot};
use crate::units::{BootTime, Finite, Span};

/// How often the engine's memory is stored even if nothing asks for it: how old readings may be after a crash.
const SAVE_EVERY: Span = Span::from_s(60);

/// The way to the disk.
pub struct Desk {
    store: Store,
    history: History,
    /// The kernel's name for this boot.
    boot_id: Option<String>,
    saved_at: BootTime,
    /// Rows of the step that is carried out, with the revision of the house that ran.
    rows: Vec<(JournalRow, String)>,
}

/// What a look at the clock led to.
#[derive(Debug, Default)]
pub struct Stored {
    /// Yields once the memory is on disk, where it was handed over.
    pub memory: Option<oneshot::Receiver<()>>,
    /// Where readings were handed over: how many of them found no room before.
    pub dropped: Option<u64>,
}

impl Desk {
    /// One that stores there, as a process that runs since `now`.
    pub fn new(store: Store, history: History, boot_id: Option<String>, now: BootTime) -> Desk {
        Desk { store, history, boot_id, saved_at: now, rows: Vec::new() }
    }

    /// The store, to put other things into.
    pub fn store(&self) -> &Store {
        &self.store
    }

    /// Takes the lock on the data folder anew where it was lost. For once in a second.
    pub fn keep_lock(&mut self) {
        self.store.keep_lock();
    }

    /// The database as it is once what was handed over before is written, with the readings that wait here.
    pub fn shelf(&self) -> Shelf {
        Shelf::new(self.store.database(), self.history.waiting())
    }

    /// Takes a reading in as it came.
    pub fn reading(&mut self, sensor: &str, value: Finite, now: Now) {
        self.history.take(sensor, value, now.wall, now.trusted);
    }

    /// Takes in a row that the step at hand wrote.
    pub fn row(&mut self, row: JournalRow, revision: String) {
        self.rows.push((row, revision));
    }

    /// The step is carried out: stores what it wrote, with the engine's memory where it `saves`.
    pub fn close_step(&mut self, engine: &Engine, saves: bool) -> Option<oneshot::Receiver<()>> {
        if saves {
            return Some(self.save(engine, Vec::new()));
        }
        for (row, revision) in self.rows.drain(..) {
            self.store.record(row, revision);
        }
        None
    }

    /// Stores what has waited for long enough. For once in a second.
    pub fn tick(&mut self, engine: &Engine, now: BootTime) -> Stored {
        if now.since(self.saved_at) >= SAVE_EVERY {
            return self.save_all(engine, now);
        }
        let mut stored = Stored::default();
        if self.history.is_pressing(now)
            && let Some(handed) = self.history.hand_over(now)
        {
            stored.dropped = Some(handed.dropped);
            self.store.append(handed.readings);
        }
        stored
    }

    /// Stores the memory and, where that is allowed again, the readings that wait.
    fn save_all(&mut self, engine: &Engine, now: BootTime) -> Stored {
        self.saved_at = now;
        let Now { wall, trusted, .. } = engine.now();
        if let Some(before) = self.history.prune(wall, trusted) {
            self.store.prune(before);
        }
        let handed = self.history.hand_over(now);
        let dropped = handed.as_ref().map(|handed| handed.dropped);
        let memory = Some(self.save(engine, handed.unwrap_or_default().readings));
        Stored { memory, dropped }
    }

    /// Stores everything and gives the store up, to be closed; the receiver yields where the disk has taken it by then.
    pub fn close(mut self, engine: &Engine) -> (Store, oneshot::Receiver<()>) {
        let readings = self.history.empty().readings;
        let saved = self.save(engine, readings);
        (self.store, saved)
    }

    fn save(&mut self, engine: &Engine, readings: Vec<crate::store::StoredReading>) -> oneshot::Receiver<()> {
        let snapshot =
            StoredSnapshot { snapshot: engine.snapshot(), boot_id: self.boot_id.clone(), taken: engine.now() };
        self.store.save(Parcel { snapshot, rows: std::mem::take(&mut self.rows), readings })
    }
}
