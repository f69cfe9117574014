//! Max on where nothing could keep it: a load that is safe or resting on, that runs when its relay is released, or whose
//! board obeys its last orders for ever.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Contact, State};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let house = subject.house;
    let limited = house.loads.iter().filter(|load| load.max_on.is_some());
    let found = limited.filter_map(|load| {
        let (because, help) = if load.safe == State::On {
            ("its safe state is on, so it runs on when contact is lost", "write safe = \"off\", or leave `max_on` out")
        } else if load.contact == Contact::Nc {
            (
                "it hangs on the NC contact, so it runs whenever its relay has no power",
                "wire it to the NO contact, or leave `max_on` out",
            )
        } else if load.relay().is_some_and(|relay| house.board(relay.board).lease.is_none()) {
            (
                "its board has no lease, so it keeps the load on for ever when contact is lost",
                "give the board a lease, or leave `max_on` out",
            )
        } else {
            return None;
        };
        let message = format!("max on of load \"{}\" cannot be kept", load.name);
        let diagnostic = Diagnostic::error("unkept-max-on", message).because(because).help(help);
        Some(subject.at(diagnostic, "load", &load.name, "max_on", ""))
    });
    found.collect()
}
