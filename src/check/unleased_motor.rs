//! Actuators and pulsed loads on a board without a lease: the board alone ends a run that it has begun.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::Drive;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let house = subject.house;
    let driven = house.loads.iter().filter(|load| matches!(load.drive, Drive::Actuator(_)) || load.pulse.is_some());
    let unleased = driven.filter_map(|load| {
        let relay = *house.relays_of(load).first()?;
        let board = house.board(relay.board);
        if board.lease.is_some() {
            return None;
        }
        let message =
            format!("{} \"{}\" is on board \"{}\", which has no lease", load.section(), load.name, board.name);
        let diagnostic = Diagnostic::warning("unleased-run", message)
            .because("if the board does not end a run by itself, nothing does when contact is lost")
            .help("give the board a `lease`, and the motor end switches that break its current");
        let key = if load.pulse.is_some() { "relay" } else { "open" };
        Some(subject.at(diagnostic, load.section(), &load.name, key, ""))
    });
    unleased.collect()
}
