//! Simple physics behind a simulated house: weather, daylight, rooms and people that answer to what the loads do, so that
//! rules close real loops. It never uses real time, and no chance beyond the seed that is handed in.
//!
//! Its figures are plausible, not measured; what is published is checked beside the code. A rehearsal that wants other
//! rooms builds them from [`Room`] directly.

mod air;
mod contacts;
mod daylight;
mod people;
mod room;
mod rowan;
mod sump;
mod weather;
mod wiring;

pub use air::{relative_humidity, saturation_water};
pub use daylight::{illuminance_clear, sun_elevation};
pub use room::{Drive, Room};
pub use rowan::World;
pub use weather::Weather;
