//! From what a sensor sends to the quantity that is meant: lux and degrees behind raw values, calibration, dew point, absolute
//! humidity, means and medians. Plain functions over numbers; it keeps no state and never decides what is known.

mod divider;
pub mod humidity;
pub mod light;
mod rate;
pub mod thermistor;

pub use rate::is_too_fast;

use crate::house::{Calibration, Conversion, Derived, SensorId};

/// What a reading says in the sensor's unit: converted, then × scale + offset. `None` where the raw value stands for nothing.
pub fn calibrated(calibration: &Calibration, raw: f64) -> Option<f64> {
    let value = match &calibration.conversion {
        None => raw,
        Some(Conversion::Photoresistor { divider, curve }) => light::lux(divider.as_ref(), curve, raw)?,
        Some(Conversion::Thermistor { divider, curve }) => thermistor::celsius(divider.as_ref(), curve, raw)?,
    };
    let is_bare = calibration.scale == 1.0 && calibration.offset == 0.0;
    Some(if is_bare { value } else { decimal(value * calibration.scale + calibration.offset) })
}

/// A sum, difference or mean of decimal numbers without what binary fractions leave behind, to 9 decimals: 68.1 less 60.1 is meant
/// to be 8, and to reach a threshold at 8.
pub fn decimal(sum: f64) -> f64 {
    // Beyond that there are no 9 decimals to keep.
    if sum.abs() < 1e6 { (sum * 1e9).round() / 1e9 } else { sum }
}

/// The value of a derived sensor; `None` while too little is known for one.
pub fn derive(derived: &Derived, reading: impl Fn(SensorId) -> Option<f64>) -> Option<f64> {
    match derived {
        Derived::DewPoint { air: [temperature, humidity] } => {
            humidity::dew_point(reading(*temperature)?, reading(*humidity)?)
        }
        Derived::AbsoluteHumidity { air: [temperature, humidity] } => {
            humidity::absolute_humidity(reading(*temperature)?, reading(*humidity)?)
        }
        Derived::Mean { of, quorum } => {
            let known = known(of, *quorum, reading)?;
            Some(decimal(known.iter().sum::<f64>() / known.len() as f64))
        }
        Derived::Median { of, quorum } => median(known(of, *quorum, reading)?),
    }
}

/// What is known of several sensors, if that is enough.
fn known(of: &[SensorId], quorum: usize, reading: impl Fn(SensorId) -> Option<f64>) -> Option<Vec<f64>> {
    let known: Vec<f64> = of.iter().filter_map(|sensor| reading(*sensor)).collect();
    (known.len() >= quorum.max(1)).then_some(known)
}

/// The median; of an even number of values the mean of the middle two. `None` of no values.
pub fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    let upper = *values.get(middle)?;
    if values.len() % 2 == 1 { Some(upper) } else { Some(decimal((values[middle - 1] + upper) / 2.0)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(derived: &Derived, readings: &[Option<f64>], expected: Option<f64>) {
        assert_eq!(derive(derived, |sensor| readings[sensor.index()]), expected, "{readings:?}");
    }

    #[test]
    fn a_median_shrugs_at_one_that_is_absurd_and_wants_its_quorum() {
        let median = Derived::Median { of: vec![SensorId(0), SensorId(1), SensorId(2)], quorum: 2 };
        check(&median, &[Some(20.0), Some(85.0), Some(21.0)], Some(21.0));
        check(&median, &[Some(20.0), None, Some(21.0)], Some(20.5));
        check(&median, &[Some(20.0), None, None], None);
    }

    #[test]
    fn a_mean_is_of_what_is_known() {
        let mean = Derived::Mean { of: vec![SensorId(0), SensorId(1)], quorum: 1 };
        check(&mean, &[Some(20.0), Some(21.0)], Some(20.5));
        check(&mean, &[Some(20.0), None], Some(20.0));
        check(&mean, &[None, None], None);
    }

    #[test]
    fn air_needs_both() {
        let dew = Derived::DewPoint { air: [SensorId(0), SensorId(1)] };
        check(&dew, &[Some(12.5), Some(100.0)], Some(12.5));
        check(&dew, &[None, Some(100.0)], None);
        check(&dew, &[Some(12.5), None], None);
    }
}
