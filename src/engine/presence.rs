//! When a board is lost, what follows from that, and what when it is found again. It never reads what a report says.

use super::boards::Presence;
use super::contact::DRIFT_DIVISOR;
use super::timers::Timer;
use super::{Effect, Engine, JournalEntry, foreign};
use crate::house::{Board, BoardId};
use crate::units::{BootTime, Span};

/// A board without a lease is lost when it is silent for this long.
const SILENCE_WITHOUT_LEASE: Span = Span::from_s(60);

/// When a lease that is renewed at a moment has run out at the latest: the board's clock may be slow by one part in a
/// hundred, and its second may just have begun.
pub(super) fn lease_end(renewed: BootTime, lease: Span) -> BootTime {
    renewed + lease + Span(lease.0 / DRIFT_DIVISOR) + Span::from_s(1)
}

/// For how long a lease lasts at the least: the board's clock may be fast by as much.
pub(super) fn lease_least(lease: Span) -> Span {
    lease.less(Span(lease.0 / DRIFT_DIVISOR))
}

impl Engine {
    /// After this much silence a board is lost: two thirds of its lease.
    pub(super) fn silence_max(board: &Board) -> Span {
        board.lease.map_or(SILENCE_WITHOUT_LEASE, |lease| Span(lease.0 * 2 / 3))
    }

    /// The same for any board as it is heard now; `None` for one that is never missed.
    pub(super) fn silence_now(&self, board: BoardId) -> Option<Span> {
        let definition = self.house.board(board);
        match &definition.foreign {
            Some(foreign) => foreign::silence_max(foreign, self.presence(board)),
            None => Some(Engine::silence_max(definition)),
        }
    }

    /// When a board will be missed; `None` where it is already, or never is.
    pub(super) fn missed_at(&self, board: BoardId) -> Option<BootTime> {
        let state = &self.boards[board.index()];
        let since = match (state.presence, self.linked_first) {
            (Presence::Lost, _) | (Presence::Unheard, None) => return None,
            (Presence::Present, _) => state.heard_at,
            (Presence::Unheard, Some(linked)) => linked.max(state.heard_at),
        };
        Some(since + self.silence_now(board)?)
    }

    /// What was due at `since` may have been put off meanwhile.
    pub(super) fn handle_board_silent(&mut self, board: BoardId, since: BootTime, out: &mut Vec<Effect>) {
        let Some(due) = self.missed_at(board) else { return };
        if due > since {
            return self.boot_timers.set(Timer::BoardLost(board), due);
        }
        self.lose_board(board, out);
    }

    pub(super) fn lose_board(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        if self.boards[board.index()].presence == Presence::Lost {
            return;
        }
        let fallback = self.told_fallback(board);
        let state = &mut self.boards[board.index()];
        state.presence = Presence::Lost;
        let alone = state.was_alone(self.house.board(board));
        for (contact, fallback) in state.contacts.iter_mut().zip(&fallback.relays) {
            contact.lose(fallback.word.energised(), false, alone);
        }
        let name = self.house.board(board).name.clone();
        if self.house.board(board).lease.is_some() {
            self.await_end_of_lease(board);
        }
        let index = self.index.clone();
        for sensor in &index.sensors_of_board[board.index()] {
            // One that said nothing before stays known to be unknown once the board is found, until it says something.
            let state = &mut self.sensors[sensor.index()];
            state.missed |= state.value.is_none();
            self.sensor_changed(*sensor);
        }
        // What its contacts said last counts again once it is found: if it missed telling of a change it connects anew, and
        // repeats them all.
        for port in &index.ports_of_board[board.index()] {
            self.contact_changed(*port);
        }
        self.touch_loads(board);
        self.record(self.now.wall, JournalEntry::BoardLost { board: name.clone() }, out);
        self.drop_openings(board, out);
        if !self.is_used(board) {
            return;
        }
        let text = match self.house.board(board).lease {
            Some(_) => {
                format!("board {name:?} is not heard. When its lease has run out its relays are in their fallback")
            }
            None => format!("board {name:?} is not heard. It has no lease, so its relays stay as they are"),
        };
        self.raise_alarm(format!("board-{name}"), text, out);
    }

    /// Whether the house has anything on a board; one that was taken out of it may go without a word.
    pub(super) fn is_used(&self, board: BoardId) -> bool {
        let index = &self.index;
        index.relays(board).any(|(_, load)| load.is_some())
            || !index.sensors_of_board[board.index()].is_empty()
            || !index.ports_of_board[board.index()].is_empty()
    }

    /// When the lease of a lost board has run out, that is looked at; at the earliest in a step to come.
    pub(super) fn await_end_of_lease(&mut self, board: BoardId) {
        let state = &self.boards[board.index()];
        if state.contacts.iter().any(|contact| contact.lost.is_some_and(|lost| !lost.run_out)) {
            self.boot_timers.set(Timer::LeaseOut(board), state.lease_bound.max(self.now.boot + Span(1)));
        }
    }

    pub(super) fn handle_lease_out(&mut self, board: BoardId) {
        for contact in &mut self.boards[board.index()].contacts {
            if let Some(lost) = &mut contact.lost {
                lost.run_out = true;
            }
        }
        // Who waited for these to be surely off has waited long enough.
        self.touch_loads(board);
    }

    /// The next closing of each load on a board waits for its turn.
    pub(super) fn stagger_loads(&mut self, board: BoardId) {
        let index = self.index.clone();
        for load in index.relays(board).filter_map(|(_, load)| load) {
            self.loads[load.index()].staggered = true;
        }
    }

    pub(super) fn handle_found(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        let name = self.house.board(board).name.clone();
        self.clear_alarm(&format!("board-{name}"), out);
        self.record(self.now.wall, JournalEntry::BoardFound { board: name }, out);
        self.stagger_loads(board);
        let index = self.index.clone();
        for sensor in &index.sensors_of_board[board.index()] {
            self.welcome_sensor(*sensor);
        }
        for port in &index.ports_of_board[board.index()] {
            self.contact_changed(*port);
        }
    }
}
