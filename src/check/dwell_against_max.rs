//! Limits of one load that contradict each other: min on that is longer than max on.

use super::Subject;
use crate::diagnostic::Diagnostic;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let contradicting = subject.house.loads.iter().filter_map(|load| {
        let max_on = load.max_on.filter(|max_on| *max_on < load.min_on)?;
        let message = format!("load \"{}\" is to be on for at least {} and at most {max_on}", load.name, load.min_on);
        let diagnostic = Diagnostic::error("contradicting-limits", message)
            .because("max on cuts it before min on is over, every time")
            .help("make `max_on` at least as long as `min_on`");
        Some(subject.at(diagnostic, "load", &load.name, "max_on", ""))
    });
    contradicting.collect()
}
