//! What boards are told: orders and fallbacks. It never sends orders to a board that has not said in which boot it is.

use super::boards::Presence;
use super::contact::Contact;
use super::explain::Cause;
use super::pulse::Timed;
use super::timers::Timer;
use super::{Effect, Engine};
use crate::house::{Board, BoardId, LoadId, Relay, State};
use crate::units::Span;
use crate::wire::{Fallback, FallbackRelay, FallbackWord, Orders, RelayOrder};

/// Order numbers are reserved in blocks of this many.
pub(super) const RESERVE: u32 = 1000;

/// So long orders wait for their numbers to be on disk, after a start and of a board that came with a change of the house. A disk
/// that takes nothing has an alarm of its own, and loads are not to wait for it.
pub const NUMBERS_WITHIN: Span = Span::from_s(2);

impl Engine {
    /// A board's fallback: each load's safe state, off and deaf for a withdrawn one, released without a load.
    pub fn fallback(&self, board: BoardId) -> Fallback {
        let Board { lease, foreign, .. } = self.house.board(board);
        let lease = *lease;
        if foreign.is_some() {
            // Its own timer can do nothing but release.
            let word = if lease.is_some() { FallbackWord::Off } else { FallbackWord::Keep };
            let relays = self.index.relays(board).map(|_| FallbackRelay { word, deaf: false });
            return Fallback { lease_s: lease_s(lease), relays: relays.collect() };
        }
        let word = |energised| if energised { FallbackWord::On } else { FallbackWord::Off };
        let relays = self.index.relays(board).map(|(_, load)| {
            let Some(load) = load else { return FallbackRelay { word: FallbackWord::Off, deaf: false } };
            let definition = self.house.load(load);
            let deaf = self.out_of_service(load);
            if definition.is_driven_by_runs() {
                // A board by itself drives nothing and pulses nothing.
                FallbackRelay { word: FallbackWord::Off, deaf }
            } else if deaf {
                FallbackRelay { word: word(definition.energised(State::Off)), deaf: true }
            } else if lease.is_none() {
                FallbackRelay { word: FallbackWord::Keep, deaf: false }
            } else {
                FallbackRelay { word: word(definition.energised(definition.safe)), deaf: false }
            }
        });
        Fallback { lease_s: lease_s(lease), relays: relays.collect() }
    }

    /// Sends orders to every board that is due them.
    pub(super) fn send_due_orders(&mut self, out: &mut Vec<Effect>) {
        self.return_turns();
        while let Some(board) = self.due_boards.pop_first() {
            if self.house.board(board).foreign.is_some() {
                if self.link && self.presence(board) == Presence::Present {
                    self.send_foreign(board, out);
                }
                continue;
            }
            if self.link && self.takes_orders(board) {
                self.send_orders(board, out);
            }
        }
    }

    /// Whether a board is heard and may be ordered. Between its birth and its first report there is no beat that orders could
    /// answer, and numbers that are not on disk yet could be used again.
    pub(super) fn takes_orders(&self, board: BoardId) -> bool {
        let has_beat = self.boards[board.index()].beat > 0 || self.house.board(board).foreign.is_some();
        has_beat && self.presence(board) == Presence::Present && self.boot_timers.due(Timer::Numbers(board)).is_none()
    }

    /// A board that comes with a change of the house, be it for the first time or once more, has no number set aside yet: a kill
    /// right after its first orders would leave numbers that are used again. They are reserved, and its orders wait for that.
    pub(super) fn await_numbers(&mut self, before: &Engine, out: &mut Vec<Effect>) {
        let house = self.house.clone();
        for (number, definition) in house.boards.iter().enumerate().filter(|(_, board)| board.foreign.is_none()) {
            let (board, state) = (BoardId(number as u32), &self.boards[number]);
            let is_new = state.presence == Presence::Unheard && state.next_number > state.reserved;
            let waits = before.house.board_named(&definition.name);
            let waits = waits.and_then(|board| before.boot_timers.due(Timer::Numbers(board)));
            if let Some(due) = waits.or(is_new.then(|| self.now.boot + NUMBERS_WITHIN)) {
                self.boot_timers.set(Timer::Numbers(board), due);
            }
            if is_new {
                self.reserve_numbers(board, out);
            }
        }
    }

    /// Numbers of a board are on disk up to `through`: orders that waited for that go out.
    pub(super) fn follow_numbers(&mut self, board: BoardId, through: u32, out: &mut Vec<Effect>) {
        if self.boot_timers.due(Timer::Numbers(board)).is_none() {
            return;
        }
        if self.boards[board.index()].next_number > through {
            // Meanwhile it reported orders of somebody else with higher ones.
            self.reserve_numbers(board, out);
            return;
        }
        self.boot_timers.clear(Timer::Numbers(board));
        self.let_orders_go(board);
    }

    /// Orders of a board wait no longer.
    pub(super) fn let_orders_go(&mut self, board: BoardId) {
        self.due_boards.insert(board);
        self.touch_loads(board);
    }

    /// What has to be on disk before the first step, lest a kill leaves numbers in use that are used again: boards, and up to
    /// which number each of them may be ordered. Later blocks are reserved well ahead of their use.
    pub fn reserve(&mut self) -> Vec<(String, u32)> {
        if !std::mem::take(&mut self.reserve) {
            return Vec::new();
        }
        let house = self.house.clone();
        let boards = (0..house.boards.len() as u32).map(BoardId).filter(|board| house.board(*board).foreign.is_none());
        boards.filter_map(|board| Some((house.board(board).name.clone(), self.next_block(board)?))).collect()
    }

    /// Up to which number a board is to be reserved now, where what is left of its block is short.
    fn next_block(&mut self, board: BoardId) -> Option<u32> {
        let state = &mut self.boards[board.index()];
        (state.next_number > state.reserved.saturating_sub(RESERVE / 2)).then(|| {
            state.reserved = state.next_number.saturating_add(RESERVE);
            state.reserved
        })
    }

    fn reserve_numbers(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        if let Some(through) = self.next_block(board) {
            out.push(Effect::ReserveOrders { board: self.house.board(board).name.clone(), through });
        }
    }

    /// A load that is ordered on may run from now on, however late its report comes, and max on counts from here.
    fn run_from_now(&mut self, relay: Relay, load: LoadId) {
        let now = self.now.boot;
        let runs = Some(self.house.load(load).energised(State::On));
        let contact = self.contact_mut(relay);
        if contact.wish != runs || contact.runs.since.is_some() {
            return;
        }
        contact.runs.may_run(now.into());
        if let Some(end) = self.max_on_end(load).filter(|end| *end > now) {
            self.boot_timers.set_lazily(Timer::Decide(load), end);
        }
    }

    fn send_orders(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        let state = &mut self.boards[board.index()];
        let Some(boot) = state.boot else { return };
        let (number, beat) = (state.next_number, state.beat);
        let is_used = |contact: &Contact| contact.taken >= number && number < u32::MAX;
        debug_assert!(!state.contacts.iter().any(is_used), "number {number} is used again");
        state.next_number = number.saturating_add(1);
        self.reserve_numbers(board, out);
        let index = self.index.clone();
        let mut relays = Vec::with_capacity(index.relays(board).size_hint().0);
        for load in index.relays(board).filter_map(|(_, load)| load) {
            self.guard(load, out);
        }
        for (relay, load) in index.relays(board) {
            let Contact { wish, length, said, .. } = *self.contact(relay);
            let late = self.lateness(relay);
            if self.contact(relay).asks_why() {
                let cause = load.map_or(Cause::NoLoad, |load| self.cause(load));
                // Whoever starts next is to know what may still be under way.
                self.save |= self.contact_mut(relay).order(number, late, || cause) || said != wish;
                self.due_loads.extend(load.filter(|_| said != wish));
            } else {
                self.save |= self.contact_mut(relay).order(number, late, || Cause::Unordered);
            }
            if let Some(load) = load.filter(|_| length.is_none()) {
                self.run_from_now(relay, load);
            }
            relays.push(match (wish, length) {
                (Some(true), Some(length)) => self.send_timed(relay, load, number, length),
                (Some(true), None) => RelayOrder::On,
                (Some(false), _) => RelayOrder::Off,
                (None, _) => RelayOrder::None,
            });
        }
        let lease = self.house.board(board).lease;
        self.boards[board.index()].under_way.send(number, self.now.boot, lease);
        let orders = Orders { number, boot, beat, lease_s: lease_s(lease), relays };
        out.push(Effect::SendOrders { board, orders });
    }
}

impl Engine {
    /// An order that the board times goes out, this once: until it is known what became of it the relay has no order.
    fn send_timed(&mut self, relay: Relay, load: Option<LoadId>, number: u32, length: Span) -> RelayOrder {
        let now = self.now.boot;
        let contact = self.contact_mut(relay);
        contact.timed = Some(Timed::new(number, now, length, contact));
        (contact.wish, contact.length) = (None, None);
        if let Some(load) = load {
            self.run_began(load);
            self.pulse_went_out(load);
            self.save = true;
        }
        RelayOrder::Pulse(u32::try_from(length.0).unwrap_or(u32::MAX))
    }
}

/// A lease on the wire: whole seconds, 0 for none.
fn lease_s(lease: Option<Span>) -> u32 {
    lease.map_or(0, |lease| u32::try_from(lease.whole_s()).unwrap_or(u32::MAX))
}
