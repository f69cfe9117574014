//! The names under which memories of conditions are kept: whoever says something else under the same name starts afresh. It
//! never looks at a memory.

use super::Engine;
use crate::condition::for_each_atom;
use crate::house::{Atom, AtomId, Ends, SensorId, ThresholdSide};

impl Engine {
    /// A key for the memory of every threshold and rise: who owns it and what it says now, so that a changed one
    /// starts afresh.
    pub(super) fn memory_keys(&self) -> Vec<(String, AtomId)> {
        let house = &self.house;
        let mut keys = Vec::new();
        // What lies within the deadband by old numbers need not by new ones.
        let name = |sensor: SensorId| {
            let sensor = house.sensor(sensor);
            format!("{} {}", sensor.name, Engine::calibration_text(house, sensor)).trim_end().to_owned()
        };
        let mut add = |owner: &str, atom: AtomId| match house.atom(atom) {
            Atom::Threshold(threshold) => {
                let Ends { side, cut_in, cut_out } = self.ends(threshold);
                let side = if side == ThresholdSide::High { "high" } else { "low" };
                let sensors = threshold.sensors().map(name).collect::<Vec<String>>().join(" less ");
                keys.push((format!("{owner} {sensors} {side} {cut_in} {cut_out}"), atom));
            }
            Atom::Rise(rise) => {
                let (sensor, moves) = (name(rise.sensor), rise.trend.sign() * rise.by);
                keys.push((
                    format!("{owner} {sensor} moves {moves} within {} back {}", rise.within, rise.back_by),
                    atom,
                ));
            }
            _ => {}
        };
        for condition in &house.conditions {
            for_each_atom(house, &condition.condition, &mut |atom| add(&format!("condition {}", condition.name), atom));
        }
        for rule in &house.rules {
            for_each_atom(house, &rule.condition, &mut |atom| add(&format!("rule {}", rule.name), atom));
        }
        keys
    }
}
