//! `to/<board>/fallback`: what each relay does once its lease has run out. Retained, and kept by the board in flash.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::refusal::Refusal;
use super::scan::Words;
use super::{LEASE_MAX_S, RELAYS_MAX};

/// The fallback of one board, `90 off on off! keep`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fallback {
    /// The lease in seconds that counts until first orders name one, 0 to 3600; 0 means none.
    pub lease_s: u32,
    /// One word for each relay, the first for relay 1; 1 to 16 of them.
    pub relays: Vec<FallbackRelay>,
}

/// What one relay does once its lease has run out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct FallbackRelay {
    /// The state it takes.
    pub word: FallbackWord,
    /// `!`: the board's own buttons do not switch it.
    pub deaf: bool,
}

/// The state that a relay takes once its lease has run out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum FallbackWord {
    /// Energised.
    On,
    /// Not energised.
    Off,
    /// Whatever it is.
    Keep,
}

impl FallbackWord {
    /// Whether the coil is energised then; `None` for as it is.
    pub const fn energised(self) -> Option<bool> {
        match self {
            FallbackWord::On => Some(true),
            FallbackWord::Off => Some(false),
            FallbackWord::Keep => None,
        }
    }
}

impl Fallback {
    /// Reads a payload.
    ///
    /// # Errors
    /// A [`Refusal`] that names the first word that does not fit.
    pub fn decode(payload: &[u8]) -> Result<Fallback, Refusal> {
        let mut words = Words::of(payload, "the lease, then a word for each relay")?;
        let lease_s = words.number(0, LEASE_MAX_S, "the lease in whole seconds, 0 (none) to 3600")?;
        let mut relays = Vec::with_capacity(RELAYS_MAX);
        while let Some(word) = words.next() {
            if relays.len() == RELAYS_MAX {
                return Err(words.wrong(word, "no more than sixteen relays"));
            }
            relays.push(FallbackRelay::parse(word).ok_or_else(|| {
                words.wrong(word, "`on`, `off` or `keep` for a relay, with `!` behind it where its buttons are dead")
            })?);
        }
        if relays.is_empty() {
            return Err(Refusal::Missing { expected: "a word for each relay" });
        }
        Ok(Fallback { lease_s, relays })
    }

    /// The payload.
    pub fn encode(&self) -> String {
        self.to_string()
    }
}

impl fmt::Display for Fallback {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.lease_s)?;
        self.relays.iter().try_for_each(|relay| write!(f, " {relay}"))
    }
}

impl FallbackRelay {
    fn parse(text: &str) -> Option<FallbackRelay> {
        let (word, deaf) = match text.strip_suffix('!') {
            Some(word) => (word, true),
            None => (text, false),
        };
        let word = match word {
            "on" => FallbackWord::On,
            "off" => FallbackWord::Off,
            "keep" => FallbackWord::Keep,
            _ => return None,
        };
        Some(FallbackRelay { word, deaf })
    }
}

impl From<FallbackWord> for FallbackRelay {
    fn from(word: FallbackWord) -> FallbackRelay {
        FallbackRelay { word, deaf: false }
    }
}

impl fmt::Display for FallbackRelay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self.word {
            FallbackWord::On => "on",
            FallbackWord::Off => "off",
            FallbackWord::Keep => "keep",
        })?;
        f.write_str(if self.deaf { "!" } else { "" })
    }
}
