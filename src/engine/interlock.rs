//! The interlock: a gate below the array that delays a closing until every other member is surely off and the dead time is
//! over. It never demands anything by itself.

use super::Engine;
use super::contact::Contact;
use super::decide::{Decider, Decision};
use super::proof::Unproved;
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
                // To one that is on within its min on, or that an order under way may have closed already, off would come
                // too early and on perhaps beside another. No order at all kills what is under way and moves nothing; if
                // members are on together a report will tell.
                let is_found = self.reported(load) == Some(State::On) && self.finds_another_on(interlock, load);
                let may_last = self.keeps_on(load) || self.may_have_closed_meanwhile(load);
                let by = if may_last && !is_found { Decider::InterlockStill(*id) } else { by };
                return (Decision { state: State::Off, by }, again);
            }
        }
        let outlasts = |id: &InterlockId| Some((*id, self.outlasts_lease(&self.house.interlocks[id.index()], load)?));
        match self.index.interlocks_of_load[load.index()].iter().find_map(outlasts) {
            // To say anew that it is on may come after the lease, and close it once more. No order lets it lapse at worst.
            Some((id, again)) => (Decision { by: Decider::InterlockStill(id), ..array }, again),
            None => (array, None),
        }
    }

    /// Whether an order under way may have closed it, and orders to open it behind that are not known to be taken either: its
    /// min on may run, and only slots 1 to 5 may cut it short.
    fn may_have_closed_meanwhile(&self, load: LoadId) -> bool {
        let definition = self.house.load(load);
        let is_under_way = self.contact_of(load).is_some_and(Contact::in_flight);
        let can_be_cut = !definition.min_on.is_zero() && definition.pulse.is_none();
        can_be_cut && is_under_way && self.reported(load) == Some(State::Off)
    }

    /// Whether the other members are off, with the dead time behind them over, only after the lease of one that is on may have
    /// run out; and when to look again, where not only a report tells.
    fn outlasts_lease(&self, interlock: &Interlock, load: LoadId) -> Option<Option<BootTime>> {
        let others = interlock.loads.iter().copied().filter(|other| *other != load);
        let clear = others.filter_map(|other| self.clear_of(other, interlock));
        // Where only a report tells, no lease is long enough.
        let clear = clear.map(|clear| clear.unwrap_or(BootTime(u64::MAX))).max()?;
        let is_late = clear > self.now.boot && !self.is_leased_until(load, clear);
        is_late.then_some((clear < BootTime(u64::MAX)).then_some(clear))
    }

    /// When the dead time behind a member is over; `Some(None)` where only a report tells, and `None` where nothing was ever
    /// heard or ordered that it might be on by.
    fn clear_of(&self, other: LoadId, interlock: &Interlock) -> Option<Option<BootTime>> {
        let after = |off: BootTime| off + interlock.dead_time;
        if !self.may_be_on(other) {
            return Some(Some(after(self.opened_at(other))));
        }
        let energised = self.house.load(other).energised(State::On);
        let contact = self.contact_of(other).filter(|contact| contact.was_last(energised))?;
        let lasts = self.may_be_on_until(other).filter(|until| *until > self.now.boot && !contact.stays_as_left());
        Some(lasts.map(after))
    }

    /// Why one interlock does not let a load be on.
    fn holds_back(&self, id: InterlockId, interlock: &Interlock, load: LoadId) -> Option<(Decider, Option<BootTime>)> {
        let others = || interlock.loads.iter().copied().filter(|other| *other != load);
        if self.reported(load) == Some(State::On) && self.finds_another_on(interlock, load) {
            // Found on together: a stuck order of things that nobody may sort out but by opening all.
            return Some((Decider::Interlock(id), None));
        }
        if let Some(winner) = self.winner(interlock)
            && winner != load
            && !self.keeps_on(load)
        {
            return Some((Decider::Interlock(id), None));
        }
        // One that an order under way may open would close once more, and so would one whose lease may have opened it.
        let is_on = self.surely_stays_on(load);
        // Where a hand closed what was ordered off, the next hand may open it before the order arrives: it would close it.
        let is_repeated =
            self.contact_of(load).and_then(|contact| contact.said) != Some(!self.house.load(load).energised(State::On));
        if is_on && is_repeated {
            return None;
        }
        for other in others() {
            if self.may_be_on(other) {
                return Some((Decider::Interlock(id), self.may_be_on_until(other)));
            }
            let clear = self.off_since(other) + interlock.dead_time;
            if clear > self.now.boot && !is_on {
                return Some((Decider::Interlock(id), Some(clear)));
            }
        }
        None
    }

    /// Whether another member is on by its report, or shows that it runs with its contact open.
    fn finds_another_on(&self, interlock: &Interlock, load: LoadId) -> bool {
        let mut others = interlock.loads.iter().filter(|other| **other != load);
        others.any(|other| self.reported(*other) == Some(State::On) || self.is_found_running(*other))
    }

    /// Whether a load is shown to run by what was seen since its contact changed. What was read before that holds others back,
    /// but opens none: while its board was lost nothing was read, and another may have closed meanwhile.
    pub(super) fn is_found_running(&self, load: LoadId) -> bool {
        let shown = self.shown_of(load).filter(|(_, at)| Some(*at) >= self.changed_at(load));
        shown.is_some_and(|(state, _)| state == State::On) || self.unproved(load) == Some(Unproved::Off)
    }

    /// Whether another member of one of a load's interlocks may be on.
    pub(super) fn is_beside_another(&self, load: LoadId) -> bool {
        let groups = self.index.interlocks_of_load[load.index()].iter();
        let mut members = groups.flat_map(|id| &self.house.interlocks[id.index()].loads);
        members.any(|other| *other != load && self.may_be_on(*other))
    }

    /// Whom a load waits for, by name: members that may be on, or the one that is to close in its place.
    pub(super) fn gives_way_to(&self, interlock: &Interlock, load: LoadId) -> Vec<String> {
        let on = self.on_among(&interlock.loads, load);
        let before = self.winner(interlock).filter(|winner| *winner != load && on.is_empty());
        on.into_iter().chain(before.map(|winner| self.house.load(winner).name.clone())).collect()
    }

    /// The member that is to be on: lowest slot first, then one that is on, then the order of the list.
    fn winner(&self, interlock: &Interlock) -> Option<LoadId> {
        let claims = interlock.loads.iter().enumerate().filter_map(|(place, load)| {
            let claim = self.claim_of(*load);
            (claim.state == State::On).then_some((claim.slot, !self.is_to_be_on(*load), place, *load))
        });
        claims.min().map(|(.., load)| load)
    }

    /// Whether a load is on once it has taken all that is under way. What its reports say of orders that were overtaken since
    /// must not turn the next ones: each of them would call forth its contrary, and the contact would chatter for ever.
    fn is_to_be_on(&self, load: LoadId) -> bool {
        let said = self.contact_of(load).filter(|contact| contact.in_flight()).and_then(|contact| contact.said);
        said.map_or(self.reported(load) == Some(State::On), |said| said == self.house.load(load).energised(State::On))
    }
}
