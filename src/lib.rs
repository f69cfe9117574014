//! Standfast: rules kept as text decide what relay boards do, over MQTT.
//!
//! The library has two halves. The pure half decides: it never touches a clock, a disk, a network or chance, and it
//! compiles alone with `--no-default-features`. The shell (feature `daemon`) brings time, messages and storage to it.
//! Arrows point one way: the shell uses the pure half, never the reverse.

pub mod board;
pub mod calendar;
pub mod check;
pub mod condition;
pub mod diagnostic;
pub mod engine;
pub mod house;
pub mod rehearse;
pub mod sensing;
pub mod sun;
pub mod syntax;
pub mod units;
pub mod wire;
pub mod world;

#[cfg(feature = "daemon")]
pub mod cli;
#[cfg(feature = "daemon")]
pub mod daemon;
#[cfg(feature = "daemon")]
pub mod mqtt;
#[cfg(feature = "daemon")]
pub mod page;
#[cfg(feature = "daemon")]
pub mod store;
