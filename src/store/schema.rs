//! The database's format: an append-only list of migrations, each applied whole or not at all. It never changes a
//! migration that has been released, and never opens what a later version has written.

use std::fmt;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use percent_encoding::{NON_ALPHANUMERIC, percent_encode};
use rusqlite::{Connection, ErrorCode, OpenFlags};
use rustix::fs::{StatVfs, StatVfsMountFlags};

use super::tables::Read;
use super::{Kept, OpenError, damage, tables};

/// Each entry leads from the format of its index to the next. Append only.
const MIGRATIONS: &[&str] = &[
    "CREATE TABLE snapshot (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        json TEXT NOT NULL,
        boot_id TEXT,
        boot_ms INTEGER NOT NULL,
        wall_ms INTEGER NOT NULL,
        trusted INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE reservation (
        board TEXT PRIMARY KEY,
        through INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE journal (
        id INTEGER PRIMARY KEY,
        at_ms INTEGER NOT NULL,
        trusted INTEGER NOT NULL,
        revision TEXT NOT NULL,
        entry TEXT NOT NULL
    ) STRICT;
    CREATE INDEX journal_by_time ON journal (at_ms);
    CREATE TABLE accepted (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        revision TEXT NOT NULL
    ) STRICT;
    CREATE TABLE accepted_file (
        path TEXT PRIMARY KEY,
        text TEXT NOT NULL
    ) STRICT;",
    "CREATE TABLE told (
        alarm TEXT PRIMARY KEY,
        raised_ms INTEGER NOT NULL
    ) STRICT;",
    "CREATE TABLE sensor (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE
    ) STRICT;
    CREATE TABLE reading (
        at_ms INTEGER NOT NULL,
        sensor INTEGER NOT NULL REFERENCES sensor (id),
        value REAL NOT NULL,
        PRIMARY KEY (at_ms, sensor)
    ) STRICT, WITHOUT ROWID;",
    "CREATE TABLE session (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        is_open INTEGER NOT NULL
    ) STRICT;",
];

/// The latest format known here.
pub(super) const FORMAT: u32 = MIGRATIONS.len() as u32;

/// SQLite's way to files without locks, which files that cannot be written do not give. The folder's lock keeps others out.
const WITHOUT_LOCKS: &std::ffi::CStr = c"unix-none";

/// How long a write waits for another process that reads the database, such as a backup.
const BUSY: Duration = Duration::from_secs(2);

enum Failure {
    Newer(u32),
    Sqlite(rusqlite::Error),
}

impl From<rusqlite::Error> for Failure {
    fn from(error: rusqlite::Error) -> Failure {
        Failure::Sqlite(error)
    }
}

/// A database as it was found at a start.
pub(super) struct Found {
    /// The way to it; `None` while the disk does not let it be used.
    pub database: Option<Connection>,
    /// What it keeps.
    pub kept: Kept,
    /// Why the memory that lies there, if one does, could not be read.
    pub unread: Option<String>,
}

/// Opens the database and reads what it keeps. A damaged one is renamed and a new one made. Where the disk is full or
/// fails, what can be read is read, and nothing is written.
pub(super) fn open_or_put_aside(path: &Path) -> Result<Found, OpenError> {
    let fail = |failure| match failure {
        Failure::Newer(found) => OpenError::Newer { path: path.to_owned(), found, known: FORMAT },
        Failure::Sqlite(error) => OpenError::Database(path.to_owned(), error.to_string()),
    };
    match open(path) {
        Err(Failure::Sqlite(error)) if damage::is_damage(&error) => start_anew(path, &error),
        Err(Failure::Sqlite(error)) if is_outage(&error) || disk(path).is_some_and(|disk| is_read_only(&disk)) => {
            tracing::error!("{} cannot be used: {}", path.display(), why(path, &error));
            let (kept, unread) = read_only(path).map_err(fail)?;
            Ok(Found { database: None, kept, unread })
        }
        other => other
            .map(|(database, Read { kept, unread })| Found { database: Some(database), kept, unread })
            .map_err(fail),
    }
}

/// Puts a damaged database aside and makes a new one with what can be saved, as far as the disk allows that: what it does
/// not is left to [`open_again`].
fn start_anew(path: &Path, error: &rusqlite::Error) -> Result<Found, OpenError> {
    let fail = |why: String| OpenError::Database(path.to_owned(), why);
    match replace(path) {
        Ok((database, aside)) => {
            let Read { mut kept, unread } = tables::read(&database, FORMAT).map_err(|error| fail(error.to_string()))?;
            kept.notices.push(damage::notice(error, Some(&aside), kept.snapshot.is_some()));
            Ok(Found { database: Some(database), kept, unread })
        }
        Err(why) if why.may_pass() => {
            let notices = vec![damage::notice(error, None, false)];
            Ok(Found { database: None, kept: Kept { notices, ..Kept::default() }, unread: None })
        }
        Err(why) => Err(fail(why.to_string())),
    }
}

/// Why a damaged database could not be replaced.
pub(super) enum Replacing {
    /// It cannot be moved.
    Move(std::io::Error),
    /// A new one cannot be made.
    Open(rusqlite::Error),
}

impl Replacing {
    /// Whether the disk is at fault, which may pass.
    fn may_pass(&self) -> bool {
        match self {
            Replacing::Move(why) => super::is_outage(why),
            Replacing::Open(why) => is_outage(why),
        }
    }
}

impl fmt::Display for Replacing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Replacing::Move(why) => why.fmt(f),
            Replacing::Open(why) => why.fmt(f),
        }
    }
}

/// Makes a new database in the place of a damaged one, with as much of its memory as can be read, and says where the old one
/// lies.
pub(super) fn replace(path: &Path) -> Result<(Connection, PathBuf), Replacing> {
    let aside = damage::put_aside(path).map_err(Replacing::Move)?;
    match open(path) {
        Ok((database, _)) => {
            damage::salvage(&database, &aside);
            Ok((database, aside))
        }
        Err(Failure::Sqlite(error)) => Err(Replacing::Open(error)),
        Err(Failure::Newer(found)) => Err(Replacing::Open(newer(found))),
    }
}

/// It was not at the start, and the lock is ours.
fn newer(found: u32) -> rusqlite::Error {
    let misuse = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_MISUSE);
    rusqlite::Error::SqliteFailure(misuse, Some(format!("format {found} is of a later version")))
}

/// Opens the database for writing once the disk allows it again; what it keeps was read at the start.
pub(super) fn open_again(path: &Path) -> rusqlite::Result<Connection> {
    match open(path) {
        Ok((database, _)) => Ok(database),
        Err(Failure::Sqlite(error)) => Err(error),
        Err(Failure::Newer(found)) => Err(newer(found)),
    }
}

/// Keeps a memory that could not be read, and is about to be written over, in a database of its own beside this one, and says
/// where. What else lies in that one goes on.
pub(super) fn keep_beside(path: &Path) -> rusqlite::Result<PathBuf> {
    // Whole or not at all, whatever happens in between.
    let new = damage::clear_new(path)?;
    let database = open_again(&new)?;
    damage::copy_memory(&database, path)?;
    database.close().map_err(|(_, error)| error)?;
    damage::name_unread(path, &new)
}

/// Opens a database on a disk that takes nothing: without shared memory, which would be a file.
fn open_still(path: &Path) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    if !damage::is_logged(path) {
        // A log is made even to be read, unless it is said that nothing changes.
        let name = percent_encode(path.as_os_str().as_bytes(), NON_ALPHANUMERIC);
        let uri = format!("file:{name}?immutable=1");
        return Connection::open_with_flags_and_vfs(uri, flags | OpenFlags::SQLITE_OPEN_URI, WITHOUT_LOCKS);
    }
    let database = Connection::open_with_flags_and_vfs(path, flags, WITHOUT_LOCKS)?;
    database.query_row("PRAGMA locking_mode = EXCLUSIVE", [], |_| Ok(()))?;
    Ok(database)
}

/// Reads what the database keeps from a disk that takes nothing, and says why where that cannot be done.
fn read_only(path: &Path) -> Result<(Kept, Option<String>), Failure> {
    let read = || -> Result<Read, Failure> {
        let database = open_still(path)?;
        let found: u32 = database.query_row("PRAGMA user_version", [], |row| row.get(0))?;
        if found > FORMAT {
            return Err(Failure::Newer(found));
        }
        // A disk that was full at the very first start has taken no table yet.
        if found == 0 { Ok(Read::default()) } else { Ok(tables::read(&database, found)?) }
    };
    match read() {
        Err(Failure::Sqlite(error)) if path.exists() => {
            let why = format!("what was remembered cannot be read ({error}); holds and withdrawn loads start anew");
            Ok((Kept { notices: vec![why], ..Kept::default() }, Some(error.to_string())))
        }
        Err(Failure::Sqlite(_)) => Ok((Kept::default(), None)),
        other => other.map(|Read { kept, unread }| (kept, unread)),
    }
}

/// Whether the disk is at fault, which may pass, and not how things were set up.
fn is_outage(error: &rusqlite::Error) -> bool {
    let disk = [ErrorCode::DiskFull, ErrorCode::SystemIoFailure, ErrorCode::ReadOnly];
    error.sqlite_error_code().is_some_and(|code| disk.contains(&code))
}

/// Why the database cannot be used, in words that lead to the disk: of a full one it is often said that it fails.
pub(super) fn why(path: &Path, error: &rusqlite::Error) -> String {
    match disk(path) {
        Some(disk) if is_read_only(&disk) => "the disk is read-only".to_owned(),
        Some(disk) if disk.f_bavail == 0 => "the disk is full".to_owned(),
        _ => error.to_string(),
    }
}

fn disk(path: &Path) -> Option<StatVfs> {
    rustix::fs::statvfs(path.parent().unwrap_or(path)).ok()
}

/// As a system makes a disk that fails.
fn is_read_only(disk: &StatVfs) -> bool {
    disk.f_flag.contains(StatVfsMountFlags::RDONLY)
}

fn open(path: &Path) -> Result<(Connection, Read), Failure> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut database = Connection::open_with_flags(path, flags)?;
    database.busy_timeout(BUSY)?;
    // The journal mode is answered with a row; full: a commit that was answered survives a power cut.
    database.query_row("PRAGMA journal_mode = WAL", [], |_| Ok(()))?;
    database.execute_batch("PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;")?;
    migrate(&mut database)?;
    damage::check_memory(&database)?;
    let read = tables::read(&database, FORMAT)?;
    tables::prune(&database)?;
    Ok((database, read))
}

fn migrate(database: &mut Connection) -> Result<(), Failure> {
    let transaction = database.transaction()?;
    let found: u32 = transaction.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    if found > FORMAT {
        return Err(Failure::Newer(found));
    }
    if found < FORMAT {
        for migration in &MIGRATIONS[found as usize..] {
            transaction.execute_batch(migration)?;
        }
        transaction.pragma_update(None, "user_version", FORMAT)?;
    }
    Ok(transaction.commit()?)
}
