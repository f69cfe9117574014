//! The span of time that figures show: half a day behind and half a day ahead, with its nights and the hours on the clock of
//! the house. It never draws.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::engine::near;
use crate::house::Site;
use crate::sun::{self, elevation};
use crate::units::{Span, WallTime};

/// So much lies on each side of now.
pub const HALF: Span = Span::from_h(12);
/// Every so many hours the clock is written at a figure.
const TICK_H: i8 = 3;
const QUARTER_MS: i64 = 900_000;
/// Where the sun's centre stands when its upper limb is at the horizon, in degrees.
const HORIZON: f64 = -0.833;

/// A span of time with what is drawn behind every figure of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Day {
    /// Where the figure begins.
    pub from: WallTime,
    /// Now, where that is within it.
    pub now: WallTime,
    /// Where it ends.
    pub to: WallTime,
    /// From sunset to sunrise, as far as it lies within.
    pub nights: Vec<(WallTime, WallTime)>,
    /// Full hours and what the clock then shows.
    pub ticks: Vec<(WallTime, String)>,
    /// The zone of the house.
    pub zone: TimeZone,
}

impl Day {
    /// Half a day behind and half a day ahead.
    pub fn around(now: WallTime, site: &Site) -> Day {
        Day::between(back(now, HALF), now, now + HALF, site)
    }

    /// The day behind.
    pub fn behind(now: WallTime, site: &Site) -> Day {
        Day::between(back(now, Span::from_h(24)), now, now, site)
    }

    fn between(from: WallTime, now: WallTime, to: WallTime, site: &Site) -> Day {
        let (nights, ticks) = (nights(from, to, site), ticks(from, to, &site.zone));
        Day { from, now, to, nights, ticks, zone: site.zone.clone() }
    }

    /// Where a moment lies, in percent of the figure's width, 0 to 100.
    pub fn x(&self, at: WallTime) -> f64 {
        let whole = (self.to.0 - self.from.0).max(1) as f64;
        let part = (at.0.clamp(self.from.0, self.to.0) - self.from.0) as f64;
        (part / whole * 10_000.0).round() / 100.0
    }

    /// `14:02` today, with the day else.
    pub fn clock(&self, at: WallTime) -> String {
        near(at, self.now, &self.zone)
    }
}

fn back(at: WallTime, span: Span) -> WallTime {
    WallTime(at.0.saturating_sub(span.0 as i64))
}

fn ticks(from: WallTime, to: WallTime, zone: &TimeZone) -> Vec<(WallTime, String)> {
    // Clocks differ by quarters of an hour; looking at each finds full hours also where a clock is set forward or back.
    let quarters = from.0.div_euclid(QUARTER_MS)..=to.0.div_euclid(QUARTER_MS);
    let moments = quarters.map(|quarter| WallTime(quarter.saturating_mul(QUARTER_MS))).filter(|at| *at >= from);
    let ticks = moments.filter_map(|at| {
        let clock = at.instant().to_zoned_datetime(zone.clone());
        (clock.minute() == 0 && clock.hour() % TICK_H == 0).then(|| (at, clock.strftime("%H").to_string()))
    });
    ticks.collect()
}

fn nights(from: WallTime, to: WallTime, site: &Site) -> Vec<(WallTime, WallTime)> {
    let position = site.setting().position;
    let Some(degrees) = elevation(position, from.instant()) else { return Vec::new() };
    let mut turns: Vec<(Timestamp, bool)> = Vec::new();
    let first = from.instant().to_zoned_datetime(site.zone.clone()).date();
    for days in -1..=2 {
        let date = first.checked_add(jiff::Span::new().days(days)).ok();
        if let Some(day) = date.and_then(|date| sun::day(position, date, &site.zone)) {
            turns.extend(day.sunrise.into_iter().map(|at| (at, false)));
            turns.extend(day.sunset.into_iter().map(|at| (at, true)));
        }
    }
    turns.sort();
    turns.dedup();
    let mut nights = Vec::new();
    let mut dark_since = (degrees < HORIZON).then_some(from);
    for (at, is_sunset) in turns {
        let at = WallTime::from(at);
        if at <= from || at >= to {
            continue;
        }
        match (is_sunset, dark_since) {
            (true, None) => dark_since = Some(at),
            (false, Some(since)) => {
                nights.push((since, at));
                dark_since = None;
            }
            _ => {}
        }
    }
    nights.extend(dark_since.map(|since| (since, to)));
    nights
}

#[cfg(test)]
pub(super) mod tests {
    use jiff::tz::TimeZoneDatabase;

    use super::*;

    pub fn site(latitude: f64) -> Site {
        let zone = TimeZoneDatabase::bundled().get("Europe/London").expect("bundled");
        let zone_name = "Europe/London".to_owned();
        Site { latitude, longitude: -3.14, zone_name, zone, stagger: Span::ZERO }
    }

    pub fn time(text: &str) -> WallTime {
        WallTime::from(text.parse::<Timestamp>().expect("a time"))
    }

    fn check(at: &str, latitude: f64, nights: &[(&str, &str)]) {
        let day = Day::around(time(at), &site(latitude));
        let clock = |at| day.clock(at);
        let found: Vec<(String, String)> = day.nights.iter().map(|(from, to)| (clock(*from), clock(*to))).collect();
        let expected: Vec<(String, String)> =
            nights.iter().map(|(from, to)| (from.to_string(), to.to_string())).collect();
        assert_eq!(found, expected, "{at} at {latitude}");
    }

    #[test]
    fn nights_are_from_sunset_to_sunrise() {
        // As `sun` tells them, which `tests/sun.rs` holds against the algorithm of NREL.
        check("2026-11-25T21:00:00Z", 54.60, &[("15:57", "Thu 08:03")]);
        // Around noon there is the end of one night and the beginning of the next.
        let day = Day::around(time("2026-11-25T12:00:00Z"), &site(54.60));
        assert_eq!((day.nights.len(), day.nights[0].0, day.nights[1].1), (2, day.from, day.to));
    }

    #[test]
    fn where_the_sun_never_rises_it_is_night_and_where_it_never_sets_there_is_none() {
        let day = Day::around(time("2026-12-21T12:00:00Z"), &site(78.2));
        assert_eq!(day.nights, [(day.from, day.to)]);
        assert!(Day::around(time("2026-06-21T12:00:00Z"), &site(78.2)).nights.is_empty());
    }

    #[test]
    fn the_clock_is_written_every_three_hours_also_where_it_is_set_back() {
        let day = Day::around(time("2026-10-25T01:30:00Z"), &site(54.60));
        let hours: Vec<&str> = day.ticks.iter().map(|(_, hour)| hour.as_str()).collect();
        assert_eq!(hours, ["15", "18", "21", "00", "03", "06", "09", "12"]);
        assert!((day.x(day.now) - 50.0).abs() < 0.01);
    }
}
