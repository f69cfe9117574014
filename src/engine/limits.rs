//! Slot 5 of one load: max on with its rest, and max starts. It never looks at other loads.

use super::Engine;
use super::decide::Decider;
use super::hold::STORED_EVERY;
use super::timers::Timer;
use crate::house::{LoadId, State};
use crate::units::BootTime;

/// What a limit says of a load: it is to be off, why, and until when it is worth looking again.
pub(super) type Limited = Option<(Decider, Option<BootTime>)>;

impl Engine {
    /// Whether max on or max starts keeps a load off now.
    pub(super) fn limited(&self, load: LoadId) -> Limited {
        let definition = self.house.load(load);
        let contact = self.contact_of(load)?;
        let now = self.now.boot;
        if let Some(max_on) = definition.max_on
            && (contact.runs.cut || contact.runs.cut_at(max_on).is_some_and(|end| end <= now))
        {
            let is_off = self.reported(load) == Some(State::Off) && !contact.in_flight() && !self.shows_current(load);
            return Some((Decider::MaxOn, is_off.then(|| self.off_since(load) + definition.rest)));
        }
        let starts = definition.max_starts?;
        // Who runs may go on running; only a further start is one too many.
        if self.is_surely_on(load) {
            return None;
        }
        // An order to start may be repeated. Before another one is made, each that is under way may be a start of its own that
        // no report has shown yet.
        let runs = definition.energised(State::On);
        let is_repeated = contact.said == Some(runs);
        let others = contact.under_way(runs).saturating_sub(u32::from(is_repeated));
        let unseen = others.max(u32::from(contact.in_flight() && !is_repeated));
        let Some(most) = starts.most.checked_sub(unseen).filter(|most| *most > 0) else {
            return Some((Decider::MaxStarts, None));
        };
        let free = contact.runs.next_start(most, starts.within, now)?;
        Some((Decider::MaxStarts, Some(free)))
    }

    /// When max on will end the present run of a load.
    pub(super) fn max_on_end(&self, load: LoadId) -> Option<BootTime> {
        let definition = self.house.load(load);
        self.contact_of(load)?.runs.cut_at(definition.max_on?)
    }

    /// Follows runs and rests of a load by what its contact is known to be.
    pub(super) fn follow_runs(&mut self, load: LoadId) {
        let house = self.house.clone();
        let definition = house.load(load);
        let now = self.now.boot;
        let (reported, shows) = (self.reported(load), self.shows_current(load));
        let Some(relay) = definition.relay() else { return };
        let contact = self.contact_mut(relay);
        if reported == Some(State::Off) && shows {
            contact.runs.may_run(now.into());
        } else if reported == Some(State::Off) && !contact.in_flight() {
            contact.runs.rested(contact.off_since(), definition.rest, now);
        } else if reported == Some(State::On) && contact.runs.since.is_none() {
            // By the house of before it was no run: another contact, or no load at all.
            contact.runs.may_run(contact.changed_latest);
        }
        if let Some(max_on) = definition.max_on {
            contact.runs.is_cut(max_on, now);
            if contact.runs.since.is_some() {
                self.boot_timers.set_lazily(Timer::StoreTimes, now + STORED_EVERY);
            }
        }
    }

    /// When the rest of a load that is off is over, so that its next run is a new one: what comes later, such as the loss of its
    /// board, must not make that doubtful.
    pub(super) fn rest_end(&self, load: LoadId) -> Option<BootTime> {
        let definition = self.house.load(load);
        let contact = self.contact_of(load).filter(|contact| contact.runs.since.is_some())?;
        let is_off = self.reported(load) == Some(State::Off) && !contact.in_flight() && !self.shows_current(load);
        is_off.then(|| contact.off_since().after(definition.rest))
    }

    /// Whether a run is under way that max on will end, or has ended.
    pub(super) fn has_runs_under_max_on(&self) -> bool {
        let limited = self.house.loads.iter().filter(|load| load.max_on.is_some());
        limited.filter_map(|load| load.relay()).any(|relay| self.contact(relay).runs.since.is_some())
    }
}
