//! Why a contact turned over, as far as it can be known: orders that its board took, a hand, a reset, the end of its lease. It
//! never says that nobody did it where somebody may have and was not heard.

use serde::{Deserialize, Serialize};

use super::Engine;
use super::boards::Presence;
use super::contact::{Contact, Heard};
use super::explain::Cause;
use super::presence::lease_least;
use super::relays::Return;
use super::runs::STARTS_KEPT;
use crate::house::{BoardId, Relay};
use crate::units::Span;
use crate::wire::Report;

/// What was ordered and ordered otherwise before it was known to be taken.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Overtaken {
    /// The first orders that said so.
    from: u32,
    energised: bool,
    cause: Cause,
}

/// What a report tells of how its board was since the one before, for the reasons of what turned.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Absence {
    /// It is the first that is heard since the start.
    pub is_first: bool,
    /// Its lease may have run out meanwhile, whatever the orders are that it took last.
    pub may_have_lapsed: bool,
    /// A relay is where it was ordered and its fallback would not put it: the lease has not run out since the start.
    pub obeys: bool,
    /// It has taken orders that this memory never gave.
    pub took_others: bool,
}

impl Contact {
    /// What was said last is to be ordered otherwise: why it was is kept until it is known not to matter.
    pub(super) fn keep_overtaken(&mut self) {
        let Some(energised) = self.said else { return };
        let from = self.said_from;
        self.forget_overtaken();
        if self.said_in[usize::from(energised)] <= self.taken {
            return;
        }
        if let Some(cause) = self.cause.clone().filter(|_| self.overtaken.len() < STARTS_KEPT) {
            self.overtaken.push_back(Overtaken { from, energised, cause });
        }
    }

    /// Forgets what was overtaken by orders that were taken.
    pub(super) fn forget_overtaken(&mut self) {
        if self.said.is_none() || self.said_from <= self.taken {
            return self.overtaken.clear();
        }
        if let Some(last) = self.overtaken.iter().rposition(|one| one.from <= self.taken) {
            self.overtaken.drain(..last);
        }
    }

    /// Why orders that its board has taken made it what was reported; `None` where none did. `counts`: the board tells which
    /// orders it took.
    fn ordered_why(&self, counts: bool) -> Option<Cause> {
        let energised = self.reported?;
        if self.said == Some(energised) && (!counts || self.said_from <= self.taken) {
            return Some(self.cause.clone().unwrap_or(Cause::Unheard));
        }
        let last = if counts {
            self.overtaken.iter().rfind(|one| one.from <= self.taken)
        } else {
            self.overtaken.iter().find(|one| one.energised == energised)
        };
        last.filter(|one| one.energised == energised).map(|one| one.cause.clone())
    }
}

impl Engine {
    /// Why a contact turned; `is_over`: its board timed it, and its time was over.
    pub(super) fn cause_of_turn(&self, relay: Relay, heard: Heard, back: Return, is_over: bool) -> Cause {
        let contact = self.contact(relay);
        let counts = self.house.board(relay.board).foreign.is_none();
        if heard.by_hand {
            return Cause::HandAtBoard;
        }
        if is_over {
            return Cause::RunOver;
        }
        if let Some(cause) = contact.ordered_why(counts) {
            return cause;
        }
        if back.rebooted && contact.reported == Some(false) {
            Cause::BoardRestarted
        } else if self.has_lapsed(relay, heard, back) {
            Cause::LeaseRanOut
        } else if back.absence.took_others {
            Cause::OrderedByOthers
        } else if back.found {
            Cause::Unheard
        } else {
            Cause::Unordered
        }
    }

    /// Whether a contact is where its fallback puts it, and turned when its lease had run out.
    fn has_lapsed(&self, relay: Relay, heard: Heard, back: Return) -> bool {
        let board = self.house.board(relay.board);
        let Some(lease) = board.lease else { return false };
        let fallback = self.told_fallback(relay.board).relays[usize::from(relay.number) - 1].word.energised();
        if fallback.is_none() || fallback != self.contact(relay).reported {
            return false;
        }
        if board.foreign.is_some() {
            return back.ran_out;
        }
        // For how long a lease of before a start lasted is not stored.
        let ends = if back.absence.is_first {
            self.boards[relay.board.index()].obeyed_at + lease_least(lease)
        } else {
            self.contact(relay).words.lasts
        };
        // The board rounds its seconds down.
        let is_late = heard.at.after(Span::from_s(1)) >= ends;
        back.rebooted || back.absence.may_have_lapsed || (is_late && !back.absence.obeys)
    }

    /// What a report that is about to be taken relay by relay tells of how its board was; `next` is the number that orders
    /// would have had without it.
    pub(super) fn absence(&self, board: BoardId, report: &Report, before: Presence, next: u32) -> Absence {
        let state = &self.boards[board.index()];
        let obeys = before == Presence::Unheard && {
            let fallback = self.told_fallback(board);
            let relays = state.contacts.iter().zip(&report.relays).zip(&fallback.relays);
            let by_no_hand = |before: Option<u32>, now| before.zip(now).is_none_or(|(before, now)| before == now);
            let mut relays =
                relays.filter(|((contact, said), _)| contact.said.is_some() && by_no_hand(contact.hands, said.hands));
            relays.any(|((_, said), fallback)| fallback.word.energised() == Some(!said.energised))
        };
        Absence {
            is_first: before == Presence::Unheard,
            may_have_lapsed: state.found_late.is_some(),
            obeys,
            took_others: next > 1 && report.taken >= next,
        }
    }

    /// What was said before the start and is not so when its board is heard first is undone, whatever it was said for: to do it
    /// again has a reason of its own.
    pub(super) fn forget_stored_cause(&mut self, relay: Relay) {
        let contact = self.contact_mut(relay);
        if contact.reported != contact.said {
            contact.cause = None;
        }
    }
}
