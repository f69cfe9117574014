//! The site's stagger: after a start or a reconnect the first closing of each load waits for its turn, and so does the first run
//! of an actuator or pulse. It never decides whether a load closes.

use super::Engine;
use super::contact::Contact;
use super::decide::{Decider, Decision};
use crate::house::{Drive, LoadId, State};
use crate::units::BootTime;

impl Engine {
    /// The stagger: after a start or a reconnect the first closing of each load waits for its turn.
    pub(super) fn take_turn(&mut self, load: LoadId, array: Decision) -> (Decision, Option<BootTime>) {
        let definition = self.house.load(load);
        if definition.is_driven_by_runs() || matches!(definition.drive, Drive::Rotation(_)) {
            // Its runs or pulses, or its members, wait for their turns by themselves.
            return (array, None);
        }
        // Of a board that takes no orders yet none closes, so that it takes no turn either.
        let is_ordered = definition.relay().is_some_and(|relay| self.takes_orders(relay.board));
        let waits = self.loads[load.index()].staggered && self.reported(load).is_some() && is_ordered;
        if !waits || array.by == Decider::Settling {
            return (array, None);
        }
        // One that an order under way may be closing, or opening, takes its turn as well: which comes first nobody knows.
        let closes = array.state == State::On && !array.by.is_still() && !self.is_surely_on(load);
        if closes && self.next_closing > self.now.boot {
            // While it waits, an order of off would be one too many if an earlier one is still under way.
            let in_flight = self.contact_of(load).is_some_and(Contact::in_flight);
            let by = if in_flight { Decider::StaggerStill } else { Decider::Stagger };
            return (Decision { state: State::Off, by }, Some(self.next_closing));
        }
        if closes {
            self.next_closing = self.now.boot + self.house.site.stagger;
            self.took_turns.push(load);
            self.loads[load.index()].staggered = false;
        }
        (array, None)
    }

    /// Who took a turn and was then decided otherwise in the same step has it still to come.
    pub(super) fn return_turns(&mut self) {
        for load in std::mem::take(&mut self.took_turns) {
            let definition = self.house.load(load);
            let is_driven = definition.is_driven_by_runs();
            let runs = Some(is_driven || definition.energised(State::On));
            let waits = self.house.relays_of(definition).iter().all(|relay| self.contact(*relay).wish != runs);
            self.loads[load.index()].staggered |= waits;
        }
    }

    /// Until when a run or a pulse waits for its turn after a start or a reconnect.
    pub(super) fn turn_of_run(&self, load: LoadId) -> Option<BootTime> {
        let waits = self.loads[load.index()].staggered && self.next_closing > self.now.boot;
        waits.then_some(self.next_closing)
    }

    /// A run or a pulse goes out: the next waits for its turn.
    pub(super) fn take_run_turn(&mut self, load: LoadId) {
        if std::mem::take(&mut self.loads[load.index()].staggered) {
            self.next_closing = self.now.boot + self.house.site.stagger;
            self.took_turns.push(load);
        }
    }
}
