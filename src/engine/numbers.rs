//! Up to which number boards are believed to have taken orders that were not given here. It never gives a number.

use super::{Dropped, Effect, Engine};
use crate::house::BoardId;
use crate::wire::Report;

/// Up to here a board is believed to have taken numbers that this memory never gave, another memory may have given them.
/// Orders go on above what was taken, so a wild number must leave room: from here to the end are as many again.
const BELIEVED_MAX: u32 = u32::MAX / 2;

impl Engine {
    /// Whether the orders that a board says it took can have been given to it. Boots and beats need no such bound: whatever they
    /// were said to be, a board that insists on others is heard again.
    pub(super) fn believes(&self, board: BoardId, report: &Report, out: &mut Vec<Effect>) -> bool {
        let (taken, next) = (report.taken, self.boards[board.index()].next_number);
        let believes = taken < next || taken <= BELIEVED_MAX;
        if !believes {
            out.push(Effect::MessageDropped(Dropped::Report { board, taken, given: next.saturating_sub(1) }));
        }
        believes
    }
}
