//! Rows in and out of the tables. It never opens or commits; who calls it does.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension, params};

use super::gap::Gap;
use super::{AcceptedHouse, Kept, StoredSnapshot, Told};
use crate::engine::{JournalRow, Now};
use crate::units::{BootTime, WallTime};

/// So many rows of the journal are kept: about 50 a day for 30 years.
const JOURNAL_ROWS: i64 = 500_000;

/// The first format that knows what a person was told of.
const KNOWS_TOLD: u32 = 2;
/// The first format that knows whether whoever wrote last has closed it.
const KNOWS_SESSION: u32 = 4;

/// What was read.
#[derive(Debug, Default)]
pub(super) struct Read {
    /// What could be.
    pub kept: Kept,
    /// Why the memory could not.
    pub unread: Option<String>,
}

/// Reads everything that a start needs, from a database of any format: one of an earlier format lies as it is on a disk
/// that has no room for the present one.
pub(super) fn read(database: &Connection, format: u32) -> rusqlite::Result<Read> {
    let mut kept = Kept { accepted: accepted(database)?, ..Kept::default() };
    let mut unread = None;
    match snapshot(database)? {
        Some(Ok(snapshot)) => kept.snapshot = Some(snapshot),
        Some(Err(why)) => {
            kept.notices.push(format!(
                "what was remembered cannot be read by this version ({why}); holds and withdrawn loads start anew"
            ));
            unread = Some(why);
        }
        None => {}
    }
    let mut statement = database.prepare("SELECT board, through FROM reservation")?;
    for row in statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))? {
        let (board, through) = row?;
        kept.reserved.insert(board, through);
    }
    if format >= KNOWS_TOLD {
        let mut statement = database.prepare("SELECT alarm, raised_ms FROM told")?;
        for row in statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))? {
            let (alarm, raised_ms) = row?;
            kept.told.insert(alarm, told(raised_ms));
        }
    }
    let latest = "SELECT max(at) FROM (SELECT max(at_ms) AS at FROM journal WHERE trusted = 1
                  UNION ALL SELECT wall_ms FROM snapshot WHERE trusted = 1)";
    kept.latest = database.query_row(latest, [], |row| row.get::<_, Option<i64>>(0))?.map(WallTime);
    if format >= KNOWS_SESSION && is_open(database)? {
        kept.left_open = last_written(database)?;
        kept.left_open_trusted = kept.left_open.map_or(Ok(false), |at| is_trusted(database, at))?;
    }
    Ok(Read { kept, unread })
}

/// Whether whoever wrote last did not close it.
fn is_open(database: &Connection) -> rusqlite::Result<bool> {
    let found = database.query_row("SELECT is_open FROM session", [], |row| row.get(0)).optional()?;
    Ok(found.unwrap_or(false))
}

/// The latest wall time that anything in it bears, trusted or not.
fn last_written(database: &Connection) -> rusqlite::Result<Option<WallTime>> {
    let latest = "SELECT max(at) FROM (SELECT max(at_ms) AS at FROM journal
                  UNION ALL SELECT max(at_ms) FROM reading UNION ALL SELECT wall_ms FROM snapshot)";
    Ok(database.query_row(latest, [], |row| row.get::<_, Option<i64>>(0))?.map(WallTime))
}

/// Whether the clock was trusted at a time that something in it bears. No reading is kept of while it was not.
fn is_trusted(database: &Connection, at: WallTime) -> rusqlite::Result<bool> {
    let doubted = "SELECT EXISTS (SELECT 1 FROM journal WHERE at_ms = ?1 AND trusted = 0
                   UNION ALL SELECT 1 FROM snapshot WHERE wall_ms = ?1 AND trusted = 0)";
    database.query_row(doubted, [at.0], |row| row.get(0)).map(|doubted: bool| !doubted)
}

/// Notes that somebody writes here, or has closed it.
pub(super) fn write_session(database: &Connection, is_open: bool) -> rusqlite::Result<()> {
    let statement = "INSERT OR REPLACE INTO session (id, is_open) VALUES (1, ?1)";
    database.prepare_cached(statement)?.execute([is_open]).map(|_| ())
}

fn snapshot(database: &Connection) -> rusqlite::Result<Option<Result<StoredSnapshot, String>>> {
    let query = "SELECT json, boot_id, boot_ms, wall_ms, trusted FROM snapshot";
    let read = |row: &rusqlite::Row<'_>| {
        let json: String = row.get(0)?;
        let boot_id = row.get(1)?;
        let boot = BootTime(u64::try_from(row.get::<_, i64>(2)?).unwrap_or(0));
        let taken = Now { boot, wall: WallTime(row.get(3)?), trusted: row.get(4)? };
        let snapshot = serde_json::from_str(&json).map_err(|error| error.to_string());
        Ok(snapshot.map(|snapshot| StoredSnapshot { snapshot, boot_id, taken }))
    };
    database.query_row(query, [], read).optional()
}

/// Whether there is a memory.
pub(super) fn has_snapshot(database: &Connection) -> rusqlite::Result<bool> {
    Ok(database.query_row("SELECT id FROM snapshot", [], |_| Ok(())).optional()?.is_some())
}

fn accepted(database: &Connection) -> rusqlite::Result<Option<AcceptedHouse>> {
    let revision = database.query_row("SELECT revision FROM accepted", [], |row| row.get(0)).optional()?;
    let Some(revision) = revision else { return Ok(None) };
    let mut statement = database.prepare("SELECT path, text FROM accepted_file ORDER BY path")?;
    let files = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?.collect::<Result<_, _>>()?;
    Ok(Some(AcceptedHouse { revision, files }))
}

/// Drops the oldest rows of a journal that has grown too long.
pub(super) fn prune(database: &Connection) -> rusqlite::Result<()> {
    let newest = "DELETE FROM journal WHERE id <= (SELECT max(id) FROM journal) - ?1";
    database.execute(newest, [JOURNAL_ROWS]).map(|_| ())
}

/// Writes the engine's memory over the former one.
pub(super) fn write_snapshot(database: &Connection, stored: &StoredSnapshot) -> rusqlite::Result<()> {
    let json = serde_json::to_string(&stored.snapshot)
        .map_err(|error| rusqlite::Error::ToSqlConversionFailure(error.into()))?;
    let boot = i64::try_from(stored.taken.boot.0).unwrap_or(i64::MAX);
    let statement = "INSERT OR REPLACE INTO snapshot (id, json, boot_id, boot_ms, wall_ms, trusted)
                     VALUES (1, ?1, ?2, ?3, ?4, ?5)";
    let values = params![json, stored.boot_id, boot, stored.taken.wall.0, stored.taken.trusted];
    database.prepare_cached(statement)?.execute(values).map(|_| ())
}

/// Raises a board's reservation; it never falls.
pub(super) fn write_reservation(database: &Connection, board: &str, through: u32) -> rusqlite::Result<()> {
    let statement = "INSERT INTO reservation (board, through) VALUES (?1, ?2)
                     ON CONFLICT (board) DO UPDATE SET through = max(through, excluded.through)";
    database.prepare_cached(statement)?.execute(params![board, through]).map(|_| ())
}

/// Appends a row to the journal.
pub(super) fn write_row(database: &Connection, row: &JournalRow, revision: &str) -> rusqlite::Result<()> {
    let entry =
        serde_json::to_string(&row.entry).map_err(|error| rusqlite::Error::ToSqlConversionFailure(error.into()))?;
    write_entry(database, row.at.0, row.trusted, revision, &entry)
}

/// Appends a row that says that rows are missing, between two wall times.
pub(super) fn write_gap(database: &Connection, gap: Gap) -> rusqlite::Result<()> {
    let mut entry = serde_json::to_value(gap).map_err(|error| rusqlite::Error::ToSqlConversionFailure(error.into()))?;
    entry["entry"] = "gap".into();
    write_entry(database, gap.to.0, gap.trusted, "", &entry.to_string())
}

fn write_entry(database: &Connection, at: i64, trusted: bool, revision: &str, entry: &str) -> rusqlite::Result<()> {
    let statement = "INSERT INTO journal (at_ms, trusted, revision, entry) VALUES (?1, ?2, ?3, ?4)";
    database.prepare_cached(statement)?.execute(params![at, trusted, revision, entry]).map(|_| ())
}

/// Writes the accepted house over the former one.
pub(super) fn write_accepted(database: &Connection, house: &AcceptedHouse) -> rusqlite::Result<()> {
    database.execute("INSERT OR REPLACE INTO accepted (id, revision) VALUES (1, ?1)", [&house.revision])?;
    database.execute("DELETE FROM accepted_file", [])?;
    let mut statement = database.prepare_cached("INSERT INTO accepted_file (path, text) VALUES (?1, ?2)")?;
    for (path, text) in &house.files {
        statement.execute([path, text])?;
    }
    Ok(())
}

/// What `raised_ms` says: where it is below zero, nobody has heard of the alarm yet, and its complement is when it was raised.
/// So the format is as it was, and a version that knows nothing of this tells the alarm anew, as one raised at another time.
fn told(raised_ms: i64) -> Told {
    let heard = raised_ms >= 0;
    Told { raised: WallTime(if heard { raised_ms } else { !raised_ms }), heard }
}

fn raised_ms(told: Told) -> i64 {
    // A clock that stands before 1970 tells rather twice than never.
    if told.heard { told.raised.0 } else { !told.raised.0.max(0) }
}

/// Writes what a person was told of alarms over what was there.
pub(super) fn write_told(database: &Connection, told: &BTreeMap<String, Told>) -> rusqlite::Result<()> {
    database.execute("DELETE FROM told", [])?;
    let mut statement = database.prepare_cached("INSERT INTO told (alarm, raised_ms) VALUES (?1, ?2)")?;
    for (alarm, told) in told {
        statement.execute(params![alarm, raised_ms(*told)])?;
    }
    Ok(())
}
