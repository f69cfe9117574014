//! Two loads at one relay: each would be switched by the rules of the other.

use std::collections::BTreeMap;

use super::Subject;
use crate::diagnostic::Diagnostic;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let mut first = BTreeMap::new();
    let mut found = Vec::new();
    for load in &subject.house.loads {
        let Some(relay) = load.relay() else { continue };
        let Some(other) = first.insert(relay, load) else { continue };
        let relay = subject.house.relay_name(relay);
        let diagnostic = Diagnostic::error("shared-relay", format!("two loads hang on relay {relay}"))
            .because("a relay has one state: whatever one of the loads is told, the other does too")
            .help("give one of them its own relay; if they are wired together, make them one load");
        let diagnostic = subject.at(diagnostic, "load", &load.name, "relay", "");
        found.push(subject.also(diagnostic, "load", &other.name, "relay", "the other"));
    }
    found
}
