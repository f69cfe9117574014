//! The resistance of a sensor in a divider, from what an analogue input reads at its tap. It never takes a value for true that
//! a broken or a shorted wire gives as well.

use crate::house::{Divider, Side};

impl Divider {
    /// The resistance in Ω behind a raw value; `None` at both ends of the scale and within `margin` of them, as a share of
    /// full scale: there the wire is broken or shorted, or the divider tells nothing.
    pub fn ohms(&self, raw: f64, margin: f64) -> Option<f64> {
        let share = raw / self.full_scale;
        if !(share > margin && share < 1.0 - margin) {
            return None;
        }
        let tap = share * self.reference_share;
        let ohms = match self.side {
            Side::High => self.fixed_ohm * (1.0 - tap) / tap,
            Side::Low => self.fixed_ohm * tap / (1.0 - tap),
        };
        (ohms > 0.0 && ohms.is_finite()).then_some(ohms)
    }
}

/// The resistance in Ω behind a raw value: through the divider, or as it is where the board sends Ω.
pub fn ohms(divider: Option<&Divider>, raw: f64, margin: f64) -> Option<f64> {
    match divider {
        Some(divider) => divider.ohms(raw, margin),
        None => (raw > 0.0 && raw.is_finite()).then_some(raw),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HIGH: Divider = Divider { side: Side::High, fixed_ohm: 10_000.0, full_scale: 1023.0, reference_share: 1.0 };

    fn check(divider: Divider, raw: f64, expected: Option<f64>) {
        let found = divider.ohms(raw, 0.005);
        let close = |found: f64, expected: f64| (found / expected - 1.0).abs() < 1e-9;
        let same = found.zip(expected).map_or(found == expected, |(found, expected)| close(found, expected));
        assert!(same, "{raw}: {found:?} instead of {expected:?}");
    }

    #[test]
    fn equal_resistors_halve_the_supply() {
        check(HIGH, 511.5, Some(10_000.0));
        check(Divider { side: Side::Low, ..HIGH }, 511.5, Some(10_000.0));
        check(Divider { full_scale: 3.3, ..HIGH }, 1.65, Some(10_000.0));
    }

    #[test]
    fn the_tap_rises_with_the_sensor_below_it_and_falls_with_the_sensor_above() {
        check(HIGH, 341.0, Some(20_000.0));
        check(Divider { side: Side::Low, ..HIGH }, 341.0, Some(5_000.0));
    }

    /// An input that is full at 1.1 V under a divider on 3.3 V sees a third of it.
    #[test]
    fn an_input_may_be_full_before_the_supply_is_reached() {
        let divider = Divider { reference_share: 1.1 / 3.3, ..HIGH };
        check(divider, 767.25, Some(30_000.0));
        check(divider, 1023.0, None);
    }

    #[test]
    fn the_ends_of_the_scale_tell_nothing() {
        for raw in [0.0, 5.0, 1018.0, 1023.0, -1.0, 2000.0, f64::NAN, f64::INFINITY] {
            check(HIGH, raw, None);
        }
    }
}
