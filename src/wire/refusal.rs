//! Why a message was not taken, as data and in words. It never carries more than a short excerpt of what was sent.

use std::fmt;

use super::{FOREIGN_PAYLOAD_MAX, PAYLOAD_MAX};
use crate::units::counted;

/// Why a message was not taken. `Display` says what is wrong and what was expected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// More bytes than the contract allows.
    TooLong {
        /// How many came.
        bytes: usize,
        /// How many are allowed.
        limit: usize,
    },
    /// Nothing in it.
    Empty {
        /// What was expected.
        expected: &'static str,
    },
    /// Not UTF-8.
    NotText,
    /// A word is missing at the end.
    Missing {
        /// What was expected.
        expected: &'static str,
    },
    /// A word is not what it should be.
    Word {
        /// Which word of the payload, from 1.
        position: usize,
        /// The word, shortened.
        found: Excerpt,
        /// What was expected.
        expected: &'static str,
    },
    /// More behind the end.
    Surplus {
        /// The first word too many, shortened.
        found: Excerpt,
    },
    /// Another number of relays than the board has.
    RelayCount {
        /// How many the payload speaks of.
        found: usize,
        /// How many the board has.
        expected: usize,
    },
    /// Stored by the broker and therefore of unknown age.
    Retained {
        /// What it would have been.
        what: &'static str,
    },
    /// The payload is not JSON.
    NotJson,
    /// The JSON has nothing at the pointer.
    NoField {
        /// The pointer, shortened.
        pointer: Excerpt,
    },
    /// The JSON has no number at the pointer.
    FieldNotNumber {
        /// The pointer, shortened.
        pointer: Excerpt,
        /// What stands there instead.
        found: &'static str,
    },
    /// A board of other firmware says a word that the house does not name.
    ForeignWord {
        /// What it says, shortened.
        found: Excerpt,
        /// The two words that are known, shortened.
        expected: [Excerpt; 2],
    },
    /// A topic below the prefix that the contract does not have.
    UnknownTopic,
    /// A topic of a board, input or load that the house does not have.
    UnknownName {
        /// `board`, `load`.
        what: &'static str,
        /// The name, shortened.
        name: Excerpt,
    },
    /// A reading or an input of a known board that nothing in the house uses. Not a fault: boards may say more.
    Unused {
        /// `reading`, `input`.
        what: &'static str,
    },
    /// A prefix that cannot stand at the head of a topic.
    BadPrefix {
        /// What is wrong with it.
        reason: &'static str,
    },
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refusal::TooLong { bytes, limit } => write!(f, "payload of {bytes} bytes: at most {limit} are taken"),
            Refusal::Empty { expected } => write!(f, "empty payload: expected {expected}"),
            Refusal::NotText => f.write_str("payload is not UTF-8 text"),
            Refusal::Missing { expected } => write!(f, "payload ends too early: expected {expected}"),
            Refusal::Word { position, found, expected } => {
                write!(f, "word {position} is \"{found}\": expected {expected}")
            }
            Refusal::Surplus { found } => write!(f, "\"{found}\" is too much: expected the payload to end before it"),
            Refusal::RelayCount { found, expected } => {
                write!(f, "speaks of {} where the board has {expected}: dropped whole", counted(*found, "relay"))
            }
            Refusal::Retained { what } => {
                write!(f, "retained {what}: its age is not known; publish it without the retain flag")
            }
            Refusal::NotJson => f.write_str("payload is not JSON, but the house names a field in it"),
            Refusal::NoField { pointer } => write!(f, "the JSON has nothing at \"{pointer}\""),
            Refusal::FieldNotNumber { pointer, found } => {
                write!(f, "the JSON has {found} at \"{pointer}\": expected a finite number")
            }
            Refusal::ForeignWord { found, expected: [no, yes] } => {
                write!(f, "says \"{found}\": expected \"{no}\" or \"{yes}\"")
            }
            Refusal::UnknownTopic => f.write_str("no such topic in the contract"),
            Refusal::UnknownName { what, name } => write!(f, "the house has no {what} \"{name}\""),
            Refusal::Unused { what } => write!(f, "nothing in the house uses this {what}"),
            Refusal::BadPrefix { reason } => write!(f, "prefix cannot be used: {reason}"),
        }
    }
}

impl std::error::Error for Refusal {}

/// What a payload holds at most, said the same way everywhere.
pub(super) fn bounded(payload: &[u8]) -> Result<&[u8], Refusal> {
    within(payload, PAYLOAD_MAX)
}

/// The same for topics outside the contract.
pub(super) fn bounded_foreign(payload: &[u8]) -> Result<&[u8], Refusal> {
    within(payload, FOREIGN_PAYLOAD_MAX)
}

fn within(payload: &[u8], limit: usize) -> Result<&[u8], Refusal> {
    if payload.len() > limit { Err(Refusal::TooLong { bytes: payload.len(), limit }) } else { Ok(payload) }
}

/// The beginning of something that was sent, safe to print: at most 32 characters, control characters escaped.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Excerpt(String);

impl Excerpt {
    const CHARS_MAX: usize = 32;

    /// The beginning of `text`.
    pub fn of(text: &str) -> Excerpt {
        let mut shown: String = text.chars().take(Self::CHARS_MAX).flat_map(char::escape_debug).collect();
        if text.chars().nth(Self::CHARS_MAX).is_some() {
            shown.push('…');
        }
        Excerpt(shown)
    }

    /// The excerpt as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Excerpt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
