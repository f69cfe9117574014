//! Water in air: between grams for each cubic metre and relative humidity. It never looks beyond temperature: pressure is
//! taken as sea level's.

/// Molar mass of water over the gas constant, in g·K/(m³·hPa): e / T × this is a density.
const VAPOUR_DENSITY: f64 = 216.68;

/// The most water that air at a temperature in °C can hold, in g/m³.
///
/// Magnus formula over water with the constants of the WMO's guide to instruments (WMO-No. 8, annex 4.B), good for
/// −45 to 60 °C.
pub fn saturation_water(temperature_c: f64) -> f64 {
    let pressure_hpa = 6.112 * (17.62 * temperature_c / (243.12 + temperature_c)).exp();
    VAPOUR_DENSITY * pressure_hpa / (temperature_c + 273.15)
}

/// Relative humidity in %, 0 to 100, of air at a temperature in °C with this much water in g/m³.
pub fn relative_humidity(water_g_m3: f64, temperature_c: f64) -> f64 {
    (100.0 * water_g_m3 / saturation_water(temperature_c)).clamp(0.0, 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(temperature_c: f64, expected_g_m3: f64) {
        let got = saturation_water(temperature_c);
        assert!((got - expected_g_m3).abs() < 0.01 * expected_g_m3, "{temperature_c} °C: {got}, not {expected_g_m3}");
    }

    #[test]
    fn saturation_agrees_with_the_handbook() {
        // Density of saturated water vapour, the usual physics handbook table (from memory).
        check(0.0, 4.85);
        check(10.0, 9.40);
        check(20.0, 17.30);
        check(30.0, 30.38);
    }

    #[test]
    fn relative_humidity_is_bounded() {
        assert!((relative_humidity(saturation_water(15.0) / 2.0, 15.0) - 50.0).abs() < 1e-9);
        assert_eq!(relative_humidity(100.0, 0.0), 100.0);
        assert_eq!(relative_humidity(-1.0, 0.0), 0.0);
    }
}
