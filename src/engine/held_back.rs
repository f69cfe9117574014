//! When a board is told of a new fallback. A relay whose lease has run out follows a word that is new at once, so of one that
//! nothing was ordered yet the word of before stands until its first orders were taken: they speak for it, and are what is to
//! switch it. It never says what a fallback is.

use std::collections::BTreeMap;

use super::{Effect, Engine};
use crate::house::BoardId;
use crate::wire::{Fallback, FallbackWord};

impl Engine {
    /// A board's fallback as it is told by now: what its loads ask for, but for the words that are held back.
    pub fn told_fallback(&self, board: BoardId) -> Fallback {
        let mut fallback = self.fallback(board);
        for (relay, contact) in fallback.relays.iter_mut().zip(&self.boards[board.index()].contacts) {
            relay.word = contact.word_before.unwrap_or(relay.word);
        }
        fallback
    }

    /// Publishes what a board's relays do when its lease has run out.
    pub(super) fn publish_fallback(&self, board: BoardId, out: &mut Vec<Effect>) {
        let state = &self.boards[board.index()];
        // What one does that was never heard, nobody here knows: it is told nothing before its first orders.
        let is_unknown = state.boot.is_none() && state.contacts.iter().any(|contact| contact.word_before.is_some());
        // One of other firmware has no use for it.
        if self.link && self.house.board(board).foreign.is_none() && !is_unknown {
            out.push(Effect::SetFallback { board, fallback: self.told_fallback(board) });
        }
    }

    /// Holds back what is new in this house, by what boards were told before by name. `keep` moves nothing.
    pub(super) fn hold_words_back(&mut self, told: &BTreeMap<String, Fallback>) {
        let (house, index) = (self.house.clone(), self.index.clone());
        for (number, board) in house.boards.iter().enumerate().filter(|(_, board)| board.foreign.is_none()) {
            let wanted = self.fallback(BoardId(number as u32));
            let told = told.get(&board.name);
            let state = &mut self.boards[number];
            if told.is_none() && state.boot.is_some() {
                continue;
            }
            let loads = index.relays(BoardId(number as u32)).map(|(_, load)| load);
            let relays = state.contacts.iter_mut().zip(&wanted.relays).zip(loads);
            for (index, ((contact, wanted), load)) in relays.enumerate() {
                // A board by itself falls back to off.
                let before = told.and_then(|told| told.relays.get(index)).map_or(FallbackWord::Off, |relay| relay.word);
                // One that has lost its load will be ordered nothing that speaks for it.
                let is_new = load.is_some() && wanted.word != before && wanted.word != FallbackWord::Keep;
                contact.word_before = (is_new && contact.is_on_its_own()).then_some(before);
            }
        }
    }

    /// Tells a board what was held back of relays that have taken their first orders.
    pub(super) fn tell_words_held_back(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        let mut is_told = false;
        for contact in self.boards[board.index()].contacts.iter_mut().filter(|contact| !contact.is_on_its_own()) {
            is_told |= contact.word_before.take().is_some();
        }
        if is_told {
            self.save = true;
            self.publish_fallback(board, out);
        }
    }
}
