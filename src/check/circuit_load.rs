//! Circuits that cannot count: a load without a power, or one that is too much by itself.

use super::Subject;
use crate::diagnostic::Diagnostic;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let house = subject.house;
    let members =
        house.circuits.iter().flat_map(|circuit| circuit.loads.iter().map(move |load| (circuit, house.load(*load))));
    // What has no relay of its own is no member; whoever looks at those says so.
    let found = members.filter(|(_, load)| load.relay().is_some()).filter_map(|(circuit, load)| match load.power {
        None => {
            let message = format!("load \"{}\" is on circuit \"{}\" and has no power", load.name, circuit.name);
            let diagnostic = Diagnostic::error("unknown-power", message)
                .because("what is not known cannot be held against a limit")
                .help("write its `power` from the appliance's plate");
            Some(subject.at(diagnostic, "load", &load.name, "power", ""))
        }
        Some(power) if power.0 > circuit.limit.0 => {
            let message = format!("load \"{}\" alone is more than circuit \"{}\" allows", load.name, circuit.name);
            let diagnostic = Diagnostic::error("never-room", message)
                .because(format!("it takes {power}, and the limit is {}: it would never be on", circuit.limit))
                .help("raise the limit if the fuse allows it, or take the load off the circuit");
            Some(subject.at(diagnostic, "load", &load.name, "power", ""))
        }
        Some(_) => None,
    });
    found.collect()
}
