//! Days, zones and windows: when a window opens and closes. It never asks what time it is.

use jiff::civil::Time;

use crate::sun::SunEvent;

/// When a window condition is true. Without ends it is whole days.
#[derive(Clone, Debug, PartialEq)]
pub struct Window {
    /// Opening and closing end; `None` for midnight to midnight.
    pub ends: Option<(WindowEnd, WindowEnd)>,
    /// The weekdays that it may start on; `None` for every day.
    pub days: Option<Weekdays>,
    /// The part of the year that it may start in, inclusive; `None` for all of it.
    pub dates: Option<YearSpan>,
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
