//! Boards of a memory that the house does not name any more, or speaks to otherwise: which of them are kept, to be opened
//! first. It never opens one.

use super::reload::may_be_energised;
use super::snapshot::Snapshot;
use crate::house::{Board, House};
use crate::units::Span;
use crate::wire::Fallback;

impl Snapshot {
    /// Boards that a house does not name and that have a relay which is or may come to be energised: they are to be opened
    /// first, as if the house had changed while the engine ran.
    pub(super) fn boards_to_keep(&self, house: &House) -> Vec<Board> {
        let gone = self.fallbacks.iter().filter(|(name, _)| house.board_named(name).is_none());
        gone.filter(|(name, fallback)| {
            let falls_back = fallback.relays.iter().any(|relay| relay.word.energised() != Some(false));
            self.boards.get(*name).is_some_and(|state| may_be_energised(state) || (state.boot.is_some() && falls_back))
        })
        .map(|(name, fallback)| self.board(name, fallback))
        .collect()
    }

    /// A board as it was.
    fn board(&self, name: &str, fallback: &Fallback) -> Board {
        Board {
            name: name.to_owned(),
            relays: fallback.relays.len() as u8,
            lease: (fallback.lease_s > 0).then(|| Span::from_s(u64::from(fallback.lease_s))),
            coil: None,
            supply: None,
            endurance: None,
            replaced: Vec::new(),
            foreign: self.habits.get(name).cloned(),
        }
    }

    /// Forgets what is known of boards that the house speaks to otherwise, for under their names there may be other boards
    /// by now. Those of other firmware with a relay that may be energised are given another name, to be opened in the words
    /// that they know.
    pub(super) fn readdress(&mut self, house: &House) -> Vec<Board> {
        let mut former = Vec::new();
        for board in &house.boards {
            let Some(fallback) = self.fallbacks.get(&board.name).cloned() else { continue };
            let before = self.board(&board.name, &fallback);
            if before.speaks_like(board) {
                continue;
            }
            let Some(state) = self.boards.remove(&board.name) else { continue };
            self.habits.remove(&board.name);
            if before.foreign.is_none() {
                // Its lease carries it; should it come back, its orders go on above these.
                self.numbers.insert(board.name.clone(), state.next_number.max(state.reserved.saturating_add(1)));
            } else if may_be_energised(&state) {
                let mut name = format!("{} (before)", board.name);
                while self.boards.contains_key(&name) {
                    name.push('*');
                }
                self.boards.insert(name.clone(), state);
                former.push(Board { name, ..before });
            }
        }
        former
    }
}
