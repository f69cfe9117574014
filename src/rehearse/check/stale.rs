//! stale: a load that follows one threshold and nothing else is ordered into its safe state once its sensor has not been heard
//! for as long as its readings keep. A restart of the machine, over which the wall clock tells how old a reading is, is left
//! out.

use std::collections::{BTreeMap, BTreeSet};

use super::super::happening::{Happening, What, Why};
use super::{Checker, Scene, Tally, plain};
use crate::house::{House, LoadId, SensorId, Source};
use crate::sensing::derive;
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
            // Nothing is ordered of a board that is not there.
            if explained.unheard.is_some() {
                continue;
            }
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
    /// The sensor that a plain load follows, if it, or too much of what it is computed from, has been silent for longer than
    /// readings keep.
    fn silent_sensor<'h>(&self, house: &'h House, load: LoadId, now: BootTime) -> Option<&'h str> {
        let threshold = plain(house, load)?;
        let silent = threshold.sensors().find(|sensor| self.is_silent(house, *sensor, now))?;
        Some(house.sensor(silent).name.as_str())
    }

    fn is_silent(&self, house: &House, sensor: SensorId, now: BootTime) -> bool {
        let definition = house.sensor(sensor);
        match &definition.source {
            // What an ingredient reads hardly matters for whether there is enough of them.
            Source::Derived(derived) => {
                let known = |ingredient| (!self.is_silent(house, ingredient, now)).then_some(50.0);
                derive(derived, known).is_none()
            }
            _ => self.last.get(&definition.name).is_some_and(|last| now > *last + definition.stale_after + SLACK),
        }
    }
}
