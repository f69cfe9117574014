//! Lux from a light-dependent resistor. It never claims more than the part can: an uncalibrated one is off by a factor of
//! several.
//!
//! The resistance falls with light as E = 10 lx · (R10 / R)^(1/γ), R10 being the resistance at 10 lx and γ the slope of the
//! data sheet, log10(R10/R100).

use super::divider;
use crate::house::{Divider, LightCurve};

/// More than the sun gives: a resistance that stands for it is a short circuit. Full sun is 100 to 130 klx (from memory).
const LUX_MAX: f64 = 200_000.0;

/// In the dark the tap of a divider comes as near to its end as it can: only the ends themselves are a broken wire.
const MARGIN: f64 = 0.0;

impl LightCurve {
    /// The curve through two measured points, each lux and resistance in Ω. `None` where they do not make one: all must be
    /// positive and the resistance must fall as light rises.
    pub fn through(dim: (f64, f64), bright: (f64, f64)) -> Option<LightCurve> {
        let ((lux_a, ohm_a), (lux_b, ohm_b)) = (dim, bright);
        if [lux_a, ohm_a, lux_b, ohm_b].iter().any(|value| !value.is_finite() || *value <= 0.0) {
            return None;
        }
        let gamma = (ohm_a / ohm_b).log10() / (lux_b / lux_a).log10();
        let r10_ohm = ohm_a * (lux_a / 10.0).powf(gamma);
        (gamma.is_finite() && gamma > 0.0 && r10_ohm.is_finite()).then_some(LightCurve { r10_ohm, gamma })
    }

    /// Lux at a resistance in Ω; `None` where it is more than the sun gives.
    pub fn lux(&self, ohm: f64) -> Option<f64> {
        let lux = 10.0 * (self.r10_ohm / ohm).powf(1.0 / self.gamma);
        (lux <= LUX_MAX).then_some(lux)
    }
}

/// Lux behind a raw value of the board; `None` where that is at an end of the scale or stands for no light there is.
pub fn lux(divider: Option<&Divider>, curve: &LightCurve, raw: f64) -> Option<f64> {
    curve.lux(resistance(divider, raw)?)
}

/// The resistance in Ω of a light-dependent resistor behind a raw value of the board; `None` at an end of the scale.
pub fn resistance(divider: Option<&Divider>, raw: f64) -> Option<f64> {
    divider::ohms(divider, raw, MARGIN)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::house::Side;

    const DIVIDER: Divider =
        Divider { side: Side::High, fixed_ohm: 10_000.0, full_scale: 1023.0, reference_share: 1.0 };

    fn read(r10_ohm: f64, raw: f64) -> Option<f64> {
        lux(Some(&DIVIDER), &LightCurve { r10_ohm, gamma: 0.6 }, raw)
    }

    /// Worked by hand from the formula of the data sheets (Token, Senba: γ = log10(R10/R100)) for a GL5528 of R10 14 kΩ and
    /// γ 0.6 between the supply and the tap, 10 kΩ to ground, 10 bits: 10 lx reads 426, 35 lx 616, 70 lx 713, 100 lx 757.
    #[test]
    fn worked_example_of_a_ten_bit_divider() {
        for (lux, raw) in [(10.0, 426.0), (35.0, 616.0), (70.0, 713.0), (100.0, 757.0)] {
            let found = read(14_000.0, raw).expect("inside the scale");
            assert!((found / lux - 1.0).abs() < 0.015, "{raw} is {found} lx");
        }
    }

    /// Data sheets of GL5528 parts give R10 from 8 kΩ to 20 kΩ, which shifts lux by 2.5^(1/0.6) = 4.6 times: such a part must
    /// be calibrated.
    #[test]
    fn an_uncalibrated_part_is_off_by_a_factor() {
        let (low, high) = (read(8_000.0, 500.0), read(20_000.0, 500.0));
        let factor = high.expect("inside the scale") / low.expect("inside the scale");
        assert!((factor - 4.6).abs() < 0.05, "{factor}");
    }

    #[test]
    fn two_points_calibrate() {
        let truth = LightCurve { r10_ohm: 11_300.0, gamma: 0.68 };
        let ohm = |lux: f64| truth.r10_ohm * (10.0 / lux).powf(truth.gamma);
        let points = [(8.0, ohm(8.0)), (400.0, ohm(400.0))];
        for (dim, bright) in [(points[0], points[1]), (points[1], points[0])] {
            let found = LightCurve::through(dim, bright).expect("a falling curve");
            assert!((found.r10_ohm / truth.r10_ohm - 1.0).abs() < 1e-9 && (found.gamma - truth.gamma).abs() < 1e-9);
        }
    }

    #[test]
    fn points_that_make_no_curve_are_refused() {
        assert_eq!(LightCurve::through((10.0, 5_000.0), (100.0, 9_000.0)), None);
        assert_eq!(LightCurve::through((10.0, 5_000.0), (10.0, 5_000.0)), None);
        assert_eq!(LightCurve::through((0.0, 5_000.0), (10.0, 1_000.0)), None);
        assert_eq!(LightCurve::through((10.0, f64::NAN), (20.0, 1_000.0)), None);
    }

    #[test]
    fn a_wire_that_is_broken_or_shorted_reads_nothing() {
        for raw in [0.0, 1022.9, 1023.0, -1.0, 2000.0, f64::NAN] {
            assert_eq!(read(14_000.0, raw), None, "{raw}");
        }
        let curve = LightCurve { r10_ohm: 14_000.0, gamma: 0.6 };
        for ohm in [0.0, 1.0, -5.0, f64::INFINITY] {
            assert_eq!(lux(None, &curve, ohm), None, "{ohm} Ω");
        }
    }

    #[test]
    fn the_dark_is_a_reading() {
        let dark = read(14_000.0, 1.0).expect("one count above a broken wire");
        assert!(dark > 0.0 && dark < 0.01, "{dark} lx");
    }
}
