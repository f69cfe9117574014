//! What the journal lacks, and why: rows that found no place, and what a process saw that ended without a last word. It never
//! guesses what the rows would have said.

use std::sync::{Arc, Mutex, PoisonError};

use serde::{Deserialize, Serialize};

use crate::engine::JournalRow;
use crate::units::WallTime;

/// Why rows are missing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum GapReason {
    /// The disk could not be written, and more came than can be held.
    #[default]
    Disk,
    /// The process ended without closing the journal, while the machine went on.
    Process,
    /// The machine went down, or was reset, with the process.
    Machine,
}

/// Rows that are missing. With `"entry": "gap"` its JSON form is a row of the journal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Gap {
    /// How many, where that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rows: Option<u64>,
    /// The wall time from which on they are missing: that of the first, or of the last thing that was written.
    #[serde(rename = "from_ms")]
    pub from: WallTime,
    /// The wall time up to which they are.
    #[serde(rename = "to_ms")]
    pub to: WallTime,
    /// Why; earlier versions had one reason only.
    #[serde(default)]
    pub why: GapReason,
    /// Whether the clock was trusted at both of these times; the row itself says so.
    #[serde(skip)]
    pub trusted: bool,
}

impl Gap {
    /// A row that found no place.
    pub(super) fn row(row: &JournalRow) -> Gap {
        Gap { rows: Some(1), from: row.at, to: row.at, why: GapReason::Disk, trusted: row.trusted }
    }

    /// Both in one, of the same reason.
    pub(super) fn and(self, other: Gap) -> Gap {
        let rows = self.rows.zip(other.rows).map(|(one, other)| one + other);
        let trusted = self.trusted && other.trusted;
        Gap { rows, from: self.from.min(other.from), to: self.to.max(other.to), why: self.why, trusted }
    }
}

/// Rows of the journal that found no room on their way here, counted by whoever handed them over.
#[derive(Clone, Default)]
pub(super) struct Missed(Arc<Mutex<Option<Gap>>>);

impl Missed {
    /// One more.
    pub(super) fn note(&self, row: &JournalRow) {
        let mut gap = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        *gap = Some(gap.map_or(Gap::row(row), |before| before.and(Gap::row(row))));
    }

    pub(super) fn take(&self) -> Option<Gap> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).take()
    }
}
