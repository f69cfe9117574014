//! The sixteen slots of a load, after the command prioritisation of ANSI/ASHRAE 135 (ISO 16484-5): the lowest number that
//! is set wins. It never knows who set a slot.

use crate::house::State;

/// The slot of a withdrawn load.
pub const SLOT_WITHDRAWN: u8 = 1;
/// The slot of safety trips.
pub const SLOT_TRIP: u8 = 2;
/// The slot of max on, max starts and circuit limits.
pub const SLOT_LIMIT: u8 = 5;
/// The slot of min on and min off.
pub const SLOT_DWELL: u8 = 6;
/// The slot of holds.
pub const SLOT_HOLD: u8 = 8;
/// The first slot of ordinary rules.
pub const SLOT_RULES: u8 = 9;
/// How many slots there are.
pub const SLOTS: u8 = 16;

/// What one rule puts into its slot.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Demand {
    /// Nothing: it gives way.
    #[default]
    None,
    /// A state, because its condition is known.
    Known(State),
    /// The safe state, because its condition is unknown.
    Unknown,
}

/// How many rules demand what in one slot. Counting instead of asking every rule again keeps a decision cheap however many
/// rules speak to one load.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Tally {
    on: u32,
    off: u32,
    unknown: u32,
}

/// What a slot says, and whether it says so because it knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Verdict {
    pub state: State,
    pub known: bool,
}

impl Tally {
    pub fn add(&mut self, demand: Demand) {
        if let Some(count) = self.count(demand) {
            *count += 1;
        }
    }

    pub fn remove(&mut self, demand: Demand) {
        if let Some(count) = self.count(demand) {
            debug_assert!(*count > 0, "a demand is removed that was never added");
            *count = count.saturating_sub(1);
        }
    }

    fn count(&mut self, demand: Demand) -> Option<&mut u32> {
        match demand {
            Demand::None => None,
            Demand::Known(State::On) => Some(&mut self.on),
            Demand::Known(State::Off) => Some(&mut self.off),
            Demand::Unknown => Some(&mut self.unknown),
        }
    }

    /// What the slot says: where rules disagree the safe state wins, and an unknown condition demands the safe state.
    pub fn verdict(&self, safe: State) -> Option<Verdict> {
        let (for_safe, against) = match safe {
            State::On => (self.on, self.off),
            State::Off => (self.off, self.on),
        };
        if for_safe > 0 {
            Some(Verdict { state: safe, known: true })
        } else if self.unknown > 0 {
            Some(Verdict { state: safe, known: false })
        } else if against > 0 {
            Some(Verdict { state: safe.opposite(), known: true })
        } else {
            None
        }
    }

    /// What the slot says whatever rules with an unknown condition will come to.
    pub fn known_verdict(&self, safe: State) -> Option<Verdict> {
        self.verdict(safe).filter(|verdict| verdict.known)
    }
}

/// The slots that rules may fill: 2, and 9 to 16.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct RuleSlots {
    trip: Tally,
    ordinary: [Tally; (SLOTS - SLOT_RULES + 1) as usize],
}

impl RuleSlots {
    pub fn at(&mut self, priority: u8) -> &mut Tally {
        if priority < SLOT_RULES {
            &mut self.trip
        } else {
            &mut self.ordinary[usize::from(priority.min(SLOTS) - SLOT_RULES)]
        }
    }

    pub fn trip(&self) -> &Tally {
        &self.trip
    }

    /// The first ordinary slot that is set, with what it says.
    pub fn ordinary(&self, safe: State) -> Option<(u8, Verdict)> {
        let mut slots = (SLOT_RULES..).zip(&self.ordinary);
        slots.find_map(|(slot, tally)| tally.verdict(safe).map(|verdict| (slot, verdict)))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn check(demands: &[Demand], safe: State, expected: Option<(State, bool)>) {
        let mut tally = Tally::default();
        demands.iter().for_each(|demand| tally.add(*demand));
        assert_eq!(tally.verdict(safe).map(|v| (v.state, v.known)), expected, "{demands:?}, safe {safe}");
    }

    #[test]
    fn safe_wins_a_disagreement() {
        use State::{Off, On};
        check(&[], Off, None);
        check(&[Demand::Known(On)], Off, Some((On, true)));
        check(&[Demand::Known(On), Demand::Known(Off)], Off, Some((Off, true)));
        check(&[Demand::Known(On), Demand::Known(Off)], On, Some((On, true)));
    }

    #[test]
    fn unknown_demands_safe_and_says_that_it_does_not_know() {
        use State::{Off, On};
        check(&[Demand::Unknown], Off, Some((Off, false)));
        check(&[Demand::Unknown, Demand::Known(On)], Off, Some((Off, false)));
        check(&[Demand::Unknown, Demand::Known(Off)], Off, Some((Off, true)));
        check(&[Demand::Unknown], On, Some((On, false)));
    }

    #[test]
    fn what_an_unknown_rule_may_still_turn_over_is_not_known() {
        let verdict = |demands: &[Demand]| {
            let mut tally = Tally::default();
            demands.iter().for_each(|demand| tally.add(*demand));
            tally.known_verdict(State::Off).map(|verdict| verdict.state)
        };
        assert_eq!(verdict(&[Demand::Known(State::On)]), Some(State::On));
        assert_eq!(verdict(&[Demand::Known(State::On), Demand::Unknown]), None);
        assert_eq!(verdict(&[Demand::Known(State::Off), Demand::Unknown]), Some(State::Off));
        assert_eq!(verdict(&[Demand::Unknown]), None);
    }

    proptest! {
        /// ANSI/ASHRAE 135: the effective value is that of the highest priority (lowest number) that is not null.
        #[test]
        fn lowest_set_slot_wins(set in prop::collection::vec((9u8..=16, any::<bool>()), 0..8)) {
            let mut slots = RuleSlots::default();
            for (slot, on) in &set {
                slots.at(*slot).add(Demand::Known(if *on { State::On } else { State::Off }));
            }
            let lowest = set.iter().map(|(slot, _)| *slot).min();
            prop_assert_eq!(slots.ordinary(State::Off).map(|(slot, _)| slot), lowest);
            if let Some(lowest) = lowest {
                let all_on = set.iter().filter(|(slot, _)| *slot == lowest).all(|(_, on)| *on);
                let (_, verdict) = slots.ordinary(State::Off).expect("a slot is set");
                prop_assert_eq!(verdict.state == State::On, all_on);
            }
        }
    }
}
