//! Sensors: where their readings come from, and what is computed from others. It never holds a reading.

use super::analogue::Calibration;
use super::model::{BoardId, SensorId};
use crate::units::Span;

/// A measured quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Sensor {
    /// Its name.
    pub name: String,
    /// Where its readings come from.
    pub source: Source,
    /// The unit as it is shown, `°C`, `%`, `lx`; empty for a bare number.
    pub unit: String,
    /// Readings outside are dropped; inclusive, in the sensor's unit.
    pub range: Option<(f64, f64)>,
    /// Without a reading for this long it is unknown; of a derived one, the longest of those that it is computed from.
    pub stale_after: Span,
    /// A reading counts as the median of so many: the last ones, itself included; 1 for itself.
    pub median_of: u8,
    /// What is done to a reading before it is judged.
    pub calibration: Calibration,
    /// A reading that moves faster is dropped.
    pub max_rate: Option<MaxRate>,
    /// What is known of the part that measures.
    pub grade: Grade,
}

impl Sensor {
    /// A value of it as it is shown. What is computed or converted is finer than any sensor and shown in hundredths; of any
    /// other only the dust of binary fractions goes.
    pub fn shown(&self, value: f64) -> f64 {
        let is_computed = matches!(self.source, Source::Derived(_)) || self.calibration.conversion.is_some();
        let parts = if is_computed { 100.0 } else { 1e6 };
        (value * parts).round() / parts
    }
}

/// A change within a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MaxRate {
    /// The change in the sensor's unit, more than 0.
    pub change: f64,
    /// Within how long, more than nothing.
    pub within: Span,
}

/// How well a sensor measures: what its data sheet says, or what was written instead. All in the sensor's unit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Grade {
    /// The number of the part.
    pub part: Option<&'static str>,
    /// From where to where the part measures, its accuracy and the sensor's offset allowed for.
    pub measures: Option<(f64, f64)>,
    /// How far off it may be, either way.
    pub accuracy: Option<f64>,
    /// The step between two readings.
    pub resolution: Option<f64>,
    /// The shortest time between two measurements.
    pub sampling_period: Option<Span>,
}

/// Where readings come from.
#[derive(Clone, Debug, PartialEq)]
pub enum Source {
    /// `from/<board>/reading/<reading>` below the prefix.
    Board {
        /// The board that measures.
        board: BoardId,
        /// The reading's name on the wire.
        reading: String,
    },
    /// A whole topic outside the contract.
    Topic {
        /// The topic, without prefix.
        topic: String,
        /// Where in a JSON payload the number stands (RFC 6901); `None` for a bare number.
        field: Option<String>,
    },
    /// Computed from other sensors, which are measured.
    Derived(Derived),
}

/// How a sensor is computed from others.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Derived {
    /// The dew point in °C.
    DewPoint {
        /// Temperature in °C and relative humidity in %.
        air: [SensorId; 2],
    },
    /// Absolute humidity in g/m³.
    AbsoluteHumidity {
        /// Temperature in °C and relative humidity in %.
        air: [SensorId; 2],
    },
    /// The mean of those that are known.
    Mean {
        /// Sensors of one unit.
        of: Vec<SensorId>,
        /// So many must be known at least.
        quorum: usize,
    },
    /// The median of those that are known.
    Median {
        /// Sensors of one unit.
        of: Vec<SensorId>,
        /// So many must be known at least.
        quorum: usize,
    },
}

impl Derived {
    /// The sensors that it is computed from.
    pub fn ingredients(&self) -> &[SensorId] {
        match self {
            Derived::DewPoint { air } | Derived::AbsoluteHumidity { air } => air,
            Derived::Mean { of, .. } | Derived::Median { of, .. } => of,
        }
    }
}
