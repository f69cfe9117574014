//! What a report says of each relay: changes, hands, and whether it obeys. It never looks at whether the report is news.

use super::causes::Absence;
use super::contact::Heard;
use super::explain::Cause;
use super::pulse::TimedEnd;
use super::runs::comings;
use super::travel::RunNews;
use super::{By, Effect, Engine, JournalEntry};
use crate::house::{Drive, LoadId, Relay, State};
use crate::units::{BootTime, Span};

/// Half of this without a lease, half the lease with one: so long reports may differ from the orders before a person is told.
const MISMATCH_WITHOUT_LEASE: Span = Span::from_s(90);

/// How a board came back.
#[derive(Clone, Copy, Debug)]
pub(super) struct Return {
    pub found: bool,
    pub rebooted: bool,
    pub ran_out: bool,
    /// When the board was heard before this.
    pub heard_before: BootTime,
    /// What else its report tells of how it was since.
    pub absence: Absence,
}

impl Heard {
    /// How many changes it tells of.
    pub fn changes(&self) -> u32 {
        self.unseen + u32::from(self.turned)
    }
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
        let now = self.now.boot;
        let timed = self.contact(relay).timed;
        let end = self.contact_mut(relay).follow_timed(heard, back.ran_out, now);
        if end.is_some() || heard.turned || heard.first || heard.unseen > 0 {
            self.save = true;
        }
        if heard.unseen > 0 {
            self.contact_mut(relay).turned_by = None;
            let entry = JournalEntry::Unseen { relay: self.house.relay_name(relay), changes: heard.unseen };
            self.record(self.now.wall, entry, out);
        }
        if heard.turned {
            let is_over = match end {
                Some(TimedEnd::Whole) => true,
                // One of before a start counts as cut, however long it was.
                Some(TimedEnd::Cut) => timed.is_some_and(|timed| timed.was_over(heard.at)),
                _ => false,
            };
            let cause = self.cause_of_turn(relay, heard, back, is_over);
            self.contact_mut(relay).turned_by = Some(cause.clone());
            let entry = self.turned(relay, load, energised, cause);
            self.record(self.now.wall - heard.at.age(self.now.boot), entry, out);
        }
        self.contact_mut(relay).forget_overtaken();
        if heard.turned || heard.unseen > 0 {
            self.contact_mut(relay).proof.turn();
        }
        if load.is_none_or(|load| self.house.load(load).is_driven_by_runs()) {
            self.contact_mut(relay).hours.hear(false, &heard, now);
        }
        let Some(load) = load else {
            // A relay that lost its load is opened, and forgotten once that is confirmed.
            let contact = self.contact_mut(relay);
            if contact.wish.is_some() && !energised && !contact.in_flight() {
                contact.wish = None;
                contact.said = None;
            } else if energised && heard.turned && heard.by_no_hand && contact.said_last() > 0 {
                // It had a load once: orders of which this memory does not know energised it for that, or an old fallback.
                contact.wish = Some(false);
            }
            return;
        };
        self.count_changes(relay, load, heard.changes(), out);
        let house = self.house.clone();
        let definition = house.load(load);
        let hand = || By::Board(house.relay_name(relay));
        match (definition.drive, definition.pulse) {
            (Drive::Actuator(id), _) => {
                let moved = heard.turned || heard.unseen > 0;
                self.take_run(id, relay, RunNews { end, moved, by_hand: heard.by_hand }, out);
                if heard.by_hand && energised {
                    let to = if relay == house.actuator(id).open { State::On } else { State::Off };
                    self.hold(load, to, None, hand(), heard.at, out);
                }
            }
            (_, Some(pulse)) => self.hear_pulses(relay, load, pulse, heard, (timed, end), out),
            _ => {
                self.count_runs(relay, load, heard, back);
                if heard.by_hand {
                    self.hold(load, definition.state(energised), None, hand(), heard.at, out);
                }
            }
        }
        self.follow_mismatch(relay, load, out);
    }

    /// The row of a contact that changed.
    fn turned(&self, relay: Relay, load: Option<LoadId>, energised: bool, cause: Cause) -> JournalEntry {
        let (name, definition) = (self.house.relay_name(relay), load.map(|load| self.house.load(load)));
        if let Some(definition) = definition
            && let Drive::Actuator(id) = definition.drive
        {
            let to = if relay == self.house.actuator(id).open { State::On } else { State::Off };
            return JournalEntry::Driven { actuator: definition.name.clone(), relay: name, to, energised, cause };
        }
        if let Some(definition) = definition.filter(|definition| definition.pulse.is_some()) {
            return JournalEntry::Pulsed { load: definition.name.clone(), relay: name, energised, cause };
        }
        let coil = if energised { State::On } else { State::Off };
        JournalEntry::Changed {
            load: definition.map(|definition| definition.name.clone()),
            relay: name,
            state: definition.map_or(coil, |definition| definition.state(energised)),
            cause,
        }
    }

    /// Counts a load's starts, and from when on it may have run.
    fn count_runs(&mut self, relay: Relay, load: LoadId, heard: Heard, back: Return) {
        let runs = self.reported(load) == Some(State::On);
        let changes = heard.unseen + u32::from(heard.turned || (heard.first && runs));
        let now = self.now.boot;
        let ordered = heard.anew[usize::from(self.house.load(load).energised(State::On))];
        let contact = self.contact_mut(relay);
        contact.hours.hear(runs, &heard, now);
        // What is dated anew with each report would seem to begin earlier and earlier. Of one that comes back the board knows
        // better than any memory.
        let is_news = changes > 0 || contact.runs.since.is_none() || (back.found && heard.earliest.is_some());
        if runs && is_news {
            let began = heard.earliest.unwrap_or(if heard.first { heard.at } else { back.heard_before.into() });
            contact.runs.may_run(began);
        }
        // Each order to run that was taken may have been a start whose end no report showed either.
        let starts = comings(runs, changes).max(ordered);
        // The board's clock may be fast.
        contact.runs.started(contact.changed_latest, starts);
    }

    /// The id of the alarm for a load that does not obey.
    pub fn obey_alarm(load: &str) -> String {
        format!("obey-{load}")
    }

    /// What was not obeyed is, by every relay of the load. The feedback of a pulsed load speaks for itself.
    fn clear_obey_alarm(&mut self, load: LoadId, out: &mut Vec<Effect>) {
        if !self.has_alarm_of("obey-") {
            return;
        }
        let house = self.house.clone();
        let definition = house.load(load);
        let has_feedback = definition.pulse.is_some_and(|pulse| pulse.feedback.is_some());
        let others = house.relays_of(definition);
        if !has_feedback && others.iter().all(|relay| self.contact(*relay).mismatch_since.is_none()) {
            self.clear_alarm(&Engine::obey_alarm(&definition.name), out);
        }
    }

    pub(super) fn follow_mismatch(&mut self, relay: Relay, load: LoadId, out: &mut Vec<Effect>) {
        let now = self.now.boot;
        let contact = self.contact_mut(relay);
        let untaken = contact.timed.filter(|timed| timed.number > contact.taken);
        let lasted = if let Some(timed) = untaken {
            // What goes out once and is not taken keeps everything waiting.
            now.since(*contact.mismatch_since.get_or_insert(timed.untaken_since(now)))
        } else if contact.timed.is_some_and(|timed| timed.overdue().is_none_or(|due| due > now)) {
            // Whether it is obeyed is seen once it is known what became of it.
            return;
        } else if let Some(lasted) = contact.follow(now) {
            lasted
        } else {
            return self.clear_obey_alarm(load, out);
        };
        let lease = self.house.board(relay.board).lease.unwrap_or(MISMATCH_WITHOUT_LEASE);
        if lasted.0 >= lease.0 / 2 {
            let definition = self.house.load(load);
            let (name, energised) = (&definition.name, self.contact(relay).reported == Some(true));
            let relay = self.house.relay_name(relay);
            let text = if untaken.is_some() {
                format!(
                    "{} {name:?} does not obey: relay {relay} takes no orders. Look at the board",
                    definition.section()
                )
            } else if definition.is_driven_by_runs() {
                let coil = if energised { "energised" } else { "not energised" };
                format!(
                    "{} {name:?} does not obey: relay {relay} reports that it is {coil}, and was told otherwise. Look at the board",
                    definition.section()
                )
            } else {
                format!(
                    "load {name:?} does not obey: relay {relay} reports that the load is {}, and was told otherwise. Look at the board",
                    definition.state(energised),
                )
            };
            self.raise_alarm(Engine::obey_alarm(name), text, out);
            self.due_loads.insert(load);
        }
    }
}
