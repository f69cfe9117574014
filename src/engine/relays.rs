//! What a report says of each relay: changes, hands, and whether it obeys. It never looks at whether the report is news.

use super::contact::Heard;
use super::explain::Cause;
use super::{By, Effect, Engine, JournalEntry};
use crate::house::{LoadId, Relay, State};
use crate::units::Span;

/// Half of this without a lease, half the lease with one: so long reports may differ from the orders before a person is told.
const MISMATCH_WITHOUT_LEASE: Span = Span::from_s(90);

/// How a board came back.
#[derive(Clone, Copy, Debug)]
pub(super) struct Return {
    pub rebooted: bool,
    pub ran_out: bool,
}

impl Engine {
    /// What one relay's part of a report leads to.
    pub(super) fn take_contact(
        &mut self,
        relay: Relay,
        load: Option<LoadId>,
        heard: Heard,
        back: Return,
        out: &mut Vec<Effect>,
    ) {
        let energised = self.contact(relay).reported == Some(true);
        if heard.turned || heard.first || heard.unseen > 0 {
            self.save = true;
        }
        if heard.unseen > 0 {
            let entry = JournalEntry::Unseen { relay: self.house.relay_name(relay), changes: heard.unseen };
            self.record(self.now.wall, entry, out);
        }
        if heard.turned {
            let entry = JournalEntry::Changed {
                load: load.map(|load| self.house.load(load).name.clone()),
                relay: self.house.relay_name(relay),
                state: load.map_or(if energised { State::On } else { State::Off }, |load| {
                    self.house.load(load).state(energised)
                }),
                cause: self.cause_of_turn(relay, heard, back),
            };
            self.record(self.now.wall - heard.at.age(self.now.boot), entry, out);
        }
        if heard.turned || heard.unseen > 0 {
            self.contact_mut(relay).proof.turn();
        }
        let Some(load) = load else {
            // A relay that lost its load is opened, and forgotten once that is confirmed.
            let contact = self.contact_mut(relay);
            if contact.wish.is_some() && !energised && !contact.in_flight() {
                contact.wish = None;
                contact.said = None;
            }
            return;
        };
        self.count_runs(relay, load, heard);
        self.count_changes(relay, load, heard.unseen + u32::from(heard.turned), out);
        if heard.by_hand {
            let state = self.house.load(load).state(energised);
            self.hold(load, state, None, By::Board(self.house.relay_name(relay)), heard.at, out);
        }
        self.follow_mismatch(relay, load, out);
    }

    /// Counts a load's starts, and from when on it may have run.
    fn count_runs(&mut self, relay: Relay, load: LoadId, heard: Heard) {
        let runs = self.reported(load) == Some(State::On);
        let changes = heard.unseen + u32::from(heard.turned || (heard.first && runs));
        let now = self.now.boot;
        let contact = self.contact_mut(relay);
        contact.hours.hear(runs, &heard, now);
        if runs {
            contact.runs.may_run(heard.at);
        }
        contact.runs.started(heard.at, if runs { changes.div_ceil(2) } else { changes / 2 });
    }

    fn cause_of_turn(&self, relay: Relay, heard: Heard, back: Return) -> Cause {
        let contact = self.contact(relay);
        if heard.by_hand {
            Cause::HandAtBoard
        } else if contact.said.is_some() && contact.reported == contact.said {
            contact.cause.clone().unwrap_or(Cause::Unordered)
        } else if back.rebooted {
            Cause::BoardRestarted
        } else if back.ran_out {
            Cause::LeaseRanOut
        } else {
            Cause::Unordered
        }
    }

    fn follow_mismatch(&mut self, relay: Relay, load: LoadId, out: &mut Vec<Effect>) {
        let now = self.now.boot;
        let Some(lasted) = self.contact_mut(relay).follow(now) else {
            let id = format!("obey-{}", self.house.load(load).name);
            return self.clear_alarm(&id, out);
        };
        let lease = self.house.board(relay.board).lease.unwrap_or(MISMATCH_WITHOUT_LEASE);
        if lasted.0 >= lease.0 / 2 {
            let definition = self.house.load(load);
            let (name, energised) = (&definition.name, self.contact(relay).reported == Some(true));
            let text = format!(
                "load {name:?} does not obey: relay {} reports that the load is {}, and was told otherwise. Look at the board",
                self.house.relay_name(relay),
                definition.state(energised),
            );
            self.raise_alarm(format!("obey-{name}"), text, out);
        }
    }
}
