//! Times, durations and quantities with their units: the newtypes the rest is written in. Never reads a clock.

mod analogue;
mod parse;

use std::ops::{Add, Sub};

use serde::{Deserialize, Serialize};

pub use analogue::{OHMS_MAX, Ohms, VOLTS_MAX, Volts};
pub use parse::{AMPERES_MAX, QuantityError, SPAN_MAX, WATTS_MAX};

/// So many of something that takes an s, for a sentence: `1 relay`, `4 relays`, `0 relays`.
pub fn counted(count: usize, word: &str) -> String {
    format!("{count} {word}{}", if count == 1 { "" } else { "s" })
}

/// Milliseconds since the machine started, time in suspend included. All durations run on it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct BootTime(pub u64);

/// A moment of the past on the scale of boot time, in milliseconds. Unlike [`BootTime`] it may lie before the machine's
/// start: a board may tell that a relay has been still for days when the machine has run for a minute.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Moment(pub i64);

/// Milliseconds since 1970-01-01T00:00Z by the wall clock, which may step. Schedules run on it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct WallTime(pub i64);

/// A duration in milliseconds, never negative.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Span(pub u64);

/// Electrical power in watts.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
pub struct Watts(pub f64);

/// Electrical current in amperes.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
pub struct Amperes(pub f64);

/// A finite number: what a reading is once it has been accepted. NaN and the infinities cannot be in it, so it has an order.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct Finite(f64);

impl Finite {
    /// The number, or `None` for NaN and the infinities. Minus zero becomes zero, so that equal numbers have equal bits.
    pub fn new(value: f64) -> Option<Finite> {
        value.is_finite().then_some(Finite(value + 0.0))
    }

    /// The number itself.
    pub const fn get(self) -> f64 {
        self.0
    }
}

impl Eq for Finite {}

impl PartialOrd for Finite {
    fn partial_cmp(&self, other: &Finite) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Finite {
    fn cmp(&self, other: &Finite) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}

impl From<Finite> for f64 {
    fn from(value: Finite) -> f64 {
        value.0
    }
}

impl TryFrom<f64> for Finite {
    type Error = &'static str;
    fn try_from(value: f64) -> Result<Finite, &'static str> {
        Finite::new(value).ok_or("not a finite number")
    }
}

impl Span {
    /// No time at all.
    pub const ZERO: Span = Span(0);

    /// A span of whole seconds.
    pub const fn from_s(seconds: u64) -> Span {
        Span(seconds * 1000)
    }

    /// A span of whole minutes.
    pub const fn from_min(minutes: u64) -> Span {
        Span(minutes * 60_000)
    }

    /// A span of whole hours.
    pub const fn from_h(hours: u64) -> Span {
        Span(hours * 3_600_000)
    }

    /// Whole seconds, rounded down.
    pub const fn whole_s(self) -> u64 {
        self.0 / 1000
    }

    /// True for a span of no length.
    pub const fn is_zero(self) -> bool {
        self.0 == 0
    }

    /// The span less another, not below zero.
    pub const fn less(self, other: Span) -> Span {
        Span(self.0.saturating_sub(other.0))
    }
}

impl BootTime {
    /// How long ago `earlier` was, zero if it lies ahead.
    pub const fn since(self, earlier: BootTime) -> Span {
        Span(self.0.saturating_sub(earlier.0))
    }

    /// The moment a span before this one, not before the machine's start.
    pub const fn back(self, span: Span) -> BootTime {
        BootTime(self.0.saturating_sub(span.0))
    }
}

impl Moment {
    /// A span before a boot time.
    pub fn before(now: BootTime, ago: Span) -> Moment {
        Moment(signed(now.0).saturating_sub(signed(ago.0)))
    }

    /// How long ago it was, zero if it lies ahead.
    pub fn age(self, now: BootTime) -> Span {
        Span(u64::try_from(signed(now.0).saturating_sub(self.0)).unwrap_or(0))
    }

    /// The boot time a span after it, not before the machine's start.
    pub fn after(self, span: Span) -> BootTime {
        BootTime(u64::try_from(self.0.saturating_add(signed(span.0))).unwrap_or(0))
    }
}

impl From<BootTime> for Moment {
    fn from(at: BootTime) -> Moment {
        Moment(signed(at.0))
    }
}

/// Beyond 292 million years all times are one.
fn signed(ms: u64) -> i64 {
    i64::try_from(ms).unwrap_or(i64::MAX)
}

impl Add<Span> for BootTime {
    type Output = BootTime;
    fn add(self, span: Span) -> BootTime {
        BootTime(self.0.saturating_add(span.0))
    }
}

impl Add<Span> for WallTime {
    type Output = WallTime;
    fn add(self, span: Span) -> WallTime {
        WallTime(self.0.saturating_add(span.0.min(i64::MAX as u64) as i64))
    }
}

impl Add for Span {
    type Output = Span;
    fn add(self, other: Span) -> Span {
        Span(self.0.saturating_add(other.0))
    }
}

impl Sub<Span> for WallTime {
    type Output = WallTime;
    fn sub(self, span: Span) -> WallTime {
        WallTime(self.0.saturating_sub(span.0.min(i64::MAX as u64) as i64))
    }
}
