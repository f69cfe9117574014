//! The loop that brings time, messages and storage to the engine. It never decides what a load should be doing.

pub mod change;
pub mod clock;
pub mod commissioning;
pub mod complaints;
pub mod config;
pub mod delivery;
pub mod history;
pub mod house_dir;
pub mod keeper;
pub mod ledger;
pub mod log;
pub mod looks;
pub mod modes;
pub mod post;
pub mod protocol;
pub mod requests;
pub mod run;
pub mod seen;
pub mod service;
pub mod socket;
pub mod source;
pub mod start;
pub mod tally;
pub mod watch;
pub mod words;
pub mod zones;
