//! Loads that rules of other loads ask about: what each is known to do. It never asks what is wanted of one.
//!
//! What a load does changes with what is heard of it. So rules that ask about each other's loads in a circle, which `check`
//! refuses, still wait for a report at each turn.

use super::Engine;
use crate::house::{Drive, LoadId, State};

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

    /// Looks again at the conditions about a load, and at the loads that wait for one of them after a start.
    pub(super) fn follow_load(&mut self, load: LoadId) {
        let index = self.index.clone();
        for atom in &index.atoms_of_load[load.index()] {
            let before = self.atoms[atom.index()].truth;
            self.follow_atom(*atom);
            if self.atoms[atom.index()].truth == before {
                continue;
            }
            for rule in &index.rules_of_atom[atom.index()] {
                let asking = self.house.rule(*rule).load;
                if !self.loads[asking.index()].settled {
                    self.dirty_loads.insert(asking);
                }
            }
        }
    }
}
