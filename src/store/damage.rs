//! A database that is damaged: found out without making a start wait for it, put aside, and as much of its memory brought into
//! a new one as can be read. It never deletes anything.
//!
//! What counts lies in a few small tables, which every start checks whole. Journal and readings are a hundred times as much,
//! and are looked through beside the running daemon.

use std::fs::File;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, InterruptHandle};

use super::query::Reader;

/// The tables without which something would be forgotten.
const MEMORY: [&str; 6] = ["snapshot", "reservation", "accepted", "accepted_file", "told", "session"];

/// How soon a search that is to end is interrupted once more.
const INTERRUPT_AGAIN: Duration = Duration::from_millis(1);

/// Whether the database is at fault, and not the disk.
pub(super) fn is_damage(error: &rusqlite::Error) -> bool {
    matches!(error.sqlite_error_code(), Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase))
}

/// What a person should know of it.
pub(super) fn notice(error: &rusqlite::Error, aside: Option<&Path>, is_memory_saved: bool) -> String {
    let lost = if is_memory_saved {
        "what was remembered goes on; the journal starts anew"
    } else {
        "holds, withdrawn loads and the journal start anew"
    };
    match aside {
        Some(aside) => format!("the database was damaged ({error}) and lies in {} now; {lost}", aside.display()),
        None => format!("the database is damaged ({error}); {lost}"),
    }
}

/// Checks the small tables.
pub(super) fn check_memory(database: &Connection) -> rusqlite::Result<()> {
    MEMORY.iter().try_for_each(|table| check(database, &format!("PRAGMA quick_check({table})")))
}

fn check(database: &Connection, pragma: &str) -> rusqlite::Result<()> {
    let said = database.query_row(pragma, [], |row| row.get::<_, String>(0))?;
    let damage = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_CORRUPT);
    // A person reads it in one line.
    let words = || said.split_whitespace().filter(|word| !word.contains("***")).collect::<Vec<_>>().join(" ");
    if said == "ok" { Ok(()) } else { Err(rusqlite::Error::SqliteFailure(damage, Some(words()))) }
}

/// Damage that was found beside the thread that writes. The search ends with it, so that nothing keeps a closed database open.
#[derive(Default)]
pub(super) struct Damage {
    found: Arc<AtomicBool>,
    search: Option<(InterruptHandle, JoinHandle<()>)>,
}

impl Damage {
    /// Looks through the whole database on a thread of its own, which nobody waits for.
    pub(super) fn look_for(path: &Path) -> Damage {
        let found = Arc::new(AtomicBool::new(false));
        let (search, finder) = (Reader::open(path), found.clone());
        let interrupt = search.as_ref().ok().map(|reader| reader.database().get_interrupt_handle());
        let look = move || {
            let looked = search.and_then(|reader| check(reader.database(), "PRAGMA quick_check(1)"));
            if looked.as_ref().is_err_and(is_damage) {
                finder.store(true, Ordering::Relaxed);
            }
        };
        // Without the thread, damage is found when something is written there.
        let thread = std::thread::Builder::new().name("store-check".to_owned()).spawn(look);
        if let Err(error) = &thread {
            tracing::warn!("the store is not looked through: {error}");
        }
        Damage { found, search: interrupt.zip(thread.ok()) }
    }

    /// Whether some was found since the last time.
    pub(super) fn take(&self) -> bool {
        self.found.swap(false, Ordering::Relaxed)
    }
}

impl Drop for Damage {
    fn drop(&mut self) {
        let Some((interrupt, thread)) = self.search.take() else { return };
        // What is interrupted before it has begun goes on, so once is not enough.
        while !thread.is_finished() {
            interrupt.interrupt();
            std::thread::sleep(INTERRUPT_AGAIN);
        }
    }
}

/// The file of an open database, which somebody may take away: what is written goes on into it, and nobody would find it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Place {
    device: u64,
    inode: u64,
}

impl Place {
    /// Where the database lies now; `None` where it is not there.
    pub(super) fn of(path: &Path) -> Option<Place> {
        let found = std::fs::metadata(path).ok()?;
        Some(Place { device: found.dev(), inode: found.ino() })
    }

    /// Whether the database of this place, which has been written, still lies there with its log.
    pub(super) fn is_left(self, path: &Path) -> bool {
        Place::of(path) == Some(self) && beside(path, "-wal").exists()
    }
}

/// An error of the file system as one of the database.
fn fail(error: std::io::Error) -> rusqlite::Error {
    let failure = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_IOERR);
    rusqlite::Error::SqliteFailure(failure, Some(error.to_string()))
}

/// Where a database is made that is to have another name once it is whole; what was left there half made is removed.
pub(super) fn clear_new(path: &Path) -> rusqlite::Result<PathBuf> {
    let new = beside(path, ".new");
    for part in ["", "-wal", "-shm"] {
        let part = beside(&new, part);
        if part.exists() {
            std::fs::remove_file(&part).map_err(fail)?;
        }
    }
    Ok(new)
}

/// Gives a whole database that holds a memory which could not be read the name under which it stays.
pub(super) fn name_unread(path: &Path, new: &Path) -> rusqlite::Result<PathBuf> {
    let unread = beside(path, &free(path, "unread"));
    std::fs::rename(new, &unread).map_err(fail)?;
    Ok(unread)
}

/// Writes a database that was taken away from its path anew there, all of it. What lies there instead is put aside.
pub(super) fn put_back(database: &Connection, path: &Path) -> rusqlite::Result<()> {
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder).map_err(fail)?;
    }
    // Whole or not at all, whatever happens in between.
    let new = clear_new(path)?;
    database.execute("VACUUM INTO ?1", [new.display().to_string()])?;
    File::open(&new).and_then(|file| file.sync_all()).map_err(fail)?;
    if path.exists() || beside(path, "-wal").exists() {
        put_aside(path).map_err(fail)?;
    }
    std::fs::rename(&new, path).map_err(fail)
}

/// A file that belongs to the database.
fn beside(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    PathBuf::from(name)
}

/// Whether the log of a database holds anything, which need not be in the database itself yet.
pub(super) fn is_logged(path: &Path) -> bool {
    std::fs::metadata(beside(path, "-wal")).is_ok_and(|found| found.len() > 0)
}

/// What is put behind the name of a database of which nothing lies there yet.
fn free(path: &Path, what: &str) -> String {
    let free = (1..1000).map(|number| format!(".{what}-{number}")).find(|suffix| !beside(path, suffix).exists());
    free.unwrap_or_else(|| format!(".{what}"))
}

/// Renames the database and what belongs to it; nothing is deleted.
pub(super) fn put_aside(path: &Path) -> std::io::Result<PathBuf> {
    let suffix = free(path, "damaged");
    let beside = |suffix: &str| beside(path, suffix);
    for part in ["-wal", "-shm"] {
        if beside(part).exists() {
            std::fs::rename(beside(part), beside(&format!("{suffix}{part}")))?;
        }
    }
    if path.exists() {
        std::fs::rename(path, beside(&suffix))?;
    }
    Ok(beside(&suffix))
}

/// Brings what can be read of the memory of a database that was put aside into a new one.
pub(super) fn salvage(database: &Connection, aside: &Path) {
    let attached = database.execute("ATTACH DATABASE ?1 AS damaged", [aside.display().to_string()]);
    if attached.is_err() {
        return;
    }
    for table in MEMORY {
        // What cannot be read has been lost, and an earlier format has no such table.
        let copied =
            database.execute(&format!("INSERT OR REPLACE INTO main.{table} SELECT * FROM damaged.{table}"), []);
        if let Err(error) = copied {
            tracing::error!("{table} of the damaged database cannot be read: {error}");
        }
    }
    if let Err(error) = database.execute("DETACH DATABASE damaged", []) {
        tracing::warn!("the damaged database cannot be let go: {error}");
    }
}

/// Brings the memory of a database that is sound into a new one.
pub(super) fn copy_memory(database: &Connection, from: &Path) -> rusqlite::Result<()> {
    database.execute("ATTACH DATABASE ?1 AS sound", [from.display().to_string()])?;
    for table in MEMORY {
        database.execute(&format!("INSERT OR REPLACE INTO main.{table} SELECT * FROM sound.{table}"), [])?;
    }
    database.execute("DETACH DATABASE sound", []).map(|_| ())
}
