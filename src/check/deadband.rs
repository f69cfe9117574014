//! Deadbands so narrow that the noise of a usual sensor crosses them, and the load switches all the time.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Atom, AtomId};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    for (index, atom) in subject.house.atoms.iter().enumerate() {
        let Atom::Threshold(threshold) = atom else { continue };
        let sensor = subject.house.sensor(threshold.sensor);
        let band = (threshold.cut_in - threshold.cut_out).abs();
        let least = least(&sensor.unit, threshold.cut_in);
        // A hair below what was meant is what was meant: 20.3 - 20.1 is not quite 0.2.
        if band >= least * (1.0 - 1e-9) {
            continue;
        }
        let unit = if sensor.unit.is_empty() { String::new() } else { format!(" {}", sensor.unit) };
        let shown = (band * 1e6).round() / 1e6;
        let diagnostic =
            Diagnostic::warning("narrow-deadband", format!("the deadband of {shown}{unit} is narrow for this sensor"))
                .because("readings waver by as much, and the load would switch with every one of them")
                .help(format!("move `cut_in` and `cut_out` at least {least}{unit} apart"));
        found.push(subject.at_spot(diagnostic, subject.spots.atom(AtomId(index as u32)), ""));
    }
    found
}

/// The narrowest deadband that makes sense: the noise and steps of small sensors for houses. Common practice, from memory.
fn least(unit: &str, cut_in: f64) -> f64 {
    match unit {
        "°C" | "K" => 0.2,
        "°F" => 0.4,
        "%" | "%RH" => 1.0,
        // Light wavers in proportion to itself: clouds, passing headlamps.
        "lx" => (cut_in.abs() * 0.1).round(),
        _ => 0.0,
    }
}
