//! What a board sends of a quantity: counts of an analogue input behind a divider, steps of a part, another unit, an error
//! of a part. It never knows how the house reckons it back.

/// The counts of a 12-bit input at its full scale.
const COUNTS: f64 = 4095.0;

/// The light-dependent resistor under the eaves: resistance in Ω at 10 lx, slope, and what is left of it in the dark. Its like
/// have 8 to 20 kΩ and 0.6 to 0.7, and at least 1 MΩ in the dark (data sheets of GL5528 parts).
const LIGHT: (f64, f64, f64) = (11_300.0, 0.68, 1e6);

/// The resistor below it in Ω: small enough that night and noon both lie well within the scale.
const LIGHT_FIXED_OHM: f64 = 4_700.0;

/// The bead in the hen house: resistance in Ω at 25 °C, and β in K.
const BEAD: (f64, f64) = (10_000.0, 3892.0);

/// The resistor above it in Ω.
const BEAD_FIXED_OHM: f64 = 10_000.0;

/// Counts of the tap below a light-dependent resistor at some lux.
pub fn light_counts(lux: f64) -> f64 {
    let (r10_ohm, gamma, dark_ohm) = LIGHT;
    let ohm = (r10_ohm * (10.0 / lux).powf(gamma)).min(dark_ohm);
    (COUNTS * LIGHT_FIXED_OHM / (LIGHT_FIXED_OHM + ohm)).round()
}

/// Counts of the tap above a thermistor at a temperature in °C.
pub fn bead_counts(celsius: f64) -> f64 {
    let (r25_ohm, beta_k) = BEAD;
    let ohm = r25_ohm * (beta_k * (1.0 / (celsius + 273.15) - 1.0 / 298.15)).exp();
    (COUNTS * ohm / (BEAD_FIXED_OHM + ohm)).round()
}

/// Whole km/h for a speed in m/s.
pub fn km_h(m_s: f64) -> f64 {
    (m_s * 3.6).round()
}

/// A value in steps that divide one evenly, so that it prints as short as it is coarse.
pub fn rounded(value: f64, to: f64) -> f64 {
    (value / to).round() / (1.0 / to).round()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn night_and_noon_lie_within_the_scale() {
        // 0.001 lx is a night without a moon (AMS Glossary: nautical twilight ends at about 0.008 lx), 120 klx full sun.
        let (night, noon) = (light_counts(0.001), light_counts(120_000.0));
        assert!((10.0..40.0).contains(&night) && (4000.0..4090.0).contains(&noon), "{night} to {noon}");
    }

    #[test]
    fn equal_resistors_halve_the_scale() {
        assert_eq!(bead_counts(25.0), 2048.0);
        assert!(bead_counts(0.0) > 3000.0 && bead_counts(40.0) < 1500.0);
    }
}
