//! Virtual time, links, faults, checkers of invariants. It never reads a clock, draws from anything but its seed, or opens a
//! socket.
//!
//! The core is the [`Stage`]: the real engine, real boards and a broker on one queue of virtual time, which talk in the same
//! bytes as in earnest. What goes wrong there is drawn by [`draw`]; whether anything that happened breaks an invariant is
//! judged by [`check`], which looks at what the simulated contacts did. A [`Trial`] is one seed played through.

pub mod check;
pub mod draw;

mod appliance;
mod broker;
mod charge;
mod clock;
mod controller;
mod happening;
mod link;
mod panel;
mod rng;
mod sent;
mod stage;
mod stroke;
mod told;
mod trial;
mod weaken;
mod wires;

pub use broker::Comeback;
pub use clock::Machine;
pub use controller::ModeNow;
pub use happening::{Charge, Happening, HoldBegun, ModeSet, Mover, Step, What, Why};
pub use link::{Calm, Client, Fate, Network, Parcel, Way};
pub use panel::Panel;
pub use rng::Rng;
pub use stage::{Opening, Stage};
pub use trial::{Broken, Played, Trial};
pub use weaken::Weakness;
