//! Questions about what is on disk: understood in the loop, answered beside it from a connection that can only read. It never
//! changes anything and keeps no part of the engine.

use std::time::Duration;

use jiff::tz::TimeZone;
use serde::Serialize;
use serde_json::Value;
use tokio::sync::oneshot;

use super::keeper::Keeper;
use super::protocol::{HistoryBy, Refusal, Request, Response};
use super::requests::{known_load, unknown};
use super::tally::{self, Counted, Rated};
use crate::calendar::Setting;
use crate::engine::{JournalEntry, rfc3339};
use crate::house::{Drive, LoadId, Past};
use crate::store::{Gap, GapReason, JOURNAL_ROWS, JournalLine, JournalQuery, Reader, ReadingQuery, Shelf};
use crate::sun::Position;
use crate::units::WallTime;

/// What is on its way to disk is waited for this long.
const SETTLE: Duration = Duration::from_secs(2);
/// So many rows of the journal when nobody says.
const ROWS: u32 = 200;
/// The rows that say what a load does from then on.
const TURNS: &[&str] = &["changed", "assumed", "driven", "pulsed"];
/// A history reaches back so far when nobody says: a week.
const HISTORY_MS: i64 = 7 * 86_400_000;

/// A question that was understood.
pub struct Look {
    shelf: Shelf,
    zone: TimeZone,
    settled: oneshot::Receiver<()>,
    what: What,
}

enum What {
    Journal(JournalQuery),
    Readings(ReadingQuery),
    /// What a load was at a moment behind.
    Was {
        load: String,
        at: WallTime,
    },
    History {
        query: JournalQuery,
        by: HistoryBy,
        since: WallTime,
        until: WallTime,
        rated: Vec<Rated>,
    },
}

/// A row of the journal as it is told.
#[derive(Debug, Serialize)]
struct Told<'l> {
    at: String,
    at_ms: i64,
    trusted: bool,
    revision: &'l str,
    text: String,
    entry: &'l Value,
}

/// Understands a question; `None` for a request that is none.
pub fn look(keeper: &mut Keeper, request: &Request) -> Option<Result<Look, Refusal>> {
    let what = match request {
        Request::Journal { load, since, until, limit } => span(keeper, since, until).and_then(|(since, until)| {
            let load = load.as_ref().map(|load| known_load(keeper, load)).transpose()?;
            let limit = limit.unwrap_or(if since.is_some() { JOURNAL_ROWS } else { ROWS });
            Ok(What::Journal(JournalQuery { load, kinds: &[], since, until, limit }))
        }),
        Request::Readings { sensor, since, until, after } => span(keeper, since, until).and_then(|(since, until)| {
            let house = keeper.engine().house();
            let names = house.sensors.iter().map(|sensor| sensor.name.as_str());
            if let Some(name) = sensor.as_ref().filter(|name| !names.clone().any(|known| known == name.as_str())) {
                return Err(unknown("sensor", name, names));
            }
            let since = since.unwrap_or(WallTime(0));
            Ok(What::Readings(ReadingQuery { sensor: sensor.clone(), since, until, after: *after }))
        }),
        Request::Why { load, at: Some(at) } => {
            let load = known_load(keeper, load);
            load.and_then(|load| {
                let moment = past(keeper, at)?;
                if moment > keeper.engine().now().wall {
                    return Err(Refusal::malformed(format!(
                        "{at:?} lies ahead; without --at it is told what is to come"
                    )));
                }
                Ok(What::Was { load, at: moment })
            })
        }
        Request::History { load, by, since, until } => history(keeper, load.as_ref(), *by, since, until),
        _ => return None,
    };
    let look = what.map(|what| {
        let store = keeper.store();
        let zone = keeper.engine().house().site.zone.clone();
        Look { shelf: keeper.shelf(), zone, settled: store.settled(), what }
    });
    Some(look)
}

fn history(
    keeper: &Keeper,
    load: Option<&String>,
    by: HistoryBy,
    since: &Option<String>,
    until: &Option<String>,
) -> Result<What, Refusal> {
    let (since, until) = span(keeper, since, until)?;
    let load = load.map(|load| known_load(keeper, load)).transpose()?;
    let until = until.unwrap_or(keeper.engine().now().wall);
    let since = since.unwrap_or(WallTime(until.0.saturating_sub(HISTORY_MS)));
    let house = keeper.engine().house();
    let members = |one: LoadId| match house.load(one).drive {
        Drive::Rotation(id) => house.rotation(id).loads.to_vec(),
        _ => vec![one],
    };
    let counted = |id: LoadId| Counted { load: house.load(id).name.clone(), on_since: keeper.engine().on_since(id) };
    let rated = house.loads.iter().zip(0..).map(|(load, number)| Rated {
        load: load.name.clone(),
        counts: members(LoadId(number)).into_iter().map(counted).collect(),
        watts: load.power.map(|power| power.0),
        wear: keeper.engine().wear(LoadId(number)),
    });
    let rated: Vec<Rated> = rated.filter(|rated| load.as_ref().is_none_or(|load| rated.load == *load)).collect();
    // Rows are found by one name.
    let one = load.filter(|load| rated.iter().all(|rated| rated.counts.iter().all(|of| of.load == *load)));
    // What a load was when the time began stands in a row before it.
    let query = JournalQuery { load: one, kinds: tally::KINDS, since: None, until: Some(until), limit: JOURNAL_ROWS };
    Ok(What::History { query, by, since, until, rated })
}

/// When from and until when, as they were said.
fn span(
    keeper: &Keeper,
    since: &Option<String>,
    until: &Option<String>,
) -> Result<(Option<WallTime>, Option<WallTime>), Refusal> {
    let (since, until) = (since.as_deref(), until.as_deref());
    let since = since.map(|said| past(keeper, said)).transpose()?;
    let until = until.map(|said| past(keeper, said)).transpose()?;
    match (since, until) {
        (Some(since), Some(until)) if until < since => Err(Refusal::malformed("the end lies before the beginning")),
        both => Ok(both),
    }
}

/// The moment behind that a person means.
///
/// # Errors
/// For what is no time, and for an event of the sun that was not; in words.
pub fn past(keeper: &Keeper, said: &str) -> Result<WallTime, Refusal> {
    let engine = keeper.engine();
    let site = &engine.house().site;
    let parsed = Past::parse(said).map_err(|error| Refusal::malformed(error.to_string()))?;
    let setting =
        Setting { position: Position { latitude: site.latitude, longitude: site.longitude }, zone: &site.zone };
    parsed.resolve(engine.now().wall, setting).ok_or_else(|| format!("there was no {parsed} in the last days").into())
}

impl Look {
    /// Waits for what is on its way to disk, then looks. From a task of its own.
    pub async fn answer(self) -> Response {
        let Look { shelf, zone, settled, what } = self;
        // A disk that fails still has what it had.
        let _ = tokio::time::timeout(SETTLE, settled).await;
        let looked = tokio::task::spawn_blocking(move || {
            let reader = shelf.open()?;
            match what {
                What::Journal(query) => Ok(journal(&reader.journal(&query)?, (query.since, query.until), &zone)),
                What::Readings(query) => {
                    let page = reader.readings(&query)?;
                    let rows = page.readings.iter();
                    let rows: Vec<Value> = rows
                        .map(|one| serde_json::json!({ "at": utc(one.at), "sensor": one.sensor, "value": one.value }))
                        .collect();
                    let text = format!("{} readings", rows.len());
                    let data = serde_json::json!({
                        "since": rfc3339(query.since, &zone),
                        "until": query.until.map(|until| rfc3339(until, &zone)),
                        "readings": rows,
                        "next": page.next,
                    });
                    Ok(Response::found(text, data))
                }
                What::Was { load, at } => was(&reader, load, at, &zone),
                What::History { query, by, since, until, rated } => {
                    let rows = reader.journal(&query)?;
                    let is_cut = rows.len() >= query.limit as usize && rows.first().is_some_and(|row| row.at > since);
                    let since = if is_cut { rows[0].at } else { since };
                    Ok(tally::response(&tally::tally(&rows, &rated, (since, until), by, &zone), (since, until), &zone))
                }
            }
        });
        match looked.await {
            Ok(Ok(response)) => response,
            Ok(Err::<_, rusqlite::Error>(error)) => Response::failed(format!("the store cannot be read: {error}")),
            Err(_) => Response::failed("the look at the store broke off"),
        }
    }
}

/// What a load was at a moment, by the last change before it and what was done to it after that.
fn was(reader: &Reader, load: String, at: WallTime, zone: &TimeZone) -> rusqlite::Result<Response> {
    let query = JournalQuery { load: Some(load), until: Some(at), limit: 1, ..JournalQuery::default() };
    let turned = reader.journal(&JournalQuery { kinds: TURNS, ..query.clone() })?;
    let Some(turned) = turned.into_iter().next() else {
        return Ok(Response::refused(format!("the journal knows no change before {}", local(at, zone))));
    };
    let later = JournalQuery { since: Some(turned.at), limit: ROWS, ..query };
    let later: Vec<JournalLine> = reader.journal(&later)?.into_iter().filter(|row| *row != turned).collect();
    let mut text = format!("since {}: {}", local(turned.at, zone), sentence(&turned.entry, zone));
    for row in &later {
        text.push_str(&format!("\n{}: {}", local(row.at, zone), sentence(&row.entry, zone)));
    }
    let told: Vec<Told<'_>> = std::iter::once(&turned).chain(&later).map(|row| told(row, zone)).collect();
    Ok(Response::found(text, serde_json::json!({ "at": rfc3339(at, zone), "rows": told })))
}

fn told<'l>(row: &'l JournalLine, zone: &TimeZone) -> Told<'l> {
    Told {
        at: rfc3339(row.at, zone),
        at_ms: row.at.0,
        trusted: row.trusted,
        revision: &row.revision,
        text: sentence(&row.entry, zone),
        entry: &row.entry,
    }
}

fn journal(rows: &[JournalLine], (since, until): (Option<WallTime>, Option<WallTime>), zone: &TimeZone) -> Response {
    let told: Vec<Told<'_>> = rows.iter().map(|row| told(row, zone)).collect();
    let text: Vec<String> = told.iter().map(|row| format!("{} {}", row.at, row.text)).collect();
    let text = if text.is_empty() { "nothing is written there".to_owned() } else { text.join("\n") };
    let understood = |at: Option<WallTime>| at.map(|at| rfc3339(at, zone));
    Response::found(text, serde_json::json!({ "since": understood(since), "until": understood(until), "rows": told }))
}

/// What a row tells, in words.
pub fn sentence(entry: &Value, zone: &TimeZone) -> String {
    if let Ok(entry) = serde_json::from_value::<JournalEntry>(entry.clone()) {
        return entry.sentence(zone);
    }
    match serde_json::from_value::<Gap>(entry.clone()).ok().filter(|_| entry["entry"] == "gap") {
        Some(gap) => gap_sentence(gap, zone),
        None => format!("a row that this version does not understand: {entry}"),
    }
}

/// What is missing, in words.
fn gap_sentence(gap: Gap, zone: &TimeZone) -> String {
    let span = format!("from {} until {}", local(gap.from, zone), local(gap.to, zone));
    let missing = match gap.rows {
        Some(1) => format!("one row {span} is missing"),
        Some(rows) => format!("{rows} rows {span} are missing"),
        None => format!("what happened {span} is not written, unless a later row tells of it"),
    };
    let why = match gap.why {
        GapReason::Disk => "the disk could not be written",
        GapReason::Process => "Standfast ended without a last word: killed, or with a disk that took nothing",
        GapReason::Machine => "the machine went down without a last word",
    };
    format!("{missing}: {why}")
}

/// `2026-05-12 22:06:40` on the clock of the house, for people.
fn local(at: WallTime, zone: &TimeZone) -> String {
    at.instant().to_zoned_datetime(zone.clone()).strftime("%Y-%m-%d %H:%M:%S").to_string()
}

/// `2026-05-12T20:06:40.123Z`: RFC 3339 to the millisecond, so that nothing of a reading's time is lost.
fn utc(at: WallTime) -> String {
    at.instant().to_zoned_datetime(TimeZone::UTC).strftime("%Y-%m-%dT%H:%M:%S%.3fZ").to_string()
}
