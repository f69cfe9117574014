//! Members of interlocks and circuits that are driven for a moment only: actuators and pulsed loads, whose being on is no
//! state that one could keep apart from another, or count.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Drive, LoadId};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let house = subject.house;
    let interlocks =
        house.interlocks.iter().flat_map(|one| one.loads.iter().map(move |load| ("interlock", &one.name, *load)));
    let circuits =
        house.circuits.iter().flat_map(|one| one.loads.iter().map(move |load| ("circuit", &one.name, *load)));
    interlocks.chain(circuits).filter_map(|(section, name, load)| member(subject, section, name, load)).collect()
}

fn member(subject: &Subject<'_>, section: &'static str, name: &str, load: LoadId) -> Option<Diagnostic> {
    let load = subject.house.load(load);
    let (because, help) = match (load.drive, load.pulse) {
        (Drive::Actuator(_), _) => (
            "its two relays are kept apart from each other already, and it is driven for the length of a run only",
            "take it out; what must not happen while it is open can be a rule with { load = …, is = \"open\" }",
        ),
        (Drive::Relay(_), Some(_)) => (
            "its relay is energised for the pulse only, and what it latches goes on without it",
            "take it out, or wire it so that its relay is energised for as long as it is on",
        ),
        _ => return None,
    };
    let message = format!("{} \"{}\" cannot be in {section} \"{name}\"", load.section(), load.name);
    let diagnostic = Diagnostic::error("driven-member", message).because(because).help(help);
    Some(subject.at(diagnostic, section, name, "loads", ""))
}
