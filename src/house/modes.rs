//! Selectors and setpoints: what people set while the house runs, and the ends of thresholds that rest on a setpoint. It
//! never knows what is set at the moment.

use super::condition::{Threshold, ThresholdSide};
use super::model::{House, Place, SelectorId, SetpointId};

/// The most positions that a selector has.
pub const POSITIONS_MAX: usize = 16;

/// The word that takes back what was set; no position may be called so.
pub const RELEASE: &str = "release";

/// `[selector.<name>]`: a switch of several positions that people turn and conditions read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Selector {
    /// Its name.
    pub name: String,
    /// What a person calls it; the name where none is given.
    pub label: String,
    /// The names of its positions, at least two; the first holds while nobody has set it.
    pub positions: Vec<String>,
    /// Where it is defined.
    pub place: Place,
}

impl Selector {
    /// The index of a position by its name.
    pub fn position(&self, name: &str) -> Option<usize> {
        self.positions.iter().position(|position| position == name)
    }
}

/// `[setpoint.<name>]`: a number for thresholds that people change within a range.
#[derive(Clone, Debug, PartialEq)]
pub struct Setpoint {
    /// Its name.
    pub name: String,
    /// What a person calls it; the name where none is given.
    pub label: String,
    /// The unit of its value; empty where it says none and takes that of the sensors it is compared with.
    pub unit: String,
    /// What it is while nobody has set it; within the range.
    pub value: f64,
    /// The least and the greatest that it may be set to.
    pub range: (f64, f64),
    /// Where it is defined.
    pub place: Place,
}

impl Setpoint {
    /// `28 °C`, or `28` where it has no unit of its own.
    pub fn shown(&self, value: f64) -> String {
        if self.unit.is_empty() { value.to_string() } else { format!("{value} {}", self.unit) }
    }
}

/// One end of a threshold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bound {
    /// Always this, in the sensor's unit.
    Number(f64),
    /// A setpoint, and so much added to it.
    Setpoint {
        /// The setpoint.
        setpoint: SetpointId,
        /// What is added; negative where it is taken off.
        offset: f64,
    },
}

impl Bound {
    /// The number, given what each setpoint is.
    pub fn at(self, value_of: impl Fn(SetpointId) -> f64) -> f64 {
        match self {
            Bound::Number(number) => number,
            // 28.2 - 1.6 is meant to be 26.6, and a reading of 26.6 is meant to reach it.
            Bound::Setpoint { setpoint, offset } => tidy(value_of(setpoint) + offset),
        }
    }

    /// The setpoint that it rests on.
    pub const fn setpoint(self) -> Option<SetpointId> {
        match self {
            Bound::Number(_) => None,
            Bound::Setpoint { setpoint, .. } => Some(setpoint),
        }
    }
}

/// The sum of two decimal numbers without what binary fractions leave behind: to a millionth.
fn tidy(sum: f64) -> f64 {
    let tidy = (sum * 1e6).round() / 1e6;
    if tidy.is_finite() { tidy } else { sum }
}

/// A threshold at one moment: its side and where its ends lie then, in the sensor's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ends {
    /// Whether high or low readings make it true.
    pub side: ThresholdSide,
    /// Becomes true here.
    pub cut_in: f64,
    /// Becomes false here.
    pub cut_out: f64,
}

impl Ends {
    /// How wide the deadband is; negative where the ends overlap.
    pub fn deadband(self) -> f64 {
        match self.side {
            ThresholdSide::High => self.cut_in - self.cut_out,
            ThresholdSide::Low => self.cut_out - self.cut_in,
        }
    }
}

impl Threshold {
    /// Where its ends lie, given what each setpoint is.
    pub fn ends(&self, value_of: impl Fn(SetpointId) -> f64) -> Ends {
        Ends { side: self.side, cut_in: self.cut_in.at(&value_of), cut_out: self.cut_out.at(&value_of) }
    }

    /// The setpoints that it rests on.
    pub fn setpoints(&self) -> impl Iterator<Item = SetpointId> {
        [self.cut_in.setpoint(), self.cut_out.setpoint()].into_iter().flatten()
    }

    /// Where its ends lie with its deadband at its narrowest that the ranges of its setpoints allow.
    pub fn narrowest(&self, setpoint: impl Fn(SetpointId) -> Range) -> Ends {
        let side = self.side;
        if self.cut_in.setpoint() == self.cut_out.setpoint() {
            // Both ends move together.
            return self.ends(|id| setpoint(id).value);
        }
        let (least_in, greatest_in) = extremes(self.cut_in, &setpoint);
        let (least_out, greatest_out) = extremes(self.cut_out, &setpoint);
        match side {
            ThresholdSide::High => Ends { side, cut_in: least_in, cut_out: greatest_out },
            ThresholdSide::Low => Ends { side, cut_in: greatest_in, cut_out: least_out },
        }
    }
}

/// What a setpoint is by the house's text, and how far it may be set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// Its value while nobody has set it.
    pub value: f64,
    /// The least that it may be set to.
    pub least: f64,
    /// The greatest that it may be set to.
    pub greatest: f64,
}

impl From<&Setpoint> for Range {
    fn from(setpoint: &Setpoint) -> Range {
        Range { value: setpoint.value, least: setpoint.range.0, greatest: setpoint.range.1 }
    }
}

/// The least and the greatest that an end can be.
fn extremes(bound: Bound, setpoint: impl Fn(SetpointId) -> Range) -> (f64, f64) {
    (bound.at(|id| setpoint(id).least), bound.at(|id| setpoint(id).greatest))
}

impl House {
    /// The selector behind an id.
    pub fn selector(&self, id: SelectorId) -> &Selector {
        &self.selectors[id.index()]
    }

    /// The setpoint behind an id.
    pub fn setpoint(&self, id: SetpointId) -> &Setpoint {
        &self.setpoints[id.index()]
    }

    /// The id of a selector by name.
    pub fn selector_named(&self, name: &str) -> Option<SelectorId> {
        let found = self.selectors.binary_search_by(|selector| selector.name.as_str().cmp(name));
        found.ok().map(|index| SelectorId(index as u32))
    }

    /// The id of a setpoint by name.
    pub fn setpoint_named(&self, name: &str) -> Option<SetpointId> {
        let found = self.setpoints.binary_search_by(|setpoint| setpoint.name.as_str().cmp(name));
        found.ok().map(|index| SetpointId(index as u32))
    }

    /// Where the ends of a threshold lie with its deadband at its narrowest that the ranges of its setpoints allow.
    pub fn narrowest_ends(&self, threshold: &Threshold) -> Ends {
        threshold.narrowest(|id| self.setpoint(id).into())
    }

    /// The least and the greatest that an end of a threshold can be.
    pub fn extremes(&self, bound: Bound) -> (f64, f64) {
        extremes(bound, |id| self.setpoint(id).into())
    }

    /// `sunroom − 1.5` for an end that rests on a setpoint.
    pub fn bound_name(&self, bound: Bound) -> Option<String> {
        let Bound::Setpoint { setpoint, offset } = bound else { return None };
        let name = &self.setpoint(setpoint).name;
        Some(match offset {
            0.0 => name.clone(),
            offset if offset < 0.0 => format!("{name} \u{2212} {}", -offset),
            offset => format!("{name} + {offset}"),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::house::SensorId;

    fn on(setpoint: u32, offset: f64) -> Bound {
        Bound::Setpoint { setpoint: SetpointId(setpoint), offset }
    }

    /// The narrowest deadband with setpoint 0 at 20 to 32 and setpoint 1 at 10 to 19.
    fn check(side: ThresholdSide, cut_in: Bound, cut_out: Bound, expected: f64) {
        let threshold = Threshold { sensor: SensorId(0), minus: None, side, cut_in, cut_out, place: Place::default() };
        let ranges =
            [Range { value: 28.0, least: 20.0, greatest: 32.0 }, Range { value: 15.0, least: 10.0, greatest: 19.0 }];
        let narrowest = threshold.narrowest(|id| ranges[id.index()]);
        assert_eq!(narrowest.deadband(), expected);
        // Nothing that may be set makes it narrower.
        for step in 0..=100 {
            for other in 0..=100 {
                let within =
                    |range: &Range, step: i32| range.least + (range.greatest - range.least) * f64::from(step) / 100.0;
                let values = [within(&ranges[0], step), within(&ranges[1], other)];
                assert!(threshold.ends(|id| values[id.index()]).deadband() >= expected - 1e-6);
            }
        }
    }

    #[test]
    fn the_narrowest_deadband_over_all_that_may_be_set() {
        use ThresholdSide::{High, Low};
        check(High, on(0, 0.0), on(0, -1.5), 1.5);
        check(Low, on(0, 0.0), on(0, 1.5), 1.5);
        check(High, on(0, 0.0), Bound::Number(19.5), 0.5);
        check(High, on(0, 0.0), Bound::Number(26.5), -6.5);
        check(Low, Bound::Number(19.5), on(0, 0.0), 0.5);
        check(High, on(0, 0.0), on(1, 0.0), 1.0);
        check(Low, on(0, 0.0), on(1, 0.0), -22.0);
    }

    #[test]
    fn decimal_sums_are_what_a_person_expects() {
        assert_eq!(on(0, -1.6).at(|_| 28.2), 26.6);
        assert_eq!(on(0, 0.1).at(|_| 0.2), 0.3);
    }
}
