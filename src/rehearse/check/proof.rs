//! proof: a load that goes on proving otherwise than its contact is reported raises its alarm, and while the two of a rotation
//! are not both unfit the one that can do the job does it. A sensor that was not heard for longer than it is believed
//! contradicts nothing meanwhile, so what it says after that begins anew.

use std::collections::{BTreeMap, BTreeSet};

use super::super::happening::{Happening, What, Why};
use super::ledger::spot_of;
use super::{Checker, Scene, Tally, is_stale};
use crate::engine::{JournalEntry, SLOT_HOLD, Unproved};
use crate::house::{House, Load, LoadId, ProofBy, SensorId, State};
use crate::units::{BootTime, Span};
use crate::wire::RelayOrder;

/// Beyond what the proof allows: reports that are late, readings that are far between.
const SLACK: Span = Span::from_s(90);

/// How often rotations are looked at.
const EVERY: Span = Span::from_s(5);

/// Watches loads that are proved.
#[derive(Debug, Default)]
pub struct Proofs {
    /// By load: since when its sensor has contradicted what was reported of it.
    since: BTreeMap<String, BootTime>,
    /// By load: when its sensor was read last. One that has not been heard for long enough says nothing.
    read: BTreeMap<String, BootTime>,
    /// Alarms that stand.
    alarms: BTreeSet<String>,
    /// By rotation: since when its job is wanted and not done though one of the two could do it.
    idle: BTreeMap<String, BootTime>,
    asked_at: BootTime,
}

impl Checker for Proofs {
    fn id(&self) -> &'static str {
        "proof"
    }

    fn time_passes(&mut self, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        let (now, house) = (scene.stage.now(), scene.stage.house());
        // Once it runs again everything is as good as lost until it is heard again.
        if scene.stage.is_frozen() {
            self.since.clear();
            self.idle.clear();
            return Ok(());
        }
        if now < self.asked_at + EVERY {
            return Ok(());
        }
        self.asked_at = now;
        for rotation in &house.rotations {
            let name = &house.load(rotation.load).name;
            if Proofs::is_idle(scene, name, rotation.loads) != Some(true) {
                self.idle.remove(name);
                continue;
            }
            let since = *self.idle.entry(name.clone()).or_insert(now);
            let within = rotation.loads.map(|load| house.load(load).proof.as_ref().map_or(Span::ZERO, |p| p.within));
            tally.count("rotations looked at whose job waits");
            if now.since(since) > within[0].max(within[1]) + SLACK {
                return Err(format!(
                    "rotation {name:?} is wanted on, and for {} none of its two was ordered on",
                    now.since(since)
                ));
            }
        }
        Ok(())
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            What::Started { .. } | What::Stopped { .. } | What::House { .. } | What::Linked { .. } => {
                self.since.clear();
                self.idle.clear();
                // What a crash took with it was perhaps an alarm, or its end.
                if let Some(engine) = scene.stage.engine() {
                    self.alarms = engine.alarms().keys().cloned().collect();
                }
            }
            What::Refused { .. } => self.since.clear(),
            What::Journal(row) => match &row.entry {
                JournalEntry::AlarmRaised { alarm, .. } => {
                    self.alarms.insert(alarm.clone());
                    if alarm.starts_with("proof-") {
                        tally.count("loads that did not prove");
                    }
                }
                JournalEntry::AlarmCleared { alarm, .. } => {
                    self.alarms.remove(alarm);
                }
                JournalEntry::BoardLost { .. } | JournalEntry::BoardFound { .. } => self.since.clear(),
                _ => {}
            },
            What::Sent { board, orders, .. } => {
                // Another word begins another wait.
                let turned: Vec<String> = proved(scene.stage.house())
                    .filter(|(load, ..)| {
                        let spot = spot_of(scene.stage, scene.stage.house(), load).filter(|spot| spot.0 == *board);
                        spot.is_some_and(|spot| {
                            let word = orders.relays.get(usize::from(spot.1) - 1);
                            let energised = word.map(|word| *word == RelayOrder::On);
                            energised != scene.ledger.heard(spot)
                        })
                    })
                    .map(|(load, ..)| load.name.clone())
                    .collect();
                turned.iter().for_each(|load| {
                    self.since.remove(load);
                });
            }
            What::Read { sensor, value } => return self.judge(sensor, *value, seen.at, scene, tally),
            _ => {}
        }
        Ok(())
    }
}

impl Proofs {
    fn judge(
        &mut self,
        sensor: &str,
        value: f64,
        at: BootTime,
        scene: &Scene<'_>,
        tally: &mut Tally,
    ) -> Result<(), String> {
        let house = scene.stage.house();
        for (load, by, at_least, within) in proved(house) {
            if house.sensor(by).name != sensor || !(0.0..=100.0).contains(&value) {
                continue;
            }
            let before = self.read.insert(load.name.clone(), at);
            if before.is_some_and(|before| is_stale(scene, sensor, at.since(before))) {
                tally.count("proofs that begin anew after a silence");
                self.since.remove(&load.name);
            }
            let Some(spot) = spot_of(scene.stage, house, load) else { continue };
            let heard = scene.ledger.heard(spot).filter(|_| scene.stage.is_present(spot.0));
            let Some(heard) = heard.map(|energised| load.state(energised) == State::On) else {
                self.since.remove(&load.name);
                continue;
            };
            if (value >= at_least) == heard {
                self.since.remove(&load.name);
                continue;
            }
            let since = *self.since.entry(load.name.clone()).or_insert(at);
            tally.count("readings that contradict a report");
            if at.since(since) > within + SLACK && !self.alarms.contains(&format!("proof-{}", load.name)) {
                return Err(format!(
                    "load {:?} is reported {}, its sensor has read otherwise for {}, and nobody was told",
                    load.name,
                    if heard { "on" } else { "off" },
                    at.since(since)
                ));
            }
        }
        Ok(())
    }

    /// Whether a rotation is wanted on, one of the two can do its job, and none that can is on; `None` where that is no matter
    /// of the rotation.
    fn is_idle(scene: &Scene<'_>, name: &str, loads: [LoadId; 2]) -> Option<bool> {
        let (house, engine) = (scene.stage.house(), scene.stage.engine().filter(|_| !scene.stage.is_frozen())?);
        let running = engine.house();
        let job = running.load_named(name)?;
        if engine.wanted(job) == State::Off {
            return Some(false);
        }
        // The other one may still run, by orders of which nothing has been heard yet.
        if engine.explain(job).rotation.is_some_and(|duty| duty.waits) {
            return None;
        }
        let (mut is_fit, mut is_done) = (false, false);
        for load in loads.map(|load| house.load(load)) {
            let spot = spot_of(scene.stage, house, load)?;
            let explained = engine.explain(running.load_named(&load.name)?);
            // What waits at a gate, or for what its rules ask about, has its reason there.
            let why = Why::of(&explained.cause);
            let waits =
                matches!(why, Why::Interlock | Why::InterlockShown | Why::Circuit | Why::Stagger | Why::Settling);
            let is_apart = waits || explained.hold.is_some() || explained.slot.is_some_and(|slot| slot < SLOT_HOLD);
            if is_apart || !scene.stage.is_present(spot.0) {
                return None;
            }
            // One that has not proved off does its job all the same.
            let can = explained.proof.as_ref().and_then(|proof| proof.fault) != Some(Unproved::On);
            is_fit |= can;
            let sent =
                scene.ledger.last_orders(spot.0).and_then(|sent| sent.orders.relays.get(usize::from(spot.1) - 1));
            is_done |= can && sent == Some(&RelayOrder::On);
        }
        Some(is_fit && !is_done)
    }
}

/// Loads that are proved by the reading of a sensor: which, at least how much, within what time.
fn proved(house: &House) -> impl Iterator<Item = (&Load, SensorId, f64, Span)> {
    house.loads.iter().filter_map(|load| {
        let proof = load.proof.as_ref()?;
        match proof.by {
            ProofBy::Reading { sensor, at_least } => Some((load, sensor, at_least, proof.within)),
            _ => None,
        }
    })
}
