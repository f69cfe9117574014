//! Loads that concern each other, by an interlock or a circuit: what each claims, and what each may be doing. It never
//! decides between them.

use super::Engine;
use super::boards::Presence;
use super::contact::Contact;
use super::decide::Decider;
use crate::house::{BoardId, LoadId, State};
use crate::units::{BootTime, Span};

/// The longest lease that a board may have had before anything was known of it.
const LEASE_MAX: Span = Span::from_h(1);
/// How strongly a load claims that only rests in its state: weaker than any slot.
const RESTING: u8 = 17;

/// What a load wants of those that it shares something with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Claim {
    pub state: State,
    /// The slot behind it; 17 for the resting state.
    pub slot: u8,
}

impl Engine {
    /// What a load claims: what its array says, whatever its dwell keeps it at.
    pub(super) fn claim_of(&self, load: LoadId) -> Claim {
        let decision = self.resolve(load, false);
        let slot = match decision.by {
            // Until it has settled it claims no more than its rules will.
            Decider::Settling => RESTING,
            by => Engine::deciding_slot(by).unwrap_or(RESTING),
        };
        Claim { state: decision.state, slot }
    }

    /// Whether a load may be on: by its contact, or because it is shown to run whatever its contact says.
    pub(super) fn may_be_on(&self, load: LoadId) -> bool {
        self.contact_may_be_on(load) || self.shows_current(load)
    }

    /// Whether a load may be on by its contact, by orders under way, or by what is about to be ordered.
    pub(super) fn contact_may_be_on(&self, load: LoadId) -> bool {
        let definition = self.house.load(load);
        // What stands for several relays claims nothing by itself: they do.
        let Some(relay) = definition.relay() else { return false };
        let energised = definition.energised(State::On);
        let contact = self.contact(relay);
        let board = self.house.board(relay.board);
        let possible = match self.presence(relay.board) {
            // Nothing ever ends what it may be doing.
            Presence::Unheard if board.lease.is_none() => return true,
            Presence::Unheard if self.now.boot < self.unheard_until(relay.board) => return true,
            // Its lease has run out by now, whatever it was; what a hand did at it while it was alone outlasts that.
            Presence::Unheard => {
                let stays = contact.stays_as_left() && contact.last_reported == Some(energised);
                return !energised || definition.safe == State::On || stays;
            }
            Presence::Present | Presence::Lost => contact.possible(),
        };
        let wished = self.presence(relay.board) == Presence::Present && contact.wish == Some(energised);
        wished || if energised { possible.energised } else { possible.released }
    }

    /// Whether a load is reported on and nothing under way can open it before it hears the next order.
    pub(super) fn is_surely_on(&self, load: LoadId) -> bool {
        self.reported(load) == Some(State::On) && self.contact_of(load).is_some_and(|contact| !contact.in_flight())
    }

    /// The same where its lease cannot have opened it since, either.
    pub(super) fn surely_stays_on(&self, load: LoadId) -> bool {
        self.is_surely_on(load) && !self.contact_of(load).is_some_and(Contact::may_have_lapsed)
    }

    /// When a load that may be on will surely be off without anything being heard of it; `None` where only a report tells.
    pub(super) fn may_be_on_until(&self, load: LoadId) -> Option<BootTime> {
        let board = self.house.load(load).relay()?.board;
        if self.shows_current(load) {
            return None;
        }
        match self.presence(board) {
            Presence::Present => None,
            Presence::Lost if self.contact_of(load)?.stays_as_left() => None,
            Presence::Lost => Some(self.boards[board.index()].lease_bound),
            Presence::Unheard if self.house.board(board).lease.is_none() => None,
            Presence::Unheard if self.unheard_until(board) <= self.now.boot => None,
            Presence::Unheard => Some(self.unheard_until(board)),
        }
    }

    /// Since when a load that is surely off is so, at the latest.
    pub(super) fn off_since(&self, load: LoadId) -> BootTime {
        let Some(relay) = self.house.load(load).relay() else { return BootTime(0) };
        let contact = self.contact(relay);
        let since = contact.off_since().after(Span::ZERO);
        match self.presence(relay.board) {
            Presence::Present => since,
            Presence::Lost => since.max(self.boards[relay.board.index()].lease_bound),
            Presence::Unheard => self.unheard_until(relay.board),
        }
    }

    /// When a load that is surely off opened last, at the latest: its board may be lost since, and that opened nothing.
    pub(super) fn opened_at(&self, load: LoadId) -> BootTime {
        let off_since = self.off_since(load);
        match self.contact_of(load) {
            Some(contact) if contact.lost.is_some_and(|lost| !lost.run_out) => {
                contact.off_since().after(Span::ZERO).min(off_since)
            }
            _ => off_since,
        }
    }

    /// Until when a board that was not heard since the start may still hold a lease of before.
    fn unheard_until(&self, board: BoardId) -> BootTime {
        let state = &self.boards[board.index()];
        if state.boot.is_some() || state.lease_bound > BootTime(0) { state.lease_bound } else { self.began + LEASE_MAX }
    }

    /// Lets everything be decided again that shares an interlock or a circuit with a load.
    pub(super) fn touch_peers(&mut self, load: LoadId) {
        let index = self.index.clone();
        self.dirty_loads.extend(index.peers_of_load[load.index()].iter().copied());
    }
}
