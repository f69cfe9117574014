//! Loads that rules of other loads ask about: what each is known to do. It never asks what is wanted of one.
//!
//! What a load does changes with reports and losses only, never with a decision. So a step follows each condition about a
//! load once, and rules that ask about each other's loads in a circle, which `check` refuses, still wait for a report at
//! each turn.

use super::Engine;
use crate::house::{BoardId, Drive, LoadId, State};

impl Engine {
    /// What a load does, as far as it is reported; `None` while it is not known.
    pub(super) fn known_state(&self, load: LoadId) -> Option<State> {
        let Drive::Rotation(rotation) = self.house.load(load).drive else { return self.reported(load) };
        let members = self.house.rotation(rotation).loads.map(|member| self.reported(member));
        // One that runs does the job, whatever is known of the other.
        if members.contains(&Some(State::On)) {
            return Some(State::On);
        }
        members.iter().all(Option::is_some).then_some(State::Off)
    }

    /// Looks again at the conditions about the loads on a board, and at the loads that wait for such a condition after a
    /// start.
    pub(super) fn follow_loads_of(&mut self, board: BoardId) {
        let index = self.index.clone();
        for atom in &index.load_atoms_of_board[board.index()] {
            self.follow_atom(*atom);
        }
        for load in &index.watchers_of_board[board.index()] {
            if !self.loads[load.index()].settled {
                self.dirty_loads.insert(*load);
            }
        }
    }
}
