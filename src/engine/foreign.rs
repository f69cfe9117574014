//! Boards of other firmware: when they count as there, what their words tell of their contacts, and what they are told. It
//! never writes or reads a payload.
//!
//! Such a board numbers nothing. Which orders a report has seen is told by the turns of the contact: each order that turns it
//! over makes one turn, and after [`UNDER_WAY`] nothing is under way any more. Of a board that cannot report, what was ordered
//! last is assumed.

use super::boards::Presence;
use super::causes::Absence;
use super::explain::Cause;
use super::lapse::Late;
use super::presence::lease_end;
use super::relays::Return;
use super::timers::Timer;
use super::{Effect, Engine, JournalEntry};
use crate::house::{self, BoardId, LoadId, Relay, State};
use crate::units::{BootTime, Moment, Span};
use crate::wire::{FOREIGN_EXPIRY, ForeignWord, RelayReport, foreign_order};

/// After this long an order has come to the board or never will: brokers drop it by then.
pub(super) const UNDER_WAY: Span = FOREIGN_EXPIRY;
/// A board that says by itself whether it is there is missed after this long without a first word.
pub(super) const FIRST_WORD: Span = Span::from_s(60);

/// What is going on with a board of other firmware. Nothing of it outlives the process.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct ForeignState {
    /// What it last said of being there.
    alive: Option<bool>,
    /// By relay what the broker had kept of its reports, until the board is known to be there.
    kept: Vec<Option<bool>>,
    /// By relay how many turns are to come that orders ask for.
    turns: Vec<u8>,
    /// Every standing order is to be said again.
    again: bool,
    repeat_at: Option<BootTime>,
    pub ask_at: Option<BootTime>,
    /// What it has not reported by then it is made to report.
    pub probe_at: Option<BootTime>,
    /// Until then orders may be under way.
    clear_at: Option<BootTime>,
}

impl ForeignState {
    pub fn new(relays: usize) -> ForeignState {
        ForeignState::default().resized(relays)
    }

    /// The same for another number of relays.
    pub fn resized(mut self, relays: usize) -> ForeignState {
        self.kept.resize(relays, None);
        self.turns.resize(relays, 0);
        self
    }

    fn due(&self) -> Option<BootTime> {
        [self.repeat_at, self.ask_at, self.probe_at, self.clear_at].into_iter().flatten().min()
    }
}

/// After how much silence a board of other firmware is missed; `None` for never.
pub(super) fn silence_max(foreign: &house::Foreign, presence: Presence) -> Option<Span> {
    match presence {
        _ if !foreign.is_heard() => None,
        Presence::Unheard => Some(foreign.lost_after.unwrap_or(FIRST_WORD).max(FIRST_WORD)),
        Presence::Present | Presence::Lost => foreign.lost_after,
    }
}

impl Engine {
    pub(super) fn habits(&self, board: BoardId) -> Option<&house::Foreign> {
        self.house.board(board).foreign.as_ref()
    }

    pub(super) fn foreign_mut(&mut self, board: BoardId) -> &mut ForeignState {
        &mut self.boards[board.index()].foreign
    }

    /// The broker is there: what is standing is said again, and who can answer is asked.
    pub(super) fn link_foreign(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        let Some(foreign) = self.habits(board) else { return };
        let (is_heard, repeat) = (foreign.is_heard(), foreign.repeat);
        if !is_heard && self.presence(board) != Presence::Present {
            self.find_foreign(board, out);
        }
        let repeat_at = repeat.map(|repeat| self.now.boot + repeat);
        let state = self.foreign_mut(board);
        state.again = true;
        state.repeat_at = repeat_at;
        self.await_reports(board);
        self.due_boards.insert(board);
        self.ask_foreign(board, out);
    }

    pub(super) fn handle_foreign(&mut self, board: BoardId, word: &ForeignWord, out: &mut Vec<Effect>) {
        if self.habits(board).is_none() {
            return;
        }
        match word {
            ForeignWord::Alive(false) => {
                self.foreign_mut(board).alive = Some(false);
                self.lose_board(board, out);
            }
            ForeignWord::Alive(true) => {
                self.foreign_mut(board).alive = Some(true);
                self.hear_foreign(board, out);
                let kept = std::mem::take(&mut self.foreign_mut(board).kept);
                self.foreign_mut(board).kept = vec![None; kept.len()];
                let said = (1..).zip(kept).filter_map(|(number, said)| Some((number, said?)));
                self.take_foreign_report(board, &said.collect::<Vec<_>>(), out);
            }
            ForeignWord::Relays { said, kept: true } if self.boards[board.index()].foreign.alive != Some(true) => {
                for (number, energised) in said {
                    if let Some(kept) = self.foreign_mut(board).kept.get_mut(usize::from(*number).wrapping_sub(1)) {
                        *kept = Some(*energised);
                    }
                }
            }
            ForeignWord::Relays { said, kept: false } if self.boards[board.index()].foreign.alive == Some(false) => {
                // Its will may be older than this; what is still on its way from before is not told apart. It has to say
                // itself that it is there.
                tracing::debug!(relays = said.len(), "a report of a board that is gone");
            }
            ForeignWord::Relays { said, .. } => {
                self.hear_foreign(board, out);
                self.take_foreign_report(board, said, out);
            }
        }
    }

    /// A word of a board: it is there.
    fn hear_foreign(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        self.boards[board.index()].heard_at = self.now.boot;
        if self.presence(board) != Presence::Present {
            self.find_foreign(board, out);
            self.foreign_mut(board).again = true;
            self.await_reports(board);
            self.due_boards.insert(board);
        }
        if let Some(silence) = self.habits(board).and_then(|foreign| silence_max(foreign, Presence::Present)) {
            self.boot_timers.set_lazily(Timer::BoardLost(board), self.now.boot + silence);
        }
    }

    /// A board is there that was not.
    fn find_foreign(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        let house = self.house.clone();
        let (now, definition) = (self.now.boot, house.board(board));
        let state = &mut self.boards[board.index()];
        let was_lost = std::mem::replace(&mut state.presence, Presence::Present) == Presence::Lost;
        let has_run_out = definition.lease.is_some() && state.lease_bound <= now;
        if definition.is_assumed() {
            for contact in &mut state.contacts {
                contact.lost = None;
                contact.reported = contact.last_reported;
                if contact.reported.is_some() && (was_lost || has_run_out) {
                    // Nobody knows what it did meanwhile. Released is what a reset and its timer make of it, and counted from
                    // now it makes min off run in full.
                    contact.assume(false, now);
                    contact.changed_latest = now.into();
                }
            }
            self.assume_unknown(board);
        }
        self.boot_timers.clear(Timer::LeaseOut(board));
        if definition.foreign.as_ref().is_some_and(house::Foreign::is_heard) {
            self.handle_found(board, out);
        } else {
            self.stagger_loads(board);
        }
        self.touch_loads(board);
    }

    /// What a board says of some of its relays.
    fn take_foreign_report(&mut self, board: BoardId, said: &[(u8, bool)], out: &mut Vec<Effect>) {
        let index = self.index.clone();
        let relays: Vec<(Relay, Option<LoadId>)> = index.relays(board).collect();
        let now = self.now.boot;
        let state = &self.boards[board.index()];
        let is_clear = state.foreign.clear_at.is_none();
        let ran_out = self.house.board(board).lease.is_some() && state.lease_bound <= now;
        for (number, energised) in said {
            let place = usize::from(*number).wrapping_sub(1);
            let Some((relay, load)) = relays.get(place).copied() else { continue };
            let contact = self.contact(relay);
            let turned = contact.last_reported.is_some_and(|last| last != *energised);
            let turns = self.boards[board.index()].foreign.turns[place].saturating_sub(u8::from(turned));
            let has_come = contact.said == Some(*energised) && turns == 0;
            let taken = if has_come || is_clear { contact.said_last() } else { contact.taken };
            self.foreign_mut(board).turns[place] = turns;
            let report = RelayReport { energised: *energised, seconds: None, changes: None, hands: None };
            let heard = self.contact_mut(relay).hear(&report, taken, now);
            // It speaks when something changes, so what it said before bounds nothing.
            self.take_contact(
                relay,
                load,
                heard,
                Return { found: false, rebooted: false, ran_out, heard_before: now, absence: Absence::default() },
                out,
            );
        }
        if !said.is_empty() {
            self.due_boards.insert(board);
            self.touch_loads(board);
        }
    }

    /// Tells a board what changed, what it does not obey, and at times everything.
    pub(super) fn send_foreign(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        let (house, index) = (self.house.clone(), self.index.clone());
        let definition = house.board(board);
        let Some(foreign) = &definition.foreign else { return };
        let state = &self.boards[board.index()];
        let (number, is_clear, all) = (state.next_number, state.foreign.clear_at.is_none(), state.foreign.again);
        let (mut messages, mut turns) = (Vec::new(), false);
        for (relay, load) in index.relays(board) {
            if let Some(load) = load {
                self.guard(load, out);
            }
            let contact = self.contact(relay);
            // What is not known is not ordered over.
            let (Some(energised), Some(reported)) = (contact.wish, contact.reported) else { continue };
            let is_new = contact.said != Some(energised);
            let is_disobeyed = reported != energised && is_clear;
            if !(is_new || all || is_disobeyed) {
                continue;
            }
            turns |= is_new || is_disobeyed;
            messages.extend(foreign_order(foreign, relay.number, energised, definition.lease));
            self.order_foreign(relay, load, energised, number, out);
        }
        self.foreign_mut(board).again = false;
        if !messages.is_empty() {
            let state = &mut self.boards[board.index()];
            state.next_number = number.saturating_add(1);
            if turns {
                state.foreign.clear_at = Some(self.now.boot + UNDER_WAY);
            }
            if let Some(lease) = definition.lease {
                // It may have come late.
                state.lease_bound = state.lease_bound.max(lease_end(self.now.boot + UNDER_WAY, lease));
            }
            out.push(Effect::SendForeign { board, messages });
        }
        self.plan_foreign(board);
    }

    /// Of a relay that was never ordered and will never be reported, nobody knows what it does. Once its load has settled it
    /// counts as released from now on, so that min off runs in full.
    fn assume_unknown(&mut self, board: BoardId) {
        let (index, now) = (self.index.clone(), self.now.boot);
        for (relay, load) in index.relays(board) {
            let has_settled = load.is_none_or(|load| self.loads[load.index()].settled);
            if has_settled && self.contact(relay).reported.is_none() {
                self.contact_mut(relay).assume(false, now);
            }
        }
    }

    /// Notes an order for a relay, and for a board that cannot report what is assumed from now on.
    fn order_foreign(
        &mut self,
        relay: Relay,
        load: Option<LoadId>,
        energised: bool,
        number: u32,
        out: &mut Vec<Effect>,
    ) {
        let is_assumed = self.house.board(relay.board).is_assumed();
        let now = self.now.boot;
        let cause = load.map_or(Cause::NoLoad, |load| self.cause(load));
        let runs = load.is_some_and(|load| self.house.load(load).energised(State::On) == energised);
        let place = usize::from(relay.number) - 1;
        let turns_to_come = self.boards[relay.board.index()].foreign.turns[place];
        let contact = self.contact_mut(relay);
        // Where earlier orders still have to turn it over, this one starts from where they end.
        let before = if turns_to_come > 0 { contact.said } else { contact.reported };
        let turns = before.is_some_and(|before| before != energised);
        contact.order(number, Late::default(), || cause.clone());
        if runs {
            contact.runs.may_run(now.into());
        }
        self.due_loads.extend(load);
        if !is_assumed {
            self.foreign_mut(relay.board).turns[place] = turns_to_come.saturating_add(u8::from(turns));
            return;
        }
        let contact = self.contact_mut(relay);
        let changed = contact.assume(energised, now);
        contact.taken = number;
        if changed {
            self.save = true;
            self.contact_mut(relay).turned_by = Some(cause.clone());
            if runs {
                self.contact_mut(relay).runs.started(Moment::from(now), 1);
            }
            let entry = JournalEntry::Assumed {
                load: load.map(|load| self.house.load(load).name.clone()),
                relay: self.house.relay_name(relay),
                state: load.map_or(if energised { State::On } else { State::Off }, |load| {
                    self.house.load(load).state(energised)
                }),
                cause,
            };
            self.record(self.now.wall, entry, out);
        }
        match load {
            // What it may do from here on, and when, is decided by what is assumed now.
            Some(load) => {
                self.dirty_loads.insert(load);
                self.touch_peers(load);
            }
            // Nothing will ever confirm that it is open.
            None => {
                let contact = self.contact_mut(relay);
                contact.wish = None;
                contact.said = None;
            }
        }
    }

    /// Something is due with a board: to say everything again, to ask, or to take what was reported for what it is.
    pub(super) fn handle_foreign_due(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        let Some(foreign) = self.habits(board) else { return };
        let (now, repeat) = (self.now.boot, foreign.repeat);
        let is_due = |at: Option<BootTime>| at.is_some_and(|at| at <= now);
        let state = self.foreign_mut(board);
        let (repeats, asks, clears) = (is_due(state.repeat_at), is_due(state.ask_at), is_due(state.clear_at));
        let probes = is_due(state.probe_at);
        if repeats {
            state.again = true;
            state.repeat_at = repeat.map(|repeat| now + repeat);
        }
        if clears {
            state.clear_at = None;
            state.turns.fill(0);
            let index = self.index.clone();
            for (relay, load) in index.relays(board) {
                let contact = self.contact_mut(relay);
                if contact.reported.is_some() {
                    contact.taken = contact.said_last();
                    if let Some(load) = load {
                        self.follow_mismatch(relay, load, out);
                    }
                }
            }
            self.touch_loads(board);
        }
        self.due_boards.insert(board);
        if asks {
            self.ask_foreign(board, out);
        }
        if probes {
            self.probe_foreign(board, out);
        }
        self.plan_foreign(board);
    }

    pub(super) fn plan_foreign(&mut self, board: BoardId) {
        match self.boards[board.index()].foreign.due() {
            Some(due) => self.boot_timers.set(Timer::Foreign(board), due),
            None => self.boot_timers.clear(Timer::Foreign(board)),
        }
    }

    /// The load has settled, which a board that cannot report has waited for.
    pub(super) fn settled_on_foreign(&mut self, load: LoadId) {
        if let Some(relay) = self.house.load(load).relay()
            && self.house.board(relay.board).is_assumed()
            && self.presence(relay.board) == Presence::Present
        {
            self.assume_unknown(relay.board);
            self.due_boards.insert(relay.board);
        }
    }

    /// What is going on with boards of other firmware goes on across a change of the house.
    pub(super) fn carry_foreign(&mut self, before: &Engine) {
        for (number, board) in self.house.boards.iter().enumerate() {
            let Some(old) = before.house.board_named(&board.name) else { continue };
            if board.foreign.is_some() && before.house.board(old).speaks_like(board) {
                let relays = self.boards[number].contacts.len();
                self.boards[number].foreign = before.boards[old.index()].foreign.clone().resized(relays);
            }
        }
    }

    /// Goes on with a board after a change of the house: what it was in the middle of is said again at once.
    pub(super) fn resume_foreign(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        if self.habits(board).is_none() {
            return;
        }
        if self.link {
            self.link_foreign(board, out);
        } else {
            self.plan_foreign(board);
        }
    }
}
