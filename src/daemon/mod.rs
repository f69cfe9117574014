//! The loop that brings time, messages and storage to the engine. It never decides what a load should be doing.

pub mod clock;
pub mod complaints;
pub mod config;
pub mod house_dir;
pub mod log;
pub mod protocol;
pub mod service;
pub mod socket;
pub mod zones;
