//! Sensors: which readings are accepted, and when a sensor is unknown. It never keeps a reading past its time.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::timers::Timer;
use super::{DropReason, Effect, Engine};
use crate::house::{House, Sensor, SensorId, Source, Truth};
use crate::sensing::{calibrated, derive, is_too_fast, median};
use crate::units::{BootTime, Finite, Moment};

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
    /// The last good reading as it came, and when: what the next is held against where the sensor has a greatest rate. It
    /// stays when the sensor becomes unknown.
    #[serde(default)]
    pub good: Option<Mark>,
    /// The last reading that was dropped for its haste.
    #[serde(default)]
    pub hasty: Option<Mark>,
    /// What its numbers rest on: source, unit and calibration. Those of another basis are not comparable.
    #[serde(default)]
    pub basis: String,
    /// It is known to be unknown: it was missed, or sent nothing usable. Before that, after a start, nobody knows yet.
    #[serde(default)]
    pub missed: bool,
    /// A timer looks after its age already, which spares every further reading the search for it.
    #[serde(skip)]
    pub watched: bool,
}

/// A reading at a moment.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Mark {
    /// In the sensor's unit.
    pub value: Finite,
    /// When it was received.
    pub at: Moment,
}

impl SensorState {
    /// Moves its times; without a way to tell how old its readings are, they are forgotten.
    pub fn move_times(&mut self, past: impl Fn(Moment) -> Moment, is_known: bool) {
        if !is_known {
            self.value = None;
            self.recent.clear();
            (self.good, self.hasty) = (None, None);
        }
        self.at = past(self.at);
        for mark in [&mut self.good, &mut self.hasty].into_iter().flatten() {
            mark.at = past(mark.at);
        }
    }

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
            // Where much is over at once it makes no difference which is looked at first.
            _ => {
                let state = &self.sensors[sensor.index()];
                let is_stale = state.at.after(self.house.sensor(sensor).stale_after) <= self.now.boot;
                state.value.filter(|_| !is_stale && !self.of_lost_board(sensor))
            }
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

    /// A reading as the board sent it: calibrated, then judged by range and rate, then smoothed.
    pub(super) fn handle_reading(&mut self, sensor: SensorId, raw: Finite, out: &mut Vec<Effect>) {
        let judged = self.judge(sensor, raw);
        let value = match judged {
            Ok(value) => value,
            Err((value, why)) => {
                if why == DropReason::TooFast {
                    self.sensors[sensor.index()].hasty = Some(Mark { value, at: self.now.boot.into() });
                }
                out.push(Effect::ReadingDropped { sensor, value, why });
                return self.handle_refused_reading(sensor, out);
            }
        };
        let definition = self.house.sensor(sensor);
        let at = self.now.boot.into();
        let state = &mut self.sensors[sensor.index()];
        let before = state.value;
        state.good = definition.max_rate.map(|_| Mark { value, at });
        let value = smoothed(&mut state.recent, value, definition.median_of);
        state.value = Some(value);
        state.at = at;
        state.refused = 0;
        state.hasty = None;
        state.missed = false;
        if !std::mem::replace(&mut state.watched, true) {
            self.boot_timers.set_lazily(Timer::Stale(sensor), self.now.boot + definition.stale_after);
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

    /// What a reading says in the sensor's unit, or why it is dropped.
    fn judge(&self, sensor: SensorId, raw: Finite) -> Result<Finite, (Finite, DropReason)> {
        let definition = self.house.sensor(sensor);
        let value = calibrated(&definition.calibration, raw.get()).and_then(Finite::new);
        let value = value.ok_or((raw, DropReason::NoQuantity))?;
        if definition.range.is_some_and(|(least, greatest)| !(least..=greatest).contains(&value.get())) {
            return Err((value, DropReason::OutOfRange));
        }
        let Some(rate) = &definition.max_rate else { return Ok(value) };
        let state = &self.sensors[sensor.index()];
        let fits = |mark: &Mark| {
            let over = mark.at.age(self.now.boot);
            !is_too_fast(rate, &definition.grade, value.get() - mark.value.get(), over)
        };
        // The first reading ever has nothing to be held against. Once the sensor is unknown, one that goes on from the last
        // dropped one is good as well: something did leap, such as a probe that was moved, and shall not be locked out for
        // ever. One that goes on leaping about never becomes good.
        let hasty = state.hasty.as_ref().filter(|_| state.value.is_none());
        let is_good = state.good.as_ref().is_none_or(fits) || hasty.is_some_and(fits);
        if is_good { Ok(value) } else { Err((value, DropReason::TooFast)) }
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

    /// The time that a reading keeps is over, or the sensor was never heard; what was due at `since` may have been put off
    /// meanwhile.
    pub(super) fn handle_silent_sensor(&mut self, sensor: SensorId, since: BootTime, out: &mut Vec<Effect>) {
        if matches!(self.house.sensor(sensor).source, Source::Derived(_)) {
            // Those that it is computed from are missed by themselves; it is only looked at again.
            return self.sensor_changed(sensor);
        }
        let stale_after = self.house.sensor(sensor).stale_after;
        let state = &mut self.sensors[sensor.index()];
        state.watched = false;
        if state.value.is_some() {
            let due = state.at.after(stale_after);
            if due > since {
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

    /// Makes a sensor unknown, and takes nothing of what it read for comparable with what it will read.
    pub(super) fn forget_readings(&mut self, sensor: SensorId) {
        let state = &mut self.sensors[sensor.index()];
        (state.good, state.hasty) = (None, None);
        self.forget_reading(sensor);
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

    /// What the numbers of a sensor rest on.
    pub(super) fn basis(house: &House, sensor: SensorId) -> String {
        let sensor = house.sensor(sensor);
        let source = match &sensor.source {
            Source::Board { board, reading } => format!("{}/{reading}", house.board(*board).name),
            Source::Topic { topic, field } => format!("{topic} {}", field.as_deref().unwrap_or("")),
            // It has no numbers of its own.
            Source::Derived(_) => return String::new(),
        };
        format!("{source} in {} {}", sensor.unit, Engine::calibration_text(house, sensor))
    }

    /// A sensor's calibration in a form to compare, or those that it is computed from; empty where there is none.
    pub(super) fn calibration_text(house: &House, sensor: &Sensor) -> String {
        if let Source::Derived(derived) = &sensor.source {
            let of: Vec<String> = derived
                .ingredients()
                .iter()
                .map(|ingredient| Engine::calibration_text(house, house.sensor(*ingredient)))
                .filter(|text| !text.is_empty())
                .collect();
            return of.join(" ");
        }
        if sensor.calibration.is_none() { String::new() } else { format!("{:?}", sensor.calibration) }
    }

    fn sensor_alarm(&self, sensor: SensorId) -> String {
        format!("sensor-{}", self.house.sensor(sensor).name)
    }
}
