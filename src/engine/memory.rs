//! The names under which memories of conditions are kept: whoever says something else under the same name starts afresh. It
//! never looks at a memory.

use super::Engine;
use crate::condition::for_each_atom;
use crate::house::{Atom, AtomId, Ends, House, SensorId, SetpointId, ThresholdSide};

/// A threshold or a rise that remembers, in one place of the house.
#[derive(Clone, Debug)]
pub(super) struct Memory {
    /// The part of its name that no setpoint changes: who owns it, and what it looks at.
    stem: String,
    /// Its whole name, where no setpoint has a say in it: a snapshot, taken often, asks for all of them.
    fixed: Option<String>,
    pub atom: AtomId,
}

impl Memory {
    /// All that a house has. One threshold that several rules use is there once for each.
    pub fn all(house: &House) -> Vec<Memory> {
        let mut memories = Vec::new();
        // What lies within the deadband by old numbers need not by new ones.
        let name = |sensor: SensorId| {
            let sensor = house.sensor(sensor);
            format!("{} {}", sensor.name, Engine::calibration_text(house, sensor)).trim_end().to_owned()
        };
        let mut add = |owner: &str, atom: AtomId| {
            let stem = match house.atom(atom) {
                Atom::Threshold(threshold) => {
                    let sensors = threshold.sensors().map(name).collect::<Vec<String>>().join(" less ");
                    format!("{owner} {sensors}")
                }
                Atom::Rise(rise) => format!("{owner} {}", name(rise.sensor)),
                _ => return,
            };
            let is_fixed =
                !matches!(house.atom(atom), Atom::Threshold(threshold) if threshold.setpoints().next().is_some());
            let fixed =
                is_fixed.then(|| whole_name(&stem, house.atom(atom), |setpoint| house.setpoint(setpoint).value));
            memories.push(Memory { stem, fixed, atom });
        };
        for condition in &house.conditions {
            for_each_atom(house, &condition.condition, &mut |atom| add(&format!("condition {}", condition.name), atom));
        }
        for rule in &house.rules {
            for_each_atom(house, &rule.condition, &mut |atom| add(&format!("rule {}", rule.name), atom));
        }
        memories
    }
}

impl Engine {
    /// The name of a memory: who owns it and what it says now, so that a changed one starts afresh.
    pub(super) fn memory_key(&self, memory: &Memory) -> String {
        let told = || {
            let atom = self.house.atom(memory.atom);
            whole_name(&memory.stem, atom, |setpoint| self.setpoint_value(setpoint))
        };
        memory.fixed.clone().unwrap_or_else(told)
    }
}

fn whole_name(stem: &str, atom: &Atom, value_of: impl Fn(SetpointId) -> f64) -> String {
    match atom {
        Atom::Threshold(threshold) => {
            let Ends { side, cut_in, cut_out } = threshold.ends(value_of);
            let side = if side == ThresholdSide::High { "high" } else { "low" };
            format!("{stem} {side} {cut_in} {cut_out}")
        }
        Atom::Rise(rise) => {
            let moves = rise.trend.sign() * rise.by;
            format!("{stem} moves {moves} within {} back {}", rise.within, rise.back_by)
        }
        _ => stem.to_owned(),
    }
}
