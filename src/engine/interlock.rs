//! The interlock: a gate below the array that delays a closing until every other member is surely off and the dead time is
//! over. It never demands anything by itself.

use super::Engine;
use super::decide::{Decider, Decision};
use crate::house::{Interlock, InterlockId, LoadId, State};
use crate::units::BootTime;

impl Engine {
    /// What the interlocks leave of a decision, and when to look again.
    pub(super) fn pass_interlocks(&self, load: LoadId, array: Decision) -> (Decision, Option<BootTime>) {
        if array.state == State::Off {
            return (array, None);
        }
        for id in &self.index.interlocks_of_load[load.index()] {
            let interlock = &self.house.interlocks[id.index()];
            if let Some((by, again)) = self.holds_back(*id, interlock, load) {
                return (Decision { state: State::Off, by }, again);
            }
        }
        (array, None)
    }

    /// Why one interlock does not let a load be on.
    fn holds_back(&self, id: InterlockId, interlock: &Interlock, load: LoadId) -> Option<(Decider, Option<BootTime>)> {
        let is_on = |load: LoadId| self.reported(load) == Some(State::On);
        let runs = |load: LoadId| is_on(load) || self.shows_current(load);
        let others = || interlock.loads.iter().copied().filter(|other| *other != load);
        if is_on(load) && others().any(runs) {
            // Found on together: a stuck order of things that nobody may sort out but by opening all. One that still
            // shows that it runs with its contact open is on.
            return Some((Decider::Interlock(id), None));
        }
        if let Some(winner) = self.winner(interlock)
            && winner != load
            && !self.keeps_on(load)
        {
            return Some((Decider::Interlock(id), None));
        }
        // One that an order under way may open would close once more.
        if self.is_surely_on(load) {
            return None;
        }
        for other in others() {
            if self.may_be_on(other) {
                return Some((Decider::Interlock(id), self.may_be_on_until(other)));
            }
            let clear = self.off_since(other) + interlock.dead_time;
            if clear > self.now.boot {
                return Some((Decider::Interlock(id), Some(clear)));
            }
        }
        None
    }

    /// Whether another member of one of a load's interlocks may be on.
    pub(super) fn is_beside_another(&self, load: LoadId) -> bool {
        let groups = self.index.interlocks_of_load[load.index()].iter();
        let mut members = groups.flat_map(|id| &self.house.interlocks[id.index()].loads);
        members.any(|other| *other != load && self.may_be_on(*other))
    }

    /// The member that is to be on: lowest slot first, then one that is on, then the order of the list.
    fn winner(&self, interlock: &Interlock) -> Option<LoadId> {
        let claims = interlock.loads.iter().enumerate().filter_map(|(place, load)| {
            let claim = self.claim_of(*load);
            let is_off = self.reported(*load) != Some(State::On);
            (claim.state == State::On).then_some((claim.slot, is_off, place, *load))
        });
        claims.min().map(|(.., load)| load)
    }
}
