//! stale: a load that follows one threshold and nothing else is ordered into its safe state once its sensor has not been heard
//! for as long as its readings keep. A restart of the machine, over which the wall clock tells how old a reading is, is left
//! out.

use std::collections::{BTreeMap, BTreeSet};

use super::super::happening::{Happening, What, Why};
use super::{Checker, Scene, Tally, plain};
use crate::house::{House, LoadId};
use crate::units::{BootTime, Span};
use crate::wire::RelayOrder;

/// What a timer may be late by.
const SLACK: Span = Span(2);

/// Watches sensors that fall silent.
#[derive(Debug, Default)]
pub struct Stale {
    /// By sensor, when the engine was told its last reading within range.
    last: BTreeMap<String, BootTime>,
    /// Loads that were ordered out of their safe state while their sensor was silent: a hold may be the reason.
    suspects: BTreeSet<String>,
}

impl Checker for Stale {
    fn id(&self) -> &'static str {
        "stale"
    }

    fn time_passes(&mut self, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        // Only now, at rest, does what the engine says of itself go with what it was told.
        for load in std::mem::take(&mut self.suspects) {
            let house = scene.stage.house();
            let Some(id) = house.load_named(&load) else { continue };
            let Some(sensor) = self.silent_sensor(house, id, scene.stage.now()) else { continue };
            tally.count("loads looked at with a sensor that is stale");
            let Some(engine) = scene.stage.engine() else { continue };
            let Some(explained) = engine.house().load_named(&load).map(|load| engine.explain(load)) else { continue };
            let follows_rules = matches!(Why::of(&explained.cause), Why::Rules | Why::Unknown);
            if follows_rules && explained.ordered.is_some_and(|ordered| ordered != house.load(id).safe) {
                return Err(format!(
                    "load {load:?} follows {sensor}, which is silent, and is not ordered into its safe state"
                ));
            }
        }
        Ok(())
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, _: &mut Tally) -> Result<(), String> {
        match &seen.what {
            What::Read { sensor, value } if (0.0..=100.0).contains(value) => {
                self.last.insert(sensor.clone(), seen.at);
            }
            What::Started { same_boot: false, .. } => self.last.clear(),
            What::Sent { orders, charges, .. } => {
                let house = scene.stage.house();
                for (word, charge) in orders.relays.iter().zip(charges) {
                    let (Some(charge), RelayOrder::On | RelayOrder::Off) = (charge, word) else { continue };
                    let Some(load) = house.load_named(&charge.load) else { continue };
                    let is_safe = charge.state(*word == RelayOrder::On) == house.load(load).safe;
                    if !is_safe && self.silent_sensor(house, load, seen.at).is_some() {
                        self.suspects.insert(charge.load.clone());
                    }
                }
            }
            _ => {}
        }
        Ok(())
    }
}

impl Stale {
    /// The sensor that a plain load follows, if it has been silent for longer than its readings keep.
    fn silent_sensor<'h>(&self, house: &'h House, load: LoadId, now: BootTime) -> Option<&'h str> {
        let sensor = house.sensor(plain(house, load)?.sensor);
        let last = self.last.get(&sensor.name)?;
        (now > *last + sensor.stale_after + SLACK).then_some(sensor.name.as_str())
    }
}
