//! What a board is made of, and what its flash remembers. It never holds what a reset forgets.

use serde::{Deserialize, Serialize};

use crate::house::{Action, BoardId, House, Relay};
use crate::wire::{BoardTopics, Fallback, FallbackRelay, FallbackWord, Prefix};

/// What is soldered and compiled in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Setup {
    /// Where it publishes and what it reads.
    pub topics: BoardTopics,
    /// How many relays it has, 1 to 16.
    pub relays: u8,
    /// Its inputs.
    pub inputs: Vec<BoardInput>,
}

/// An input of a board.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BoardInput {
    /// Its name on the wire.
    pub name: String,
    /// What hangs on it.
    pub kind: InputKind,
}

/// What hangs on an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InputKind {
    /// A push button.
    Button {
        /// The relay, from 1, that it switches once that relay's lease has run out; `None`: it only reports.
        relay: Option<u8>,
    },
    /// A receiver for a remote.
    Remote,
    /// An on/off contact.
    Contact,
}

/// What a board keeps without power.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Flash {
    /// The number of the last boot; 0 in a new board.
    pub boot: u32,
    /// The last fallback heard, with the lease that counts until first orders.
    pub fallback: Option<Fallback>,
}

impl Setup {
    /// The board that a house speaks of. A button that toggles a load on its own board switches that load's relay once the
    /// lease has run out; inputs that do nothing are contacts.
    pub fn of_house(house: &House, board: BoardId, prefix: &Prefix) -> Setup {
        let kind_of = |port: usize| {
            let inputs = || house.inputs.iter().filter(move |input| input.port.index() == port);
            if inputs().any(|input| input.code.is_some()) {
                return InputKind::Remote;
            }
            let actions = || inputs().filter_map(|input| input.action);
            let relay: Option<Relay> = actions().find_map(|action| match action {
                Action::Toggles(load) => house.load(load).relay().filter(|relay| relay.board == board),
                _ => None,
            });
            if actions().next().is_some() {
                InputKind::Button { relay: relay.map(|relay| relay.number) }
            } else {
                InputKind::Contact
            }
        };
        let inputs = house.ports.iter().enumerate().filter(|(_, port)| port.board == board);
        let inputs = inputs.map(|(index, port)| BoardInput { name: port.name.clone(), kind: kind_of(index) }).collect();
        let name = &house.board(board).name;
        Setup { topics: BoardTopics::new(prefix.clone(), name), relays: house.board(board).relays, inputs }
    }

    /// What hangs on an input, `None` where there is no such input.
    pub fn kind_of(&self, input: &str) -> Option<InputKind> {
        self.inputs.iter().find(|own| own.name == input).map(|own| own.kind)
    }
}

impl Flash {
    /// What a relay, from 0, falls back to: nothing heard yet means not energised.
    pub(super) fn fallback_of(&self, index: usize) -> FallbackRelay {
        let heard = self.fallback.as_ref().and_then(|fallback| fallback.relays.get(index));
        heard.copied().unwrap_or(FallbackRelay { word: FallbackWord::Off, deaf: false })
    }

    /// The lease in seconds that counts until first orders; 0 for none.
    pub(super) fn lease_s(&self) -> u32 {
        self.fallback.as_ref().map_or(super::LEASE_DEFAULT_S, |fallback| fallback.lease_s)
    }
}
