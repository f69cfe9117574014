//! What sensors said, in the order in which it came. It never judges a reading: what the engine dropped is here too, as it
//! came over the wire, so that a rehearsal may judge it anew.
//!
//! Rows lie in the order of time, whatever the sensor: a batch then touches one or two pages of the disk, not one for each
//! sensor, which matters on a flash card that lasts so many writes.

use rusqlite::{Connection, OptionalExtension, params};

use crate::units::WallTime;

/// One reading.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredReading {
    /// The sensor's name.
    pub sensor: String,
    /// When it came, by the wall clock.
    pub at: WallTime,
    /// Its value as it came over the wire.
    pub value: f64,
}

/// Appends readings. Of two of one sensor in one millisecond the later counts.
pub(super) fn write(database: &Connection, readings: &[StoredReading]) -> rusqlite::Result<()> {
    let mut known = std::collections::BTreeMap::new();
    let mut statement =
        database.prepare_cached("INSERT OR REPLACE INTO reading (at_ms, sensor, value) VALUES (?1, ?2, ?3)")?;
    for reading in readings {
        let sensor = match known.get(reading.sensor.as_str()) {
            Some(sensor) => *sensor,
            None => {
                let sensor = sensor_id(database, &reading.sensor)?;
                known.insert(reading.sensor.as_str(), sensor);
                sensor
            }
        };
        statement.execute(params![reading.at.0, sensor, reading.value])?;
    }
    Ok(())
}

fn sensor_id(database: &Connection, name: &str) -> rusqlite::Result<i64> {
    let found = database
        .prepare_cached("SELECT id FROM sensor WHERE name = ?1")?
        .query_row([name], |row| row.get(0))
        .optional()?;
    if let Some(id) = found {
        return Ok(id);
    }
    database.execute("INSERT INTO sensor (name) VALUES (?1)", [name])?;
    Ok(database.last_insert_rowid())
}

/// Drops readings from before a wall time, so many at most, so that nothing waits long for it. True when more are left.
pub(super) fn prune(database: &Connection, before: WallTime, most: i64) -> rusqlite::Result<bool> {
    let statement = "DELETE FROM reading WHERE (at_ms, sensor) IN
                     (SELECT at_ms, sensor FROM reading WHERE at_ms < ?1 ORDER BY at_ms LIMIT ?2)";
    let dropped = database.prepare_cached(statement)?.execute(params![before.0, most])?;
    Ok(i64::try_from(dropped).unwrap_or(i64::MAX) >= most)
}
