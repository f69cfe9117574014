//! Boards without a lease: their relays stay as they are when nothing is heard any more.

use super::Subject;
use crate::diagnostic::Diagnostic;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let boards = subject.house.boards.iter().filter(|board| board.lease.is_none());
    let found = boards.map(|board| {
        let message = format!("board \"{}\" has no lease", board.name);
        let diagnostic = Diagnostic::warning("no-lease", message)
            .because("when it hears nothing any more its relays keep their last state for ever, safe or not")
            .help(match &board.foreign {
                None => "write lease = \"90s\", unless the loads on it may stay as they are for days",
                Some(_) => {
                    "if its firmware can release a relay after a time, put {lease_s} into `energised` and give it a lease; \
                     else hang only loads on it that may stay as they are for days"
                }
            });
        subject.at(diagnostic, "board", &board.name, "lease", "")
    });
    found.collect()
}
