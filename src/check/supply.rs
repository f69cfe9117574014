//! Boards whose supply cannot energise all relays that have a load: then relays drop when many are wanted.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::Load;
use crate::units::Amperes;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let house = subject.house;
    let mut found = Vec::new();
    for (index, board) in house.boards.iter().enumerate() {
        let (Some(coil), Some(supply)) = (board.coil, board.supply) else { continue };
        let plain = house.loads.iter().filter_map(Load::relay).filter(|relay| relay.board.index() == index).count();
        // The two relays of an actuator are never energised together.
        let used = plain + house.actuators.iter().filter(|one| one.open.board.index() == index).count();
        let needed = Amperes(coil.0 * used as f64);
        if needed.0 <= supply.0 {
            continue;
        }
        let message = format!("the supply of board \"{}\" is too small for its relays", board.name);
        let diagnostic = Diagnostic::warning("small-supply", message)
            .because(format!("{used} relays with a load need {needed} when all are energised, and it gives {supply}"))
            .help("use a larger supply, or move loads to another board");
        found.push(subject.at(diagnostic, "board", &board.name, "supply", ""));
    }
    found
}
