//! Interlocks with a member that nobody can be sure of: one whose board has no lease, or that is safe or running without
//! power. Members on different boards are fine: what counts is that each is surely off after its board's lease.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Contact, State};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let house = subject.house;
    let mut found = Vec::new();
    for interlock in &house.interlocks {
        for load in interlock.loads.iter().map(|load| house.load(*load)) {
            let because = if load.relay().is_some_and(|relay| house.board(relay.board).is_assumed()) {
                "its board cannot report: whether it is off is only assumed"
            } else if load.relay().is_some_and(|relay| house.board(relay.board).lease.is_none()) {
                "its board has no lease: when contact is lost nobody knows whether it is on"
            } else if load.safe == State::On {
                "its safe state is on: when contact is lost it closes whatever the others do"
            } else if load.contact == Contact::Nc {
                "it hangs on the NC contact: when its relay has no power it is on whatever the others do"
            } else {
                continue;
            };
            let message = format!("load \"{}\" cannot be kept apart by interlock \"{}\"", load.name, interlock.name);
            let diagnostic = Diagnostic::error("untrusted-member", message)
                .because(because)
                .help("change that, or interlock these loads by their contacts, in hardware");
            found.push(subject.at(diagnostic, "interlock", &interlock.name, "loads", ""));
        }
    }
    found
}
