//! A cycle of on and off, counted from local midnight. It never remembers where it stood: a restart finds it where it is.
//!
//! Every civil day begins with the time on, then come the time off, on, off, as long as the day lasts. Times are lengths, not
//! clock times: a day of 23 or 25 hours has fewer or more turns. What is under way at midnight is cut off, so that each
//! day runs like every other.

use std::fmt;

use jiff::{SignedDuration, Timestamp, civil::Time};

use super::{Setting, day_start, next_clock};
use crate::units::Span;

/// Moments at which nothing changes that are passed over: a midnight or a change of the clock in the time on.
const SAME_EDGES_MAX: u32 = 8;

/// On for a while, off for a while.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cycle {
    /// The time on; not zero.
    pub on_for: Span,
    /// The time off; not zero.
    pub off_for: Span,
}

impl Cycle {
    /// Whether it is on at an instant.
    pub fn is_on(&self, at: Timestamp, setting: Setting<'_>) -> bool {
        self.turn_ms(at, setting).is_some_and(|ms| ms < self.on_for.0)
    }

    /// The first instant strictly after another at which [`Cycle::is_on`] changes; `None` at the end of time only.
    pub fn next_boundary(&self, after: Timestamp, setting: Setting<'_>) -> Option<Timestamp> {
        let was_on = self.is_on(after, setting);
        let mut at = after;
        for _ in 0..SAME_EDGES_MAX {
            at = self.next_edge(at, setting)?;
            if self.is_on(at, setting) != was_on {
                break;
            }
        }
        Some(at)
    }

    /// How far an instant lies in its turn, in ms.
    fn turn_ms(&self, at: Timestamp, setting: Setting<'_>) -> Option<u64> {
        let midnight = day_start(setting.zone.to_datetime(at).date(), setting.zone)?;
        let since = at.as_millisecond().saturating_sub(midnight.as_millisecond()).max(0) as u64;
        since.checked_rem(self.on_for.0.saturating_add(self.off_for.0))
    }

    /// The end of the present time on or off, midnight, or a change of the clock: the count may jump at each.
    fn next_edge(&self, at: Timestamp, setting: Setting<'_>) -> Option<Timestamp> {
        let into = self.turn_ms(at, setting)?;
        let whole = self.on_for.0.saturating_add(self.off_for.0);
        let left = if into < self.on_for.0 { self.on_for.0 - into } else { whole - into };
        let flips = at.checked_add(SignedDuration::from_millis(i64::try_from(left).ok()?)).ok();
        let midnight = next_clock(Time::midnight(), at, setting.zone);
        let change = setting.zone.following(at).next().map(|change| change.timestamp());
        [flips, midnight, change].into_iter().flatten().min()
    }
}

impl fmt::Display for Cycle {
    /// `on for 10m, off for 2h`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "on for {}, off for {}", self.on_for, self.off_for)
    }
}
