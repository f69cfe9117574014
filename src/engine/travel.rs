//! Actuators: which run is owed, when it may begin, what ends it, and where that leaves the thing. It never decides where it
//! is wanted; that is its load's array.
//!
//! A run is one order that the board times by itself, so a controller that is lost drives no motor on. Its two relays are
//! never energised together nor within the dead time: one closes only once the other is surely released.

use serde::{Deserialize, Serialize};

use super::boards::Presence;
use super::decide::{Decider, Decision};
use super::pulse::{TimedEnd, longest};
use super::{Effect, Engine};
use crate::house::{Actuator, ActuatorId, BoardId, LoadId, Relay, State};
use crate::units::{BootTime, Span};

/// What is known of an actuator.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Travel {
    /// The end at which it stands as far as runs and end contacts tell; `None` between the two, and where nobody knows.
    pub stands: Option<State>,
    /// The demand that has had its run; `None` while one is owed.
    pub served: Option<State>,
    /// It was found where it was demanded, or called there before its run had begun or by a memory, and so that demand still has
    /// its run to come, should it turn out not to be there.
    #[serde(default)]
    pub found: bool,
    /// Relays, `yard/3`, that drove it before a change of the house, or its own if they did something else then: they must
    /// be seen released before it is driven again.
    #[serde(default)]
    pub drove: Vec<String>,
    /// As it is kept: the relays that it hangs on.
    #[serde(default)]
    pub on: Vec<String>,
}

/// A run under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Run {
    pub to: State,
    pub began: BootTime,
    pub length: Span,
}

/// Why a run that is owed does not begin yet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wait {
    /// This relay may still be energised.
    Relay(Relay),
    /// A relay of the actuator as it was before the house changed may still be energised.
    Former,
    /// The dead time after the other direction runs until then.
    DeadTime(BootTime),
    /// The stagger after a start or a reconnect.
    Turn(BootTime),
    /// The board has not reported just now, so what is left of its lease may be too short.
    Report,
    /// The board is not heard.
    Board,
}

impl Wait {
    fn until(self) -> Option<BootTime> {
        match self {
            Wait::DeadTime(until) | Wait::Turn(until) => Some(until),
            Wait::Relay(_) | Wait::Former | Wait::Report | Wait::Board => None,
        }
    }
}

/// What a relay is to do: energised or not, and for how long where the board is to time it; `None` for no order.
type Wish = (Option<bool>, Option<Span>);

const RELEASED: Wish = (Some(false), None);
const NO_ORDER: Wish = (None, None);

impl Engine {
    /// The run of an actuator that is under way, or may be.
    pub(super) fn run_of(&self, id: ActuatorId) -> Option<Run> {
        let actuator = self.house.actuator(id);
        [State::On, State::Off].into_iter().find_map(|to| {
            let timed = self.contact(actuator.relay(to)).timed?;
            Some(Run { to, began: timed.since.unwrap_or(timed.at), length: timed.length })
        })
    }

    /// The end at which an actuator stands, as far as is known.
    pub(super) fn stands(&self, id: ActuatorId) -> Option<State> {
        self.travels[id.index()].stands
    }

    /// Wants the orders that bring an actuator to what is decided; returns when to look again.
    pub(super) fn drive(&mut self, id: ActuatorId, decision: Decision, out: &mut Vec<Effect>) -> Option<BootTime> {
        let house = self.house.clone();
        let actuator = house.actuator(id);
        let before = self.travels[id.index()].clone();
        self.forget_what_is_released(id);
        self.look_at_ends(id, actuator, out);
        let wanted = (decision.by != Decider::Withdrawn).then_some(decision.state);
        let (wishes, again) = match self.run_of(id) {
            Some(run) if self.presence(actuator.open.board) != Presence::Lost => {
                let keeps = decision.by == Decider::Settling || wanted == Some(run.to);
                self.go_on(id, actuator, run, keeps)
            }
            Some(run) => {
                // Nobody sees how far it goes.
                self.contact_mut(actuator.relay(run.to)).timed = None;
                ([RELEASED; 2], None)
            }
            None => self.begin_if_owed(id, actuator, wanted, decision.by, out),
        };
        for (relay, wish) in actuator.relays().into_iter().zip(wishes) {
            let contact = self.contact_mut(relay);
            if (contact.wish, contact.length) != wish {
                (contact.wish, contact.length) = wish;
                self.due_boards.insert(relay.board);
            }
        }
        self.save |= self.travels[id.index()] != before;
        again
    }

    /// What a run that is under way comes to: it goes on without further orders, or is stopped.
    fn go_on(&self, id: ActuatorId, actuator: &Actuator, run: Run, keeps: bool) -> ([Wish; 2], Option<BootTime>) {
        let contact = self.contact(actuator.relay(run.to));
        let overdue = contact.timed.and_then(|timed| timed.overdue());
        let both = self.contact(actuator.relay(run.to.opposite())).reported == Some(true);
        let reached = self.travels[id.index()].served == Some(run.to);
        let goes_on = keeps && !both && overdue.is_none_or(|due| due > self.now.boot);
        let mut wishes = [RELEASED; 2];
        if goes_on && !reached {
            wishes[place(run.to)] = NO_ORDER;
        }
        (wishes, overdue)
    }

    /// Both relays released, or one of them energised for a run that is owed and may begin.
    fn begin_if_owed(
        &mut self,
        id: ActuatorId,
        actuator: &Actuator,
        wanted: Option<State>,
        by: Decider,
        out: &mut Vec<Effect>,
    ) -> ([Wish; 2], Option<BootTime>) {
        let mut wishes = [RELEASED; 2];
        let Some(to) = wanted else {
            // Whoever works on it may move it.
            let stands = self.travels[id.index()].stands.filter(|end| self.is_at_end(actuator, *end) == Some(true));
            self.travels[id.index()].served = None;
            self.travels[id.index()].stands = stands;
            return (wishes, None);
        };
        if by == Decider::Settling {
            return self.leave_running(id, actuator);
        }
        if self.travels[id.index()].served == Some(to) {
            return (wishes, None);
        }
        if self.is_at_end(actuator, to) == Some(true) {
            let travel = &mut self.travels[id.index()];
            (travel.served, travel.found) = (Some(to), true);
            self.clear_reach_alarm(actuator, out);
            return (wishes, None);
        }
        match self.waits_to_run(id, to) {
            Some(wait) => (wishes, wait.until()),
            None => {
                self.take_run_turn(actuator.load);
                wishes[place(to)] = (Some(true), Some(actuator.length(to)));
                (wishes, None)
            }
        }
    }

    /// What runs since before the start is left to end by itself for now: an order of on would make it endless. That
    /// holds for what can be a run, one way and for no longer than one lasts.
    fn leave_running(&self, id: ActuatorId, actuator: &Actuator) -> ([Wish; 2], Option<BootTime>) {
        let mut wishes = [RELEASED; 2];
        let runs = |to| self.contact(actuator.relay(to)).reported == Some(true);
        let to = match (runs(State::On), runs(State::Off)) {
            (true, false) => State::On,
            (false, true) => State::Off,
            _ => return (wishes, None),
        };
        let relay = actuator.relay(to);
        let over = self.contact(relay).changed_latest.after(longest(actuator.length(to)));
        if self.is_former(id, relay) || over <= self.now.boot {
            return (wishes, None);
        }
        wishes[place(to)] = NO_ORDER;
        (wishes, Some(over))
    }

    /// Why a run towards an end may not begin now.
    pub(super) fn waits_to_run(&self, id: ActuatorId, to: State) -> Option<Wait> {
        let actuator = self.house.actuator(id);
        let board = actuator.open.board;
        let now = self.now.boot;
        if !self.takes_orders(board) {
            return Some(Wait::Board);
        }
        for relay in [actuator.relay(to.opposite()), actuator.relay(to)] {
            if !self.is_released(relay) {
                return Some(Wait::Relay(relay));
            }
        }
        let clear = self.contact(actuator.relay(to.opposite())).changed_latest.after(actuator.dead_time);
        if clear > now {
            return Some(Wait::DeadTime(clear));
        }
        if let Some(wait) = self.waits_for_former(id) {
            return Some(wait);
        }
        if let Some(turn) = self.turn_of_run(actuator.load) {
            return Some(Wait::Turn(turn));
        }
        (!self.has_fresh_report(board)).then_some(Wait::Report)
    }

    /// Whether a board has reported so lately that two thirds of its lease are left for what it is ordered now.
    pub(super) fn has_fresh_report(&self, board: BoardId) -> bool {
        let heard = self.boards[board.index()].heard_at;
        self.house.board(board).lease.is_none_or(|lease| self.now.boot.since(heard).0 <= lease.0 / 3)
    }

    /// Whether a relay is surely not energised, whatever is under way to it.
    pub(super) fn is_released(&self, relay: Relay) -> bool {
        let contact = self.contact(relay);
        let is_told = match self.presence(relay.board) {
            Presence::Present => contact.reported == Some(false) && !contact.in_flight(),
            Presence::Unheard => false,
            Presence::Lost => true,
        };
        is_told && contact.timed.is_none() && !contact.possible().energised
    }

    /// An order of a run has gone out: from now on nobody knows where it stands.
    pub(super) fn run_began(&mut self, load: LoadId) {
        if let crate::house::Drive::Actuator(id) = self.house.load(load).drive {
            self.travels[id.index()] = Travel::default();
            self.save = true;
        }
    }

    /// Whether an end contact says that it stands at an end; `None` where there is none, it is not known, or both say so.
    fn is_at_end(&self, actuator: &Actuator, end: State) -> Option<bool> {
        self.end_contact(actuator, end).filter(|_| !self.is_at_both_ends(actuator))
    }

    fn end_contact(&self, actuator: &Actuator, end: State) -> Option<bool> {
        Some(self.known_contact(actuator.end(end)?)? == State::On)
    }

    /// Its end contacts say what cannot be, so that neither is believed.
    fn is_at_both_ends(&self, actuator: &Actuator) -> bool {
        [State::On, State::Off].into_iter().all(|end| self.end_contact(actuator, end) == Some(true))
    }

    /// What the end contacts tell, which comes before what runs let expect.
    fn look_at_ends(&mut self, id: ActuatorId, actuator: &Actuator, out: &mut Vec<Effect>) {
        let run = self.run_of(id);
        let has_begun = run
            .is_some_and(|run| self.contact(actuator.relay(run.to)).timed.is_some_and(|timed| timed.since.is_some()));
        if self.is_at_both_ends(actuator) {
            self.travels[id.index()].stands = None;
        }
        for end in [State::On, State::Off] {
            match self.is_at_end(actuator, end) {
                // It leaves this end, or is at the end of a run that is already called so.
                Some(true) if run.is_some_and(|run| run.to != end) => {}
                Some(true) => {
                    let travel = &mut self.travels[id.index()];
                    travel.stands = Some(end);
                    if travel.served == Some(end.opposite()) && std::mem::take(&mut travel.found) {
                        travel.served = None;
                    }
                    if run.is_some() && travel.served != Some(end) {
                        // The news may be older than a run that nobody has seen begin.
                        (travel.served, travel.found) = (Some(end), !has_begun);
                    }
                    if self.travels[id.index()].served == Some(end) && !self.alarms.is_empty() {
                        self.clear_reach_alarm(actuator, out);
                    }
                }
                Some(false) => {
                    let travel = &mut self.travels[id.index()];
                    travel.stands = travel.stands.filter(|stands| *stands != end);
                    if travel.served == Some(end) && std::mem::take(&mut travel.found) {
                        travel.served = None;
                    }
                }
                None => {}
            }
        }
    }

    /// What a report says of one of its relays.
    pub(super) fn take_run(&mut self, id: ActuatorId, relay: Relay, news: RunNews, out: &mut Vec<Effect>) {
        let house = self.house.clone();
        let actuator = house.actuator(id);
        let to = if relay == actuator.open { State::On } else { State::Off };
        let energised = self.contact(relay).reported == Some(true);
        match news.end {
            Some(TimedEnd::Whole) => self.arrive(id, actuator, to, out),
            // Whoever stopped it has noted where it stands; what was not whole is still owed.
            Some(TimedEnd::Stopped | TimedEnd::Untaken | TimedEnd::Unknown) => {}
            Some(TimedEnd::Cut) if news.by_hand => {
                // A hand that stops it wants it to stay there.
                let wanted = self.wanted_now(actuator.load);
                let travel = &mut self.travels[id.index()];
                (travel.served, travel.found) = (Some(wanted), false);
            }
            Some(TimedEnd::Cut) => {}
            None if news.moved || (energised && self.contact(relay).timed.is_none()) => {
                // It was driven by something else, nobody knows how far.
                let drove = std::mem::take(&mut self.travels[id.index()].drove);
                self.travels[id.index()] = Travel { drove, ..Travel::default() };
            }
            None => {}
        }
    }

    /// A whole run is over.
    fn arrive(&mut self, id: ActuatorId, actuator: &Actuator, to: State, out: &mut Vec<Effect>) {
        let here = self.is_at_end(actuator, to);
        let still_there = self.is_at_end(actuator, to.opposite()) == Some(true);
        let travel = &mut self.travels[id.index()];
        (travel.served, travel.found) = (Some(to), false);
        if here == Some(false) || still_there {
            travel.stands = still_there.then_some(to.opposite());
            let load = self.house.load(actuator.load);
            let (name, word) = (&load.name, load.word(to));
            let id = Engine::reach_alarm(name);
            let text = format!(
                "actuator {name:?} did not reach {word} within {}. Look whether something is in its way; it is not driven \
                 again before something else is demanded of it",
                actuator.length(to),
            );
            return self.raise_alarm(id, text, out);
        }
        if self.is_at_both_ends(actuator) {
            self.travels[id.index()].stands = None;
            let name = &self.house.load(actuator.load).name;
            let text = format!(
                "actuator {name:?} cannot be open and closed at once, and both its end contacts are on. Look at them; until then \
                 it is driven by time alone"
            );
            return self.raise_alarm(Engine::reach_alarm(name), text, out);
        }
        let travel = &mut self.travels[id.index()];
        // An end contact that is not heard leaves it open.
        let is_told = actuator.end(to).is_none() || here.is_some();
        travel.stands = is_told.then_some(to);
        self.clear_reach_alarm(actuator, out);
    }

    fn clear_reach_alarm(&mut self, actuator: &Actuator, out: &mut Vec<Effect>) {
        let id = Engine::reach_alarm(&self.house.load(actuator.load).name);
        self.clear_alarm(&id, out);
    }

    /// The id of the alarm of an actuator that did not reach an end.
    pub(super) fn reach_alarm(load: &str) -> String {
        format!("reach-{load}")
    }
}

/// What a report says of a relay of an actuator, besides its state.
#[derive(Clone, Copy, Debug)]
pub(super) struct RunNews {
    /// What became of a run.
    pub end: Option<TimedEnd>,
    /// It changed, seen or not, without a run.
    pub moved: bool,
    pub by_hand: bool,
}

/// Where a direction stands among an actuator's relays.
const fn place(to: State) -> usize {
    match to {
        State::On => 0,
        State::Off => 1,
    }
}
