//! What became of a person's order, as data. It never says whether it was sensible, and never waits for disk.

use crate::house::{LoadId, SelectorId, SetpointId, State};
use crate::units::{Finite, WallTime};

/// What became of a person's order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// The hold is in force; in words, until when.
    Held {
        /// The load.
        load: LoadId,
        /// The state it is held in.
        state: State,
        /// Until when, where that is a moment by the wall clock.
        until: Option<WallTime>,
    },
    /// The selector is turned to the position.
    Selected {
        /// The selector.
        selector: SelectorId,
        /// The name of the position.
        position: String,
        /// Until when, where an end was said.
        until: Option<WallTime>,
    },
    /// The setpoint is set.
    SetTo {
        /// The setpoint.
        setpoint: SetpointId,
        /// The value, in its unit.
        value: Finite,
        /// Until when, where an end was said.
        until: Option<WallTime>,
    },
    /// The load was withdrawn already; it stays so, for the reason that was said now.
    StaysWithdrawn {
        /// The load.
        load: LoadId,
    },
    /// Done.
    Done,
    /// There was nothing to do: no hold to release, not withdrawn, no such alarm.
    Nothing,
    /// Refused; the sentence says why and what to do.
    Refused(String),
}
