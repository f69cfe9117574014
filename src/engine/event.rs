//! What the engine is told: the time, and what happened. It never holds text from the wire that is not decoded yet.

use serde::{Deserialize, Serialize};

use crate::house::{BoardId, LoadId, PortId, SelectorId, SensorId, SetpointId, State, Term};
use crate::units::{BootTime, Finite, Span, WallTime};
use crate::wire::{ForeignWord, InputWord, Life, Report};

/// The time of a step, by both clocks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Now {
    /// Time since the machine started; never goes back.
    pub boot: BootTime,
    /// Wall time; may step either way.
    pub wall: WallTime,
    /// Whether wall time may be believed.
    pub trusted: bool,
}

/// When the engine wants to be stepped again, even if nothing happens.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Deadline {
    /// At the latest at this boot time.
    pub boot: Option<BootTime>,
    /// At the latest when the wall clock shows this.
    pub wall: Option<WallTime>,
}

/// What happened.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// Nothing but time.
    Woken,
    /// The broker has acknowledged the subscriptions.
    LinkUp,
    /// The broker is out of reach.
    LinkDown,
    /// A board's birth or death.
    Life {
        /// Whose.
        board: BoardId,
        /// What it says.
        life: Life,
    },
    /// A board's report, with as many relays as the board has.
    Report {
        /// Whose.
        board: BoardId,
        /// What it says.
        report: Report,
    },
    /// A word of a board of other firmware.
    Foreign {
        /// Whose.
        board: BoardId,
        /// What it says.
        word: ForeignWord,
    },
    /// A live reading, in the sensor's unit.
    Reading {
        /// Of which sensor.
        sensor: SensorId,
        /// Its value.
        value: Finite,
    },
    /// A message for a sensor that is no usable reading: no number, or retained.
    ReadingRefused {
        /// For which sensor.
        sensor: SensorId,
    },
    /// A press, a key, or a contact's state.
    Input {
        /// On which endpoint.
        port: PortId,
        /// What was said.
        word: InputWord,
    },
    /// A person's order.
    Hand(Hand),
    /// Order numbers are reserved on disk.
    Reserved {
        /// Whose.
        board: BoardId,
        /// All up to this one.
        through: u32,
    },
    /// The shell raises or clears an alarm of its own.
    Alarm {
        /// Its id: lower-case letters, digits, hyphens.
        id: String,
        /// What a person should know; `None` clears it.
        text: Option<String>,
    },
}

/// A person's order, with what is needed to answer it.
#[derive(Clone, Debug, PartialEq)]
pub struct Hand {
    /// Given back with the answer; chosen by the shell.
    pub token: u64,
    /// Where it came from.
    pub by: By,
    /// What is wanted.
    pub order: HandOrder,
}

/// What a person may order.
#[derive(Clone, Debug, PartialEq)]
pub enum HandOrder {
    /// Hold a load in a state.
    Hold {
        /// The load.
        load: LoadId,
        /// The state.
        state: State,
        /// For how long; the load's `hold_for` where nobody said.
        term: Option<Term>,
    },
    /// End a load's hold.
    Release {
        /// The load.
        load: LoadId,
    },
    /// Take a load out of service: off until a person restores it. It is not isolation.
    Withdraw {
        /// The load.
        load: LoadId,
        /// Why, as the person said it.
        why: String,
    },
    /// Put a load back into service.
    Restore {
        /// The load.
        load: LoadId,
        /// Why, for the journal; may be empty.
        why: String,
    },
    /// Let the safety trips of a load go whose reason is gone.
    Reset {
        /// The load.
        load: LoadId,
    },
    /// A person has seen an alarm.
    Acknowledge {
        /// The alarm's id.
        alarm: String,
    },
    /// Turn a selector to a position.
    Select {
        /// The selector.
        selector: SelectorId,
        /// The name of the position.
        position: String,
        /// For how long; until somebody turns it again where nobody said.
        term: Option<Term>,
    },
    /// Put a selector back to its first position.
    ReturnSelector {
        /// The selector.
        selector: SelectorId,
    },
    /// Set a setpoint.
    Adjust {
        /// The setpoint.
        setpoint: SetpointId,
        /// The value, in its unit.
        value: Finite,
        /// For how long; until the file's value changes where nobody said.
        term: Option<Term>,
    },
    /// Put a setpoint back to the file's value.
    ReturnSetpoint {
        /// The setpoint.
        setpoint: SetpointId,
    },
}

/// Who held, withdrew or set something.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "kind", content = "name")]
pub enum By {
    /// A wall button or a key of a remote, by the input's name.
    Input(String),
    /// A button that switched at the board itself.
    Board(String),
    /// A message on `hold/<load>`, `selector/<selector>` or `setpoint/<setpoint>`. By which client it was published is
    /// nowhere in it: MQTT 5.0 (OASIS, 3.3) hands on no client identifier, and a user property says only what the publisher
    /// chose to write there. Who may publish is the broker's to say, by topic.
    Message,
    /// The command line, by the user's name where known.
    Command(String),
    /// The page, by the person's name or address where known.
    Page(String),
    /// A program over the API, by its user's name or address where known.
    Api(String),
}

impl By {
    /// Whether whoever it was reads what is answered.
    pub fn reads_answers(&self) -> bool {
        !matches!(self, By::Input(_) | By::Board(_))
    }
}

/// What the engine may be told about how it starts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// How long after the first contact with the broker contacts stay as reported while sensors are not known.
    pub settle: Span,
}
