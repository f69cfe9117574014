//! A memory that is older than what was ordered since, or none at all: boards show it by the numbers of the orders that they
//! have taken. It never looks at what they did.
//!
//! Numbers are reserved on disk ahead of their use, so a copy of the memory knows those of some hours to come. After what must not
//! be forgotten without a word, such as a withdrawal, orders therefore go on above all that any copy from before can know: in a
//! new block, once that is reserved on disk.

use super::orders::RESERVE;
use super::{Effect, Engine};
use crate::house::BoardId;
use crate::units::Span;

/// What people do all day begins a new block this often at most: the numbers of a board are to last for decades.
const BLOCK_EVERY: Span = Span::from_min(10);

/// The alarm about a memory that was lost, or that is not the latest.
pub const MEMORY_ALARM: &str = "memory";

impl Engine {
    /// A board that has taken orders with numbers which this memory never gave remembers more than it does.
    pub(super) fn compare_memories(&mut self, board: BoardId, next: u32, taken: u32, out: &mut Vec<Effect>) {
        if taken < next {
            return;
        }
        let knows_nothing = std::mem::take(&mut self.knows_nothing);
        // One alarm about it is enough.
        if self.alarms.contains_key(MEMORY_ALARM) {
            return;
        }
        let name = &self.house.board(board).name;
        let text = if next > 1 {
            format!(
                "board {name:?} has taken orders up to number {taken}, and what is remembered ends before number {next}: it is an \
                 older copy, or another Standfast gave orders meanwhile. Holds and withdrawn loads of that time are forgotten; \
                 look whether every load may be switched"
            )
        } else if knows_nothing {
            format!(
                "board {name:?} has taken orders up to number {taken} since it started, and nothing at all is remembered here: \
                 the data folder is another one, is not mounted or was lost, or another Standfast gave them. Holds and withdrawn \
                 loads of before are forgotten; look whether every load may be switched"
            )
        } else {
            // This memory never spoke to it: it obeyed another Standfast before it came to this house.
            return;
        };
        self.raise_alarm(MEMORY_ALARM.to_owned(), text, out);
    }

    /// Reserves a new block of numbers for each board where that is due.
    pub(super) fn ask_for_blocks(&mut self, out: &mut Vec<Effect>) {
        let is_a_while_ago = || self.block_at.is_none_or(|at| at + BLOCK_EVERY <= self.now.boot);
        let is_due = self.wants_block || (self.owes_block && is_a_while_ago());
        if !is_due {
            return;
        }
        (self.wants_block, self.owes_block) = (false, false);
        self.block_at = Some(self.now.boot);
        let house = self.house.clone();
        for (state, board) in self.boards.iter_mut().zip(&house.boards).filter(|(_, board)| board.foreign.is_none()) {
            // Above all that is reserved, for as many from the next number on, or from a block to come.
            let known = state.block.unwrap_or(0).max(state.next_number).saturating_add(RESERVE);
            state.block = Some(known.saturating_add(1));
            state.reserved = state.reserved.max(known.saturating_add(1 + RESERVE));
            out.push(Effect::ReserveOrders { board: board.name.clone(), through: state.reserved });
        }
    }

    /// Numbers of a board are reserved on disk: from now on its orders bear those of the new block.
    pub(super) fn take_block(&mut self, board: BoardId, through: u32) {
        let state = &mut self.boards[board.index()];
        if let Some(from) = state.block.take_if(|from| *from <= through) {
            state.next_number = state.next_number.max(from);
        }
    }
}
