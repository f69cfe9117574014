//! Runs of actuators that a crash took from the controller's memory, whose board has been reset since: the counts that could have
//! told of them are gone as well. It never judges where an actuator stands.

use std::collections::BTreeMap;

use super::super::super::happening::{Happening, Mover, What};
use super::super::Scene;
use crate::house::State;

/// Follows such runs.
#[derive(Debug, Default)]
pub struct Forgotten {
    /// By actuator: the board and its boot.
    runs: BTreeMap<String, (usize, u32)>,
}

impl Forgotten {
    /// Something happened.
    pub fn see(&mut self, seen: &Happening, scene: &Scene<'_>) {
        match &seen.what {
            What::Stopped { unsaved: true, .. } => self.note_crash(scene),
            // It has moved again.
            What::Contact { board, relay, energised: true, .. } => {
                let house = scene.stage.house();
                let place = |relay: crate::house::Relay| scene.stage.place(&house.board(relay.board).name);
                for actuator in &house.actuators {
                    let relays = [State::On, State::Off].map(|end| actuator.relay(end));
                    if relays.iter().any(|one| one.number == *relay && place(*one) == Some(*board)) {
                        self.runs.remove(&house.load(actuator.load).name);
                    }
                }
            }
            What::ReportHeard { board, boot, .. } => {
                let counts = !scene.stage.panels()[*board].board().faults().hides_changes;
                self.runs.retain(|_, run| !counts || *run != (*board, *boot));
            }
            _ => {}
        }
    }

    /// Whether the last run of an actuator is one of them.
    pub fn holds(&self, actuator: &str) -> bool {
        self.runs.contains_key(actuator)
    }

    fn note_crash(&mut self, scene: &Scene<'_>) {
        let house = scene.stage.house();
        for actuator in &house.actuators {
            for relay in [State::On, State::Off].map(|end| actuator.relay(end)) {
                let Some(board) = scene.stage.place(&house.board(relay.board).name) else { continue };
                let closing = scene.ledger.contact((board, relay.number)).turned(true);
                let Some(Mover::Orders(number)) = closing.map(|closing| closing.mover) else { continue };
                if let Some(sent) = scene.ledger.orders(board, number).filter(|sent| sent.place > scene.ledger.stored())
                {
                    self.runs.insert(house.load(actuator.load).name.clone(), (board, sent.orders.boot));
                }
            }
        }
    }
}
