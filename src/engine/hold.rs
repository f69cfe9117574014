//! Holds: manual overrides with an end. A hold never lasts longer than was said, whatever the clocks do (I5).

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::answer::Answer;
use super::effect::{JournalEntry, ReturnReason};
use super::event::{By, Hand, HandOrder};
use super::timers::{Timer, WallTimer};
use super::{Effect, Engine};
use crate::house::{Action, BoardId, InputId, LoadId, State, Term, Words};
use crate::units::{BootTime, Moment, Span, WallTime};

/// A hold until the next change lasts at most this long.
pub(super) const NEXT_CHANGE_MAX: Span = Span::from_h(24);

/// While a hold runs, what is left of it is stored this often, and so is how long a load under max on has run: after a restart
/// that nothing tells the length of, neither may begin anew.
pub(super) const STORED_EVERY: Span = Span::from_s(60);

/// So much of such a time may not have been stored when the machine stopped: the interval and a slow disk.
pub(super) const UNSTORED_MAX: Span = Span::from_s(70);

/// What ended a hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HoldEndReason {
    /// Its time was up.
    TimeUp,
    /// The rules said something else than when it began.
    RulesChanged,
    /// A person released it.
    Released,
    /// Another hold took its place.
    Replaced,
    /// The load was withdrawn.
    Withdrawn,
    /// The pulse that it asked for is over.
    Pulsed,
    /// The pulse that it asked for cannot come: the board is not heard.
    BoardLost,
}

/// A hold in force.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Hold {
    pub state: State,
    /// It ends at this boot time, whatever the wall clock does.
    pub boot_end: BootTime,
    /// It ends when the wall clock shows this, if that is earlier.
    pub wall_end: Option<WallTime>,
    /// It ends when the rules demand something else than this.
    pub unless: Option<State>,
    pub by: By,
    /// When it began, by the wall clock of then.
    pub began: WallTime,
}

/// A hold as it is shown.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct HoldView {
    /// The state that the load is held in.
    pub state: State,
    /// What its states are called.
    #[serde(default, skip_serializing_if = "Words::are_usual")]
    pub words: Words,
    /// By whom.
    pub by: By,
    /// When it began.
    pub began: WallTime,
    /// When it ends at the latest.
    pub until: WallTime,
    /// Whether a change of what the rules demand ends it before.
    pub until_next_change: bool,
}

impl Engine {
    /// Carries out a person's order and answers it.
    pub(super) fn handle_hand(&mut self, hand: Hand, out: &mut Vec<Effect>) {
        let answer = match hand.order {
            HandOrder::Hold { load, state, term } => self.hold(load, state, term, hand.by, self.now.boot.into(), out),
            HandOrder::Release { load } => self.end_hold(load, HoldEndReason::Released, out),
            HandOrder::Withdraw { load, why } => self.withdraw(load, why, Some(hand.by), out),
            HandOrder::Restore { load, why } => self.restore_to_service(load, why, hand.by, out),
            HandOrder::Reset { load } => self.reset_trips(load, out),
            HandOrder::Acknowledge { alarm } => self.acknowledge(&alarm, hand.by, out),
            HandOrder::Select { selector, position, term } => {
                self.select(selector, &position, term.as_ref(), hand.by, out)
            }
            HandOrder::ReturnSelector { selector } => self.return_selector(selector, ReturnReason::Released, out),
            HandOrder::Adjust { setpoint, value, term } => self.adjust(setpoint, value, term.as_ref(), hand.by, out),
            HandOrder::ReturnSetpoint { setpoint } => self.return_setpoint(setpoint, ReturnReason::Released, out),
        };
        if !matches!(answer, Answer::Nothing | Answer::Refused(_)) {
            self.owes_block = true;
        }
        out.push(Effect::Answer { token: hand.token, answer, then: None });
    }

    /// A press of a button or a key. A load that is withdrawn does not follow it.
    pub(super) fn press(&mut self, input: InputId, out: &mut Vec<Effect>) {
        let house = self.house.clone();
        let input = &house.inputs[input.index()];
        let (load, state) = match input.action {
            None => return,
            Some(Action::Releases(load)) => {
                self.end_hold(load, HoldEndReason::Released, out);
                return;
            }
            Some(Action::Toggles(load)) => (load, self.wanted_now(load).opposite()),
            Some(Action::Holds(load, state)) => (load, state),
            Some(Action::Selects(selector, position)) => {
                let positions = &house.selector(selector).positions;
                let Some(position) = positions.get(position as usize) else { return };
                let by = By::Input(input.name.clone());
                self.select(selector, position, input.hold_for.as_ref(), by, out);
                return;
            }
            Some(Action::Steps(selector)) => {
                let by = By::Input(input.name.clone());
                return self.step_selector(selector, input.hold_for.as_ref(), by, out);
            }
        };
        self.hold(load, state, input.hold_for.clone(), By::Input(input.name.clone()), self.now.boot.into(), out);
    }

    /// Begins a hold, dated from `since`, which lies in the past for a hand at the board.
    pub(super) fn hold(
        &mut self,
        load: LoadId,
        state: State,
        term: Option<Term>,
        by: By,
        since: Moment,
        out: &mut Vec<Effect>,
    ) -> Answer {
        let name = &self.house.load(load).name;
        if self.loads[load.index()].withdrawn.is_some() {
            return Answer::Refused(format!("load {name:?} is withdrawn; restore it first"));
        }
        if self.out_of_service(load) {
            return Answer::Refused(format!("load {name:?} is withdrawn with its rotation; restore that first"));
        }
        if let Some(why) = self.refused_opening(load, state) {
            return Answer::Refused(why);
        }
        let term = term.unwrap_or_else(|| self.house.load(load).hold_for.clone());
        let hold = match self.hold_of(load, state, &term, by, since) {
            Ok(hold) => hold,
            Err(why) => return Answer::Refused(why),
        };
        if hold.boot_end <= self.now.boot {
            return Answer::Nothing;
        }
        self.end_hold(load, HoldEndReason::Replaced, out);
        self.boot_timers.set(Timer::HoldOver(load), hold.boot_end);
        self.boot_timers.set_lazily(Timer::StoreTimes, self.now.boot + STORED_EVERY);
        if let Some(end) = hold.wall_end {
            self.wall_timers.set(WallTimer::HoldOver(load), end);
        }
        let definition = self.house.load(load);
        let (name, words) = (definition.name.clone(), definition.words());
        let entry = JournalEntry::Held { load: name, state, words, by: hold.by.clone() };
        self.record(self.now.wall, entry, out);
        let until = hold.unless.is_none().then(|| self.hold_until(&hold));
        self.loads[load.index()].hold = Some(hold);
        self.loads[load.index()].held_since_start = true;
        self.ask_for_pulse(load, state);
        self.owes_block = true;
        self.dirty_loads.insert(load);
        self.save = true;
        Answer::Held { load, state, until }
    }

    fn hold_of(&self, load: LoadId, state: State, term: &Term, by: By, since: Moment) -> Result<Hold, String> {
        let began = self.now.wall - since.age(self.now.boot);
        let next_change = || (NEXT_CHANGE_MAX, None, Some(self.overruled(load)));
        let (span, wall_end, unless) = match term {
            Term::For(span) => (*span, None, None),
            Term::NextChange => next_change(),
            Term::UntilClock(_) | Term::UntilSun(..) if !self.now.trusted => match by.reads_answers() {
                // Nobody reads a refusal at a button, and a light button must not be dead.
                false => next_change(),
                true => return Err(untrusted(term)),
            },
            Term::UntilClock(_) | Term::UntilSun(..) => {
                let end = self.end_by_wall(term, began)?;
                (Span(end.0.saturating_sub(began.0).max(0) as u64), Some(end), None)
            }
        };
        Ok(Hold { state, boot_end: since.after(span), wall_end, unless, by, began })
    }

    /// When a term ends that is a time of the wall clock, said at a time.
    pub(super) fn end_by_wall(&self, term: &Term, said: WallTime) -> Result<WallTime, String> {
        let end = term.resolve(said, self.setting());
        end.ok_or_else(|| format!("\"{term}\" does not come within a year here; say for how long instead"))
    }

    /// What a hold until the next change overrules: what the rules demand, or as long as they are waited for after a
    /// start, what the load is kept at.
    fn overruled(&self, load: LoadId) -> State {
        let kept = if self.loads[load.index()].settled { None } else { self.reported(load) };
        kept.unwrap_or_else(|| self.rules_demand(load).state)
    }

    /// When a hold ends at the latest, by the present wall clock.
    pub(super) fn hold_until(&self, hold: &Hold) -> WallTime {
        let by_boot = self.now.wall + hold.boot_end.since(self.now.boot);
        shown_end(hold.wall_end, by_boot)
    }

    pub(super) fn hold_view(&self, load: LoadId) -> Option<HoldView> {
        let hold = self.loads[load.index()].hold.as_ref()?;
        Some(HoldView {
            state: hold.state,
            words: self.house.load(load).words(),
            by: hold.by.clone(),
            began: hold.began,
            until: self.hold_until(hold),
            until_next_change: hold.unless.is_some(),
        })
    }

    /// Ends a hold, if there is one.
    pub(super) fn end_hold(&mut self, load: LoadId, why: HoldEndReason, out: &mut Vec<Effect>) -> Answer {
        if self.loads[load.index()].hold.take().is_none() {
            return Answer::Nothing;
        }
        self.boot_timers.clear(Timer::HoldOver(load));
        self.wall_timers.clear(WallTimer::HoldOver(load));
        let entry = JournalEntry::HoldEnded { load: self.house.load(load).name.clone(), why };
        self.record(self.now.wall, entry, out);
        self.dirty_loads.insert(load);
        self.save = true;
        Answer::Done
    }

    /// Stores what is left of holds and of what else was set for a while, and how long runs have lasted.
    pub(super) fn store_times(&mut self) {
        let holds = self.loads.iter().any(|load| load.hold.is_some());
        if holds || self.has_mode_ends() || self.has_runs_under_max_on() {
            self.save = true;
            self.boot_timers.set(Timer::StoreTimes, self.now.boot + STORED_EVERY);
        }
    }

    /// Ends a hold whose time is up.
    pub(super) fn handle_hold_over(&mut self, load: LoadId, out: &mut Vec<Effect>) {
        let Some(hold) = &self.loads[load.index()].hold else { return };
        let by_wall = hold.wall_end.is_some_and(|end| self.now.trusted && self.now.wall >= end);
        if hold.boot_end <= self.now.boot || by_wall {
            self.end_hold(load, HoldEndReason::TimeUp, out);
        }
    }

    /// Ends a hold until the next change once the rules give a known answer other than the one when it began.
    pub(super) fn end_overruled_hold(&mut self, load: LoadId, out: &mut Vec<Effect>) {
        let Some(unless) = self.loads[load.index()].hold.as_ref().and_then(|hold| hold.unless) else { return };
        let demand = self.rules_demand(load);
        if self.loads[load.index()].settled && demand.known && demand.state != unless {
            self.end_hold(load, HoldEndReason::RulesChanged, out);
        }
    }

    /// Takes a load out of service. One that is out of service already gets the reason that a person says now: whoever
    /// comes next must not be sent away by one that is gone.
    pub(super) fn withdraw(&mut self, load: LoadId, why: String, by: Option<By>, out: &mut Vec<Effect>) -> Answer {
        let before = self.loads[load.index()].withdrawn.as_ref();
        let stays = before.is_some();
        if stays && (why.is_empty() || by.is_none() || before == Some(&why)) {
            return Answer::Nothing;
        }
        // A hold from before would surprise whoever restores the load.
        self.end_hold(load, HoldEndReason::Withdrawn, out);
        self.loads[load.index()].withdrawn = Some(why.clone());
        self.wants_block = true;
        let entry = JournalEntry::Withdrawn { load: self.house.load(load).name.clone(), why, by, stays, after: None };
        self.record(self.now.wall, entry, out);
        self.service_changed(load, out);
        if stays { Answer::StaysWithdrawn { load } } else { Answer::Done }
    }

    fn restore_to_service(&mut self, load: LoadId, why: String, by: By, out: &mut Vec<Effect>) -> Answer {
        if self.loads[load.index()].withdrawn.take().is_none() {
            return Answer::Nothing;
        }
        // Whoever restores it has seen to it.
        self.reset_proof(load, out);
        let entry = JournalEntry::Restored { load: self.house.load(load).name.clone(), why, by: Some(by) };
        self.record(self.now.wall, entry, out);
        self.service_changed(load, out);
        Answer::Done
    }

    fn service_changed(&mut self, load: LoadId, out: &mut Vec<Effect>) {
        self.dirty_loads.insert(load);
        self.save = true;
        let house = self.house.clone();
        let boards: BTreeSet<BoardId> = house.relays_of(house.load(load)).iter().map(|relay| relay.board).collect();
        boards.into_iter().for_each(|board| self.publish_fallback(board, out));
    }
}

/// When something ends that ends by one clock or the other. The two are read one after the other and drift, so an end that was
/// said by the wall clock is shown as it was said unless the other is truly earlier.
pub(super) fn shown_end(said: Option<WallTime>, by_boot: WallTime) -> WallTime {
    said.filter(|said| *said < by_boot + Span::from_s(1)).unwrap_or(by_boot)
}

/// Why a term that ends at a time of the wall clock is refused while that is not trusted.
pub(super) fn untrusted(term: &Term) -> String {
    format!("the clock is not trusted yet, so \"{term}\" cannot be kept; say for how long instead, as in \"2h\"")
}
