//! A board's side of the contract, as a state machine without I/O. It never reads a clock, never touches a network, and
//! knows nothing of rules.
//!
//! There is one board: the stand-in, the demo and the simulation are shells round [`Board`]. A shell hands in what happens
//! with the board's own time, carries out the [`Effect`]s in order, and calls again at [`Board::next_deadline`].
//! `deploy/board.md` says the same to people who write firmware.

mod beats;
mod drift;
mod event;
mod faults;
mod machine;
mod obey;
mod other;
mod relay;
mod setup;

#[cfg(test)]
mod tests;

pub use drift::Drift;
pub use event::{Effect, Event, Ignored, Publish};
pub use faults::{Faults, RelayFault};
pub use machine::Board;
pub use other::{OtherBoard, document};
pub use setup::{BoardInput, Flash, InputKind, Setup};

/// The lease in seconds where flash holds none.
pub const LEASE_DEFAULT_S: u32 = 90;

/// How often a board without a lease reports, in seconds.
pub const REPORT_WITHOUT_LEASE_S: u32 = 30;
