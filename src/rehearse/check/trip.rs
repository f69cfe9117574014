//! trip: a safety trip with a manual reset demands its state from the moment at which its condition is true until a person resets
//! it, across restarts and changes of the house. A reading that comes in the step in which its board is found to be lost trips
//! nothing: its sensor is unknown by then.

use std::collections::{BTreeMap, BTreeSet};

use super::super::happening::{Charge, Happening, What, Why};
use super::{Checker, Scene, Tally};
use crate::engine::{HandOrder, JournalEntry};
use crate::house::{Atom, Bound, Condition, House, PRIORITY_TRIP, Rule, Source, State, Threshold, ThresholdSide};
use crate::units::BootTime;
use crate::wire::RelayOrder;

/// Watches safety trips that latch.
#[derive(Debug, Default)]
pub struct Trips {
    /// By rule: its load, and what it demands.
    latched: BTreeMap<String, (String, State)>,
    /// Loads of which somebody has asked that their trips be reset.
    asked: BTreeSet<String>,
    /// Boards that are taken for lost, whose sensors are unknown.
    lost: BTreeSet<String>,
    /// The last reading that made trips true: when it came, its sensor, and those of them that had not latched before.
    fresh: Option<(BootTime, String, Vec<String>)>,
}

impl Checker for Trips {
    fn id(&self) -> &'static str {
        "trip"
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        let house = scene.stage.house();
        match &seen.what {
            What::Read { sensor, value } if !self.is_lost(house, sensor) => {
                let mut fresh = Vec::new();
                for rule in house.rules.iter().filter(|rule| is_true(house, rule, sensor, *value)) {
                    tally.count("safety trips that must latch");
                    let demand = (house.load(rule.load).name.clone(), rule.demand);
                    if self.latched.insert(rule.name.clone(), demand).is_none() {
                        fresh.push(rule.name.clone());
                    }
                }
                self.fresh = Some((seen.at, sensor.clone(), fresh));
            }
            What::Journal(row) => match &row.entry {
                JournalEntry::BoardLost { board } => {
                    self.lost.insert(board.clone());
                    self.forget_what_came_too_late(seen.at, house, tally);
                }
                JournalEntry::BoardFound { board } => {
                    self.lost.remove(board);
                }
                JournalEntry::Tripped { load, rule } => {
                    tally.count("safety trips that latched");
                    if let Some(rule) = house.rule_named(rule).map(|rule| house.rule(rule)) {
                        self.latched.insert(rule.name.clone(), (load.clone(), rule.demand));
                    }
                }
                JournalEntry::Reset { load, rule } => {
                    tally.count("safety trips that were reset");
                    if !self.asked.contains(load) {
                        return Err(format!("safety trip {rule:?} let go of load {load:?}, and nobody had reset it"));
                    }
                    self.latched.remove(rule);
                }
                _ => {}
            },
            What::Asked { order: HandOrder::Reset { load } } => {
                let engine = scene.stage.engine();
                self.asked.extend(engine.map(|engine| engine.house().load(*load).name.clone()));
            }
            What::Stopped { unsaved: true, .. } => self.latched.clear(),
            What::House { taken: true } | What::Started { .. } => {
                self.asked.clear();
                self.latched.retain(|rule, (load, demand)| {
                    let rule = house.rule_named(rule).map(|rule| house.rule(rule));
                    rule.is_some_and(|rule| {
                        rule.latches && house.load(rule.load).name == *load && rule.demand == *demand
                    })
                });
                if matches!(seen.what, What::Started { .. }) {
                    tally.add("safety trips kept over a restart", self.latched.len() as u64);
                }
            }
            What::Sent { orders, charges, .. } => {
                for (word, charge) in orders.relays.iter().zip(charges) {
                    if let Some(charge) = charge {
                        self.judge(scene, *word, charge, tally)?;
                    }
                }
            }
            _ => {}
        }
        Ok(())
    }
}

impl Trips {
    /// A board is found to be lost before what is heard in the same step is looked at.
    fn forget_what_came_too_late(&mut self, at: BootTime, house: &House, tally: &mut Tally) {
        let Some((_, sensor, rules)) = self.fresh.take_if(|(came, ..)| *came == at) else { return };
        if !self.is_lost(house, &sensor) {
            self.fresh = Some((at, sensor, rules));
            return;
        }
        for rule in rules {
            tally.count("trip excused by a board that was lost as the reading came");
            self.latched.remove(&rule);
        }
    }

    /// Whether the board of a sensor is taken for lost.
    fn is_lost(&self, house: &House, sensor: &str) -> bool {
        let Some(sensor) = house.sensor_named(sensor) else { return true };
        match &house.sensor(sensor).source {
            Source::Board { board, .. } => self.lost.contains(&house.board(*board).name),
            _ => false,
        }
    }

    fn judge(&self, scene: &Scene<'_>, word: RelayOrder, charge: &Charge, tally: &mut Tally) -> Result<(), String> {
        let state = match word {
            RelayOrder::On | RelayOrder::Pulse(_) => charge.state(true),
            RelayOrder::Off => charge.state(false),
            RelayOrder::None => return Ok(()),
        };
        let house = scene.stage.house();
        let Some(load) = house.load_named(&charge.load) else { return Ok(()) };
        let others = house.rules.iter().filter(|rule| rule.load == load && rule.priority == PRIORITY_TRIP).count() > 1;
        for (rule, (of, demand)) in self.latched.iter().filter(|(_, (of, _))| *of == charge.load) {
            // Where trips disagree the safe state wins.
            if others && *demand != house.load(load).safe {
                continue;
            }
            tally.count("orders looked at under a latched trip");
            // Below the array there are gates, and above this slot there is one.
            let is_gated = |why| matches!(why, Why::Withdrawn | Why::Interlock | Why::InterlockShown | Why::Stagger);
            if state != *demand && !is_gated(charge.why) && !why_now(scene, of).is_some_and(is_gated) {
                return Err(format!(
                    "load {of:?} is ordered {state} ({:?}), and safety trip {rule:?} was not reset",
                    charge.why
                ));
            }
        }
        Ok(())
    }
}

/// What decides a load now, by the engine's own words.
fn why_now(scene: &Scene<'_>, load: &str) -> Option<Why> {
    let engine = scene.stage.engine()?;
    Some(Why::now(engine, engine.house().load_named(load)?).0)
}

/// Whether a reading makes a trip true that rests on that sensor alone.
fn is_true(house: &House, rule: &Rule, sensor: &str, value: f64) -> bool {
    let Condition::Atom(atom) = &rule.condition else { return false };
    let Atom::Threshold(Threshold { sensor: own, minus: None, side, cut_in, .. }) = house.atom(*atom) else {
        return false;
    };
    let Bound::Number(cut_in) = cut_in else { return false };
    let own = house.sensor(*own);
    let is_measured = !matches!(own.source, Source::Derived(_)) && own.median_of == 1;
    let is_in_range = own.range.is_none_or(|(low, high)| (low..=high).contains(&value));
    let is_in = match side {
        ThresholdSide::High => value >= *cut_in,
        ThresholdSide::Low => value <= *cut_in,
    };
    rule.latches && rule.on_delay.is_zero() && own.name == sensor && is_measured && is_in_range && is_in
}
