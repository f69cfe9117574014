//! What boards of other firmware are asked for and cannot do: readings and inputs of the contract, pulses that the board times,
//! actuators; and orders that the broker keeps, which outlive whoever gave them.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Board, BoardId, Source};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let house = subject.house;
    let foreign = |board: BoardId| Some(house.board(board)).filter(|board| board.foreign.is_some());
    let mut found = Vec::new();
    for sensor in &house.sensors {
        if let Source::Board { board, .. } = &sensor.source
            && let Some(board) = foreign(*board)
        {
            let message = format!("sensor \"{}\" cannot be read from board \"{}\" like this", sensor.name, board.name);
            let help =
                "name where its firmware publishes it: topic = \"...\", and field = \"/...\" for a number in JSON";
            let diagnostic = Diagnostic::error("not-the-wire", message).because(other_words(board)).help(help);
            found.push(subject.at(diagnostic, "sensor", &sensor.name, "reading", ""));
        }
    }
    for input in &house.inputs {
        if let Some(board) = foreign(house.ports[input.port.index()].board) {
            let message = format!("input \"{}\" is not heard from board \"{}\"", input.name, board.name);
            let help = "wire the button to a board that knows Standfast's wire, which counts its presses";
            let diagnostic = Diagnostic::error("not-the-wire", message).because(other_words(board)).help(help);
            found.push(subject.at(diagnostic, "input", &input.name, "at", ""));
        }
    }
    for load in house.loads.iter().filter(|load| load.pulse.is_some()) {
        if let Some(board) = load.relay().and_then(|relay| foreign(relay.board)) {
            let message = format!("load \"{}\" cannot be pulsed by board \"{}\"", load.name, board.name);
            let help = "hang it on a board that knows Standfast's wire, or leave `pulse` out";
            let diagnostic = Diagnostic::error("unkept-pulse", message)
                .because("a pulse is timed by the board, so that a lost message cannot make it long")
                .help(help);
            found.push(subject.at(diagnostic, "load", &load.name, "pulse", ""));
        }
    }
    for actuator in &house.actuators {
        if let Some(board) = actuator.relays().into_iter().find_map(|relay| foreign(relay.board)) {
            let name = &house.load(actuator.load).name;
            let message = format!("actuator \"{}\" cannot be driven by board \"{}\"", name, board.name);
            let diagnostic = Diagnostic::error("unkept-travel", message)
                .because("its two relays must be known open before the other closes, by reports that are numbered")
                .help("hang it on a board that knows Standfast's wire");
            found.push(subject.at(diagnostic, "actuator", name, "open", ""));
        }
    }
    found.extend(kept_orders(subject));
    found
}

fn other_words(board: &Board) -> String {
    format!("the firmware of board \"{}\" speaks otherwise, as its `order` says", board.name)
}

fn kept_orders(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let kept = |board: &&Board| board.foreign.as_ref().is_some_and(|foreign| foreign.retain);
    let boards = subject.house.boards.iter().filter(kept);
    let found = boards.map(|board| {
        let message = format!("the broker keeps the last orders of board \"{}\"", board.name);
        let diagnostic = Diagnostic::warning("kept-order", message)
            .because("a board that connects while Standfast is away carries them out, however old they are")
            .help("leave `retain` out: orders that stand are repeated anyhow");
        subject.at(diagnostic, "board", &board.name, "order", "")
    });
    found.collect()
}
