//! How long a hold lasts, as a person says it: `2h`, `22:30`, `sunset+30m`, `next change`. One parser for all; it never
//! asks what time it is.

use jiff::civil::Time;

use crate::sun::SunEvent;
use crate::units::Span;

/// The end of a hold as it was said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Term {
    /// For a duration.
    For(Span),
    /// Until the next time the clock shows this.
    UntilClock(Time),
    /// Until the next such event of the sun, plus an offset in seconds.
    UntilSun(SunEvent, i32),
    /// Until the rules say something else, at most 24 h.
    NextChange,
}
