//! Circuits that cannot count or keep their limit: a load without a power, one that is too much by itself, and loads that
//! are too much together where the safe state of each is on.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Circuit, Load, State};
use crate::units::Watts;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let house = subject.house;
    let members =
        house.circuits.iter().flat_map(|circuit| circuit.loads.iter().map(move |load| (circuit, house.load(*load))));
    // What has no relay of its own is no member; whoever looks at those says so.
    let of_loads = members.filter(|(_, load)| load.relay().is_some()).filter_map(|(circuit, load)| match load.power {
        None => {
            let message = format!("load \"{}\" is on circuit \"{}\" and has no power", load.name, circuit.name);
            let diagnostic = Diagnostic::error("unknown-power", message)
                .because("what is not known cannot be held against a limit")
                .help("write its `power` from the appliance's plate");
            Some(subject.at(diagnostic, "load", &load.name, "power", ""))
        }
        Some(power) if power.0 == 0.0 => {
            let message = format!("load \"{}\" counts as nothing on circuit \"{}\"", load.name, circuit.name);
            let diagnostic = Diagnostic::error("unknown-power", message)
                .because(format!("its power is {power}, so the limit does not hold it"))
                .help("write its `power` from the appliance's plate, or take it off the circuit");
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
    of_loads.chain(house.circuits.iter().filter_map(|circuit| lapsed(subject, circuit))).collect()
}

/// When contact is lost each load goes to its safe state, and no limit is counted any more.
fn lapsed(subject: &Subject<'_>, circuit: &Circuit) -> Option<Diagnostic> {
    let loads = circuit.loads.iter().map(|load| subject.house.load(*load));
    let safe_on: Vec<&Load> = loads.filter(|load| load.safe == State::On).collect();
    let power: f64 = safe_on.iter().filter_map(|load| load.power).map(|power| power.0).sum();
    if safe_on.len() < 2 || power <= circuit.limit.0 {
        return None;
    }
    let names: Vec<&str> = safe_on.iter().map(|load| load.name.as_str()).collect();
    let message = format!("circuit \"{}\" is over its limit when contact is lost", circuit.name);
    let diagnostic = Diagnostic::warning("lapse-over-limit", message)
        .because(format!(
            "{} are safe on and take {} together; boards by themselves count no limit, which is {}",
            names.join(", "),
            Watts(power),
            circuit.limit
        ))
        .help("write safe = \"off\" for one of them, or put them on separate circuits");
    Some(subject.at(diagnostic, "circuit", &circuit.name, "limit", ""))
}
