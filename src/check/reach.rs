//! Thresholds that no reading within the sensor's range reaches: the rule would never begin, or never end.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Atom, AtomId, House, Threshold, ThresholdSide};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    for (index, atom) in subject.house.atoms.iter().enumerate() {
        let Atom::Threshold(threshold) = atom else { continue };
        let sensor = subject.house.sensor(threshold.sensor);
        let Some((least, greatest)) = range(subject.house, threshold) else { continue };
        let high = threshold.side == ThresholdSide::High;
        for (key, end, upwards) in [("cut_in", threshold.cut_in, high), ("cut_out", threshold.cut_out, !high)] {
            // A setpoint may be set to all of its range.
            let extremes = subject.house.extremes(end);
            let lies = if end.setpoint().is_some() { "can be set" } else { "lies" };
            let end = if upwards { extremes.1 } else { extremes.0 };
            let reached = if upwards { end <= greatest } else { end >= least };
            if reached {
                continue;
            }
            let what = if key == "cut_in" { "becomes true" } else { "becomes false again" };
            let message = format!("`{key}` {lies} outside the range of sensor \"{}\"", sensor.name);
            let diagnostic = Diagnostic::error("out-of-reach", message)
                .because(format!(
                    "readings outside {least} to {greatest} are dropped as impossible, so the condition never {what}"
                ))
                .help(match (lies, sensor.grade.measures == sensor.range) {
                    ("lies", true) => format!("move `{key}` into the range that the part measures"),
                    ("lies", false) => format!("move `{key}` into the range, or widen the sensor's `range`"),
                    (_, true) => "narrow the setpoint's `range` to what the part measures".to_owned(),
                    (_, false) => "narrow the setpoint's `range`, or widen the sensor's".to_owned(),
                });
            let diagnostic = subject.at_spot(diagnostic, subject.spots.atom(AtomId(index as u32)), "");
            let from = if sensor.grade.measures == sensor.range { "part" } else { "range" };
            found.push(subject.also(diagnostic, "sensor", &sensor.name, from, "the range"));
        }
    }
    found
}

/// What the value of a threshold can be: its sensor's range, for a difference as far as two ranges allow.
fn range(house: &House, threshold: &Threshold) -> Option<(f64, f64)> {
    let (least, greatest) = house.sensor(threshold.sensor).range?;
    let Some(minus) = threshold.minus else { return Some((least, greatest)) };
    let (least_off, greatest_off) = house.sensor(minus).range?;
    Some((least - greatest_off, greatest - least_off))
}
