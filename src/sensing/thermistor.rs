//! Temperature from an NTC thermistor's resistance, by Steinhart–Hart or by beta. It never makes a temperature of a broken or
//! a shorted wire.

use super::divider;
use crate::house::{Divider, NtcCurve};

const ZERO_CELSIUS_K: f64 = 273.15;
/// The reference temperature of beta, 25 °C, in K.
const T25_K: f64 = 298.15;

/// What thermistors are sold for, in °C (from memory): a resistance that stands for more or less is a fault.
const CELSIUS: (f64, f64) = (-80.0, 300.0);

/// So near to an end of the scale, as a share of it, the wire is broken or shorted: an input that hangs in the air, or a
/// tap that is held up by nothing but the fixed resistor, comes to rest within a few counts of the end.
const MARGIN: f64 = 0.005;

impl NtcCurve {
    /// The curve of Steinhart and Hart (Deep-Sea Research 15, 1968) through three points, each temperature in °C and
    /// resistance in Ω. `None` where they do not make one: the resistance must fall as it gets warmer.
    pub fn through(points: [(f64, f64); 3]) -> Option<NtcCurve> {
        let usable =
            |&(celsius, ohm): &(f64, f64)| celsius > -ZERO_CELSIUS_K && ohm > 0.0 && (celsius + ohm).is_finite();
        if !points.iter().all(usable) {
            return None;
        }
        let [(y1, l1), (y2, l2), (y3, l3)] = points.map(|(celsius, ohm)| (1.0 / (celsius + ZERO_CELSIUS_K), ohm.ln()));
        let slope2 = (y2 - y1) / (l2 - l1);
        let slope3 = (y3 - y1) / (l3 - l1);
        let c = (slope3 - slope2) / (l3 - l2) / (l1 + l2 + l3);
        let b = slope2 - c * (l1 * l1 + l1 * l2 + l2 * l2);
        let a = y1 - (b + l1 * l1 * c) * l1;
        let rises = [l1, l2, l3].iter().all(|l| b + 3.0 * c * l * l > 0.0);
        (rises && [a, b, c].iter().all(|value| value.is_finite())).then_some(NtcCurve::SteinhartHart { a, b, c })
    }

    /// Temperature in °C at a resistance in Ω; `None` where no thermistor has one.
    pub fn celsius(&self, ohm: f64) -> Option<f64> {
        if !(ohm > 0.0 && ohm.is_finite()) {
            return None;
        }
        let inverse = match *self {
            NtcCurve::SteinhartHart { a, b, c } => {
                let ln = ohm.ln();
                a + b * ln + c * ln.powi(3)
            }
            NtcCurve::Beta { r25_ohm, beta_k } => 1.0 / T25_K + (ohm / r25_ohm).ln() / beta_k,
        };
        let celsius = 1.0 / inverse - ZERO_CELSIUS_K;
        (CELSIUS.0..=CELSIUS.1).contains(&celsius).then_some(celsius)
    }
}

/// Temperature in °C behind a raw value of the board; `None` where the wire must be broken or shorted.
pub fn celsius(divider: Option<&Divider>, curve: &NtcCurve, raw: f64) -> Option<f64> {
    curve.celsius(divider::ohms(divider, raw, MARGIN)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::house::Side;

    /// Coefficients of a 10 kΩ probe (from memory), which fit the table of the part 10K3MCD1 in appendix C of the manual
    /// of the Campbell Scientific 109SS probe.
    const PROBE: NtcCurve = NtcCurve::SteinhartHart { a: 1.129_241e-3, b: 2.341_077e-4, c: 8.775_468e-8 };

    /// Resistance in Ω at °C of 10K3MCD1: the same appendix.
    const TABLE: [(f64, f64); 4] = [(-40.0, 336_103.2), (-20.0, 97_006.9), (-10.0, 55_303.9), (0.0, 32_650.9)];

    fn check(curve: NtcCurve, ohm: f64, celsius: f64, within: f64) {
        let found = curve.celsius(ohm).expect("a temperature");
        assert!((found - celsius).abs() < within, "{found} instead of {celsius}");
    }

    #[test]
    fn steinhart_hart_fits_the_table_of_10k3mcd1() {
        TABLE.iter().for_each(|(celsius, ohm)| check(PROBE, *ohm, *celsius, 0.005));
    }

    #[test]
    fn three_points_of_a_table_give_the_rest_of_it() {
        let curve = NtcCurve::through([TABLE[0], TABLE[1], TABLE[3]]).expect("a curve");
        TABLE.iter().for_each(|(celsius, ohm)| check(curve, *ohm, *celsius, 0.005));
        // By definition of the part.
        check(curve, 10_000.0, 25.0, 0.15);
    }

    /// Ratios Rt/R25 of Amphenol Thermometrics type 1, with β(0/50) = 3892 K of the same sheet: a beta curve holds within
    /// the span that its β was taken over, and three points hold from −20 °C to 85 °C.
    #[test]
    fn beta_and_three_points_fit_the_table_of_type_1() {
        let beta = NtcCurve::Beta { r25_ohm: 10_000.0, beta_k: 3892.0 };
        for (ratio, celsius) in [(3.264, 0.0), (1.990, 10.0), (1.0, 25.0), (0.5325, 40.0), (0.3601, 50.0)] {
            check(beta, ratio * 10_000.0, celsius, 0.35);
        }
        let points = NtcCurve::through([(0.0, 32_640.0), (25.0, 10_000.0), (70.0, 1751.0)]).expect("a curve");
        for (ratio, celsius) in [(9.681, -20.0), (5.525, -10.0), (1.990, 10.0), (0.5325, 40.0), (0.1070, 85.0)] {
            check(points, ratio * 10_000.0, celsius, 0.1);
        }
    }

    /// What a plain beta of 3950 makes of 10K3MCD1 at freezing: half a degree off.
    #[test]
    fn a_wrong_beta_is_half_a_degree_off_at_freezing() {
        let found = NtcCurve::Beta { r25_ohm: 10_000.0, beta_k: 3950.0 }.celsius(32_650.9).expect("a temperature");
        assert!((found.abs() - 0.55).abs() < 0.02, "{found}");
    }

    #[test]
    fn points_that_make_no_curve_are_refused() {
        let through = |points| NtcCurve::through(points);
        assert_eq!(through([(0.0, 10_000.0), (25.0, 20_000.0), (50.0, 30_000.0)]), None, "it rises");
        assert_eq!(through([(0.0, 30_000.0), (0.0, 30_000.0), (50.0, 3_000.0)]), None, "one twice");
        assert_eq!(through([(0.0, 0.0), (25.0, 10_000.0), (50.0, 3_000.0)]), None);
        assert_eq!(through([(-300.0, 90_000.0), (25.0, 10_000.0), (50.0, 3_000.0)]), None);
    }

    #[test]
    fn a_broken_or_shorted_wire_has_no_temperature() {
        for ohm in [0.0, -5.0, 1.0, 1e9, f64::NAN, f64::INFINITY] {
            assert_eq!(PROBE.celsius(ohm), None, "{ohm} Ω");
        }
        for side in [Side::High, Side::Low] {
            let divider = Divider { side, fixed_ohm: 10_000.0, full_scale: 4095.0, reference_share: 1.0 };
            for raw in [0.0, 12.0, 4080.0, 4095.0] {
                assert_eq!(celsius(Some(&divider), &PROBE, raw), None, "{raw} counts");
            }
            let middle = celsius(Some(&divider), &PROBE, 2047.5).expect("10 kΩ");
            assert!((middle - 25.0).abs() < 0.01, "{middle}");
        }
    }
}
