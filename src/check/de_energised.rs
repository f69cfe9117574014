//! Loads whose safe state needs an energised relay: without power at the board they cannot have it.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::Contact;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    // What is driven for a moment only keeps its state without power; that it cannot be brought to another is said elsewhere.
    let kept = subject.house.loads.iter().filter(|load| load.relay().is_some() && load.pulse.is_none());
    let loads = kept.filter(|load| load.energised(load.safe));
    let found = loads.map(|load| {
        let message = format!("load \"{}\" loses its safe state when its board loses power", load.name);
        let cause = format!(
            "its safe state is {}, and for that the relay must be energised; a relay without power drops, and the load \
             is {}",
            load.safe,
            load.safe.opposite()
        );
        let (wire, key) = match load.contact {
            Contact::No => ("NC", "contact = \"NC\""),
            Contact::Nc => ("NO", "contact = \"NO\""),
        };
        let help = format!(
            "have the load wired to the {wire} contact and write {key}, or choose the other safe state; with mains, \
             wiring is a job for a licensed electrician"
        );
        let diagnostic = Diagnostic::warning("safe-needs-power", message).because(cause).help(help);
        let key = if load.contact == Contact::Nc { "contact" } else { "safe" };
        subject.at(diagnostic, "load", &load.name, key, "")
    });
    found.collect()
}
