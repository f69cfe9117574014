//! What happens to a board and what it does about it, as data. Nothing happens here.

use std::fmt;

#[cfg(doc)]
use super::Board;
use crate::wire::{Code, Refusal, Word};

/// Something that happens to a board.
#[derive(Clone, Debug)]
pub enum Event<'a> {
    /// Power comes back, a watchdog bites, someone presses reset: everything but flash is forgotten.
    Reset {
        /// Why, as its birth will say.
        cause: Word,
    },
    /// Power goes. Nothing happens until a reset.
    PowerLost,
    /// The broker acknowledged the subscriptions.
    LinkUp,
    /// The connection is gone.
    LinkDown,
    /// A message came.
    Message {
        /// Its whole topic.
        topic: &'a str,
        /// Its payload.
        payload: &'a [u8],
        /// Whether the broker had it stored.
        retained: bool,
    },
    /// A button was pressed.
    Pressed {
        /// The input's name.
        input: &'a str,
    },
    /// A remote's key was received.
    Key {
        /// The input's name.
        input: &'a str,
        /// The key.
        code: Code,
    },
    /// A contact closed or opened.
    Contact {
        /// The input's name.
        input: &'a str,
        /// Whether it is closed now.
        closed: bool,
    },
    /// Something was measured.
    Reading {
        /// The reading's name.
        name: &'a str,
        /// The number as it is sent.
        text: &'a str,
    },
    /// The deadline has come, or time has merely passed.
    Tick,
}

/// Something that a board does.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Effect {
    /// Publishes a message.
    Publish(Publish),
    /// A relay's armature moves; the coil with it, unless the relay is faulty.
    Relay {
        /// The relay, from 1.
        number: u8,
        /// Whether its NO contact is closed now.
        energised: bool,
    },
    /// Flash changed: [`Board::flash`] is to be kept before anything later in the list is done.
    Store,
    /// A message was not obeyed.
    Ignored(Ignored),
}

/// One message to publish.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Publish {
    /// Its whole topic.
    pub topic: String,
    /// Its payload.
    pub payload: String,
    /// Whether the broker is to store it.
    pub retain: bool,
    /// 0 or 1.
    pub qos: u8,
}

/// Why a message was not obeyed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ignored {
    /// It does not read as something for this board.
    Refused(Refusal),
    /// Orders for another boot.
    OtherBoot {
        /// The boot that they speak to.
        quoted: u32,
    },
    /// Orders numbered not higher than the last taken.
    NotHigher {
        /// Their number.
        number: u32,
    },
    /// Orders that answer a beat not sent in this boot.
    NeverSent {
        /// The beat that they quote.
        beat: u32,
    },
    /// Orders that answer a beat older than their lease.
    TooOld {
        /// The beat that they quote.
        beat: u32,
    },
}

impl fmt::Display for Ignored {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Ignored::Refused(refusal) => refusal.fmt(f),
            Ignored::OtherBoot { quoted } => write!(f, "orders for boot {quoted}, which does not run"),
            Ignored::NotHigher { number } => write!(f, "orders {number} are no newer than the last taken"),
            Ignored::NeverSent { beat } => write!(f, "orders answer beat {beat}, which was never sent"),
            Ignored::TooOld { beat } => write!(f, "orders answer beat {beat}, which is older than their lease"),
        }
    }
}
