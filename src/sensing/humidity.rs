//! Dew point and absolute humidity from temperature and relative humidity. It never guesses outside the formula's range.
//!
//! Saturation vapour pressure over water by the Magnus formula with the constants of D. Sonntag (1990), as the WMO Guide to
//! Instruments and Methods of Observation (WMO-No. 8, annex 4.B) gives them: e = 6.112 hPa · exp(17.62·t / (243.12 + t)),
//! for −45 °C to 60 °C. The constants are from memory; the tests compare with tables.

/// So far above saturation a humidity sensor in wet air still reads, in %: its accuracy is 2 to 5 % (data sheets of DHT22,
/// SHT21 and DHT11), and none of them stops at 100 by itself. It counts as 100; more is a fault.
pub const PERCENT_MAX: f64 = 105.0;

/// The range of the formula in °C.
pub const RANGE: (f64, f64) = (-45.0, 60.0);

const A: f64 = 17.62;
const B_CELSIUS: f64 = 243.12;
const E0_HPA: f64 = 6.112;
/// Specific gas constant of water vapour, J/(kg·K).
const R_VAPOUR: f64 = 461.5;
const ZERO_CELSIUS_K: f64 = 273.15;

/// Saturation vapour pressure over water in hPa at a temperature in °C.
fn saturation_hpa(celsius: f64) -> f64 {
    E0_HPA * (A * celsius / (B_CELSIUS + celsius)).exp()
}

/// Dew point in °C from temperature in °C and relative humidity in %; `None` outside the formula's range, or where there
/// is no vapour at all.
pub fn dew_point(celsius: f64, percent: f64) -> Option<f64> {
    if !is_usable(celsius, percent) || percent <= 0.0 {
        return None;
    }
    let gamma = (percent.min(100.0) / 100.0).ln() + A * celsius / (B_CELSIUS + celsius);
    let dew = B_CELSIUS * gamma / (A - gamma);
    dew.is_finite().then_some(dew)
}

/// Absolute humidity in g/m³ from temperature in °C and relative humidity in %; `None` outside the formula's range.
pub fn absolute_humidity(celsius: f64, percent: f64) -> Option<f64> {
    if !is_usable(celsius, percent) {
        return None;
    }
    let pascal = saturation_hpa(celsius) * percent.min(100.0);
    Some(1000.0 * pascal / (R_VAPOUR * (celsius + ZERO_CELSIUS_K)))
}

fn is_usable(celsius: f64, percent: f64) -> bool {
    (RANGE.0..=RANGE.1).contains(&celsius) && (0.0..=PERCENT_MAX).contains(&percent)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn close(found: Option<f64>, expected: f64, within: f64) {
        let found = found.expect("inside the range");
        assert!((found - expected).abs() <= within, "{found} instead of {expected}");
    }

    /// Saturation vapour pressure and density over water, as every steam table has them (values from memory of the
    /// ASHRAE Handbook—Fundamentals, psychrometrics: 0.6112 kPa at 0 °C, 2.3388 kPa at 20 °C, 4.2460 kPa at 30 °C).
    #[test]
    fn saturation_pressure_of_the_handbook() {
        for (celsius, kpa) in [(0.0, 0.6112), (10.0, 1.2280), (20.0, 2.3388), (30.0, 4.2460), (40.0, 7.3838)] {
            let found = saturation_hpa(celsius) / 10.0;
            assert!((found / kpa - 1.0).abs() < 0.003, "{found} kPa instead of {kpa} at {celsius} °C");
        }
    }

    /// At saturation the dew point is the temperature itself.
    #[test]
    fn saturated_air_is_at_its_dew_point() {
        for celsius in [-20.0, 0.0, 12.5, 35.0] {
            close(dew_point(celsius, 100.0), celsius, 1e-9);
        }
    }

    /// Common psychrometric chart readings (from memory): 25 °C and 50 % dew at 13.9 °C; 20 °C and 60 % at 12.0 °C.
    #[test]
    fn dew_points_of_the_chart() {
        close(dew_point(25.0, 50.0), 13.9, 0.1);
        close(dew_point(20.0, 60.0), 12.0, 0.1);
    }

    /// Saturated air holds 17.3 g/m³ at 20 °C and 4.85 g/m³ at 0 °C (physics tables, from memory).
    #[test]
    fn absolute_humidity_of_the_tables() {
        close(absolute_humidity(20.0, 100.0), 17.3, 0.1);
        close(absolute_humidity(0.0, 100.0), 4.85, 0.02);
        close(absolute_humidity(30.0, 100.0), 30.4, 0.2);
        close(absolute_humidity(20.0, 0.0), 0.0, 1e-12);
    }

    /// A sensor in fog reads a little over 100 %: the air is saturated, and the dew point is its temperature.
    #[test]
    fn a_sensor_that_overshoots_saturation_means_saturation() {
        for percent in [100.1, 102.0, 105.0] {
            assert_eq!(dew_point(12.5, percent), dew_point(12.5, 100.0));
            assert_eq!(absolute_humidity(12.5, percent), absolute_humidity(12.5, 100.0));
        }
    }

    #[test]
    fn outside_the_range_there_is_no_answer() {
        for (celsius, percent) in [(-46.0, 50.0), (61.0, 50.0), (20.0, -1.0), (20.0, 106.0), (f64::NAN, 50.0)] {
            assert_eq!(dew_point(celsius, percent), None);
            assert_eq!(absolute_humidity(celsius, percent), None);
        }
        assert_eq!(dew_point(20.0, 0.0), None);
    }
}
