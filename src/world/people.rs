//! The invented people of Rowan Cottage: what they wash and which doors they open, by a timetable that repeats. They never
//! do anything by chance.

use crate::house::State;
use crate::units::WallTime;

/// Something that happens again and again: every so many seconds, beginning at a second, for so long.
struct Habit {
    every_s: i64,
    at_s: i64,
    for_s: i64,
}

impl Habit {
    const fn new(every_s: i64, at_s: i64, for_s: i64) -> Habit {
        Habit { every_s, at_s, for_s }
    }

    fn now(&self, at: WallTime) -> bool {
        (at.0.div_euclid(1000) - self.at_s).rem_euclid(self.every_s) < self.for_s
    }
}

const DAY_S: i64 = 86_400;

/// A shower in the morning and one in the evening (UTC), in g/h of steam.
const SHOWERS: ([Habit; 2], f64) =
    ([Habit::new(DAY_S, 6 * 3600 + 2400, 900), Habit::new(DAY_S, 20 * 3600 + 1200, 900)], 2400.0);

/// Washing, round the clock: this house has guests. In g/h of steam.
const WASHING: (Habit, f64) = (Habit::new(2400, 300, 600), 1400.0);

/// The kitchen window, opened after each meal (UTC).
const AIRINGS: [Habit; 3] = [
    Habit::new(DAY_S, 8 * 3600 + 2400, 480),
    Habit::new(DAY_S, 13 * 3600 + 600, 480),
    Habit::new(DAY_S, 18 * 3600 + 2400, 480),
];

/// The contacts by input name, and when they are on.
const CONTACTS: [(&str, Habit); 5] = [
    ("yard-door", Habit::new(1500, 900, 40)),
    ("sunroom-door", Habit::new(5400, 4000, 240)),
    ("washhouse-light", Habit::new(2400, 1500, 150)),
    ("cellar-door", Habit::new(1800, 600, 150)),
    // Dry at all times but for a bucket that falls over every other day.
    ("cellar-water", Habit::new(2 * DAY_S, 40_000, 600)),
];

/// Steam in the bathroom, in g/h.
pub(super) fn bath_steam(at: WallTime) -> f64 {
    let (showers, steam) = SHOWERS;
    if showers.iter().any(|shower| shower.now(at)) { steam } else { 0.0 }
}

/// Steam in the wash house, in g/h.
pub(super) fn washing_steam(at: WallTime) -> f64 {
    let (washing, steam) = WASHING;
    if washing.now(at) { steam } else { 0.0 }
}

/// Whether the kitchen window is open.
pub(super) fn kitchen_is_aired(at: WallTime) -> bool {
    AIRINGS.iter().any(|airing| airing.now(at))
}

/// The on/off contacts by input name.
pub(super) fn contacts(at: WallTime) -> impl Iterator<Item = (&'static str, State)> {
    CONTACTS.iter().map(move |(name, habit)| (*name, if habit.now(at) { State::On } else { State::Off }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn habits_repeat() {
        let habit = Habit::new(100, 30, 10);
        let on: Vec<i64> = (0..200).filter(|second| habit.now(WallTime(second * 1000))).collect();
        assert_eq!(on, (30..40).chain(130..140).collect::<Vec<i64>>());
        assert!(habit.now(WallTime(-65_000)), "before 1970 too");
    }
}
