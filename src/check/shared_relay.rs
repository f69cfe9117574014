//! Two loads at one relay: each would be switched by the rules of the other.

use std::collections::BTreeMap;

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Drive, Load, Relay};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let mut first = BTreeMap::new();
    let mut found = Vec::new();
    for (load, key, relay) in subject.house.loads.iter().flat_map(|load| keys(subject, load)) {
        let Some((other, other_key)) = first.insert(relay, (load, key)) else { continue };
        let relay = subject.house.relay_name(relay);
        let diagnostic = Diagnostic::error("shared-relay", format!("two loads hang on relay {relay}"))
            .because("a relay has one state: whatever one of the loads is told, the other does too")
            .help("give one of them its own relay; if they are wired together, make them one load");
        let diagnostic = subject.at(diagnostic, load.section(), &load.name, key, "");
        found.push(subject.also(diagnostic, other.section(), &other.name, other_key, "the other"));
    }
    found
}

/// The relays of a load with the keys that name them. What stands for other loads has none of its own.
fn keys<'h>(subject: &Subject<'h>, load: &'h Load) -> Vec<(&'h Load, &'static str, Relay)> {
    match load.drive {
        Drive::Relay(relay) => vec![(load, "relay", relay)],
        Drive::Actuator(id) => {
            let actuator = subject.house.actuator(id);
            vec![(load, "open", actuator.open), (load, "close", actuator.close)]
        }
        Drive::Rotation(_) => Vec::new(),
    }
}
