//! `to/<board>/orders`: what each relay of a board shall do, for how long, and which beat it answers. It never says why.

use std::fmt;

use super::refusal::Refusal;
use super::scan::{Words, whole};
use super::{LEASE_MAX_S, RELAYS_MAX};

/// Orders for one board, `4711 17 231 90 on off - off`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Orders {
    /// Counts up for each board for ever; from 1.
    pub number: u32,
    /// The boot of the board that is spoken to; from 1.
    pub boot: u32,
    /// The beat of that boot that is answered; from 1. The lease runs from the moment at which the board sent it.
    pub beat: u32,
    /// How long the orders hold, in seconds, 0 to 3600; 0 means for ever.
    pub lease_s: u32,
    /// One order for each relay, the first for relay 1; 1 to 16 of them.
    pub relays: Vec<RelayOrder>,
}

/// What one relay shall do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RelayOrder {
    /// `on`: energised.
    On,
    /// `off`: not energised.
    Off,
    /// `on:400`: energised for that many milliseconds, timed by the board, then not; 1 ms to an hour.
    Pulse(u32),
    /// `-`: no order; the lease that the relay has goes on and may run out.
    None,
}

/// The longest pulse in milliseconds.
const PULSE_MAX_MS: u32 = LEASE_MAX_S * 1000;

impl Orders {
    /// Reads a payload.
    ///
    /// # Errors
    /// A [`Refusal`] that names the first word that does not fit.
    pub fn decode(payload: &[u8]) -> Result<Orders, Refusal> {
        let mut words = Words::of(payload, "orders: number, boot, beat, lease, then a word for each relay")?;
        let number = words.number(1, u32::MAX, "the order number, from 1")?;
        let boot = words.number(1, u32::MAX, "the boot that is answered, from 1")?;
        let beat = words.number(1, u32::MAX, "the beat that is answered, from 1")?;
        let lease_s = words.number(0, LEASE_MAX_S, "the lease in whole seconds, 0 (none) to 3600")?;
        let mut relays = Vec::with_capacity(RELAYS_MAX);
        while let Some(word) = words.next() {
            if relays.len() == RELAYS_MAX {
                return Err(words.wrong(word, "no more than sixteen relays"));
            }
            relays.push(
                RelayOrder::parse(word)
                    .ok_or_else(|| words.wrong(word, "`on`, `off`, `on:<milliseconds>` or `-` for a relay"))?,
            );
        }
        if relays.is_empty() {
            return Err(Refusal::Missing { expected: "a word for each relay" });
        }
        Ok(Orders { number, boot, beat, lease_s, relays })
    }

    /// The payload.
    pub fn encode(&self) -> String {
        self.to_string()
    }
}

impl fmt::Display for Orders {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {} {} {}", self.number, self.boot, self.beat, self.lease_s)?;
        self.relays.iter().try_for_each(|relay| write!(f, " {relay}"))
    }
}

impl RelayOrder {
    fn parse(word: &str) -> Option<RelayOrder> {
        match word {
            "on" => Some(RelayOrder::On),
            "off" => Some(RelayOrder::Off),
            "-" => Some(RelayOrder::None),
            _ => {
                let ms = whole(word.strip_prefix("on:")?)?;
                (1..=PULSE_MAX_MS).contains(&ms).then_some(RelayOrder::Pulse(ms))
            }
        }
    }
}

impl fmt::Display for RelayOrder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            RelayOrder::On => f.write_str("on"),
            RelayOrder::Off => f.write_str("off"),
            RelayOrder::Pulse(ms) => write!(f, "on:{ms}"),
            RelayOrder::None => f.write_str("-"),
        }
    }
}
