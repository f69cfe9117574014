//! What boards of other firmware do not say by themselves: they are asked, or made to say it. It never takes what they answer.

use super::boards::Presence;
use super::contact::Contact;
use super::foreign::{FIRST_WORD, UNDER_WAY};
use super::presence::lease_end;
use super::{Effect, Engine};
use crate::house::BoardId;
use crate::wire::{ForeignMessage, foreign_order, foreign_question};

impl Engine {
    pub(super) fn ask_foreign(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        let Some(ask) = self.habits(board).and_then(|foreign| foreign.ask.clone()) else {
            return self.plan_foreign(board);
        };
        let ask_at = self.now.boot + ask.every;
        self.foreign_mut(board).ask_at = Some(ask_at);
        if self.link {
            out.push(Effect::SendForeign { board, messages: vec![foreign_question(&ask)] });
        }
        self.plan_foreign(board);
    }

    /// A board that reports when something changes, and cannot be asked, may have nothing to say for days.
    pub(super) fn await_reports(&mut self, board: BoardId) {
        let waits = self.habits(board).is_some_and(|foreign| foreign.reports() && foreign.ask.is_none());
        let probe_at = self.now.boot + FIRST_WORD;
        self.foreign_mut(board).probe_at = waits.then_some(probe_at);
        self.plan_foreign(board);
    }

    /// What is not known is not ordered over, and nothing would ever tell. To say again what was said last changes nothing and
    /// is answered; of what was never said, released is what a reset leaves.
    pub(super) fn probe_foreign(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        let (house, now) = (self.house.clone(), self.now.boot);
        let definition = house.board(board);
        let Some(foreign) = &definition.foreign else { return };
        // Of one that says by itself that it is there, nobody answers while it is not.
        if foreign.alive.is_some() && self.presence(board) != Presence::Present {
            self.foreign_mut(board).probe_at = None;
            return;
        }
        let unknown = (1..).zip(&self.boards[board.index()].contacts).filter(|(_, contact)| contact.reported.is_none());
        let said = |(number, contact): (u8, &Contact)| {
            foreign_order(foreign, number, contact.said.unwrap_or(false), definition.lease)
        };
        let messages: Vec<ForeignMessage> = unknown.flat_map(said).collect();
        self.foreign_mut(board).probe_at = (!messages.is_empty()).then(|| now + FIRST_WORD);
        if !messages.is_empty() && self.link {
            let state = &mut self.boards[board.index()];
            if let Some(lease) = definition.lease {
                state.lease_bound = state.lease_bound.max(lease_end(now + UNDER_WAY, lease));
            }
            out.push(Effect::SendForeign { board, messages });
        }
    }
}
