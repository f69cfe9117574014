//! Sensors: which readings are accepted, and when a sensor is unknown. It never keeps a reading past its time.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::timers::Timer;
use super::{DropReason, Effect, Engine};
use crate::house::{SensorId, Source, Truth};
use crate::sensing::{derive, median};
use crate::units::{Finite, Moment};

/// So many unusable readings in a row make a sensor unknown until the next good one.
const REFUSED_MAX: u8 = 3;

/// What is known of a sensor.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct SensorState {
    /// Its last good reading, while it is known.
    pub value: Option<Finite>,
    /// When that was received.
    pub at: Moment,
    /// The last good readings as they came, the newest last; kept where a reading counts as the median of several.
    #[serde(default)]
    pub recent: VecDeque<Finite>,
    /// Unusable readings in a row.
    pub refused: u8,
    /// It is known to be unknown: it was missed, or sent nothing usable. Before that, after a start, nobody knows yet.
    #[serde(default)]
    pub missed: bool,
    /// A timer looks after its age already, which spares every further reading the search for it.
    #[serde(skip)]
    pub watched: bool,
}

impl SensorState {
    /// As it is kept: timers are set anew when it is recalled.
    pub fn unwatched(self) -> SensorState {
        SensorState { watched: false, ..self }
    }
}

/// What a reading counts as: itself, or the median of the last so many, so that a single absurd one does nothing.
fn smoothed(recent: &mut VecDeque<Finite>, value: Finite, median_of: u8) -> Finite {
    if median_of <= 1 {
        // Another house may have kept some; should it come back, they would be old.
        recent.clear();
        return value;
    }
    recent.push_back(value);
    while recent.len() > usize::from(median_of) {
        recent.pop_front();
    }
    let values = recent.iter().map(|value| value.get()).collect();
    median(values).and_then(Finite::new).unwrap_or(value)
}

impl Engine {
    /// A sensor's reading in its unit and when it was received; `None` while it is unknown.
    pub fn reading(&self, sensor: SensorId) -> Option<(Finite, Moment)> {
        let at = match &self.house.sensor(sensor).source {
            // As old as the oldest that it rests on.
            Source::Derived(derived) => {
                let known = derived.ingredients().iter().filter(|sensor| self.known_reading(**sensor).is_some());
                known.map(|sensor| self.sensors[sensor.index()].at).min().unwrap_or_default()
            }
            _ => self.sensors[sensor.index()].at,
        };
        self.known_reading(sensor).map(|value| (value, at))
    }

    /// A sensor's reading; `None` while it is unknown. That of a lost board counts again once the board is found.
    pub(super) fn known_reading(&self, sensor: SensorId) -> Option<Finite> {
        match &self.house.sensor(sensor).source {
            Source::Derived(derived) => {
                derive(derived, |ingredient| self.known_reading(ingredient).map(Finite::get)).and_then(Finite::new)
            }
            _ => self.sensors[sensor.index()].value.filter(|_| !self.of_lost_board(sensor)),
        }
    }

    /// Whether a sensor is unknown; unknown itself while, after a start, it has not been missed yet.
    pub(super) fn is_unknown(&self, sensor: SensorId) -> Truth {
        if self.known_reading(sensor).is_some() {
            Truth::False
        } else if let Source::Derived(derived) = &self.house.sensor(sensor).source {
            let open = derived.ingredients().iter().any(|ingredient| self.is_unknown(*ingredient) == Truth::Unknown);
            if open { Truth::Unknown } else { Truth::True }
        } else if self.sensors[sensor.index()].missed || self.of_lost_board(sensor) {
            Truth::True
        } else {
            Truth::Unknown
        }
    }

    pub(super) fn handle_reading(&mut self, sensor: SensorId, value: Finite, out: &mut Vec<Effect>) {
        if let Some((lowest, highest)) = self.house.sensor(sensor).range
            && !(lowest..=highest).contains(&value.get())
        {
            out.push(Effect::ReadingDropped { sensor, value, why: DropReason::OutOfRange });
            return self.handle_refused_reading(sensor, out);
        }
        let state = &mut self.sensors[sensor.index()];
        let before = state.value;
        let watched = state.watched;
        let mut recent = std::mem::take(&mut state.recent);
        let value = smoothed(&mut recent, value, self.house.sensor(sensor).median_of);
        let at = self.now.boot.into();
        *state = SensorState { value: Some(value), at, recent, refused: 0, missed: false, watched: true };
        if !watched {
            self.boot_timers.set_lazily(Timer::Stale(sensor), self.now.boot + self.house.sensor(sensor).stale_after);
        }
        if before != Some(value) {
            self.sensor_changed(sensor);
        }
        self.touch_proofs(sensor);
        if before.is_none() {
            let id = self.sensor_alarm(sensor);
            self.clear_alarm(&id, out);
        }
    }

    pub(super) fn handle_refused_reading(&mut self, sensor: SensorId, out: &mut Vec<Effect>) {
        let state = &mut self.sensors[sensor.index()];
        state.refused = state.refused.saturating_add(1);
        if state.refused >= REFUSED_MAX && state.value.is_some() {
            self.forget_reading(sensor);
            self.raise_alarm(self.sensor_alarm(sensor), self.unusable(sensor), out);
        }
    }

    fn unusable(&self, sensor: SensorId) -> String {
        format!(
            "sensor {:?} sent {REFUSED_MAX} unusable readings in a row; look at its wiring. Rules that need it demand the safe state",
            self.house.sensor(sensor).name
        )
    }

    /// The time that a reading keeps is over, or the sensor was never heard.
    pub(super) fn handle_silent_sensor(&mut self, sensor: SensorId, out: &mut Vec<Effect>) {
        if matches!(self.house.sensor(sensor).source, Source::Derived(_)) {
            // Those that it is computed from are missed by themselves; it is only looked at again.
            return self.sensor_changed(sensor);
        }
        let stale_after = self.house.sensor(sensor).stale_after;
        let state = &mut self.sensors[sensor.index()];
        state.watched = false;
        if state.value.is_some() {
            let due = state.at.after(stale_after);
            if due > self.now.boot {
                state.watched = true;
                return self.boot_timers.set(Timer::Stale(sensor), due);
            }
            self.forget_reading(sensor);
        } else if !std::mem::replace(&mut state.missed, true) {
            self.sensor_changed(sensor);
        }
        // The alarm of a board that is not heard speaks for its sensors.
        if !self.of_absent_board(sensor) {
            let text = if self.sensors[sensor.index()].refused >= REFUSED_MAX {
                self.unusable(sensor)
            } else {
                format!(
                    "sensor {:?} has not been heard for {stale_after}. Rules that need it demand the safe state",
                    self.house.sensor(sensor).name
                )
            };
            self.raise_alarm(self.sensor_alarm(sensor), text, out);
        }
    }

    /// Its board is found again: its last reading counts if it is not too old, and if there is none its time starts again.
    pub(super) fn welcome_sensor(&mut self, sensor: SensorId) {
        let state = &mut self.sensors[sensor.index()];
        if state.value.is_some() {
            return self.sensor_changed(sensor);
        }
        state.watched = true;
        self.boot_timers.set(Timer::Stale(sensor), self.now.boot + self.house.sensor(sensor).stale_after);
    }

    /// Makes a sensor unknown until its next good reading.
    pub(super) fn forget_reading(&mut self, sensor: SensorId) {
        let state = &mut self.sensors[sensor.index()];
        state.missed = true;
        state.recent.clear();
        if state.value.take().is_some() {
            self.sensor_changed(sensor);
        }
    }

    pub(super) fn sensor_changed(&mut self, sensor: SensorId) {
        let index = self.index.clone();
        // What is derived is computed from what is measured, so this is one step deep.
        for derived in &index.derived_of_sensor[sensor.index()] {
            self.sensor_changed(*derived);
        }
        self.dirty_loads.extend(&index.proofs_of_sensor[sensor.index()]);
        for atom in &index.atoms_of_sensor[sensor.index()] {
            self.follow_atom(*atom);
        }
        for load in &index.loads_of_sensor[sensor.index()] {
            // It may be the one that a settling load waits for.
            if !self.loads[load.index()].settled {
                self.dirty_loads.insert(*load);
            }
        }
    }

    fn sensor_alarm(&self, sensor: SensorId) -> String {
        format!("sensor-{}", self.house.sensor(sensor).name)
    }
}
