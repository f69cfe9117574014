//! Loads that are pulsed: a latching relay, which turns over with each pulse, and a door opener, which is on for a moment.
//! Each changed demand calls for one pulse at most, and nothing repeats it. It never pulses on a guess.
//!
//! A pulse goes out before it is stored, so a crash may take the memory of it: what its board counts tells of it then, once
//! nothing can be under way any more that this engine did not send.

use serde::{Deserialize, Serialize};

use super::boards::Presence;
use super::contact::Heard;
use super::decide::{Decider, Decision};
use super::hold::HoldEndReason;
use super::pulse::{Timed, TimedEnd};
use super::runs::comings;
use super::{By, Effect, Engine, JournalEntry};
use crate::house::{BoardId, LoadId, PortId, Pulse, PulseAt, Relay, State};
use crate::units::{BootTime, Span};

/// So long after its pulse the feedback must have answered.
const ANSWER_WITHIN: Span = Span::from_s(5);

/// What the last pulse of a load was for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Pulsed {
    /// What was wanted when the last one went out; a load that never had one is taken to be off.
    pub last: State,
    /// By then the feedback is to show it.
    #[serde(skip)]
    pub answer_by: Option<BootTime>,
}

impl Engine {
    /// What a pulsed load is: as its feedback says, else as its last pulse left it.
    pub(super) fn pulsed_state(&self, load: LoadId, pulse: Pulse) -> Option<State> {
        match pulse.feedback {
            Some(port) => self.known_contact(port),
            None => Some(self.loads[load.index()].pulsed.last),
        }
    }

    /// Wants the order that a decision calls for: a pulse, or a relay at rest; returns when to look again.
    pub(super) fn pulse(
        &mut self,
        load: LoadId,
        relay: Relay,
        pulse: Pulse,
        decision: Decision,
        out: &mut Vec<Effect>,
    ) -> Option<BootTime> {
        let pulsed = self.loads[load.index()].pulsed;
        let contact = self.contact(relay);
        let mut again = None;
        let wish = if let Some(timed) = contact.timed {
            again = timed.overdue();
            if again.is_some_and(|due| due <= self.now.boot) { (Some(false), None) } else { (None, None) }
        } else if !self.knows_what_is_under_way(relay.board) && !self.is_asked_to_open(load) {
            // It may be a pulse, which off would cut short.
            (None, None)
        } else if decision.by != Decider::Settling && self.calls_for_pulse(load, pulse, decision.state) {
            let ready = self.takes_orders(relay.board) && self.is_released(relay) && self.has_fresh_report(relay.board);
            again = self.turn_of_run(load);
            if ready && again.is_none() {
                self.take_run_turn(load);
                (Some(true), Some(pulse.length))
            } else {
                (Some(false), None)
            }
        } else {
            (Some(false), None)
        };
        let contact = self.contact_mut(relay);
        if (contact.wish, contact.length) != wish {
            (contact.wish, contact.length) = wish;
            self.due_boards.insert(relay.board);
        }
        self.await_answer(load, pulse, out);
        self.save |= self.loads[load.index()].pulsed != pulsed;
        [again, self.loads[load.index()].pulsed.answer_by].into_iter().flatten().min()
    }

    /// Whether what is wanted now needs a pulse; notes what needs none.
    fn calls_for_pulse(&mut self, load: LoadId, pulse: Pulse, wanted: State) -> bool {
        let is_so = pulse.feedback.and_then(|port| self.known_contact(port)) == Some(wanted);
        let pulsed = &mut self.loads[load.index()].pulsed;
        let needs = match pulse.at {
            PulseAt::On => wanted == State::On && pulsed.last != State::On,
            PulseAt::Change => pulsed.last != wanted && !is_so,
        };
        if !needs {
            pulsed.last = wanted;
        }
        needs
    }

    /// A pulse has gone out for what is wanted of a load.
    pub(super) fn pulse_went_out(&mut self, load: LoadId) {
        let state = &mut self.loads[load.index()];
        if let (Some(_), Some(decision)) = (self.house.load(load).pulse, state.decision) {
            state.pulsed = Pulsed { last: decision.state, answer_by: None };
            self.save = true;
        }
    }

    /// What a report tells of the relay of a pulsed load. `followed` is the timed order that was followed before it, and what
    /// became of that by it.
    pub(super) fn hear_pulses(
        &mut self,
        relay: Relay,
        load: LoadId,
        pulse: Pulse,
        heard: Heard,
        followed: (Option<Timed>, Option<TimedEnd>),
        out: &mut Vec<Effect>,
    ) {
        let energised = self.contact(relay).reported == Some(true);
        let changes = heard.changes();
        let pulses = comings(energised, changes);
        let by_hand = heard.by_hand && pulses % 2 == 1;
        let hand = by_hand.then(|| (By::Board(self.house.relay_name(relay)), heard.at));
        self.take_pulse(load, pulse, followed.1, hand, out);
        if !heard.by_hand && !self.knows_what_is_under_way(relay.board) {
            let pulses = self.contact(relay).pulses_beside(followed, pulses);
            self.take_forgotten_pulses(load, pulse, pulses);
        }
    }

    /// What became of the pulse of a load, or that a hand at the board made one.
    fn take_pulse(
        &mut self,
        load: LoadId,
        pulse: Pulse,
        end: Option<TimedEnd>,
        hand: Option<(By, crate::units::Moment)>,
        out: &mut Vec<Effect>,
    ) {
        let now = self.now.boot;
        let pulsed = &mut self.loads[load.index()].pulsed;
        match (end, pulse.at) {
            (None, PulseAt::Change) => {
                if let Some((by, at)) = hand {
                    pulsed.last = pulsed.last.opposite();
                    let state = pulsed.last;
                    self.hold(load, state, None, by, at, out);
                }
            }
            (None, PulseAt::On) => {}
            // It is called for as before.
            (Some(TimedEnd::Untaken), PulseAt::On) => pulsed.last = State::Off,
            (Some(TimedEnd::Untaken), PulseAt::Change) => pulsed.last = pulsed.last.opposite(),
            (Some(_), PulseAt::Change) => pulsed.answer_by = pulse.feedback.map(|_| now + ANSWER_WITHIN),
            (Some(_), PulseAt::On) => {
                // Who has opened a door does not go on opening it.
                if self.loads[load.index()].hold.as_ref().is_some_and(|hold| hold.state == State::On) {
                    self.end_hold(load, HoldEndReason::Pulsed, out);
                }
            }
        }
    }

    /// Its board counts pulses by orders that nobody remembers, or by hands that it does not tell of.
    fn take_forgotten_pulses(&mut self, load: LoadId, pulse: Pulse, pulses: u32) {
        let is_shown = pulse.feedback.is_some_and(|port| self.known_contact(port).is_some());
        let is_asked = self.is_asked_to_open(load);
        let pulsed = &mut self.loads[load.index()].pulsed;
        match pulse.at {
            PulseAt::On if pulses > 0 && !is_asked => pulsed.last = State::On,
            PulseAt::Change if pulses % 2 == 1 && !is_shown => pulsed.last = pulsed.last.opposite(),
            PulseAt::On | PulseAt::Change => {}
        }
    }

    /// Whether all orders that a board may take were sent by this engine: it takes none that are lower than the last.
    fn knows_what_is_under_way(&self, board: BoardId) -> bool {
        self.boards[board.index()].own_from.is_none()
    }

    /// Whether a person stands before a door that this load opens: that it was opened for somebody before makes no difference.
    fn is_asked_to_open(&self, load: LoadId) -> bool {
        let state = &self.loads[load.index()];
        self.is_opener(load)
            && state.held_since_start
            && state.hold.as_ref().is_some_and(|hold| hold.state == State::On)
    }

    /// Whether a load is a door opener.
    fn is_opener(&self, load: LoadId) -> bool {
        self.house.load(load).pulse.is_some_and(|pulse| pulse.at == PulseAt::On)
    }

    /// Why a hand cannot have what it asks for: a door opens for who stands before it, not whenever its board is back.
    pub(super) fn refused_opening(&self, load: LoadId, state: State) -> Option<String> {
        let definition = self.house.load(load);
        let board = definition.relay()?.board;
        if !self.is_opener(load) || state == State::Off {
            return None;
        }
        let tripped = self.loads[load.index()].slots.trip().verdict(definition.safe);
        let why = if self.presence(board) != Presence::Present {
            format!("board {:?} is not heard", self.house.board(board).name)
        } else if tripped.is_some_and(|trip| trip.state == State::Off) {
            "a safety trip keeps it off".to_owned()
        } else {
            return None;
        };
        Some(format!("load {:?} opens at once or not at all, and {why}", definition.name))
    }

    /// The board is lost: whoever asked for an opening gets none later.
    pub(super) fn drop_openings(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        let index = self.index.clone();
        for load in index.relays(board).filter_map(|(_, load)| load) {
            let held_on = self.loads[load.index()].hold.as_ref().is_some_and(|hold| hold.state == State::On);
            if held_on && self.is_opener(load) {
                self.end_hold(load, HoldEndReason::BoardLost, out);
            }
        }
    }

    /// The engine begins anew: whoever asked for an opening before does not wait for it any more.
    pub(super) fn forget_openings(&mut self) {
        for load in (0..self.loads.len()).map(|load| LoadId(load as u32)) {
            if self.is_opener(load) {
                let ended = self.loads[load.index()].hold.take_if(|hold| hold.state == State::On);
                let load = self.house.load(load).name.clone();
                let why = HoldEndReason::BoardLost;
                self.unsaid.extend(ended.map(|_| JournalEntry::HoldEnded { load, why }));
            }
        }
    }

    /// A hand asks for a load that may be wanted on already: a door opener opens once more. The pulse that is under way serves
    /// who presses twice.
    pub(super) fn ask_for_pulse(&mut self, load: LoadId, state: State) {
        let is_under_way = self.contact_of(load).is_some_and(|contact| contact.timed.is_some());
        if self.is_opener(load) && state == State::On && !is_under_way {
            self.loads[load.index()].pulsed.last = State::Off;
        }
    }

    /// The feedback has had its time: tells when it does not show what the last pulse was for.
    fn await_answer(&mut self, load: LoadId, pulse: Pulse, out: &mut Vec<Effect>) {
        let Pulsed { last, answer_by } = self.loads[load.index()].pulsed;
        let shown = pulse.feedback.and_then(|port| self.known_contact(port));
        let id = Engine::obey_alarm(&self.house.load(load).name);
        if shown == Some(last) {
            self.loads[load.index()].pulsed.answer_by = None;
            return self.clear_alarm(&id, out);
        }
        if answer_by.is_none_or(|by| by > self.now.boot) {
            return;
        }
        self.loads[load.index()].pulsed.answer_by = None;
        if let Some(shown) = shown {
            let text = format!(
                "load {:?} does not answer its pulse: it was to be {last}, and its feedback says {shown}. It is not pulsed again \
                 before something else is demanded of it",
                self.house.load(load).name
            );
            self.raise_alarm(id, text, out);
        }
    }

    /// A contact changed that tells how pulsed loads stand. One that changes without a pulse was switched by a hand beside
    /// the relay, which is a hold; one that is heard for the first time only shows what it is.
    pub(super) fn feedback_changed(&mut self, port: PortId, live: bool, out: &mut Vec<Effect>) {
        let (index, house) = (self.index.clone(), self.house.clone());
        for load in &index.told_by_port[port.index()] {
            let definition = house.load(*load);
            let (Some(relay), Some(shown)) = (definition.relay(), self.known_contact(port)) else { continue };
            let is_ours = self.loads[load.index()].pulsed.answer_by.is_some() || self.contact(relay).timed.is_some();
            let pulsed = &mut self.loads[load.index()].pulsed;
            if is_ours || pulsed.last == shown {
                continue;
            }
            pulsed.last = shown;
            self.save = true;
            if live {
                let by = house.inputs.iter().find(|input| input.port == port).map(|input| input.name.clone());
                self.hold(*load, shown, None, By::Input(by.unwrap_or_default()), self.now.boot.into(), out);
            }
        }
    }
}
