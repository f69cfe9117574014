//! The main job on real input: a room that is ventilated on humidity and lit on low light, over five and a half recorded
//! days. Every switch is compared with a computation that shares no code with Standfast. The recording is fetched by
//! `tests/set-up`.

#[path = "recording/data.rs"]
mod data;
#[path = "recording/engine.rs"]
mod engine;
#[path = "recording/expected.rs"]
mod expected;
#[cfg(feature = "daemon")]
mod support;
#[cfg(feature = "daemon")]
#[path = "recording/wire.rs"]
mod wire;
