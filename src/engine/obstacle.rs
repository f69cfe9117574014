//! Why a load is not yet what is wanted of it where nothing that decides says so: the order is on its way, or cannot go out.
//! Data; it never decides and never waits.

use serde::Serialize;

use super::Engine;
use super::boards::Presence;
use super::decide::Decider;
use crate::house::{Drive, LoadId};

/// What stands between what is wanted and what is so.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "obstacle")]
pub enum Obstacle {
    /// No broker is there to carry an order.
    NoBroker,
    /// The board is not heard, so nothing is ordered of it.
    Unheard {
        /// The board.
        board: String,
    },
    /// Its run or pulse waits for its turn after a start or a reconnect.
    Turn,
    /// The board has not answered the order yet.
    Unanswered {
        /// The board.
        board: String,
    },
    /// It was ordered and goes on as it was.
    Disobeys {
        /// The alarm that says so.
        alarm: String,
    },
}

impl Engine {
    /// What keeps a load from being what is wanted of it, beside what decides.
    pub(super) fn obstacle(&self, load: LoadId) -> Option<Obstacle> {
        let definition = self.house.load(load);
        let decision = self.loads[load.index()].decision?;
        let known = self.reported(load);
        let is_driven_nowhere = decision.by == Decider::Withdrawn && matches!(definition.drive, Drive::Actuator(_));
        if known == Some(decision.state) || is_driven_nowhere || matches!(definition.drive, Drive::Rotation(_)) {
            return None;
        }
        if !self.link {
            return Some(Obstacle::NoBroker);
        }
        let name = |board| self.house.board(board).name.clone();
        let boards = self.house.relays_of(definition).into_iter().map(|relay| relay.board);
        if let Some(board) = boards.clone().find(|board| self.presence(*board) != Presence::Present) {
            return Some(Obstacle::Unheard { board: name(board) });
        }
        if self.has_alarm_of("obey-") {
            let alarm = Engine::obey_alarm(&definition.name);
            if self.alarms.contains_key(&alarm) {
                return Some(Obstacle::Disobeys { alarm });
            }
        }
        if definition.is_driven_by_runs() && self.turn_of_run(load).is_some() {
            return Some(Obstacle::Turn);
        }
        // Of a run or a pulse its own words tell.
        let contact = self.contact_of(load).filter(|_| definition.pulse.is_none())?;
        let is_ordered = contact.said == Some(definition.energised(decision.state));
        let board = boards.into_iter().next()?;
        (is_ordered || known.is_none()).then(|| Obstacle::Unanswered { board: name(board) })
    }
}
