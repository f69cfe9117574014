//! Whether a reading moved faster than what it measures can. It never keeps a reading.

use crate::house::{Grade, MaxRate};
use crate::units::Span;

/// Whether a change of a reading over a time is faster than a sensor's greatest rate.
///
/// One step of the sensor is always allowed: between two steps it may sit on either. And two readings are never nearer than
/// the part can measure, however close together a stalled link delivers them.
pub fn is_too_fast(rate: &MaxRate, grade: &Grade, change: f64, over: Span) -> bool {
    let over = over.max(grade.sampling_period.unwrap_or(Span::ZERO));
    let allowed = rate.change * (over.0 as f64 / rate.within.0 as f64) + grade.resolution.unwrap_or(0.0);
    // Inclusive, and binary dust is no haste.
    change.abs() > allowed * (1.0 + 1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(change: f64, over_s: u64, grade: &Grade, expected: bool) {
        let rate = MaxRate { change: 2.0, within: Span::from_min(1) };
        assert_eq!(is_too_fast(&rate, grade, change, Span::from_s(over_s)), expected, "{change} in {over_s} s");
    }

    #[test]
    fn two_degrees_a_minute() {
        let plain = Grade::default();
        check(2.0, 60, &plain, false);
        check(-2.0, 60, &plain, false);
        check(2.1, 60, &plain, true);
        check(-2.1, 60, &plain, true);
        check(0.1, 3, &plain, false);
        check(0.2, 3, &plain, true);
        check(20.0, 600, &plain, false);
        check(0.1, 0, &plain, true);
        check(0.0, 0, &plain, false);
    }

    #[test]
    fn a_step_of_the_sensor_is_no_haste() {
        let grade = Grade { resolution: Some(0.1), ..Grade::default() };
        check(0.1, 0, &grade, false);
        check(20.1 - 20.0, 0, &grade, false);
        check(0.2, 2, &grade, true);
    }

    #[test]
    fn readings_that_arrive_together_were_a_sampling_period_apart() {
        let grade = Grade { sampling_period: Some(Span::from_s(30)), ..Grade::default() };
        check(1.0, 0, &grade, false);
        check(1.1, 0, &grade, true);
    }
}
