//! Why a message was dropped, in words for the log. It never decides that.

use super::{DropReason, Dropped};
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

impl Dropped {
    /// Why, in words without a full stop.
    pub fn sentence(self) -> String {
        match self {
            Dropped::Report { taken, given, .. } => format!(
                "says that the board took orders number {taken}, and the last that was given here is number {given}: so far \
                 ahead no number is believed, and the report is dropped whole. If more such come from the board itself, \
                 reset it: it then takes numbers from 1 again"
            ),
            Dropped::Press { count, last, .. } => {
                format!("counts {count}, and {last} was the last: a message that came twice or late is no press")
            }
        }
    }
}
