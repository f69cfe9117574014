//! How high the sun stands, and when it passes an elevation. It never asks what time it is.
//!
//! Elevation is that of the sun's centre, as geometry gives it: the air lifts the sun by about half a degree at the horizon,
//! and that is left out, as it is in the definition of civil twilight (centre 6° below the horizon). So `dusk` is where it
//! passes −6°, and sunrise and sunset, which are defined by the upper limb and the air, are near −0.83°. It is good to a tenth
//! of a degree between 1950 and 2100, which the sun passes in half a minute (`tests/sun.rs`).
//!
//! There is no deadband because none is needed. Between true midnight and true noon the sun only rises, and between noon and
//! midnight it only sinks, so a bound is passed at most once in each half day; and it is not measured but computed, so
//! nothing wavers.

use std::fmt;

use jiff::Timestamp;

use super::{Position, SEARCH_DAYS, SolarDate, solar};

/// A bound on the sun's elevation; inclusive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ElevationBound {
    /// Whether the sun is to stand at least so high, or else at most.
    pub at_least: bool,
    /// Degrees above the horizon, −90 to 90.
    pub degrees: f64,
}

/// The elevation of the sun's centre at an instant, in degrees, without refraction. `None` outside [`super::YEARS`] and
/// for a position that is none.
pub fn elevation(position: Position, at: Timestamp) -> Option<f64> {
    solar::elevation(position, at.as_millisecond() as f64 / 1000.0)
}

impl ElevationBound {
    /// Whether the bound is met in the second that an instant lies in, as it begins; `None` where the sun is not known.
    pub fn is_met(&self, at: Timestamp, position: Position) -> Option<bool> {
        self.is_met_in(second(at), position)
    }

    fn is_met_in(&self, second: i64, position: Position) -> Option<bool> {
        let degrees = solar::elevation(position, second as f64)?;
        Some(if self.at_least { degrees >= self.degrees } else { degrees <= self.degrees })
    }

    /// The first instant strictly after another at which [`ElevationBound::is_met`] changes: the beginning of a second, the
    /// same one wherever the search begins. `None` where it does not within 400 days, which is for ever, or where the sun is
    /// not known.
    pub fn next_change(&self, after: Timestamp, position: Position) -> Option<Timestamp> {
        let was_met = self.is_met(after, position)?;
        let around = SolarDate::nearest_noon(position, after.as_second())?;
        let mut before = after;
        for days in -1..=SEARCH_DAYS {
            let day = around.plus(days)?;
            for extreme in [day.midnight_before(position)?, day.true_noon(position)?] {
                if extreme <= after {
                    continue;
                }
                if self.is_met(extreme, position)? != was_met {
                    return self.between(before, extreme, was_met, position);
                }
                before = extreme;
            }
        }
        None
    }

    /// The change that lies between two instants, by halving.
    fn between(&self, before: Timestamp, after: Timestamp, was_met: bool, position: Position) -> Option<Timestamp> {
        let (mut low, mut high) = (second(before), second(after));
        while high - low > 1 {
            let middle = low.midpoint(high);
            if self.is_met_in(middle, position)? == was_met {
                low = middle;
            } else {
                high = middle;
            }
        }
        Timestamp::from_second(high).ok()
    }

    /// The least and the greatest elevation that the sun reaches at a position in the course of years, in degrees. The
    /// obliquity of the ecliptic, 23.44°, is that of the years around 2000 (Astronomical Almanac).
    pub fn reach(position: Position) -> (f64, f64) {
        const OBLIQUITY: f64 = 23.44;
        let from_pole = 90.0 - position.latitude.abs();
        let lowest = if from_pole >= 90.0 - OBLIQUITY { -90.0 } else { -from_pole - OBLIQUITY };
        (lowest, -lowest)
    }
}

/// The second that an instant lies in, since 1970.
fn second(at: Timestamp) -> i64 {
    at.as_millisecond().div_euclid(1000)
}

impl fmt::Display for ElevationBound {
    /// `<= -3`, as it is written.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", if self.at_least { ">=" } else { "<=" }, self.degrees)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::sun::{SunEvent, next_event};

    const ROWAN: Position = Position { latitude: 54.60, longitude: -3.14 };

    fn at(text: &str) -> Timestamp {
        text.parse().expect("an instant")
    }

    #[test]
    fn six_below_is_civil_dusk_and_dawn() {
        let noon = at("2026-05-12T12:00:00Z");
        let below = ElevationBound { at_least: false, degrees: -6.0 };
        let (dusk, begins) = (next_event(ROWAN, SunEvent::Dusk, noon), below.next_change(noon, ROWAN));
        let apart = |one: Option<Timestamp>, other: Option<Timestamp>| {
            (one.expect("it comes").as_second() - other.expect("it comes").as_second()).abs()
        };
        assert!(apart(dusk, begins) <= 5, "{dusk:?} {begins:?}");
        let ends = below.next_change(begins.expect("it comes"), ROWAN);
        assert!(apart(next_event(ROWAN, SunEvent::Dawn, noon), ends) <= 5);
    }

    #[test]
    fn a_change_comes_at_the_same_instant_wherever_the_search_begins() {
        let bound = ElevationBound { at_least: false, degrees: -3.0 };
        for noon in ["1965-05-12T12:00:00Z", "2026-05-12T12:00:00Z"] {
            let next = bound.next_change(at(noon), ROWAN).expect("it comes");
            let before = |ms: i64| Timestamp::from_millisecond(next.as_millisecond() - ms).expect("an instant");
            for ms in [1, 2, 500, 999, 1000, 1001, 61_234, 3_600_777] {
                assert_eq!(bound.is_met(before(ms), ROWAN), Some(false), "after {noon}, {ms} ms before");
                assert_eq!(bound.next_change(before(ms), ROWAN), Some(next), "after {noon}, from {ms} ms before");
            }
            assert_eq!(bound.is_met(next, ROWAN), Some(true), "after {noon}");
        }
    }

    #[test]
    fn what_the_sun_never_reaches_never_changes() {
        let noon = at("2026-05-12T12:00:00Z");
        let (lowest, highest) = ElevationBound::reach(ROWAN);
        assert!((highest - 58.84).abs() < 0.01 && lowest == -highest);
        assert_eq!(ElevationBound { at_least: true, degrees: highest + 0.1 }.next_change(noon, ROWAN), None);
        assert!(ElevationBound { at_least: true, degrees: highest - 0.1 }.next_change(noon, ROWAN).is_some());
        assert_eq!(ElevationBound::reach(Position { latitude: -10.0, longitude: 0.0 }), (-90.0, 90.0));
        let nowhere = Position { latitude: f64::NAN, longitude: 0.0 };
        assert_eq!(ElevationBound { at_least: true, degrees: 0.0 }.next_change(noon, nowhere), None);
        assert_eq!(elevation(ROWAN, Timestamp::MAX), None);
    }

    #[test]
    fn it_crosses_the_polar_night() {
        let tromso = Position { latitude: 69.65, longitude: 18.96 };
        let bound = ElevationBound { at_least: true, degrees: 0.0 };
        let next = bound.next_change(at("2026-12-01T12:00:00Z"), tromso).expect("it comes back");
        // The centre stands above the horizon again in the middle of January.
        assert!(next > at("2027-01-10T00:00:00Z") && next < at("2027-01-25T00:00:00Z"), "{next}");
    }

    proptest! {
        /// Between an instant and the next change nothing changes, and there it does.
        #[test]
        fn changes_and_bounds_agree(latitude in -90.0..90.0_f64, longitude in -180.0..180.0_f64, degrees in -60.0..60.0_f64,
            at_least in any::<bool>(), second in 1_600_000_000_i64..2_000_000_000) {
            let (position, bound) = (Position { latitude, longitude }, ElevationBound { at_least, degrees });
            let after = Timestamp::from_second(second).expect("an instant of our age");
            let was_met = bound.is_met(after, position);
            let next = bound.next_change(after, position);
            let end = next.map_or(second + 86_400, Timestamp::as_second);
            if let Some(next) = next {
                prop_assert!(next > after);
                prop_assert_ne!(bound.is_met(next, position), was_met);
            }
            let graze = |at| (elevation(position, at).expect("known") - degrees).abs() < 0.01;
            for step in 1..20 {
                let sample = Timestamp::from_second(second + (end - second) * step / 20).expect("an instant of our age");
                prop_assert!(bound.is_met(sample, position) == was_met || graze(sample), "{sample}");
            }
        }
    }
}
