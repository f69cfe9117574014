//! I7: readings that span less than the deadband change a threshold at most once. It is seen where it shows: in the orders
//! for a load that follows one threshold and nothing else. Where something else had a say between two orders, the sensor's being
//! unknown among it, nobody knows which reading a change belongs to; and where a setpoint moves its ends it begins anew.

use std::collections::BTreeMap;

use super::super::happening::{Charge, Happening, What, Why};
use super::{Checker, Scene, Tally, is_stale, plain};
use crate::engine::JournalEntry;
use crate::house::{House, LoadId, Source, Threshold};
use crate::units::BootTime;
use crate::wire::RelayOrder;

/// A load that follows one threshold and nothing else.
#[derive(Clone, Debug, PartialEq)]
struct Plain {
    sensor: String,
    cut_in: f64,
    cut_out: f64,
    /// A setpoint moves them.
    is_set: bool,
}

#[derive(Clone, Debug, Default)]
struct Watched {
    shown: Option<bool>,
    /// The lowest and highest reading from the one that led to the last change; `None` where that is not known.
    span: Option<(f64, f64)>,
    /// Something stood above the rules since it was shown last, so the next change may be an older one that shows late.
    hidden: bool,
}

/// Watches thresholds.
#[derive(Debug, Default)]
pub struct Deadband {
    plain: BTreeMap<String, Plain>,
    watched: BTreeMap<String, Watched>,
    /// By sensor, the last reading within its range and when it came.
    last: BTreeMap<String, (f64, BootTime)>,
}

impl Checker for Deadband {
    fn id(&self) -> &'static str {
        "I7"
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            What::Read { sensor, value } if (0.0..=100.0).contains(value) => {
                let before = self.last.insert(sensor.clone(), (*value, seen.at));
                let is_anew = before.is_none_or(|(_, came)| is_stale(scene, sensor, seen.at.since(came)));
                for (load, _) in self.plain.iter().filter(|(_, plain)| plain.sensor == *sensor) {
                    // What turns then turns because it is known again.
                    if let Some(watched) = self.watched.get_mut(load).filter(|_| is_anew) {
                        watched.hidden = true;
                    }
                    if let Some((low, high)) = self.watched.get_mut(load).and_then(|watched| watched.span.as_mut()) {
                        (*low, *high) = (low.min(*value), high.max(*value));
                    }
                }
            }
            What::House { taken: true } | What::Started { .. } => self.learn(scene.stage.house()),
            What::Journal(row) => match &row.entry {
                JournalEntry::BoardFound { .. } | JournalEntry::BoardLost { .. } => {
                    self.watched.values_mut().for_each(|watched| watched.hidden = true);
                }
                // What turns then turns because it is known again, and shows with the next orders.
                JournalEntry::AlarmCleared { alarm } => {
                    let sensor = alarm.strip_prefix("sensor-");
                    for (load, _) in self.plain.iter().filter(|(_, plain)| sensor == Some(&plain.sensor)) {
                        if let Some(watched) = self.watched.get_mut(load) {
                            watched.hidden = true;
                        }
                    }
                }
                // Its ends move over readings that stay.
                JournalEntry::SetpointSet { .. } | JournalEntry::SetpointReturned { .. } => {
                    for (load, _) in self.plain.iter().filter(|(_, plain)| plain.is_set) {
                        self.watched.remove(load);
                    }
                }
                JournalEntry::Held { load, .. }
                | JournalEntry::HoldEnded { load, .. }
                | JournalEntry::Withdrawn { load, .. }
                | JournalEntry::Restored { load, .. } => {
                    if let Some(watched) = self.watched.get_mut(load) {
                        watched.hidden = true;
                    }
                }
                _ => {}
            },
            // What the threshold had passed may not have been stored.
            What::Stopped { unsaved: true, .. } => self.watched.clear(),
            What::Sent { orders, charges, .. } => {
                for (order, charge) in orders.relays.iter().zip(charges) {
                    if let Some(charge) = charge.as_ref().filter(|charge| charge.why == Why::Rules) {
                        self.judge(charge, *order == RelayOrder::On, seen.at, tally)?;
                    }
                }
            }
            _ => {}
        }
        Ok(())
    }
}

impl Deadband {
    fn judge(&mut self, charge: &Charge, energised: bool, at: BootTime, tally: &mut Tally) -> Result<(), String> {
        let Some(plain) = self.plain.get(&charge.load) else { return Ok(()) };
        let watched = self.watched.entry(charge.load.clone()).or_default();
        if watched.shown.replace(energised).is_none_or(|before| before == energised) {
            return Ok(());
        }
        tally.count("threshold changed");
        let deadband = (plain.cut_in - plain.cut_out).abs();
        if let Some((low, high)) = watched.span
            && high - low < deadband - 1e-9
        {
            return Err(format!(
                "load {:?} follows {} alone ({} in, {} out) and turned twice while it read {low} to {high}",
                charge.load, plain.sensor, plain.cut_in, plain.cut_out
            ));
        }
        // Where no reading led to this change at once, nobody knows which one did.
        let hidden = std::mem::take(&mut watched.hidden);
        let cause = self.last.get(&plain.sensor).filter(|(_, came)| *came == at && !hidden);
        watched.span = cause.map(|(value, _)| (*value, *value));
        Ok(())
    }

    fn learn(&mut self, house: &House) {
        let before = std::mem::take(&mut self.plain);
        for load in 0..house.loads.len() {
            if let Some(threshold) = plain(house, LoadId(load as u32)).filter(|one| is_measured(house, one)) {
                let sensor = house.sensor(threshold.sensor).name.clone();
                let ends = house.narrowest_ends(threshold);
                let is_set = threshold.cut_in.setpoint().or(threshold.cut_out.setpoint()).is_some();
                let plain = Plain { sensor, cut_in: ends.cut_in, cut_out: ends.cut_out, is_set };
                let name = &house.loads[load].name;
                if before.get(name) != Some(&plain) {
                    self.watched.remove(name);
                }
                self.plain.insert(name.clone(), plain);
            }
        }
    }
}

/// Whether a threshold is held against each reading as it came.
fn is_measured(house: &House, threshold: &Threshold) -> bool {
    let sensor = house.sensor(threshold.sensor);
    threshold.minus.is_none() && sensor.median_of == 1 && !matches!(sensor.source, Source::Derived(_))
}
