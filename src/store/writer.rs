//! The thread that writes: takes what waits, commits it in one transaction, and keeps trying when the disk fails. It never
//! loses the newest memory, reservation or house while it tries; rows of the journal that it cannot hold leave a gap row.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, TryRecvError};
use std::time::Duration;

use rusqlite::Connection;
use tokio::sync::{mpsc, oneshot};

use super::damage::{Damage, Place, is_damage, notice, put_back};
use super::gap::{Gap, GapReason, Missed};
use super::{AcceptedHouse, Parcel, StoreEvent, StoredReading, StoredSnapshot, Told, readings, schema, tables};
use crate::engine::JournalRow;
use crate::units::WallTime;

/// So many jobs go into one transaction at most.
const BATCH: usize = 256;
/// So many rows are held while the disk fails.
const ROWS_HELD: usize = 10_000;
/// So many readings are held while the disk fails: a day of a large house.
const READINGS_HELD: usize = 200_000;
/// So many old readings go in one transaction.
const PRUNED: i64 = 5_000;
/// How long to wait before trying a failing disk again.
const TRY_AGAIN: Duration = Duration::from_secs(2);

/// Something to write.
pub(super) enum Job {
    /// The engine's memory with what belongs to it, and whom to tell.
    Save(Box<Parcel>, oneshot::Sender<()>),
    /// Order numbers of a board, up to and with this one.
    Reserve(String, u32),
    /// A row of the journal and the house's revision.
    Record(Box<JournalRow>, String),
    /// The journal lacks something.
    Lacks(Gap),
    /// A house that was accepted.
    Accept(AcceptedHouse),
    /// Readings to append.
    Append(Vec<StoredReading>),
    /// Drop readings from before a wall time.
    Prune(WallTime),
    /// What a person was told of alarms, by their ids.
    Told(BTreeMap<String, Told>),
    /// Nothing to write: whom to tell when what came before is on disk.
    Settle(oneshot::Sender<()>),
}

impl Job {
    /// What it is, for a log.
    pub(super) fn name(&self) -> &'static str {
        match self {
            Job::Save(..) => "memory",
            Job::Reserve(..) => "reservation",
            Job::Record(..) => "journal row",
            Job::Lacks(_) => "gap of the journal",
            Job::Accept(_) => "house",
            Job::Told(_) => "told alarms",
            Job::Append(_) => "readings",
            Job::Settle(_) => "question",
            Job::Prune(_) => "the end of old readings",
        }
    }
}

/// What has not been written yet. Of most things only the newest counts.
#[derive(Default)]
struct Waiting {
    snapshot: Option<StoredSnapshot>,
    tell: Vec<oneshot::Sender<()>>,
    reserved: BTreeMap<String, u32>,
    rows: Vec<(JournalRow, String)>,
    accepted: Option<AcceptedHouse>,
    told: Option<BTreeMap<String, Told>>,
    readings: Vec<StoredReading>,
    /// Readings from before this are to go.
    keep_from: Option<WallTime>,
    /// What the journal lacks: one row for each reason.
    gaps: BTreeMap<GapReason, Gap>,
}

impl Waiting {
    fn add(&mut self, job: Job) {
        match job {
            Job::Save(parcel, tell) => {
                let Parcel { snapshot, rows, readings } = *parcel;
                rows.into_iter().for_each(|(row, revision)| self.add_row(row, revision));
                self.add_readings(readings);
                self.snapshot = Some(snapshot);
                self.tell.push(tell);
            }
            Job::Reserve(board, through) => {
                let reserved = self.reserved.entry(board).or_default();
                *reserved = through.max(*reserved);
            }
            Job::Record(row, revision) => self.add_row(*row, revision),
            Job::Lacks(gap) => self.miss(gap),
            Job::Accept(house) => self.accepted = Some(house),
            Job::Told(told) => self.told = Some(told),
            Job::Settle(tell) => self.tell.push(tell),
            Job::Append(readings) => self.add_readings(readings),
            Job::Prune(before) => self.keep_from = Some(before),
        }
    }

    fn add_row(&mut self, row: JournalRow, revision: String) {
        if self.rows.len() >= ROWS_HELD {
            self.miss(Gap::row(&row));
        } else {
            self.rows.push((row, revision));
        }
    }

    fn add_readings(&mut self, readings: Vec<StoredReading>) {
        let room = READINGS_HELD.saturating_sub(self.readings.len());
        self.readings.extend(readings.into_iter().take(room));
    }

    fn miss(&mut self, gap: Gap) {
        self.gaps.entry(gap.why).and_modify(|before| *before = before.and(gap)).or_insert(gap);
    }

    fn is_empty(&self) -> bool {
        let Waiting { snapshot, tell, reserved, rows, accepted, told, readings, keep_from, gaps } = self;
        let nothing_new = snapshot.is_none() && accepted.is_none() && told.is_none() && keep_from.is_none();
        nothing_new
            && tell.is_empty()
            && readings.is_empty()
            && reserved.is_empty()
            && rows.is_empty()
            && gaps.is_empty()
    }
}

/// Takes what is there without waiting; true when nothing more will come.
fn take_all(jobs: &Receiver<Job>, waiting: &mut Waiting) -> bool {
    loop {
        match jobs.try_recv() {
            Ok(job) => waiting.add(job),
            Err(TryRecvError::Empty) => return false,
            Err(TryRecvError::Disconnected) => return true,
        }
    }
}

/// The thread's state.
pub(super) struct Writer {
    path: PathBuf,
    // It ends before the connection: one that only reads, were it the last, would leave the write-ahead log lying about.
    damage: Damage,
    /// `None` while the disk has not let it be opened.
    database: Option<Connection>,
    events: mpsc::Sender<StoreEvent>,
    missed: Missed,
    failing: bool,
    /// The database says that somebody writes there, and lies here.
    noted: Option<Place>,
    /// Why the memory that was there at the start could not be read. It is not written over.
    unread: Option<String>,
}

impl Writer {
    /// A writer of the database at `path`, which it opens itself once the disk allows it where it is not open yet.
    pub(super) fn new(
        path: PathBuf,
        database: Option<Connection>,
        events: mpsc::Sender<StoreEvent>,
        missed: Missed,
        damage: Damage,
    ) -> Writer {
        Writer { path, damage, database, events, missed, failing: false, noted: None, unread: None }
    }

    /// One that keeps a memory which could not be read, for this reason.
    pub(super) fn with_unread(self, unread: Option<String>) -> Writer {
        Writer { unread, ..self }
    }

    /// Writes until the other end of the channel is dropped and all is written, or cannot be.
    pub(super) fn run(mut self, jobs: &Receiver<Job>) {
        let mut waiting = Waiting::default();
        let mut over = false;
        while !over {
            match jobs.recv() {
                Ok(job) => waiting.add(job),
                Err(_) => over = true,
            }
            jobs.try_iter().take(BATCH).for_each(|job| waiting.add(job));
            self.try_write(&mut waiting);
            // Old readings go by and by, and what is new goes first.
            while waiting.keep_from.is_some() && !self.failing && !over {
                over = take_all(jobs, &mut waiting);
                self.try_write(&mut waiting);
            }
            while self.failing && !over {
                std::thread::sleep(TRY_AGAIN);
                over = take_all(jobs, &mut waiting);
                self.try_write(&mut waiting);
            }
        }
        self.close();
    }

    /// Notes that all that was to be written is. Where that is not so, the next start finds no such note.
    fn close(&self) {
        if let Some(database) = self.database.as_ref().filter(|_| self.noted.is_some() && !self.failing)
            && let Err(error) = tables::write_session(database, false)
        {
            tracing::error!("the store cannot be closed: {error}");
        }
    }

    fn try_write(&mut self, waiting: &mut Waiting) {
        if let Some(gap) = self.missed.take() {
            waiting.miss(gap);
        }
        if waiting.is_empty() {
            return;
        }
        match self.commit_or_replace(waiting) {
            Ok(left) => {
                let written = std::mem::take(waiting);
                waiting.keep_from = left;
                for tell in written.tell {
                    // Whoever asked may have stopped waiting.
                    let _ = tell.send(());
                }
                if std::mem::take(&mut self.failing) {
                    let lost_rows = written.gaps.get(&GapReason::Disk).and_then(|gap| gap.rows).unwrap_or(0);
                    self.tell(StoreEvent::Recovered { lost_rows });
                }
            }
            Err(error) => {
                if !std::mem::replace(&mut self.failing, true) {
                    self.tell(StoreEvent::Failing { why: schema::why(&self.path, &error) });
                }
            }
        }
    }

    /// As [`Writer::commit`]; where the database is damaged, in a new one that takes its place.
    fn commit_or_replace(&mut self, waiting: &Waiting) -> rusqlite::Result<Option<WallTime>> {
        if self.noted.is_some_and(|place| !place.is_left(&self.path)) {
            self.put_back()?;
        }
        let committed = if self.damage.take() {
            let damage = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_CORRUPT);
            Err(rusqlite::Error::SqliteFailure(damage, None))
        } else {
            self.keep_unread().and_then(|()| self.commit(waiting))
        };
        let damage = match committed {
            Err(error) if is_damage(&error) => error,
            other => return other,
        };
        self.database = None;
        self.noted = None;
        match schema::replace(&self.path) {
            Ok((database, aside)) => {
                let is_memory_saved = tables::has_snapshot(&database)?;
                self.database = Some(database);
                self.unread = None;
                self.tell(StoreEvent::Replaced { what: notice(&damage, Some(&aside), is_memory_saved) });
                self.commit(waiting)
            }
            Err(why) => {
                tracing::error!("the damaged database cannot be replaced: {why}");
                Err(damage)
            }
        }
    }

    /// Somebody has taken the database away, of which all is still at hand.
    fn put_back(&mut self) -> rusqlite::Result<()> {
        let Some(database) = &self.database else { return Ok(()) };
        put_back(database, &self.path)?;
        self.noted = None;
        self.database = Some(schema::open_again(&self.path)?);
        let what = format!(
            "{} was removed or moved away while Standfast was running. It has been written again from memory, and nothing is \
             lost. Stop Standfast before you move, restore or remove its data",
            self.path.display()
        );
        self.tell(StoreEvent::Replaced { what });
        Ok(())
    }

    /// A memory that nobody could read is kept beside the database before another takes its place.
    fn keep_unread(&mut self) -> rusqlite::Result<()> {
        let Some(why) = self.unread.clone() else { return Ok(()) };
        let database = self.opened()?;
        if tables::has_snapshot(database)? {
            let kept = schema::keep_beside(&self.path)?;
            let what = format!(
                "what was remembered could not be read at the start ({why}) and is kept in {}; holds and withdrawn loads of then \
                 are not in force",
                kept.display()
            );
            self.tell(StoreEvent::Replaced { what });
        }
        self.unread = None;
        Ok(())
    }

    /// The database, which is opened where the disk has not let it be before.
    fn opened(&mut self) -> rusqlite::Result<&mut Connection> {
        Ok(match &mut self.database {
            Some(database) => database,
            closed => closed.insert(schema::open_again(&self.path)?),
        })
    }

    /// Yields from when on readings are kept while old ones are left that did not fit in this transaction.
    fn commit(&mut self, waiting: &Waiting) -> rusqlite::Result<Option<WallTime>> {
        let is_noted = self.noted.is_some();
        let transaction = self.opened()?.transaction()?;
        if !is_noted {
            tables::write_session(&transaction, true)?;
        }
        for gap in waiting.gaps.values() {
            tables::write_gap(&transaction, *gap)?;
        }
        for (board, through) in &waiting.reserved {
            tables::write_reservation(&transaction, board, *through)?;
        }
        for (row, revision) in &waiting.rows {
            tables::write_row(&transaction, row, revision)?;
        }
        if let Some(house) = &waiting.accepted {
            tables::write_accepted(&transaction, house)?;
        }
        readings::write(&transaction, &waiting.readings)?;
        if let Some(told) = &waiting.told {
            tables::write_told(&transaction, told)?;
        }
        if let Some(snapshot) = &waiting.snapshot {
            tables::write_snapshot(&transaction, snapshot)?;
        }
        let left = match waiting.keep_from {
            Some(before) => readings::prune(&transaction, before, PRUNED)?.then_some(before),
            None => None,
        };
        transaction.commit()?;
        if self.noted.is_none() {
            self.noted = Place::of(&self.path);
        }
        Ok(left)
    }

    fn tell(&self, event: StoreEvent) {
        match &event {
            StoreEvent::Replaced { what } => tracing::error!("{what}"),
            StoreEvent::Failing { why } => tracing::error!("the store cannot write: {why}; kept in memory only"),
            StoreEvent::Recovered { lost_rows } => tracing::info!(lost_rows, "the store writes again"),
        }
        // Full only while nobody reads, and then the log has it.
        let _ = self.events.try_send(event);
    }
}

#[cfg(test)]
mod tests;
