//! A threshold with its deadband and its memory. It never forgets by itself: an unknown reading keeps the memory.

use crate::house::{Ends, ThresholdSide, Truth};

/// Which end of the deadband was passed last: true after cut-in, false after cut-out, `None` before either.
pub type ThresholdMemory = Option<bool>;

/// The truth of a threshold by where its ends lie now, for a reading in the sensor's unit, `None` while it is unknown.
///
/// Both ends are inclusive. Inside the deadband the memory decides, and without one it is false. As a reading must cross
/// the whole deadband to change the memory twice, noise smaller than the deadband changes it at most once (I7).
pub fn threshold_truth(ends: Ends, reading: Option<f64>, memory: &mut ThresholdMemory) -> Truth {
    let Some(value) = reading else { return Truth::Unknown };
    let (inside, outside) = match ends.side {
        ThresholdSide::High => (value >= ends.cut_in, value <= ends.cut_out),
        ThresholdSide::Low => (value <= ends.cut_in, value >= ends.cut_out),
    };
    if inside {
        *memory = Some(true);
    } else if outside {
        *memory = Some(false);
    }
    Truth::from(memory.unwrap_or(false))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn threshold(side: ThresholdSide, cut_in: f64, cut_out: f64) -> Ends {
        Ends { side, cut_in, cut_out }
    }

    fn check(threshold: Ends, readings: &[Option<f64>], expected: &[Truth]) {
        let mut memory = None;
        let found: Vec<Truth> = readings.iter().map(|r| threshold_truth(threshold, *r, &mut memory)).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn both_ends_are_inclusive() {
        use Truth::{False, True};
        let high = threshold(ThresholdSide::High, 28.0, 26.5);
        check(high, &[Some(27.9), Some(28.0), Some(26.6), Some(26.5)], &[False, True, True, False]);
        let low = threshold(ThresholdSide::Low, 40.0, 65.0);
        check(low, &[Some(41.0), Some(40.0), Some(64.0), Some(65.0)], &[False, True, True, False]);
    }

    #[test]
    fn deadband_without_memory_is_false() {
        check(threshold(ThresholdSide::High, 28.0, 26.5), &[Some(27.0)], &[Truth::False]);
    }

    #[test]
    fn unknown_keeps_the_memory() {
        use Truth::{True, Unknown};
        check(threshold(ThresholdSide::High, 28.0, 26.5), &[Some(29.0), None, Some(27.0)], &[True, Unknown, True]);
    }

    /// ANSI C136.10 photocontrol: on at 16.1 lx (1.5 fc), off by four times that, 64.6 lx (6 fc), as quoted at
    /// forum.digikey.com topic 6419.
    #[test]
    fn photocontrol_of_ansi_c136_10() {
        use Truth::{False, True};
        let dusk = threshold(ThresholdSide::Low, 16.1, 64.6);
        check(
            dusk,
            &[Some(200.0), Some(64.0), Some(16.1), Some(30.0), Some(64.5), Some(64.6), Some(17.0)],
            &[False, False, True, True, True, False, False],
        );
    }

    proptest! {
        /// I7: readings that span less than the deadband change a threshold at most once.
        #[test]
        fn noise_inside_the_deadband_switches_at_most_once(
            cut_out in -50.0..50.0f64, deadband in 0.1..20.0f64, base in -80.0..80.0f64,
            noise in prop::collection::vec(0.0..0.999f64, 1..60), low in any::<bool>(),
        ) {
            let threshold = if low {
                threshold(ThresholdSide::Low, cut_out - deadband, cut_out)
            } else {
                threshold(ThresholdSide::High, cut_out + deadband, cut_out)
            };
            let mut memory = None;
            let truths: Vec<Truth> = noise
                .iter()
                .map(|n| threshold_truth(threshold, Some(base + n * deadband), &mut memory))
                .collect();
            let changes = truths.windows(2).filter(|pair| pair[0] != pair[1]).count();
            prop_assert!(changes <= 1, "{truths:?}");
        }
    }
}
