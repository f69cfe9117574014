//! Rises: what is shown of one, and what it remembers over a restart or a change of the house. What a rise means stands in
//! `crate::condition`.

use super::rules::AtomState;
use super::{Engine, Evidence};
use crate::house::{Atom, Rise, SensorId};
use crate::units::Finite;

impl Engine {
    /// What a rise rests on, in numbers as they are shown.
    pub(super) fn rise_evidence(&self, rise: &Rise, state: &AtomState) -> Evidence {
        let sensor = self.house.sensor(rise.sensor);
        let shown = |value: f64| Finite::new(sensor.shown(value));
        let base = state.rise.base();
        let from = base.or_else(|| state.rise.lowest(rise, self.now.boot));
        Evidence::Rise {
            sensor: sensor.name.clone(),
            unit: sensor.unit.clone(),
            value: self.known_reading(rise.sensor).and_then(|value| shown(value.get())),
            trend: rise.trend,
            moved: self.known_reading(rise.sensor).zip(from).and_then(|(value, from)| {
                // What goes the other way is no move of this one.
                shown(((value.get() - from.get()) * rise.trend.sign()).max(0.0))
            }),
            by: rise.by,
            within: rise.within,
            back_at: base.and_then(|base| shown(base.get() + rise.trend.sign() * (rise.by - rise.back_by))),
            truth: state.truth,
        }
    }

    /// What was recalled of sensors is old: nobody knows until when they read so.
    pub(super) fn doubt_recalled_readings(&mut self) {
        self.atoms.iter_mut().for_each(|state| state.rise.doubt_present());
    }

    /// A sensor measures something else under its name: no rise may compare across that.
    pub(super) fn forget_rises(&mut self, sensor: SensorId) {
        for atom in &self.index.clone().atoms_of_sensor[sensor.index()] {
            if matches!(self.house.atom(*atom), Atom::Rise(_)) {
                self.atoms[atom.index()].rise = Default::default();
                self.follow_atom(*atom);
            }
        }
    }
}
