//! Sunrise, sunset and twilight for a position and a civil day. It never asks what day it is.
//!
//! Two ways of counting days meet here. A *solar day* is centred on a mean noon of the position's longitude and has at
//! most one of each event; `solar` works in those. A *civil day* is what a calendar in a zone shows, and may hold none,
//! one or two of an event: a June sunset in Reykjavik falls after midnight, so one day has none and another has two.

pub(crate) mod civil;
mod elevation;
mod solar;

use jiff::{Timestamp, civil::Date, tz::TimeZone};
use serde::{Deserialize, Serialize};

pub use elevation::{ElevationBound, elevation};
pub(crate) use solar::SolarDate;

use civil::{day_end, day_start};

/// The years for which the sun is computed, both inclusive. The corrections are good for about a minute at ±60° between
/// 1950 and 2100, and decay slowly outside; beyond these years there are no events at all.
pub const YEARS: (i16, i16) = (1900, 2199);

/// How far ahead [`next_event`] looks: longer than any polar day or night.
const SEARCH_DAYS: i64 = 400;

/// An event of the sun that a window or a hold may name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SunEvent {
    /// Civil dawn: the centre at 6° below the horizon, rising.
    Dawn,
    /// The upper limb appears.
    Sunrise,
    /// The upper limb disappears.
    Sunset,
    /// Civil dusk: the centre at 6° below the horizon, setting.
    Dusk,
}

impl SunEvent {
    /// All events in the order of a day.
    pub const ALL: [SunEvent; 4] = [SunEvent::Dawn, SunEvent::Sunrise, SunEvent::Sunset, SunEvent::Dusk];

    /// The word for it in TOML, holds and messages.
    pub const fn word(self) -> &'static str {
        match self {
            SunEvent::Dawn => "dawn",
            SunEvent::Sunrise => "sunrise",
            SunEvent::Sunset => "sunset",
            SunEvent::Dusk => "dusk",
        }
    }

    /// The event behind a word.
    pub fn from_word(word: &str) -> Option<SunEvent> {
        SunEvent::ALL.into_iter().find(|event| event.word() == word)
    }

    /// True for dawn and sunrise.
    pub const fn is_rising(self) -> bool {
        matches!(self, SunEvent::Dawn | SunEvent::Sunrise)
    }

    /// The elevation of the sun's centre at the event, in degrees. Sunrise and sunset: 34′ of refraction and 16′ of
    /// semidiameter, the usual convention of almanacs.
    pub const fn elevation(self) -> f64 {
        match self {
            SunEvent::Dawn | SunEvent::Dusk => -6.0,
            SunEvent::Sunrise | SunEvent::Sunset => -50.0 / 60.0,
        }
    }

    /// The other event of the same elevation.
    pub const fn opposite(self) -> SunEvent {
        match self {
            SunEvent::Dawn => SunEvent::Dusk,
            SunEvent::Sunrise => SunEvent::Sunset,
            SunEvent::Sunset => SunEvent::Sunrise,
            SunEvent::Dusk => SunEvent::Dawn,
        }
    }
}

impl std::fmt::Display for SunEvent {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}

/// A position on the earth. One that is out of range or no number has no events.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Position {
    /// Degrees north, −90 to 90.
    pub latitude: f64,
    /// Degrees east, −180 to 180.
    pub longitude: f64,
}

/// What the sun does on a civil day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Course {
    /// It rises, sets, or both.
    #[serde(rename = "rises and sets")]
    RisesAndSets,
    /// Polar day: it neither rises nor sets and is above.
    #[serde(rename = "always up")]
    AlwaysUp,
    /// Polar night: it neither rises nor sets and is below.
    #[serde(rename = "always down")]
    AlwaysDown,
}

impl Course {
    /// `rises and sets`, `always up` or `always down`.
    pub const fn phrase(self) -> &'static str {
        match self {
            Course::RisesAndSets => "rises and sets",
            Course::AlwaysUp => "always up",
            Course::AlwaysDown => "always down",
        }
    }
}

/// The events of one civil day, each list in order of time with none, one or two entries.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SunDay {
    /// Civil dawn.
    pub dawn: Vec<Timestamp>,
    /// Sunrise.
    pub sunrise: Vec<Timestamp>,
    /// Sunset.
    pub sunset: Vec<Timestamp>,
    /// Civil dusk.
    pub dusk: Vec<Timestamp>,
    /// Whether it rises and sets, and if not, on which side of the horizon it stays.
    pub course: Course,
}

/// The sun on a civil day in a zone, to whole seconds. `None` outside [`YEARS`], for a day that the zone skips, and for a
/// position that is none.
pub fn day(position: Position, date: Date, zone: &TimeZone) -> Option<SunDay> {
    let (start, end) = (day_start(date, zone)?, day_end(date, zone)?);
    let noon = SolarDate::nearest_noon(position, start.as_second().midpoint(end.as_second()))?;
    let on_day = |event| -> Vec<Timestamp> {
        let instants = (-1..=1).filter_map(|days| noon.plus(days)?.event(position, event));
        instants.filter(|at| (start..end).contains(at)).collect()
    };
    let (sunrise, sunset) = (on_day(SunEvent::Sunrise), on_day(SunEvent::Sunset));
    let course = match (sunrise.is_empty() && sunset.is_empty(), noon.is_above(position, SunEvent::Sunrise)) {
        (false, _) => Course::RisesAndSets,
        (true, true) => Course::AlwaysUp,
        (true, false) => Course::AlwaysDown,
    };
    Some(SunDay { dawn: on_day(SunEvent::Dawn), sunrise, sunset, dusk: on_day(SunEvent::Dusk), course })
}

/// The first such event strictly after an instant. `None` if there is none for 400 days, as at a pole, or outside
/// [`YEARS`].
pub fn next_event(position: Position, event: SunEvent, after: Timestamp) -> Option<Timestamp> {
    let around = SolarDate::nearest_noon(position, after.as_second())?;
    (-1..=SEARCH_DAYS).filter_map(|days| around.plus(days)?.event(position, event)).find(|at| *at > after)
}

#[cfg(test)]
mod tests {
    use jiff::{civil::date, tz::TimeZoneDatabase};

    use super::*;

    fn check(position: (f64, f64), zone: &str, day_of: Date, expected: (usize, usize, Course)) {
        let zone = TimeZoneDatabase::bundled().get(zone).unwrap();
        let position = Position { latitude: position.0, longitude: position.1 };
        let sun = day(position, day_of, &zone).unwrap();
        assert_eq!((sun.sunrise.len(), sun.sunset.len(), sun.course), expected, "{day_of} {sun:?}");
    }

    #[test]
    fn days_at_the_edges_of_the_earth() {
        use Course::*;
        let tromso = (69.65, 18.96);
        check(tromso, "Europe/Oslo", date(2024, 12, 21), (0, 0, AlwaysDown));
        check(tromso, "Europe/Oslo", date(2024, 6, 21), (0, 0, AlwaysUp));
        check(tromso, "Europe/Oslo", date(2024, 3, 21), (1, 1, RisesAndSets));
        for (pole, june) in [(90.0, AlwaysUp), (-90.0, AlwaysDown)] {
            check((pole, 0.0), "UTC", date(2025, 6, 21), (0, 0, june));
        }
        check((0.0, 180.0), "UTC", date(2025, 6, 21), (1, 1, RisesAndSets));
        check((0.0, -180.0), "UTC", date(2025, 6, 21), (1, 1, RisesAndSets));
    }

    #[test]
    fn far_years_skipped_days_and_impossible_positions_have_no_sun() {
        let apia = TimeZoneDatabase::bundled().get("Pacific/Apia").unwrap();
        let position = Position { latitude: -13.83, longitude: -171.77 };
        assert_eq!(day(position, date(2011, 12, 30), &apia), None);
        assert!(day(position, date(2011, 12, 29), &apia).is_some());
        for year in [-9999, 1899, 2200, 9999] {
            assert_eq!(day(position, date(year, 6, 1), &TimeZone::UTC), None, "{year}");
        }
        assert_eq!(day(Position { latitude: f64::NAN, longitude: 0.0 }, date(2025, 1, 1), &TimeZone::UTC), None);
        assert_eq!(day(Position { latitude: 91.0, longitude: 0.0 }, date(2025, 1, 1), &TimeZone::UTC), None);
        assert_eq!(next_event(position, SunEvent::Dawn, Timestamp::MAX), None);
        assert_eq!(next_event(position, SunEvent::Dawn, Timestamp::MIN), None);
    }

    /// At 30° S 100° W, 2024-05-07 UTC has a sunset at either end; values of the US Naval Observatory as quoted in a bug
    /// report about a library that lost one of them. Two minutes of tolerance: they are given to the minute.
    #[test]
    fn one_day_may_have_two_sunsets() {
        let position = Position { latitude: -30.0, longitude: -100.0 };
        let sunset = |day_of| day(position, day_of, &TimeZone::UTC).unwrap().sunset;
        for (day_of, expected) in [
            (date(2024, 5, 5), vec!["2024-05-05T00:02:00Z"]),
            (date(2024, 5, 6), vec!["2024-05-06T00:01:00Z"]),
            (date(2024, 5, 7), vec!["2024-05-07T00:00:00Z", "2024-05-07T23:59:00Z"]),
        ] {
            let found = sunset(day_of);
            assert_eq!(found.len(), expected.len(), "{day_of} {found:?}");
            for (found, expected) in found.iter().zip(expected) {
                let expected: Timestamp = expected.parse().unwrap();
                assert!((found.as_second() - expected.as_second()).abs() <= 120, "{found} {expected}");
            }
        }
    }

    #[test]
    fn next_event_crosses_the_polar_night() {
        let tromso = Position { latitude: 69.65, longitude: 18.96 };
        let zone = TimeZoneDatabase::bundled().get("Europe/Oslo").unwrap();
        let from: Timestamp = "2024-12-01T12:00:00Z".parse().unwrap();
        let next = next_event(tromso, SunEvent::Sunrise, from).unwrap();
        let next_date = zone.to_datetime(next).date();
        assert_eq!(day(tromso, next_date, &zone).unwrap().sunrise, vec![next]);
        assert_eq!(day(tromso, next_date.yesterday().unwrap(), &zone).unwrap().course, Course::AlwaysDown);
        assert!(next_event(tromso, SunEvent::Sunrise, next).unwrap() > next);
        assert_eq!(next_event(Position { latitude: 90.0, longitude: 0.0 }, SunEvent::Sunrise, from), None);
    }
}
