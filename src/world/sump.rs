//! The sump below a cellar floor: water seeps in, two pumps lift it out, and one clamp sees what both draw. It never knows
//! who wants a pump on. All its figures are invented.

use crate::units::Span;

/// The floor of the pit in m².
const AREA_M2: f64 = 0.5;
/// What seeps in, in litres an hour.
const SEEPAGE_L_PER_H: f64 = 60.0;
/// What one pump lifts, in litres an hour, as long as it does not draw air.
const PUMP_L_PER_H: f64 = 1200.0;
/// Below this level in cm a pump draws air.
const INTAKE_CM: f64 = 4.0;
/// Where the pit ends and the cellar floor begins, in cm.
const BRIM_CM: f64 = 60.0;
/// What one pump draws, in A.
const PUMP_A: f64 = 1.6;

/// A pit with two pumps in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Sump {
    level_cm: f64,
    current_a: f64,
}

impl Sump {
    /// A pit that is filled up to a level in cm.
    pub fn new(level_cm: f64) -> Sump {
        Sump { level_cm, current_a: 0.0 }
    }

    /// Lets time pass while so many of its pumps run.
    pub fn advance(&mut self, pumps: u8, span: Span) {
        let hours = span.0 as f64 / 3_600_000.0;
        let litres_per_cm = AREA_M2 * 10.0;
        let lifted = if self.level_cm > INTAKE_CM { PUMP_L_PER_H * f64::from(pumps) } else { 0.0 };
        let level = self.level_cm + (SEEPAGE_L_PER_H - lifted) * hours / litres_per_cm;
        self.level_cm = level.clamp(0.0, BRIM_CM);
        self.current_a = PUMP_A * f64::from(pumps);
    }

    /// The water's level above the floor of the pit, in cm.
    pub fn level_cm(&self) -> f64 {
        self.level_cm
    }

    /// What the clamp around the cable of both pumps reads, in A.
    pub fn current_a(&self) -> f64 {
        self.current_a
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_fills_within_hours_and_one_pump_empties_it_within_minutes() {
        let mut sump = Sump::new(8.0);
        sump.advance(0, Span::from_min(85));
        assert!((24.0..26.0).contains(&sump.level_cm()) && sump.current_a() == 0.0, "{}", sump.level_cm());
        sump.advance(1, Span::from_min(4));
        assert!((9.0..11.0).contains(&sump.level_cm()), "{}", sump.level_cm());
        assert_eq!(sump.current_a(), PUMP_A);
    }

    #[test]
    fn it_neither_runs_dry_below_the_intake_nor_rises_above_the_floor() {
        let mut sump = Sump::new(10.0);
        (0..600).for_each(|_| sump.advance(2, Span::from_s(20)));
        assert!((INTAKE_CM - 3.0..INTAKE_CM + 1.0).contains(&sump.level_cm()), "{}", sump.level_cm());
        sump.advance(0, Span::from_h(100));
        assert_eq!(sump.level_cm(), BRIM_CM);
    }
}
