//! Elevations that the sun never reaches at the house's position, or never leaves: the condition would be a constant.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Atom, AtomId};
use crate::sun::ElevationBound;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let position = subject.house.site.setting().position;
    let (lowest, highest) = ElevationBound::reach(position);
    let mut found = Vec::new();
    for (index, atom) in subject.house.atoms.iter().enumerate() {
        let Atom::Sun { bound, .. } = atom else { continue };
        let is_met = |degrees: f64| if bound.at_least { degrees >= bound.degrees } else { degrees <= bound.degrees };
        let message = match (is_met(lowest), is_met(highest)) {
            (false, false) => "the sun never stands so here",
            (true, true) => "the sun always stands so here",
            _ => continue,
        };
        let latitude = position.latitude;
        let diagnostic = Diagnostic::error("out-of-reach", message)
            .because(format!(
                "at latitude {latitude} it goes from {lowest:.1}° to {highest:.1}° in the course of the years, so the \
                 condition would never change"
            ))
            .help(format!("write a number between {} and {}", lowest.ceil(), highest.floor()));
        found.push(subject.at_spot(diagnostic, subject.spots.atom(AtomId(index as u32)), ""));
    }
    found
}
