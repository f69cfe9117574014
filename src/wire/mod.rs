//! Topics and payloads of the wire, in both directions. It never sends anything, keeps nothing and decides nothing.
//!
//! Payloads are plain text that a small microcontroller can scan: words separated by one space. Every decoder takes
//! arbitrary bytes, does bounded work and answers with a [`Refusal`] that a log line can carry. `deploy/board.md` is the
//! same contract for people who write firmware.

mod fallback;
mod foreign;
mod hold;
mod inbox;
mod input;
mod life;
mod mode;
mod orders;
mod reading;
mod refusal;
mod report;
mod router;
mod scan;
mod topics;

#[cfg(test)]
mod board_page;
#[cfg(test)]
mod tests;

pub use fallback::{Fallback, FallbackRelay, FallbackWord};
pub use foreign::{FOREIGN_EXPIRY, ForeignMessage, ForeignWord, order as foreign_order, question as foreign_question};
pub use hold::HoldWord;
pub use inbox::{BoardInbox, ToBoard};
pub use input::{Code, InputWord};
pub use life::{ControllerLife, Life, Word};
pub use mode::{SelectorWord, SetpointWord};
pub use orders::{Orders, RelayOrder};
pub use reading::{number, number_in_json};
pub use refusal::{Excerpt, Refusal};
pub use report::{RelayReport, Report};
pub use router::{Foreign, Incoming, Readings, Router};
pub use topics::{BoardTopics, Prefix, Subscription, Topics, is_topic, subscriptions};

/// The longest payload of the contract, in bytes: a report of sixteen relays with every field at its widest fits.
pub const PAYLOAD_MAX: usize = 640;

/// The longest payload taken from a topic outside the contract, in bytes.
pub const FOREIGN_PAYLOAD_MAX: usize = 8192;

/// The longest topic of the contract that a board has to handle, in bytes, prefix included.
///
/// The longest form is `<prefix>/from/<board>/reading/<name>`. With the prefix `standfast` that leaves 40 bytes for the
/// names of board and reading together.
pub const TOPIC_MAX: usize = 64;

/// The most relays on one board.
pub const RELAYS_MAX: usize = 16;

/// The longest lease in seconds.
pub const LEASE_MAX_S: u32 = 3600;
