//! Why a reading was dropped, in words for the log. It never decides that.

use super::DropReason;
use crate::house::Sensor;
use crate::units::Finite;

impl DropReason {
    /// Why a reading of a sensor was dropped, in words without a full stop.
    pub fn sentence(self, sensor: &Sensor, value: Finite) -> String {
        let name = &sensor.name;
        let of = |number: f64| format!("{} {}", (number * 1e6).round() / 1e6, sensor.unit).trim_end().to_owned();
        match self {
            DropReason::NoQuantity => {
                format!("{} stands for no reading of sensor \"{name}\": its wire is broken or shorted", value.get())
            }
            DropReason::OutOfRange => {
                let range = sensor.range.map(|(least, most)| format!(" {least} to {most}")).unwrap_or_default();
                format!("{} is outside of the range{range} of sensor \"{name}\"", of(value.get()))
            }
            DropReason::TooFast => {
                let rate = sensor.max_rate.map(|rate| format!(" of {} per {}", of(rate.change), rate.within));
                let rate = rate.unwrap_or_default();
                format!("{} is faster than the greatest rate{rate} of sensor \"{name}\"", of(value.get()))
            }
        }
    }
}
