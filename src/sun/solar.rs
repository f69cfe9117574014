//! One solar day at a position: its events by the crate `sunrise`, corrected. It knows nothing of zones or civil days.
//!
//! The crate alone evaluates the sun at local mean noon and holds that declination for the whole day, which puts sunset
//! at 60° wrong by up to 144 s, and it leaves precession out of the perihelion, which adds error every year. Both are
//! mended from outside by choosing *when* it evaluates the sun: at the event itself, found by repeating, and that many
//! days later as precession has moved the longitude since J2000. Checked against NREL's solar position algorithm in
//! `tests/sun.rs`.

use chrono::{DateTime, NaiveDate};
use jiff::Timestamp;
use sunrise::{Coordinates, DawnType, SolarDay, SolarEvent};

use super::{Position, SunEvent, YEARS};

const DAY_S: f64 = 86_400.0;
const HALF_DAY_S: f64 = DAY_S / 2.0;

/// 2000-01-01T12:00 in Unix seconds, and the seconds of a Julian century.
const J2000_S: f64 = 946_728_000.0;
const CENTURY_S: f64 = 36_525.0 * DAY_S;

/// General precession in longitude, degrees a century, and the sun's mean motion, degrees a day.
const PRECESSION_DEG: f64 = 1.3972;
const MEAN_MOTION_DEG: f64 = 0.98565;

/// Passes until an event is found; two settle it except where the sun grazes the horizon.
const PASSES_MAX: u32 = 8;

/// A pass that moves the event by less than this, in seconds, was the last.
const SETTLED_S: f64 = 1.0;

/// A solar day, counted like civil days from 1970-01-01 but from mean midnight to mean midnight of a longitude.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct SolarDate(i64);

impl SolarDate {
    /// The solar day whose mean noon is nearest to an instant in Unix seconds: the one that the instant is in.
    pub(crate) fn nearest_noon(position: Position, at_s: i64) -> Option<SolarDate> {
        Coordinates::new(position.latitude, position.longitude)?;
        SolarDate::checked((at_s as f64 / DAY_S + position.longitude / 360.0).floor() as i64)
    }

    /// The solar day so many days later.
    pub(crate) fn plus(self, days: i64) -> Option<SolarDate> {
        SolarDate::checked(self.0.checked_add(days)?)
    }

    fn checked(days: i64) -> Option<SolarDate> {
        let first = NaiveDate::from_ymd_opt(i32::from(YEARS.0), 1, 1)?.to_epoch_days();
        let last = NaiveDate::from_ymd_opt(i32::from(YEARS.1), 12, 31)?.to_epoch_days();
        (i64::from(first)..=i64::from(last)).contains(&days).then_some(SolarDate(days))
    }

    /// Mean noon in Unix seconds: twelve hours by a clock set to the longitude.
    fn mean_noon_s(self, position: Position) -> f64 {
        (self.0 as f64 - position.longitude / 360.0) * DAY_S + HALF_DAY_S
    }

    /// Mean noon, which unlike true noon keeps its distance to the zone's clock all year.
    pub(crate) fn mean_noon(self, position: Position) -> Option<Timestamp> {
        instant(self.mean_noon_s(position))
    }

    /// True noon: the sun's transit.
    pub(crate) fn true_noon(self, position: Position) -> Option<Timestamp> {
        let mean_noon_s = self.mean_noon_s(position);
        instant(mean_noon_s + Sun::at(mean_noon_s)?.transit_s)
    }

    /// True midnight before this day's noon.
    pub(crate) fn midnight_before(self, position: Position) -> Option<Timestamp> {
        let mean_midnight_s = self.mean_noon_s(position) - HALF_DAY_S;
        instant(mean_midnight_s + Sun::at(mean_midnight_s)?.transit_s)
    }

    /// An event of this solar day. A setting one may lie up to half an hour beyond its midnight, because true noon and
    /// mean noon differ. `None` if the sun does not reach the event's elevation.
    pub(crate) fn event(self, position: Position, event: SunEvent) -> Option<Timestamp> {
        let noon_s = self.mean_noon_s(position);
        let side = if event.is_rising() { -1.0 } else { 1.0 };
        let mut offset_s = side * DAY_S / 4.0;
        let mut found = false;
        for _ in 0..PASSES_MAX {
            // Without an event the place to look again is where the sun comes nearest to the horizon: its declination
            // there, half a day off, may reach what it misses here.
            let nearest_s = || if self.is_above(position, event) { side * HALF_DAY_S } else { 0.0 };
            let next = event_offset_s(position.latitude, noon_s + offset_s, event);
            found = next.is_some();
            let next_s = next.unwrap_or_else(nearest_s);
            let moved_s = (next_s - offset_s).abs();
            offset_s = next_s;
            if moved_s < SETTLED_S {
                break;
            }
        }
        if found { instant(noon_s + offset_s) } else { None }
    }

    /// On which side of an event's elevation the sun stays, given that it does not cross it: within a day it swings about
    /// its declination, seen from the nearer pole.
    pub(crate) fn is_above(self, position: Position, event: SunEvent) -> bool {
        let declination = Sun::at(self.mean_noon_s(position)).map_or(0.0, |sun| sun.declination);
        declination * position.latitude.signum() > event.elevation()
    }
}

/// The elevation of the sun's centre at an instant in Unix seconds, in degrees, as geometry gives it.
pub(super) fn elevation(position: Position, at_s: f64) -> Option<f64> {
    let noon_s = SolarDate::nearest_noon(position, at_s as i64)?.mean_noon_s(position);
    let sun = Sun::at(at_s)?;
    let hour_angle = (at_s - noon_s - sun.transit_s) / DAY_S * std::f64::consts::TAU;
    let (latitude, declination) = (position.latitude.to_radians(), sun.declination.to_radians());
    let sine = latitude.sin() * declination.sin() + latitude.cos() * declination.cos() * hour_angle.cos();
    Some(sine.clamp(-1.0, 1.0).asin().to_degrees())
}

/// The sun at an instant, read out of the crate through the events of a place where they always happen.
struct Sun {
    /// Degrees north.
    declination: f64,
    /// True noon less mean noon, in seconds.
    transit_s: f64,
}

impl Sun {
    fn at(instant_s: f64) -> Option<Sun> {
        let (day, centre_s) = solar_day(45.0, instant_s)?;
        let crossing_s = |morning| {
            let crossing = day.event_time(SolarEvent::Elevation { elevation: 0.0, morning })?;
            Some(seconds(crossing) - centre_s)
        };
        let (rise_s, set_s) = (crossing_s(true)?, crossing_s(false)?);
        // cos(hour angle) = −tan(latitude) tan(declination), with tan(45°) = 1.
        let hour_angle = (set_s - rise_s) / DAY_S * std::f64::consts::PI;
        Some(Sun { declination: (-hour_angle.cos()).atan().to_degrees(), transit_s: rise_s.midpoint(set_s) })
    }
}

/// Where an event lies in seconds from mean noon, if the sun stood all day as it does at `sun_at_s`.
fn event_offset_s(latitude: f64, sun_at_s: f64, event: SunEvent) -> Option<f64> {
    let (day, centre_s) = solar_day(latitude, sun_at_s)?;
    let wanted = match event {
        SunEvent::Dawn => SolarEvent::Dawn(DawnType::Civil),
        SunEvent::Sunrise => SolarEvent::Sunrise,
        SunEvent::Sunset => SolarEvent::Sunset,
        SunEvent::Dusk => SolarEvent::Dusk(DawnType::Civil),
    };
    Some(seconds(day.event_time(wanted)?) - centre_s)
}

/// The crate's day for the sun as it stands at an instant, and the mean noon that it reckons from, in Unix seconds. The
/// crate takes no instant but a date and a longitude, of which it uses the mean noon, so one is made to fit.
fn solar_day(latitude: f64, instant_s: f64) -> Option<(SolarDay, f64)> {
    let precession_s = (instant_s - J2000_S) / CENTURY_S * PRECESSION_DEG / MEAN_MOTION_DEG * DAY_S;
    let centre_s = instant_s + precession_s;
    let centre_days = (centre_s - HALF_DAY_S) / DAY_S;
    let date = centre_days.round();
    let longitude = ((date - centre_days) * 360.0).clamp(-180.0, 180.0);
    let coordinates = Coordinates::new(latitude, longitude)?;
    let date = NaiveDate::from_epoch_days(date as i32)?;
    Some((SolarDay::new(coordinates, date), centre_s))
}

/// The crate cuts its instants to whole seconds; half of one is what that loses on average.
fn seconds(time: DateTime<chrono::Utc>) -> f64 {
    time.timestamp() as f64 + 0.5
}

fn instant(seconds: f64) -> Option<Timestamp> {
    Timestamp::from_second(seconds.round() as i64).ok()
}
