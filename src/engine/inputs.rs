//! Inputs: presses, keys and contacts as they come in. It never takes the same message for two presses.

use serde::{Deserialize, Serialize};

use super::{Dropped, Effect, Engine, Presence};
use crate::house::{PortId, State};
use crate::wire::InputWord;

/// So many presses later at most a message of one may still come.
const LATE_MAX: u32 = 1000;

/// What is known of an endpoint.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct PortState {
    /// The state of a contact, while it is known.
    pub state: Option<State>,
    /// The count of the last press in the board's present boot.
    pub count: Option<u32>,
    /// The boot in which it was last known, and the state then, where another one was adopted without a word of its start.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub aside: Option<(u32, State)>,
}

impl Engine {
    pub(super) fn handle_input(&mut self, port: PortId, word: &InputWord, out: &mut Vec<Effect>) {
        match word {
            InputWord::On => self.hear_contact(port, State::On, out),
            InputWord::Off => self.hear_contact(port, State::Off, out),
            InputWord::Press { count } => {
                if self.is_new_press(port, *count, out) {
                    self.press_all(port, None, out);
                }
            }
            InputWord::Code { code, count } => {
                if self.is_new_press(port, *count, out) {
                    self.press_all(port, Some(code), out);
                }
            }
        }
    }

    /// A doubled message repeats a count, a late one has a somewhat lower one. One that is lower by far shows that the last
    /// count was not the board's.
    fn is_new_press(&mut self, port: PortId, count: u32, out: &mut Vec<Effect>) -> bool {
        let last = &mut self.ports[port.index()].count;
        if let Some(last) = last.filter(|last| count <= *last && last - count <= LATE_MAX) {
            out.push(Effect::MessageDropped(Dropped::Press { port, count, last }));
            return false;
        }
        *last = Some(count);
        true
    }

    fn press_all(&mut self, port: PortId, code: Option<&crate::wire::Code>, out: &mut Vec<Effect>) {
        let index = self.index.clone();
        for input in &index.inputs_of_port[port.index()] {
            let meant = match (&self.house.inputs[input.index()].code, code) {
                (None, None) => true,
                (Some(named), Some(code)) => code.is(named),
                _ => false,
            };
            if meant {
                self.press(*input, out);
            }
        }
    }

    /// Takes what a contact says of itself.
    fn hear_contact(&mut self, port: PortId, state: State, out: &mut Vec<Effect>) {
        let was_known = self.known_contact(port).is_some();
        let before = self.ports[port.index()].state;
        self.set_contact(port, Some(state));
        if before != Some(state) {
            self.feedback_changed(port, was_known, out);
        }
    }

    /// Sets a contact's state, or forgets it.
    pub(super) fn set_contact(&mut self, port: PortId, state: Option<State>) {
        if std::mem::replace(&mut self.ports[port.index()].state, state) != state {
            self.contact_changed(port);
        }
    }

    /// A contact's state; `None` while it is unknown. What comes from a lost board counts only once the board is found.
    pub(super) fn known_contact(&self, port: PortId) -> Option<State> {
        let board = self.house.ports[port.index()].board;
        self.ports[port.index()].state.filter(|_| self.presence(board) != Presence::Lost)
    }

    pub(super) fn contact_changed(&mut self, port: PortId) {
        let index = self.index.clone();
        self.dirty_loads.extend(&index.proofs_of_port[port.index()]);
        for atom in &index.atoms_of_port[port.index()] {
            self.follow_atom(*atom);
        }
        self.dirty_loads.extend(index.told_by_port[port.index()].iter().copied());
        for load in &index.loads_of_port[port.index()] {
            if !self.loads[load.index()].settled {
                self.dirty_loads.insert(*load);
            }
        }
    }
}
