//! A memory that is older than what was ordered since, or none at all: boards show it by the numbers of the orders that they
//! have taken. It never looks at what they did.

use super::{Effect, Engine};
use crate::house::BoardId;

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
}
