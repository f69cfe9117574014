//! stray: a single reading far from those before it changes no threshold of a sensor that is smoothed by a median or held to a
//! rate. It is seen in the orders for a load that follows one threshold and nothing else.
//!
//! A reading that goes on from one of the last so many is no stray: what was taken for good last stays what a rate is measured
//! from, through silence, losses, restarts and whatever is refused after it, and after a silence a stray is taken for good, for
//! nothing tells it from a change. Which of them was, only the engine knows.

use std::collections::BTreeMap;

use super::super::happening::{Happening, What, Why};
use super::{Checker, Scene, Tally, is_stale, plain};
use crate::engine::JournalEntry;
use crate::house::{State, ThresholdSide};
use crate::units::{BootTime, Span};

/// So far off is a stray reading, and so near each other are those before it.
const FAR: f64 = 30.0;
const NEAR: f64 = 5.0;

/// So many readings are remembered: the widest median, and as many as a leap takes to be believed.
const KEPT: usize = 5;

/// What was read among so many before them may be what the sensor still goes by: strays may come several times in a row.
const EARLIER: usize = 40;

/// Readings further apart in time say nothing of each other.
const SOON: Span = Span::from_s(40);

/// Watches sensors that are smoothed or held to a rate.
#[derive(Debug, Default)]
pub struct Strays {
    /// By sensor: its last readings since something may have made it forget, the latest last.
    read: BTreeMap<String, Vec<(f64, BootTime)>>,
    /// By sensor: what it read before that, the latest last.
    before: BTreeMap<String, Vec<f64>>,
    /// By relay of a board: the last word.
    shown: BTreeMap<String, bool>,
    /// Loads whose next change may be an older one that shows late.
    hidden: BTreeMap<String, BootTime>,
}

impl Checker for Strays {
    fn id(&self) -> &'static str {
        "stray"
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            // What lies outside its range is refused, and after a few of them nothing is left to compare with.
            What::Read { sensor, value } if !is_within_range(scene, sensor, *value) => self.part(sensor),
            What::Read { sensor, value } => {
                let last = self.read.get(sensor).and_then(|read| read.last());
                // A sensor that fell silent begins anew, and the first of so few readings stand for the median.
                if last.is_some_and(|(_, last)| is_stale(scene, sensor, seen.at.since(*last))) {
                    self.part(sensor);
                }
                let read = self.read.entry(sensor.clone()).or_default();
                read.push((*value, seen.at));
                if read.len() > KEPT + EARLIER {
                    read.remove(0);
                }
            }
            What::Refused { sensor } => self.part(sensor),
            What::Started { restored: false, .. } => *self = Strays::default(),
            What::Started { .. } | What::House { .. } | What::Linked { .. } => self.part_all(),
            What::Journal(row) => match &row.entry {
                JournalEntry::BoardFound { .. } | JournalEntry::BoardLost { .. } => self.part_all(),
                // What a setpoint turns is turned by no reading.
                JournalEntry::SetpointSet { .. } | JournalEntry::SetpointReturned { .. } => self.part_all(),
                JournalEntry::HoldEnded { load, .. } | JournalEntry::Restored { load, .. } => {
                    self.hidden.insert(load.clone(), seen.at);
                }
                _ => {}
            },
            What::Sent { orders, charges, .. } => {
                for (word, charge) in orders.relays.iter().zip(charges) {
                    let Some(charge) = charge.as_ref().filter(|charge| charge.why == Why::Rules) else { continue };
                    let energised = *word == crate::wire::RelayOrder::On;
                    let before = self.shown.insert(charge.load.clone(), energised);
                    if before.is_some_and(|before| before != energised) && self.hidden.remove(&charge.load).is_none() {
                        self.judge(&charge.load, charge.state(energised), seen.at, scene, tally)?;
                    }
                }
            }
            _ => {}
        }
        Ok(())
    }
}

impl Strays {
    /// What a sensor read until now says nothing any more of how it will be read.
    fn part(&mut self, sensor: &str) {
        let Some(read) = self.read.remove(sensor) else { return };
        let before = self.before.entry(sensor.to_owned()).or_default();
        before.extend(read.into_iter().map(|(value, _)| value));
        before.drain(..before.len().saturating_sub(EARLIER));
    }

    fn part_all(&mut self) {
        let sensors: Vec<String> = self.read.keys().cloned().collect();
        sensors.iter().for_each(|sensor| self.part(sensor));
        self.shown.clear();
    }

    fn judge(&self, load: &str, to: State, at: BootTime, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        let house = scene.stage.house();
        let Some(id) = house.load_named(load) else { return Ok(()) };
        let Some(threshold) = plain(house, id).filter(|threshold| threshold.minus.is_none()) else { return Ok(()) };
        let sensor = house.sensor(threshold.sensor);
        let Some(read) = self.read.get(&sensor.name).filter(|read| read.last().is_some_and(|(_, came)| *came == at))
        else {
            return Ok(());
        };
        let values: Vec<f64> = read.iter().map(|(value, _)| *value).collect();
        let (earlier, values) = values.split_at(values.len().saturating_sub(KEPT));
        let read = &read[read.len().saturating_sub(KEPT)..];
        let most = usize::from(sensor.median_of);
        let Some(ends) = scene.stage.engine().map(|engine| engine.ends(threshold)) else { return Ok(()) };
        let is_high = ends.side == ThresholdSide::High;
        let is_beyond = |value: f64, end: f64, above: bool| if above { value >= end } else { value <= end };
        if most > 1 && values.len() >= most {
            tally.count("changes by sensors that are smoothed");
            let latest = &values[values.len() - most..];
            let beyond = |end: f64, above: bool| latest.iter().filter(|value| is_beyond(**value, end, above)).count();
            let best = beyond(ends.cut_in, is_high).max(beyond(ends.cut_out, !is_high));
            if best <= most / 2 {
                return Err(format!(
                    "load {load:?} was switched by {:?} with a median beyond no end: {latest:?}",
                    sensor.name
                ));
            }
        }
        let [before @ .., last] = values else { return Ok(()) };
        if sensor.max_rate.is_some() && before.len() == KEPT - 1 {
            tally.count("changes by sensors that are held to a rate");
            let is_soon = read.windows(2).all(|pair| pair[1].1.since(pair[0].1) <= SOON);
            let is_steady = before.windows(2).all(|pair| (pair[1] - pair[0]).abs() < NEAR);
            // Several may come before orders do, and one that changes the other way changed nothing.
            let is_true = house.rules.iter().any(|rule| rule.load == id && rule.demand == to);
            let may_switch =
                if is_true { is_beyond(*last, ends.cut_in, is_high) } else { is_beyond(*last, ends.cut_out, !is_high) };
            let is_far = may_switch && before.last().is_some_and(|second| (last - second).abs() > FAR);
            let parted = self.before.get(&sensor.name).into_iter().flatten();
            let mut latest = parted.chain(earlier).rev().take(EARLIER);
            let goes_on = latest.any(|value| (last - value).abs() < FAR);
            if is_soon && is_steady && is_far && goes_on {
                tally.count("strays excused by an earlier one that they go on from");
            } else if is_soon && is_steady && is_far {
                return Err(format!("load {load:?} was switched by a single reading of {:?}: {values:?}", sensor.name));
            }
        }
        Ok(())
    }
}

fn is_within_range(scene: &Scene<'_>, sensor: &str, value: f64) -> bool {
    let house = scene.stage.house();
    let range = house.sensor_named(sensor).and_then(|sensor| house.sensor(sensor).range);
    range.is_none_or(|(low, high)| (low..=high).contains(&value))
}
