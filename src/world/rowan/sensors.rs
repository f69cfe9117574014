//! The sensors of Rowan Cottage: what each sees, and what its board sends of that. It never knows how what is seen comes about.

use super::{BATHROOM, CELLAR, HEN_HOUSE, HOUSE, SUN_ROOM, WASH_HOUSE};
use crate::world::wiring::{bead_counts, km_h, light_counts, rounded};

/// What sensors can see.
#[derive(Clone, Copy)]
pub(super) enum Sight {
    OutsideAir,
    OutsideHumidity,
    OutsideLight,
    Gust,
    Air(usize),
    /// In the kitchen, whose window is opened now and then.
    Kitchen,
    /// The same at a place that is so much warmer than the room, in K.
    AirAt(usize, f64),
    Humidity(usize),
    /// The water in the sump, in cm.
    SumpLevel,
    /// What both pumps of the sump draw, in A.
    SumpCurrent,
}

/// What a sensor's board sends of it.
#[derive(Clone, Copy)]
pub(super) enum Sends {
    /// The quantity itself in such steps.
    Steps(f64),
    /// The same in tenths, of a part that is off by this much.
    Off(f64),
    /// Counts behind a light-dependent resistor.
    Light,
    /// Counts behind a thermistor.
    Bead,
    /// Whole km/h.
    KmH,
}

/// A sixteenth of a degree: a digital thermometer of 12 bits.
const SIXTEENTH: f64 = 0.0625;

/// The humidity sensor of the bathroom reads so much too high, in %.
const BATH_ERROR: f64 = 2.0;

/// The sensors by name, sorted.
pub(super) const SENSORS: [(&str, Sight, Sends); 20] = [
    ("bath-humidity", Sight::Humidity(BATHROOM), Sends::Off(BATH_ERROR)),
    ("cellar-air", Sight::Air(CELLAR), Sends::Steps(0.01)),
    ("cellar-humidity", Sight::Humidity(CELLAR), Sends::Steps(0.01)),
    ("hall-air", Sight::AirAt(HOUSE, -0.9), Sends::Steps(SIXTEENTH)),
    ("henhouse-air", Sight::Air(HEN_HOUSE), Sends::Bead),
    ("kitchen-air", Sight::Kitchen, Sends::Steps(SIXTEENTH)),
    ("landing-air", Sight::AirAt(HOUSE, 0.6), Sends::Steps(SIXTEENTH)),
    ("outside-air", Sight::OutsideAir, Sends::Steps(SIXTEENTH)),
    ("outside-humidity", Sight::OutsideHumidity, Sends::Steps(0.1)),
    ("outside-light", Sight::OutsideLight, Sends::Light),
    ("pipe-sink", Sight::AirAt(WASH_HOUSE, -0.8), Sends::Steps(SIXTEENTH)),
    ("pipe-tap", Sight::AirAt(WASH_HOUSE, 0.2), Sends::Steps(SIXTEENTH)),
    ("pipe-wall", Sight::AirAt(WASH_HOUSE, -1.6), Sends::Steps(SIXTEENTH)),
    ("roof-gust", Sight::Gust, Sends::KmH),
    ("sump-amps", Sight::SumpCurrent, Sends::Steps(0.1)),
    ("sump-level", Sight::SumpLevel, Sends::Steps(0.1)),
    ("sunroom-air", Sight::Air(SUN_ROOM), Sends::Steps(0.1)),
    ("sunroom-humidity", Sight::Humidity(SUN_ROOM), Sends::Steps(0.1)),
    ("washhouse-air", Sight::Air(WASH_HOUSE), Sends::Steps(0.1)),
    ("washhouse-humidity", Sight::Humidity(WASH_HOUSE), Sends::Steps(0.1)),
];

impl Sends {
    /// What is sent of a quantity.
    pub(super) fn of(self, quantity: f64) -> f64 {
        match self {
            Sends::Steps(step) => rounded(quantity, step),
            Sends::Off(error) => rounded(quantity + error, 0.1),
            Sends::Light => light_counts(quantity),
            Sends::Bead => bead_counts(quantity),
            Sends::KmH => km_h(quantity),
        }
    }
}
