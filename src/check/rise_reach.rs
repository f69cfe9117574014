//! Rises that no two readings within the sensor's range span: the condition would never begin.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Atom, AtomId, Trend};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    for (index, atom) in subject.house.atoms.iter().enumerate() {
        let Atom::Rise(rise) = atom else { continue };
        let sensor = subject.house.sensor(rise.sensor);
        let Some((least, greatest)) = sensor.range.filter(|(least, greatest)| rise.by > greatest - least) else {
            continue;
        };
        let key = if rise.trend == Trend::Rises { "rises" } else { "falls" };
        let diagnostic =
            Diagnostic::error("out-of-reach", format!("`{key}` is more than the range of sensor \"{}\"", sensor.name))
                .because(format!(
                    "readings outside {least} to {greatest} are dropped, so the condition never becomes true"
                ))
                .help(format!("write less than {}, or widen the sensor's `range`", greatest - least));
        let diagnostic = subject.at_spot(diagnostic, subject.spots.atom(AtomId(index as u32)), "");
        found.push(subject.also(diagnostic, "sensor", &sensor.name, "range", "the range"));
    }
    found
}
