//! The two states of a load, and what they are called. It never knows which load.

use std::fmt;

use serde::{Deserialize, Serialize};

/// On or off, of a load or of an on/off contact.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum State {
    /// Not running.
    #[default]
    Off,
    /// Running.
    On,
}

impl State {
    /// The other one.
    pub const fn opposite(self) -> State {
        match self {
            State::Off => State::On,
            State::On => State::Off,
        }
    }

    /// The word for it in TOML, on the wire and in messages.
    pub const fn word(self) -> &'static str {
        match self {
            State::Off => "off",
            State::On => "on",
        }
    }
}

impl fmt::Display for State {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// What the two states of something are called.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Words {
    /// `on` and `off`.
    #[default]
    OnOff,
    /// `open` and `closed`: an actuator.
    OpenClosed,
}

impl Words {
    /// The word for a state, in TOML, on the wire and in messages.
    pub const fn word(self, state: State) -> &'static str {
        match (self, state) {
            (Words::OnOff, state) => state.word(),
            (Words::OpenClosed, State::On) => "open",
            (Words::OpenClosed, State::Off) => "closed",
        }
    }

    /// The state that a word stands for, if it is one of these.
    pub fn state(self, word: &str) -> Option<State> {
        [State::On, State::Off].into_iter().find(|state| self.word(*state) == word)
    }

    /// Whether they are `on` and `off`.
    pub const fn are_usual(&self) -> bool {
        matches!(self, Words::OnOff)
    }
}
