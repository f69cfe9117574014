//! Atoms and rules: truths, delays and what each rule puts into its slot. It never looks at what other rules want.

use serde::{Deserialize, Serialize};

use super::slots::Demand;
use super::timers::Timer;
use super::{Alarm, Engine};
use crate::condition::{
    Kleene, RiseMemory, ThresholdMemory, evaluate, for_each_atom, rise_truth, threshold_truth, ways,
};
use crate::house::{AlarmState, Atom, AtomId, OnUnknown, RuleId, Threshold, Truth};
use crate::sensing::decimal;
use crate::units::{BootTime, Moment};

/// What is known of an atom.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct AtomState {
    pub truth: Truth,
    /// Of a threshold, what it passed last.
    pub memory: ThresholdMemory,
    /// What a rise remembers.
    pub rise: RiseMemory,
}

/// What is known of a rule.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct RuleState {
    /// Its condition's truth with the delays applied.
    pub truth: Truth,
    /// When a delay that runs will be over.
    pub delay_end: Option<BootTime>,
    /// A safety trip that was true and was not reset since.
    #[serde(default)]
    pub latched: bool,
    /// Which atom, by its place in the condition, turned the condition last from one known truth to the other; `None` where
    /// it was unknown in between.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub turned: Option<usize>,
    /// After a start, since when nobody has followed its condition; `None` once it was known again.
    #[serde(skip)]
    pub unseen_since: Option<Moment>,
    /// What it has put into its load's slot.
    #[serde(skip)]
    pub demand: Demand,
}

impl RuleState {
    /// As it is kept: whoever recalls it puts its demand into a slot anew.
    pub fn without_demand(self) -> RuleState {
        RuleState { demand: Demand::None, ..self }
    }
}

impl Engine {
    /// Looks at an atom again, and at its rules if it changed.
    pub(super) fn follow_atom(&mut self, atom: AtomId) {
        let truth = match self.house.atom(atom) {
            Atom::Threshold(threshold) => {
                let (reading, ends) = (self.threshold_value(threshold), self.ends(threshold));
                let memory = &mut self.atoms[atom.index()].memory;
                let before = *memory;
                let truth = threshold_truth(ends, reading, memory);
                // A restart must not let noise in the deadband turn it back.
                self.save |= *memory != before;
                truth
            }
            Atom::Rise(rise) => {
                let reading = self.known_reading(rise.sensor);
                let memory = &mut self.atoms[atom.index()].rise;
                let before = memory.base();
                let truth = rise_truth(rise, reading, self.now.boot, memory);
                // A restart must not stop what waits for the reading to come back.
                self.save |= memory.base() != before;
                truth
            }
            Atom::Unknown { sensor, .. } => self.is_unknown(*sensor),
            Atom::Input { port, is, .. } => {
                self.known_contact(*port).map_or(Truth::Unknown, |state| Truth::from(state == *is))
            }
            Atom::Selector { selector, is, .. } => {
                let wanted = self.house.selector(*selector).positions.get(*is as usize);
                Truth::from(wanted.is_some_and(|wanted| wanted == self.position(*selector)))
            }
            Atom::Alarm { alarm, is, .. } => {
                let counts = |alarm: &Alarm| *is == AlarmState::Standing || !alarm.acknowledged;
                Truth::from(match alarm {
                    Some(id) => self.alarms.get(id).is_some_and(counts),
                    None => self.alarms.values().any(counts),
                })
            }
            Atom::Load { load, is, .. } => {
                self.known_state(*load).map_or(Truth::Unknown, |state| Truth::from(state == *is))
            }
            Atom::Window { .. } | Atom::Cycle { .. } | Atom::Sun { .. } => self.clock_truth(atom),
        };
        let before = std::mem::replace(&mut self.atoms[atom.index()].truth, truth);
        if before != truth {
            for rule in &self.index.clone().rules_of_atom[atom.index()] {
                self.note_turn(*rule, atom, before);
                self.touch_rule(*rule);
            }
        }
    }

    /// Notes which atom turned a rule's condition; that was `before` until now.
    fn note_turn(&mut self, rule: RuleId, atom: AtomId, before: Truth) {
        let condition = &self.house.rule(rule).condition;
        let truth = |id: AtomId| if id == atom { before } else { self.atoms[id.index()].truth };
        let (was, is) = (evaluate(&self.house, condition, &mut { truth }), self.condition_truth(rule));
        // What is not known turns nothing, nor does what comes to be known as it was before.
        let state = &self.rules[rule.index()];
        // A delay runs while its condition is otherwise.
        let known_before = if state.delay_end.is_some() { state.truth.not() } else { state.truth };
        let is_as_before = was == Truth::Unknown && known_before == is;
        if was == is || is == Truth::Unknown || is_as_before {
            return;
        }
        let (mut place, mut found) = (0, None);
        for_each_atom(&self.house, condition, &mut |id| {
            found = found.or((id == atom).then_some(place));
            place += 1;
        });
        self.rules[rule.index()].turned = found.filter(|_| was != Truth::Unknown);
    }

    /// What a threshold is held against; `None` while a sensor that it needs is unknown.
    pub(super) fn threshold_value(&self, threshold: &Threshold) -> Option<f64> {
        let value = self.known_reading(threshold.sensor)?.get();
        match threshold.minus {
            None => Some(value),
            Some(minus) => Some(decimal(value - self.known_reading(minus)?.get())),
        }
    }

    /// The truth of a rule's condition now, without delays.
    pub(super) fn condition_truth(&self, rule: RuleId) -> Truth {
        evaluate(&self.house, &self.house.rule(rule).condition, &mut |atom| self.atoms[atom.index()].truth)
    }

    /// The ways in which the condition of a rule would turn over; none while it is unknown.
    pub(super) fn ways_to_turn(&self, rule: RuleId) -> Vec<Vec<usize>> {
        let truth = self.condition_truth(rule);
        if truth == Truth::Unknown {
            return Vec::new();
        }
        let condition = &self.house.rule(rule).condition;
        ways(&self.house, condition, truth == Truth::False, &mut |atom| self.atoms[atom.index()].truth)
    }

    /// Looks at a rule again: starts, keeps or ends its delays, and puts its demand into the slot.
    pub(super) fn follow_rule(&mut self, rule: RuleId) {
        let condition = self.condition_truth(rule);
        let definition = self.house.rule(rule);
        if condition == Truth::Unknown && !self.loads[definition.load.index()].settled {
            // After a start what it was may still be so: its delays go on until it is known or no longer waited for.
            return self.put_demand(rule, Truth::Unknown);
        }
        let now = self.now.boot;
        let state = &mut self.rules[rule.index()];
        let unseen_since = state.unseen_since.take();
        let delay_end = match (state.truth, condition) {
            // Nothing to change, or nothing known: a delay that runs has lost its reason, and unknown never waits.
            (_, Truth::Unknown) | (Truth::True, Truth::True) | (Truth::False, Truth::False) => None,
            (_, Truth::True) => Some(state.delay_end.unwrap_or(now + definition.on_delay)),
            // It may have become false as soon as nobody looked.
            (Truth::True, Truth::False) => {
                Some(state.delay_end.unwrap_or(unseen_since.unwrap_or(now.into()).after(definition.off_delay)))
            }
            // What was unknown has nothing to keep on for.
            (Truth::Unknown, Truth::False) => None,
        };
        match delay_end.filter(|end| *end > now) {
            None => {
                state.truth = condition;
                state.delay_end = None;
                self.boot_timers.clear(Timer::Delay(rule));
            }
            Some(end) => {
                if state.truth == Truth::Unknown {
                    state.truth = Truth::False;
                }
                // A restart goes on with the delay.
                self.save |= state.delay_end.is_none();
                state.delay_end = Some(end);
                self.boot_timers.set(Timer::Delay(rule), end);
            }
        }
        self.put_demand(rule, self.rules[rule.index()].truth);
    }

    /// Puts what a rule demands into its load's slot.
    fn put_demand(&mut self, rule: RuleId, truth: Truth) {
        let definition = self.house.rule(rule);
        if definition.latches && truth == Truth::True && !self.rules[rule.index()].latched {
            self.rules[rule.index()].latched = true;
            self.wants_block = true;
            self.tripped.insert(rule);
        }
        let demand = match truth {
            _ if definition.latches && self.rules[rule.index()].latched => Demand::Known(definition.demand),
            Truth::True => Demand::Known(definition.demand),
            Truth::False => definition.otherwise.map_or(Demand::None, Demand::Known),
            Truth::Unknown => match definition.on_unknown {
                OnUnknown::Safe => Demand::Unknown,
                OnUnknown::Release => Demand::None,
            },
        };
        let before = std::mem::replace(&mut self.rules[rule.index()].demand, demand);
        if before != demand {
            let tally = self.loads[definition.load.index()].slots.at(definition.priority);
            tally.remove(before);
            tally.add(demand);
            self.dirty_loads.insert(definition.load);
        }
    }
}
