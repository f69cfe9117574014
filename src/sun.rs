//! Sunrise, sunset and twilight for a place and a civil day. It never asks what day it is.

use serde::{Deserialize, Serialize};

/// An event of the sun that a window or a hold may name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SunEvent {
    /// Civil dawn: the centre at 6° below the horizon, rising.
    Dawn,
    /// The upper limb appears.
    Sunrise,
    /// The upper limb disappears.
    Sunset,
    /// Civil dusk: the centre at 6° below the horizon, setting.
    Dusk,
}
