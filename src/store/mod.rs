//! SQLite: migrations, the engine's memory, reserved order numbers, the journal, the accepted house. It never decides and
//! never blocks the engine: everything is handed to a thread of its own through a bounded channel.

mod damage;
mod gap;
mod lock;
mod query;
mod readings;
mod schema;
mod tables;
mod writer;

use std::collections::BTreeMap;
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::thread::JoinHandle;
use std::time::Duration;

use tokio::sync::{mpsc as tokio_mpsc, oneshot};

use crate::engine::{JournalRow, Now, Snapshot};
use crate::units::WallTime;

use damage::Damage;
use gap::Missed;
pub use gap::{Gap, GapReason};
use lock::Lock;
pub use query::{Cursor, JOURNAL_ROWS, JournalLine, JournalQuery, Reader, ReadingPage, ReadingQuery, Shelf, Stretch};
pub use readings::StoredReading;
use writer::{Job, Writer};

/// The database below the data folder.
pub const DATABASE: &str = "standfast.db";
/// The file whose lock says that a daemon lives on this data folder.
pub const LOCK: &str = "standfast.lock";
/// So many jobs wait for the disk at most.
const JOBS: usize = 1024;
/// How long [`Store::close`] waits for the disk.
const CLOSE_WITHIN: Duration = Duration::from_secs(5);

/// The engine's memory with what is needed to place it in time.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredSnapshot {
    /// The memory.
    pub snapshot: Snapshot,
    /// The kernel's name for the boot that it was taken in; `None` where it gave none.
    pub boot_id: Option<String>,
    /// When it was taken.
    pub taken: Now,
}

/// The engine's memory with what is to be stored together with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Parcel {
    /// The memory.
    pub snapshot: StoredSnapshot,
    /// The rows of the journal that the same step wrote, with the revision of the house that ran.
    pub rows: Vec<(JournalRow, String)>,
    /// Readings that have waited for it.
    pub readings: Vec<StoredReading>,
}

impl From<StoredSnapshot> for Parcel {
    fn from(snapshot: StoredSnapshot) -> Parcel {
        Parcel { snapshot, rows: Vec::new(), readings: Vec::new() }
    }
}

/// The text of a house that was accepted, so that it can run again when what is on disk has errors.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AcceptedHouse {
    /// Which version it was: a commit, or a hash of the text.
    pub revision: String,
    /// Its files: path below the house's folder, and text; in path order.
    pub files: Vec<(String, String)>,
}

/// What a person was told of an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    /// When it was raised.
    pub raised: WallTime,
    /// Whether that has reached them, as far as is known.
    pub heard: bool,
}

/// What the store had kept when it was opened.
#[derive(Debug, Default)]
pub struct Kept {
    /// The engine's memory.
    pub snapshot: Option<StoredSnapshot>,
    /// The highest order number reserved, by board.
    pub reserved: BTreeMap<String, u32>,
    /// The house accepted last.
    pub accepted: Option<AcceptedHouse>,
    /// What a person was told of alarms, by their ids.
    pub told: BTreeMap<String, Told>,
    /// The latest trusted wall time that anything in it bears.
    pub latest: Option<WallTime>,
    /// Where the last process on it ended without closing it: the latest wall time that it wrote. What it saw later is not
    /// here.
    pub left_open: Option<WallTime>,
    /// Whether the clock was trusted then.
    pub left_open_trusted: bool,
    /// What a person should know about the opening: a damaged database put aside, a memory that cannot be read.
    pub notices: Vec<String>,
}

/// Why there is no store.
#[derive(Debug)]
pub enum OpenError {
    /// The data folder cannot be made or written.
    Folder(PathBuf, std::io::Error),
    /// Another daemon lives on it.
    Locked {
        /// The data folder.
        folder: PathBuf,
        /// The other's process id, where it wrote one.
        pid: Option<u32>,
    },
    /// A later version has written it.
    Newer {
        /// The database.
        path: PathBuf,
        /// Its format.
        found: u32,
        /// The latest format known here.
        known: u32,
    },
    /// The database does not work.
    Database(PathBuf, String),
}

impl fmt::Display for OpenError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            OpenError::Folder(path, error) => {
                write!(f, "the data folder {} cannot be used: {error}; see `data` in standfast.toml", path.display())
            }
            OpenError::Locked { folder, pid } => {
                let who = pid.map(|pid| format!(" (process {pid})")).unwrap_or_default();
                let folder = folder.display();
                write!(f, "another standfast{who} is running on the data folder {folder}; stop it first")
            }
            OpenError::Newer { path, found, known } => write!(
                f,
                "{} was written by a later version (format {found}, this one knows {known}); \
                 run that version, or move the file away to start with an empty memory",
                path.display()
            ),
            OpenError::Database(path, why) => write!(f, "{}: {why}", path.display()),
        }
    }
}

impl std::error::Error for OpenError {}

/// Whether the disk is at fault, which may pass, and not how things were set up.
#[must_use]
pub fn is_outage(error: &std::io::Error) -> bool {
    use std::io::ErrorKind::{FileTooLarge, QuotaExceeded, ReadOnlyFilesystem, StorageFull};
    // A disk that fails has no kind of its own.
    let fails = error.raw_os_error() == Some(rustix::io::Errno::IO.raw_os_error());
    fails || matches!(error.kind(), ReadOnlyFilesystem | StorageFull | QuotaExceeded | FileTooLarge)
}

/// What the store has to tell while it runs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StoreEvent {
    /// It cannot write; from now on things are kept in memory only. Told once for each outage.
    Failing {
        /// Why.
        why: String,
    },
    /// The database was found to be damaged or taken away, and a new one is in its place.
    Replaced {
        /// What a person should know of it.
        what: String,
    },
    /// It can write again.
    Recovered {
        /// So many rows of the journal are missing; a row in the journal says so too.
        lost_rows: u64,
    },
}

/// The handle to a running store.
pub struct Store {
    jobs: Option<mpsc::SyncSender<Job>>,
    missed: Missed,
    thread: Option<JoinHandle<()>>,
    done: mpsc::Receiver<()>,
    path: PathBuf,
    lock: Lock,
    /// The lock was lost and cannot be had again.
    is_unlocked: bool,
}

/// What became of a database that was there before: as whoever takes files away, or a file system after a power cut, leaves it.
fn what_it_lacks(path: &Path) -> Option<&'static str> {
    match std::fs::metadata(path).map(|found| found.len()) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Some("gone"),
        // What was written last may lie in the log beside it.
        Ok(0) if !damage::is_logged(path) => Some("empty"),
        _ => None,
    }
}

impl Store {
    /// Opens or makes the database in the data folder and starts the thread. Blocks for as long as the disk takes.
    ///
    /// # Errors
    /// When the folder cannot be used, another daemon lives on it, or a later version has written it. A damaged
    /// database is put aside instead, which a notice tells; where the disk is full or fails, what it kept is read as far
    /// as that can be done, and things are kept in memory until it works.
    pub fn open(folder: &Path) -> Result<(Store, Kept, tokio_mpsc::Receiver<StoreEvent>), OpenError> {
        std::fs::create_dir_all(folder).map_err(|error| OpenError::Folder(folder.to_owned(), error))?;
        let (lock, was_here) = Lock::take(folder)?;
        let path = folder.join(DATABASE);
        let lacks = was_here.then(|| what_it_lacks(&path)).flatten();
        let schema::Found { database, mut kept, unread } = schema::open_or_put_aside(&path)?;
        if let Some(lacks) = lacks {
            let path = path.display();
            kept.notices.push(format!("{path} is {lacks}; holds, withdrawn loads and the journal start anew"));
        }
        let (jobs, inbox) = mpsc::sync_channel(JOBS);
        let missed = Missed::default();
        let (events, heard) = tokio_mpsc::channel(16);
        let (done_sender, done) = mpsc::sync_channel(1);
        // One that the disk does not let be used is not looked through either.
        let damage = if database.is_some() { Damage::look_for(&path) } else { Damage::default() };
        let writer = Writer::new(path.clone(), database, events, missed.clone(), damage).with_unread(unread);
        let thread = std::thread::Builder::new()
            .name("store".to_owned())
            .spawn(move || {
                writer.run(&inbox);
                let _ = done_sender.send(());
            })
            .map_err(|error| OpenError::Database(path.clone(), error.to_string()))?;
        Ok((
            Store { jobs: Some(jobs), missed, thread: Some(thread), done, path, lock, is_unlocked: false },
            kept,
            heard,
        ))
    }

    /// Stores the engine's memory with what belongs to it, all of it or nothing. The receiver yields once it is on disk, or
    /// an error when it will not be.
    pub fn save(&self, parcel: impl Into<Parcel>) -> oneshot::Receiver<()> {
        let (saved, receiver) = oneshot::channel();
        self.send(Job::Save(Box::new(parcel.into()), saved));
        receiver
    }

    /// Stores that order numbers up to `through` may be in use.
    pub fn reserve(&self, board: String, through: u32) {
        self.send(Job::Reserve(board, through));
    }

    /// Writes a row of the journal, under the revision of the house that ran.
    pub fn record(&self, row: JournalRow, revision: String) {
        self.send(Job::Record(Box::new(row), revision));
    }

    /// Writes a row of the journal that says what it lacks.
    pub fn lacks(&self, gap: Gap) {
        self.send(Job::Lacks(gap));
    }

    /// Stores the house that was accepted.
    pub fn accept(&self, house: AcceptedHouse) {
        self.send(Job::Accept(house));
    }

    /// Appends readings.
    pub fn append(&self, readings: Vec<StoredReading>) {
        self.send(Job::Append(readings));
    }

    /// Drops readings from before a wall time.
    pub fn prune(&self, before: WallTime) {
        self.send(Job::Prune(before));
    }

    /// Stores what a person was told of alarms, by their ids.
    pub fn tell(&self, told: BTreeMap<String, Told>) {
        self.send(Job::Told(told));
    }

    /// Takes the lock anew where its file was removed or moved away under it: without one a second daemon could start on the
    /// folder. For once in a second; tells the log.
    pub fn keep_lock(&mut self) {
        let Some(folder) = self.path.parent().filter(|folder| !self.lock.stands(folder)) else { return };
        let made = std::fs::create_dir_all(folder).map_err(|error| OpenError::Folder(folder.to_owned(), error));
        match made.and_then(|()| Lock::take(folder)) {
            Ok((lock, _)) => {
                tracing::warn!(
                    "{} was removed while Standfast was running, and is there again",
                    folder.join(LOCK).display()
                );
                (self.lock, self.is_unlocked) = (lock, false);
            }
            Err(error) if !self.is_unlocked => {
                tracing::error!("the lock on the data folder is lost: {error}");
                self.is_unlocked = true;
            }
            Err(_) => {}
        }
    }

    /// The database, for a [`Reader`].
    pub fn database(&self) -> &Path {
        &self.path
    }

    /// Yields once all that was handed over before is on disk, or an error when it will not be.
    pub fn settled(&self) -> oneshot::Receiver<()> {
        let (settled, receiver) = oneshot::channel();
        self.send(Job::Settle(settled));
        receiver
    }

    /// Writes what is waiting and ends the thread: 5 s at most.
    pub fn close(mut self) {
        self.jobs = None;
        if self.done.recv_timeout(CLOSE_WITHIN).is_ok()
            && let Some(thread) = self.thread.take()
        {
            let _ = thread.join();
        }
    }

    /// Hands a job over without waiting. Where the channel is full the disk has been stuck for long, and the writer,
    /// which finds out, says so; what a snapshot or a reservation would have said is in the next one, and rows of the
    /// journal are counted as missing.
    fn send(&self, job: Job) {
        if let Some(jobs) = &self.jobs
            && let Err(mpsc::TrySendError::Full(job)) = jobs.try_send(job)
        {
            tracing::warn!(job = job.name(), "the disk does not keep up; dropped");
            match &job {
                Job::Record(row, _) => self.missed.note(row),
                Job::Save(parcel, _) => parcel.rows.iter().for_each(|(row, _)| self.missed.note(row)),
                _ => {}
            }
        }
    }
}
