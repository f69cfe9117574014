//! Civil days and clock times as instants, across summer time and skipped days. It knows nothing of the sun; it stands here because
//! both the sun and the calendar count in civil days.

use jiff::{
    SignedDuration, Timestamp,
    civil::{Date, Time},
    tz::{AmbiguousOffset, TimeZone},
};

/// Days that [`next_clock`] looks ahead. Two would do but for a day that is skipped.
const CLOCK_SEARCH_DAYS: u32 = 4;

/// The first instant of a civil day. `None` if the zone skips the day.
pub fn day_start(date: Date, zone: &TimeZone) -> Option<Timestamp> {
    clock_on(date, Time::midnight(), zone)
}

/// The instant at which a civil day is over: the start of the next. `None` if the zone skips the day.
pub fn day_end(date: Date, zone: &TimeZone) -> Option<Timestamp> {
    day_start(date, zone)?;
    day_start(next_day(date, zone)?, zone)
}

/// The civil day after this one, leaving out one that the zone skips.
pub fn next_day(date: Date, zone: &TimeZone) -> Option<Date> {
    let next = date.tomorrow().ok()?;
    if day_start(next, zone).is_some() { Some(next) } else { next.tomorrow().ok() }
}

/// The instant at which the clock shows a time on a day: at the transition if summer time leaves it out, the first time
/// if it comes twice. `None` if the zone skips the day.
pub fn clock_on(date: Date, time: Time, zone: &TimeZone) -> Option<Timestamp> {
    let datetime = date.to_datetime(time);
    let at = match zone.to_ambiguous_timestamp(datetime).offset() {
        AmbiguousOffset::Unambiguous { offset } => offset.to_timestamp(datetime).ok()?,
        AmbiguousOffset::Fold { before, .. } => before.to_timestamp(datetime).ok()?,
        AmbiguousOffset::Gap { after, .. } => {
            // By the later offset the missing time lies before the transition, and nothing else does in between.
            let before_transition = after.to_timestamp(datetime).ok()?;
            let transition = zone.following(before_transition).next()?.timestamp();
            if zone.to_datetime(transition).date() != date {
                return None;
            }
            transition
        }
    };
    Some(at)
}

/// The first time strictly after an instant at which the clock shows a time: at the transition if summer time leaves it
/// out, once if it comes twice. `None` only at the end of time.
pub fn next_clock(time: Time, after: Timestamp, zone: &TimeZone) -> Option<Timestamp> {
    let mut date = zone.to_datetime(after).date();
    for _ in 0..CLOCK_SEARCH_DAYS {
        match clock_on(date, time, zone) {
            Some(at) if at > after => return Some(at),
            _ => date = date.tomorrow().ok()?,
        }
    }
    None
}

/// An instant some seconds later, or earlier if they are negative.
pub(crate) fn later(at: Timestamp, seconds: i32) -> Option<Timestamp> {
    at.checked_add(SignedDuration::from_secs(i64::from(seconds))).ok()
}
