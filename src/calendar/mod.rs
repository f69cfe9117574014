//! Days, zones and windows: when a window opens and closes. It never asks what time it is.
//!
//! # What a window means
//!
//! A window is a row of *spells*, each open from its start up to, not including, its end.
//!
//! **Midnight.** Whether a spell runs into the next morning follows from the form of the window alone, see
//! [`Window::crosses_midnight`]. In a window of another form a spell whose end is not after its start does not take place.
//!
//! **Events of the sun** are taken by *solar day*, noon to noon, because that is what keeps a morning before its evening:
//! the sunset "of" a day is the one that ends its afternoon, also where it falls after midnight, as in Reykjavik in June,
//! and a night's sunrise is the one that follows that sunset. Offsets move an end wherever they lead, over midnight too.
//!
//! **The day of a spell**, on which `days` and `dates` are tested, is the civil day of its `from`: of the clock time, or of
//! the event before its offset. A day may so have two spells, or none.
//!
//! **Missing events.** Where the sun does not reach an event's elevation, the event is set where the sun comes nearest to
//! it: at true midnight if the sun stays above, at true noon if it stays below. So a window changes by little from one day
//! to the next when the polar day or night begins. Exceptions, each because a person would not want the spell:
//! - sunset to sunrise (dusk to dawn) on a day without the sun (without twilight): the whole civil day, and on until the
//!   sun rises if it does on the next. Sunrise to sunset (dawn to dusk) in the polar day likewise;
//! - a spell that would begin at a sunset or dusk that does not come because the sun stays up, or at a sunrise or dawn
//!   that does not come because it stays down, does not take place;
//! - nor does one from a clock time to a sunrise or dawn while the sun stays up, or to a sunset or dusk while it stays
//!   down.
//!
//! **Clamps.** `not_before` moves an opening by the sun to a clock time, `not_after` a closing: the window is never open
//! before the one or after the other. Both are read on the day of the solar noon that the event belongs to, so that a
//! June sunset after midnight is still held to the evening before; a closing in the morning after, on that morning. Where
//! an event is missing and whole days stand for it, the clamps stand for the event.
//!
//! **Clocks.** A clock time inside the gap of a summer-time change happens at the change, one that occurs twice at its
//! first. A day that a zone skips whole (Apia, 2011-12-30) has no spells; one that would end on it ends on the day after.

mod cycle;
mod text;
mod window;

#[cfg(test)]
mod tests;

use jiff::{Timestamp, civil::Time, tz::TimeZone};

pub use crate::sun::civil::{clock_on, day_end, day_start, next_clock, next_day};
pub use cycle::Cycle;
pub use text::{ScheduleError, parse_clock, show_clock};
pub use window::Spell;

use crate::sun::{Position, SunEvent};
use crate::units::WallTime;

/// The largest offset from an event of the sun that is read, in seconds: half a day.
pub const OFFSET_S_MAX: i32 = 12 * 3600;

/// When a window condition is true. Without ends it is whole days.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Window {
    /// Opening and closing end; `None` for midnight to midnight.
    pub ends: Option<(WindowEnd, WindowEnd)>,
    /// The weekdays that it may start on; `None` for every day.
    pub days: Option<Weekdays>,
    /// The part of the year that it may start in, inclusive; `None` for all of it.
    pub dates: Option<YearSpan>,
    /// An opening by the sun happens no earlier than this.
    pub not_before: Option<Time>,
    /// A closing by the sun happens no later than this.
    pub not_after: Option<Time>,
}

/// One end of a window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WindowEnd {
    /// A clock time in the site's zone.
    Clock(Time),
    /// An event of the sun and an offset in seconds.
    Sun(SunEvent, i32),
}

/// A set of weekdays: bit 0 is Monday, bit 6 Sunday.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Weekdays(pub u8);

/// A part of the year from one month and day to another, both inclusive; it may cross New Year.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct YearSpan {
    /// First month (1–12) and day (1–31).
    pub from: (i8, i8),
    /// Last month and day.
    pub to: (i8, i8),
}

/// Where a window is read: the sun's position and the clock's zone.
#[derive(Clone, Copy, Debug)]
pub struct Setting<'a> {
    /// Where the sun is watched from.
    pub position: Position,
    /// The rules of the clock.
    pub zone: &'a TimeZone,
}

impl WallTime {
    /// The instant; one beyond the years −9999 to 9999 is set to their end.
    pub fn instant(self) -> Timestamp {
        let end = if self.0 < 0 { Timestamp::MIN } else { Timestamp::MAX };
        Timestamp::from_millisecond(self.0).unwrap_or(end)
    }
}

impl From<Timestamp> for WallTime {
    fn from(instant: Timestamp) -> WallTime {
        WallTime(instant.as_millisecond())
    }
}
