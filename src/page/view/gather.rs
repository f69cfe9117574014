//! What a page is made from: a glance at the house, a forecast made on it, and what the store has of the time that figures
//! show. The loop only hands over a copy; all the work is done off it, and is bounded. It never renders.

use std::time::Duration;

use jiff::tz::TimeZone;
use tokio::sync::Semaphore;
use tokio::time::timeout;

use super::super::{Problem, State};
use super::day::{Day, HALF};
use super::timing;
use crate::daemon::glance::Glance;
use crate::daemon::seen::SeenOne;
use crate::engine::{Engine, Forecast, Reasons};
use crate::house::{House, LoadId};
use crate::store::{JOURNAL_ROWS, JournalLine, JournalQuery, Shelf, Stretch};
use crate::units::WallTime;

/// What is on its way to disk is waited for this long: a page shows what it has.
const SETTLE: Duration = Duration::from_millis(500);
/// So many pages are made at once; others wait.
const AT_ONCE: usize = 2;
/// A curve has so many points at most.
pub const POINTS: u16 = 240;

static PLACES: Semaphore = Semaphore::const_new(AT_ONCE);

/// What a page needs beside the house itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Wants {
    /// What loads did and will do.
    pub timing: bool,
    /// What sensors said.
    pub curves: bool,
}

/// The house with what was asked for.
#[derive(Debug)]
pub struct Shown {
    /// A copy of the engine.
    pub engine: Engine,
    /// The revision of its house.
    pub revision: String,
    /// Whether the broker is connected.
    pub linked: bool,
    /// What boards said lately.
    pub seen: Vec<SeenOne>,
    /// The time that figures of loads show.
    pub day: Day,
    /// What comes by itself.
    pub forecast: Forecast,
    /// The rows of the journal that figures are drawn from.
    pub rows: Vec<JournalLine>,
    /// What sensors said, in the day behind.
    pub stretches: Vec<Stretch>,
    /// Whether who looks has logged in, and so can log out.
    pub locked: bool,
    /// Why the store could not be read.
    pub trouble: Option<String>,
}

/// Looks at the house.
///
/// # Errors
/// Where its loop does not answer.
pub async fn gather(state: &State, wants: Wants) -> Result<Shown, Problem> {
    let glance = state.glance().await?;
    let _place = PLACES.acquire().await.map_err(|_| Problem::unavailable("the daemon is stopping"))?;
    let Glance { engine, revision, linked, seen, shelf, settled, .. } = glance;
    if wants.timing || wants.curves {
        // A disk that fails still has what it had.
        let _ = timeout(SETTLE, settled).await;
    }
    let locked = state.door().is_some();
    let work = move || {
        let now = engine.now().wall;
        let day = Day::around(now, &engine.house().site);
        let seen = seen.into_iter().map(|one| one.by(engine.house())).collect();
        let none = Forecast { from: now, until: now, changes: Vec::new() };
        let forecast = if wants.timing { engine.forecast(HALF) } else { none };
        let (rows, stretches, trouble) = match stored(&shelf, wants, &day) {
            Ok((rows, stretches)) => (rows, stretches, None),
            Err(error) => (Vec::new(), Vec::new(), Some(error.to_string())),
        };
        Shown { engine, revision, linked, seen, day, forecast, rows, stretches, locked, trouble }
    };
    tokio::task::spawn_blocking(work).await.map_err(|_| Problem::unavailable("the page could not be made"))
}

type Stored = (Vec<JournalLine>, Vec<Stretch>);

fn stored(shelf: &Shelf, wants: Wants, day: &Day) -> rusqlite::Result<Stored> {
    if !wants.timing && !wants.curves {
        return Ok(Stored::default());
    }
    let reader = shelf.open()?;
    let query = JournalQuery {
        load: None,
        kinds: timing::KINDS,
        since: Some(day.from),
        until: Some(day.now),
        limit: JOURNAL_ROWS,
    };
    let rows = if wants.timing { reader.journal(&query)? } else { Vec::new() };
    let day_before = WallTime(day.now.0.saturating_sub(2 * HALF.0 as i64));
    let stretches = if wants.curves { reader.stretches(day_before, day.now, POINTS)? } else { Vec::new() };
    Ok((rows, stretches))
}

impl Shown {
    /// The house.
    pub fn house(&self) -> &House {
        self.engine.house()
    }

    /// Its zone.
    pub fn zone(&self) -> &TimeZone {
        &self.house().site.zone
    }

    /// The moment that is shown.
    pub fn now(&self) -> WallTime {
        self.engine.now().wall
    }

    /// All loads with what speaks to them, in the order of names.
    pub fn loads(&self) -> impl Iterator<Item = (LoadId, Reasons)> {
        (0..self.house().loads.len() as u32).map(LoadId).map(|load| (load, self.engine.reasons(load)))
    }
}
