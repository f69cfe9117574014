//! Reading back what was written: journal and readings, from a connection of its own that can only read, so that the
//! thread that writes never waits for a person who looks. It never changes anything, and every answer is bounded.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, OptionalExtension, params};
use serde::{Deserialize, Serialize};

use super::StoredReading;
use crate::units::WallTime;

/// So many rows of the journal in one answer at most.
pub const JOURNAL_ROWS: u32 = 20_000;
/// So many readings in one page.
pub const READINGS_PAGE: u32 = 20_000;
/// How long to wait where the database is locked whole, as for a moment after a crash.
const BUSY: Duration = Duration::from_secs(2);

/// Which rows of the journal.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct JournalQuery {
    /// Only of this load or actuator.
    pub load: Option<String>,
    /// Only of this kind, `changed`; any where it is empty.
    pub kinds: &'static [&'static str],
    /// From this wall time on.
    pub since: Option<WallTime>,
    /// Up to and with this wall time.
    pub until: Option<WallTime>,
    /// So many at most, the latest; bounded by [`JOURNAL_ROWS`].
    pub limit: u32,
}

/// A row of the journal as it lies on disk.
#[derive(Clone, Debug, PartialEq)]
pub struct JournalLine {
    /// When.
    pub at: WallTime,
    /// Whether the wall clock was trusted then.
    pub trusted: bool,
    /// The revision of the house that ran.
    pub revision: String,
    /// What happened: a [`crate::engine::JournalEntry`], or a gap.
    pub entry: serde_json::Value,
}

/// Which readings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadingQuery {
    /// Only of this sensor.
    pub sensor: Option<String>,
    /// From this wall time on.
    pub since: WallTime,
    /// Up to and with this wall time.
    pub until: Option<WallTime>,
    /// Behind this one.
    pub after: Option<Cursor>,
}

/// Where a page of readings ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cursor {
    /// The wall time of the last one, in ms since 1970.
    pub at_ms: i64,
    /// The store's number of its sensor.
    pub sensor: i64,
}

/// A page of readings, in the order of time.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingPage {
    /// The readings.
    pub readings: Vec<StoredReading>,
    /// Where the next page begins; `None` at the end.
    pub next: Option<Cursor>,
}

/// What a sensor said within a stretch of time.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// Its name.
    pub sensor: String,
    /// When the first of these readings came.
    pub at: WallTime,
    /// The least, as it was sent.
    pub least: f64,
    /// The greatest.
    pub greatest: f64,
}

/// What there is to read: the database, and readings that are not in it yet.
#[derive(Clone, Debug)]
pub struct Shelf {
    database: PathBuf,
    waiting: Arc<[StoredReading]>,
}

impl Shelf {
    /// A database, and readings on their way to it.
    pub fn new(database: &Path, waiting: Vec<StoredReading>) -> Shelf {
        Shelf { database: database.to_owned(), waiting: waiting.into() }
    }

    /// Opens it. What waits shows among the rest.
    ///
    /// # Errors
    /// Where the database is not there or cannot be read.
    pub fn open(&self) -> rusqlite::Result<Reader> {
        let reader = Reader::open(&self.database)?;
        if !self.waiting.is_empty() {
            reader.lay_beside(&self.waiting)?;
        }
        Ok(reader)
    }
}

/// A connection that can only read.
pub struct Reader {
    database: Connection,
}

impl Reader {
    /// Opens the database.
    ///
    /// # Errors
    /// Where it is not there or cannot be read.
    pub fn open(path: &Path) -> rusqlite::Result<Reader> {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let database = Connection::open_with_flags(path, flags)?;
        database.busy_timeout(BUSY)?;
        Ok(Reader { database })
    }

    /// The connection, for checks of the whole file.
    pub(super) fn database(&self) -> &Connection {
        &self.database
    }

    /// Has readings show among those that are stored: what stands in `temp` is found before what stands in the database.
    fn lay_beside(&self, waiting: &[StoredReading]) -> rusqlite::Result<()> {
        self.database.execute_batch(
            "PRAGMA temp_store = MEMORY;
            CREATE TEMP TABLE new_sensor (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);
            CREATE TEMP TABLE waiting (
                at_ms INTEGER NOT NULL, sensor INTEGER NOT NULL, value REAL NOT NULL, PRIMARY KEY (at_ms, sensor)
            ) WITHOUT ROWID;
            BEGIN;",
        )?;
        {
            let mut known = self.database.prepare("SELECT id FROM main.sensor WHERE name = ?1")?;
            let mut new = self.database.prepare("INSERT INTO new_sensor (id, name) VALUES (?1, ?2)")?;
            let mut insert = self.database.prepare("INSERT OR REPLACE INTO waiting VALUES (?1, ?2, ?3)")?;
            let mut ids: BTreeMap<&str, i64> = BTreeMap::new();
            for reading in waiting {
                let id = match ids.get(reading.sensor.as_str()) {
                    Some(id) => *id,
                    None => {
                        let id = match known.query_row([&reading.sensor], |row| row.get(0)).optional()? {
                            Some(id) => id,
                            None => {
                                let id = -1 - i64::try_from(ids.len()).unwrap_or(i64::MAX - 1);
                                new.execute(params![id, reading.sensor])?;
                                id
                            }
                        };
                        ids.insert(&reading.sensor, id);
                        id
                    }
                };
                insert.execute(params![reading.at.0, id, reading.value])?;
            }
        }
        // What was stored meanwhile is in both.
        self.database.execute_batch(
            "COMMIT;
            DELETE FROM waiting WHERE (at_ms, sensor) IN
                (SELECT at_ms, sensor FROM main.reading WHERE at_ms >= (SELECT min(at_ms) FROM waiting));
            CREATE TEMP VIEW sensor AS
                SELECT id, name FROM main.sensor UNION ALL SELECT id, name FROM new_sensor;
            CREATE TEMP VIEW reading AS
                SELECT at_ms, sensor, value FROM main.reading UNION ALL SELECT at_ms, sensor, value FROM waiting;",
        )
    }

    /// Rows of the journal, the oldest first.
    ///
    /// # Errors
    /// Where the database cannot be read.
    pub fn journal(&self, query: &JournalQuery) -> rusqlite::Result<Vec<JournalLine>> {
        let kinds = serde_json::json!(query.kinds).to_string();
        let statement = "SELECT at_ms, trusted, revision, entry FROM journal
            WHERE at_ms >= ?1 AND at_ms <= ?2
            AND (?3 IS NULL OR json_extract(entry, '$.load') = ?3 OR json_extract(entry, '$.actuator') = ?3)
            AND (?4 = '[]' OR json_extract(entry, '$.entry') IN (SELECT value FROM json_each(?4)))
            ORDER BY at_ms DESC, id DESC LIMIT ?5";
        let since = query.since.map_or(i64::MIN, |at| at.0);
        let until = query.until.map_or(i64::MAX, |at| at.0);
        let mut statement = self.database.prepare_cached(statement)?;
        let rows =
            statement.query_map(params![since, until, query.load, kinds, query.limit.min(JOURNAL_ROWS)], |row| {
                let entry: String = row.get(3)?;
                Ok(JournalLine {
                    at: WallTime(row.get(0)?),
                    trusted: row.get(1)?,
                    revision: row.get(2)?,
                    // A row of a later version, or a damaged one, still shows as it is.
                    entry: serde_json::from_str(&entry).unwrap_or(serde_json::Value::String(entry)),
                })
            })?;
        let mut rows: Vec<JournalLine> = rows.collect::<Result<_, _>>()?;
        rows.reverse();
        Ok(rows)
    }

    /// What sensors said, gathered into at most so many stretches for each between two moments; by sensor, then by time.
    ///
    /// # Errors
    /// Where the database cannot be read.
    pub fn stretches(&self, since: WallTime, until: WallTime, count: u16) -> rusqlite::Result<Vec<Stretch>> {
        let length = ((until.0 - since.0) / i64::from(count.max(1)) + 1).max(1);
        let statement =
            "SELECT name, min(at_ms), min(value), max(value) FROM reading JOIN sensor ON sensor.id = reading.sensor
            WHERE at_ms >= ?1 AND at_ms <= ?2 GROUP BY sensor, (at_ms - ?1) / ?3 ORDER BY name, min(at_ms)";
        let mut statement = self.database.prepare_cached(statement)?;
        let rows = statement.query_map(params![since.0, until.0, length], |row| {
            let at = WallTime(row.get(1)?);
            Ok(Stretch { sensor: row.get(0)?, at, least: row.get(2)?, greatest: row.get(3)? })
        })?;
        rows.collect()
    }

    /// A page of readings.
    ///
    /// # Errors
    /// Where the database cannot be read.
    pub fn readings(&self, query: &ReadingQuery) -> rusqlite::Result<ReadingPage> {
        let only = match &query.sensor {
            Some(name) => {
                let id = self.database.prepare_cached("SELECT id FROM sensor WHERE name = ?1")?;
                let id = { id }.query_row([name], |row| row.get::<_, i64>(0)).optional()?;
                match id {
                    Some(id) => Some(id),
                    None => return Ok(ReadingPage { readings: Vec::new(), next: None }),
                }
            }
            None => None,
        };
        let after = query.after.unwrap_or(Cursor { at_ms: query.since.0.saturating_sub(1), sensor: i64::MAX });
        let statement = "SELECT at_ms, sensor, value, name FROM reading JOIN sensor ON sensor.id = reading.sensor
            WHERE (at_ms, sensor) > (?1, ?2) AND at_ms <= ?3 AND (?4 IS NULL OR sensor = ?4)
            ORDER BY at_ms, sensor LIMIT ?5";
        let until = query.until.map_or(i64::MAX, |at| at.0);
        let mut statement = self.database.prepare_cached(statement)?;
        let rows = statement.query_map(params![after.at_ms, after.sensor, until, only, READINGS_PAGE], |row| {
            let cursor = Cursor { at_ms: row.get(0)?, sensor: row.get(1)? };
            let reading = StoredReading { sensor: row.get(3)?, at: WallTime(cursor.at_ms), value: row.get(2)? };
            Ok((cursor, reading))
        })?;
        let rows: Vec<(Cursor, StoredReading)> = rows.collect::<Result<_, _>>()?;
        let next = rows.last().filter(|_| rows.len() >= READINGS_PAGE as usize).map(|(cursor, _)| *cursor);
        Ok(ReadingPage { readings: rows.into_iter().map(|(_, reading)| reading).collect(), next })
    }
}
