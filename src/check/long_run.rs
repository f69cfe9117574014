//! Runs and pulses that outlast what a board may be left alone with: a board that hears nothing drops the relay when its
//! lease is over, in the middle of the run.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{BoardId, State};
use crate::units::Span;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let house = subject.house;
    let mut found = Vec::new();
    for actuator in &house.actuators {
        let length = actuator.length(State::On).max(actuator.length(State::Off));
        let name = &house.load(actuator.load).name;
        let message = format!("a run of actuator \"{name}\", {length}, is too long for the lease of its board");
        found.extend(judged(subject, actuator.open.board, length, message).map(|(one, most)| {
            // Where the travel alone has room, it is the margin that has none.
            if actuator.travel > most {
                return subject.at(one.help("give the board a longer `lease`"), "actuator", name, "travel", "");
            }
            let room = Span(most.0 - actuator.travel.0);
            let help = format!(
                "{} of the run are `travel`; write a `margin` of \"{room}\" at most, or give the board a longer `lease`",
                actuator.travel
            );
            subject.at(one.help(help), "actuator", name, "margin", "")
        }));
    }
    for load in &house.loads {
        let (Some(pulse), Some(relay)) = (load.pulse, load.relay()) else { continue };
        let message = format!("the pulse of load \"{}\" is too long for the lease of its board", load.name);
        found.extend(judged(subject, relay.board, pulse.length, message).map(|(one, _)| {
            let help = "write a shorter `pulse`, or give the board a longer `lease`";
            subject.at(one.help(help), "load", &load.name, "pulse", "")
        }));
    }
    found
}

/// The finding about a run that is too long, with how long it may be.
fn judged(subject: &Subject<'_>, board: BoardId, length: Span, message: String) -> Option<(Diagnostic, Span)> {
    let lease = subject.house.board(board).lease?;
    // A run begins within a third of a lease of a report; the rest is for the run.
    let most = Span(lease.0 * 2 / 3);
    (length > most).then(|| {
        let cause = format!("the lease is {lease}, and a run may take two thirds of it at most");
        (Diagnostic::error("long-run", message).because(cause), most)
    })
}
