//! A rise within a span, with its deadband and its memory. It never looks at a clock: time is handed in with the readings.
//!
//! # What it means
//!
//! A reading counts from when it came until the next one. The condition becomes true when the reading is `by` or more above
//! the lowest that counted within the last `within`; that lowest is its *base*. It stays true until the reading has come
//! back to the base plus `by` less `back_by`, however long that takes and however high it went meanwhile. So
//! `rises = 5, until_back_by = 3` from 55 % begins at 60 and ends at 57: what makes a bathroom fan run until the air is as
//! dry as before the shower, or nearly. To end 3 below the peak would stop it in the fog.
//!
//! Begin and end are `back_by` apart, so readings that span less than that turn it at most once (I7): to begin anew after an
//! end the reading must rise from there by `by`, which is no less. A fall is the same upside down.
//!
//! Unknown keeps the base, as a threshold keeps its memory. What counted before a gap is forgotten once it lies more than
//! `within` back.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::house::{Rise, Truth};
use crate::units::{BootTime, Finite, Moment, Span};

/// Of readings that come faster than this part of the span, a higher one right behind a lower is not kept: it is forgotten by
/// so much too early. That bounds the memory whatever a sensor sends.
const PARTS: u64 = 64;

/// What decimal fractions lose when they are added: 0.3 - 0.1 is not quite 0.2.
const HAIR: f64 = 1e-9;

/// What a rise remembers.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct RiseMemory {
    /// While it is true, where it rose from.
    base: Option<Finite>,
    /// The reading that counts now.
    #[serde(skip)]
    present: Option<Finite>,
    /// A reading that was recalled after a restart: nobody knows until when it was so, and so it never counted until the next.
    #[serde(skip)]
    recalled: Option<Finite>,
    /// Readings that counted, with when each ceased to; of a rise ascending and of a fall descending, as one that is passed
    /// by a later one is no lowest any more.
    past: VecDeque<(Moment, Finite)>,
}

/// The truth of a rise for a reading in the sensor's unit, `None` while it is unknown.
pub fn rise_truth(rise: &Rise, reading: Option<Finite>, now: BootTime, memory: &mut RiseMemory) -> Truth {
    if memory.present != reading {
        memory.retire(rise, now);
        memory.present = reading;
        memory.recalled = memory.recalled.filter(|recalled| reading.is_none_or(|reading| reading == *recalled));
    }
    memory.forget(rise.within, now);
    let Some(value) = reading else { return Truth::Unknown };
    let sign = rise.trend.sign();
    // How far the reading is from one that counted, the way that the rise goes.
    let above = |other: Finite| (value.get() - other.get()) * sign;
    let hair = HAIR * rise.by;
    match memory.base {
        Some(base) if above(base) <= rise.by - rise.back_by + hair => memory.base = None,
        Some(_) => {}
        None => {
            let lowest = memory.lowest(rise, now).unwrap_or(value);
            if above(lowest) >= rise.by - hair {
                memory.base = Some(lowest);
            }
        }
    }
    Truth::from(memory.base.is_some())
}

impl RiseMemory {
    /// While it is true, where it rose from.
    pub fn base(&self) -> Option<Finite> {
        self.base
    }

    /// The lowest reading that counted within the span; of a fall the highest.
    pub fn lowest(&self, rise: &Rise, now: BootTime) -> Option<Finite> {
        let counts = |(until, _): &&(Moment, Finite)| until.age(now) <= rise.within;
        let past = self.past.iter().find(counts).map(|(_, value)| *value);
        let sign = rise.trend.sign();
        [past, self.present].into_iter().flatten().min_by(|a, b| (a.get() * sign).total_cmp(&(b.get() * sign)))
    }

    /// As it is kept: what counts now has counted until now.
    pub fn kept(&self, rise: &Rise, now: BootTime) -> RiseMemory {
        let mut kept = self.clone();
        kept.retire(rise, now);
        kept.forget(rise.within, now);
        kept
    }

    /// The reading that counts now is one that was recalled after a restart.
    pub fn doubt_present(&mut self) {
        self.recalled = self.present;
    }

    /// Moves its times onto another boot's clock, or forgets what counted where nothing tells how.
    pub fn move_times(&mut self, past: Option<&dyn Fn(Moment) -> Moment>) {
        match past {
            Some(past) => self.past.iter_mut().for_each(|(until, _)| *until = past(*until)),
            None => self.past.clear(),
        }
    }

    /// The reading that counts now ceases to.
    fn retire(&mut self, rise: &Rise, now: BootTime) {
        let Some(value) = self.present.take().filter(|value| self.recalled != Some(*value)) else { return };
        let sign = rise.trend.sign();
        while self.past.back().is_some_and(|(_, last)| last.get() * sign >= value.get() * sign) {
            self.past.pop_back();
        }
        let is_close = |(until, _): &(Moment, Finite)| until.age(now).0 < rise.within.0 / PARTS;
        if !self.past.back().is_some_and(is_close) {
            self.past.push_back((now.into(), value));
        }
    }

    fn forget(&mut self, within: Span, now: BootTime) {
        while self.past.front().is_some_and(|(until, _)| until.age(now) > within) {
            self.past.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::house::{Place, SensorId, Trend};
    use Truth::{False, True, Unknown};

    fn rise(trend: Trend, by: f64, within_s: u64, back_by: f64) -> Rise {
        let within = Span::from_s(within_s);
        Rise { sensor: SensorId(0), trend, by, within, back_by, place: Place::default() }
    }

    /// Humidity in a bathroom: 5 within 3 minutes, until 3 of them are gone.
    fn bath() -> Rise {
        rise(Trend::Rises, 5.0, 180, 3.0)
    }

    /// Feeds (second, reading) and compares the truths.
    fn check(rise: &Rise, readings: &[(u64, Option<f64>)], expected: &[Truth]) {
        let mut memory = RiseMemory::default();
        let truths: Vec<Truth> = readings
            .iter()
            .map(|(second, value)| rise_truth(rise, value.and_then(Finite::new), BootTime(second * 1000), &mut memory))
            .collect();
        assert_eq!(truths, expected, "{readings:?}");
        // A fall is the same upside down.
        if rise.trend == Trend::Rises {
            let upside_down: Vec<_> =
                readings.iter().map(|(second, value)| (*second, value.map(|value| -value))).collect();
            check(&Rise { trend: Trend::Falls, ..rise.clone() }, &upside_down, expected);
        }
    }

    #[test]
    fn a_shower_begins_at_base_plus_five_and_ends_at_base_plus_two() {
        let shower =
            [(0, 55.0), (60, 57.0), (120, 59.9), (150, 60.0), (300, 85.0), (1200, 80.0), (2400, 57.1), (2460, 57.0)];
        let shower = shower.map(|(second, value)| (second, Some(value)));
        check(&bath(), &shower, &[False, False, False, True, True, True, True, False]);
    }

    #[test]
    fn a_slow_rise_is_none() {
        let slow: Vec<_> = (0..60).map(|minute| (minute * 60, Some(50.0 + minute as f64))).collect();
        check(&bath(), &slow, &[False; 60]);
    }

    #[test]
    fn a_reading_counts_until_the_next_and_then_for_the_span() {
        // 55 counted until second 1000, so 60 is a rise until second 1180, and none after.
        check(&bath(), &[(0, Some(55.0)), (1000, Some(56.0)), (1180, Some(60.0))], &[False, False, True]);
        check(&bath(), &[(0, Some(55.0)), (1000, Some(56.0)), (1181, Some(60.0))], &[False, False, False]);
    }

    #[test]
    fn what_decimals_lose_does_not_count() {
        let fine = rise(Trend::Rises, 0.2, 60, 0.1);
        check(&fine, &[(0, Some(0.1)), (1, Some(0.3)), (2, Some(0.2))], &[False, True, False]);
    }

    #[test]
    fn unknown_keeps_the_base_and_a_long_gap_forgets_what_counted() {
        check(
            &bath(),
            &[(0, Some(55.0)), (60, Some(70.0)), (120, None), (900, Some(60.0))],
            &[False, True, Unknown, True],
        );
        check(&bath(), &[(0, Some(55.0)), (60, None), (241, Some(70.0))], &[False, Unknown, False]);
        check(&bath(), &[(0, Some(55.0)), (60, None), (240, Some(70.0))], &[False, Unknown, True]);
    }

    #[test]
    fn what_is_kept_goes_on_where_it_was() {
        let mut memory = RiseMemory::default();
        let at = |second: u64| BootTime(second * 1000);
        rise_truth(&bath(), Finite::new(55.0), at(10), &mut memory);
        let mut kept = memory.kept(&bath(), at(100));
        assert_eq!(rise_truth(&bath(), Finite::new(60.0), at(280), &mut kept), True);
        assert_eq!(kept.base(), Finite::new(55.0));
        let mut moved = memory.kept(&bath(), at(100));
        moved.move_times(None);
        assert_eq!(rise_truth(&bath(), Finite::new(60.0), at(120), &mut moved), False);
    }

    proptest! {
        /// In the spirit of I7: readings that span less than the deadband turn it at most once.
        #[test]
        fn noise_inside_the_deadband_turns_it_at_most_once(
            before in prop::collection::vec((0_u64..300, 0.0..40.0_f64), 0..20), base in 0.0..40.0_f64, by in 0.2..10.0_f64,
            part in 0.05..1.0_f64, noise in prop::collection::vec((0_u64..300, 0.0..0.999_f64), 1..60), falls in any::<bool>(),
        ) {
            let back_by = by * part;
            let rise = rise(if falls { Trend::Falls } else { Trend::Rises }, by, 180, back_by);
            let mut memory = RiseMemory::default();
            let mut at = BootTime(0);
            let mut feed = |(after_s, value): (u64, f64)| {
                at = at + Span::from_s(after_s);
                rise_truth(&rise, Finite::new(value), at, &mut memory)
            };
            before.into_iter().for_each(|reading| {
                feed(reading);
            });
            let truths: Vec<Truth> = noise.into_iter().map(|(after_s, part)| feed((after_s, base + part * back_by))).collect();
            let changes = truths.windows(2).filter(|pair| pair[0] != pair[1]).count();
            prop_assert!(changes <= 1, "{truths:?}");
        }

        /// Against a plain look at everything that counted, for readings no closer than a part of the span; and the memory
        /// is bounded for any readings.
        #[test]
        fn it_agrees_with_a_plain_look_and_is_bounded(
            readings in prop::collection::vec((0_u64..20_000, 0_i32..40), 1..200), falls in any::<bool>(), close in any::<bool>(),
        ) {
            let rise = rise(if falls { Trend::Falls } else { Trend::Rises }, 5.0, 64, 3.0);
            let mut memory = RiseMemory::default();
            let (mut at, mut told) = (1_000_000_u64, Vec::<(u64, f64)>::new());
            let mut base: Option<f64> = None;
            for (after_ms, value) in readings {
                at += if close { after_ms / 100 } else { after_ms.max(1000) };
                told.push((at, f64::from(value)));
                let found = rise_truth(&rise, Finite::new(f64::from(value)), BootTime(at), &mut memory);
                prop_assert!(memory.past.len() <= PARTS as usize + 2, "{}", memory.past.len());
                if close {
                    continue;
                }
                let sign = rise.trend.sign();
                let ends = told.iter().skip(1).map(|(next, _)| *next).chain([at]);
                let counting = told.iter().zip(ends).filter(|(_, end)| at - end <= 64_000).map(|((_, value), _)| value * sign);
                let lowest = counting.fold(f64::INFINITY, f64::min);
                let now = f64::from(value) * sign;
                base = match base {
                    Some(base) if now <= base + 2.0 => None,
                    Some(base) => Some(base),
                    None => (now >= lowest + 5.0).then_some(lowest),
                };
                prop_assert_eq!(found, Truth::from(base.is_some()), "{:?}", told);
            }
        }
    }
}
