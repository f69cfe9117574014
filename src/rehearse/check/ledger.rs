//! What was sent, and what contacts did, for checkers to look up. It never judges.

mod track;

use std::collections::BTreeMap;

use super::super::happening::{Charge, Happening, Mover, What, Why};
use super::super::stage::Stage;
use crate::board::RelayFault;
use crate::engine::JournalEntry;
use crate::house::{House, Load, Relay, State};
use crate::units::BootTime;
use crate::wire::{Orders, RelayOrder};

pub use track::{Change, Track};

/// A relay by its board's place and its number.
pub type Spot = (usize, u8);

/// What was sent, and what contacts did.
#[derive(Clone, Debug, Default)]
pub struct Ledger {
    beats: BTreeMap<(usize, u32, u32), (BootTime, u64)>,
    orders: BTreeMap<(usize, u32), Sent>,
    /// By board, the number of the last orders.
    last: BTreeMap<usize, u32>,
    contacts: BTreeMap<Spot, Track>,
    heard: BTreeMap<usize, Heard>,
    /// When the controller came up last.
    started: Option<BootTime>,
    /// When it came up on a machine that had restarted.
    machine_began: Option<BootTime>,
    unseen: BTreeMap<Spot, BootTime>,
    /// The memory that is stored is of this place in the order of all that happened.
    stored: u64,
    /// How far the wall clock was ahead when the controller stopped, in ms.
    ahead: i64,
    /// The last start after the clock had been stepped while the machine was off, by its place.
    misled: u64,
}

/// Orders as they were sent.
#[derive(Clone, Debug)]
pub struct Sent {
    /// When.
    pub at: BootTime,
    /// Their place in the order of all that happened.
    pub place: u64,
    /// The orders.
    pub orders: Orders,
    /// What the house said of each relay.
    pub charges: Vec<Option<Charge>>,
    /// By relay: it is opened because it was found closed together with another member of its interlock.
    pub together: Vec<bool>,
    /// Their board took them.
    pub taken: bool,
}

/// Nobody sees that a clock was stepped by more than this while the machine was off.
const STEP_MAX_MS: u64 = 1_000;

/// A report that reached the controller.
#[derive(Clone, Copy, Debug)]
struct Arrival {
    at: BootTime,
    place: u64,
    /// The place at which the latest report that had arrived by then was sent.
    sent: u64,
}

/// What the controller was told of a board.
#[derive(Clone, Debug, Default)]
struct Heard {
    /// In the order of their arrival.
    reports: Vec<Arrival>,
    /// The boot last heard of, and when a report of it first came.
    boot: Option<(u32, BootTime)>,
    /// The states last reported.
    states: Vec<bool>,
    /// The place at which the report was sent that said so.
    latest: u64,
    /// By boot and beat, what reports said that arrived.
    said: BTreeMap<(u32, u32), Vec<bool>>,
    /// The place at which the board was exchanged last.
    exchanged: u64,
    /// The board was exchanged, and the controller has not answered the new one yet.
    strange: bool,
    /// The new one began in a boot of the same number, so that nothing told it from the one before.
    mistaken: bool,
}

impl Ledger {
    /// Notes what happened.
    pub fn note(&mut self, seen: &Happening, stage: &Stage) {
        match &seen.what {
            What::Beat { board, boot, beat } => {
                self.beats.insert((*board, *boot, *beat), (seen.at, seen.place));
            }
            What::Journal(row) => {
                if let JournalEntry::Unseen { relay, .. } = &row.entry
                    && let Some((board, number)) = relay.split_once('/')
                    && let (Some(board), Ok(number)) = (stage.place(board), number.parse())
                {
                    self.unseen.insert((board, number), seen.at);
                }
            }
            What::Stored { of } => self.stored = *of,
            What::Stopped { ahead, .. } => self.ahead = *ahead,
            What::Started { same_boot, ahead, .. } => {
                self.started = Some(seen.at);
                if *same_boot {
                    return;
                }
                self.machine_began = self.started;
                // The machine's clock itself may be another by now, in the same moment.
                if ahead.is_some_and(|ahead| ahead.abs_diff(self.ahead) > STEP_MAX_MS) {
                    self.misled = seen.place;
                }
            }
            What::Sent { board, orders, charges } => self.note_orders(seen, *board, orders, charges, stage),
            What::ReportHeard { board, boot, beat, states, .. } => {
                let sent = self.beat(*board, *boot, *beat).map(|(_, place)| place);
                let heard = self.heard.entry(*board).or_default();
                // A late one of a board that is gone, which the controller cannot tell from its own.
                heard.strange |= sent.is_none();
                heard.said.insert((*boot, *beat), states.clone());
                if heard.boot.is_none_or(|(known, _)| known != *boot) {
                    heard.boot = Some((*boot, seen.at));
                    heard.mistaken = false;
                }
                if let Some(sent) = sent.filter(|sent| *sent > heard.latest) {
                    heard.states.clone_from(states);
                    heard.latest = sent;
                }
                if let Some(sent) = sent.filter(|_| stage.is_present(*board) && !heard.strange) {
                    let latest = heard.reports.last().map_or(0, |one| one.sent);
                    heard.reports.push(Arrival { at: seen.at, place: seen.place, sent: latest.max(sent) });
                }
            }
            What::Contact { board, relay, energised, mover } => {
                let change = Change { at: seen.at, place: seen.place, mover: *mover };
                self.contacts.entry((*board, *relay)).or_default().turn(*energised, change);
            }
            What::Unfollowed { board, relay, energised, mover } => {
                let change = Change { at: seen.at, place: seen.place, mover: *mover };
                self.contacts.entry((*board, *relay)).or_default().unfollowed[usize::from(*energised)] = Some(change);
            }
            What::Switched { board, relay } => self.contacts.entry((*board, *relay)).or_default().by_hand = true,
            What::Obeyed { board, orders, .. } => self.note_obeyed(*board, orders),
            What::RelayFault { board, relay, fault } => {
                let track = self.contacts.entry((*board, *relay)).or_default();
                let was_welded = std::mem::replace(&mut track.fault, *fault) == Some(RelayFault::Welded);
                if was_welded && fault.is_none() && track.closed {
                    // From here on it follows its coil, and it has been closed for nobody knows how long.
                    track.closing = Some(Change { at: seen.at, place: seen.place, mover: Mover::Fault });
                }
            }
            What::BoardUp { board, is_new: true, .. } => self.note_exchange(seen, *board),
            _ => {}
        }
    }

    /// A new board counts its boots from one again: what was sent in the old one's is no beat of its own.
    fn note_exchange(&mut self, seen: &Happening, board: usize) {
        self.beats.retain(|(place, ..), _| *place != board);
        let heard = self.heard.entry(board).or_default();
        (heard.strange, heard.exchanged) = (true, seen.place);
        // The contacts of the old one are on nobody's wires any more, welded or not.
        let change = Some(Change { at: seen.at, place: seen.place, mover: Mover::Fault });
        for (_, track) in self.contacts.iter_mut().filter(|((place, _), track)| *place == board && track.closed) {
            (track.closed, track.opening) = (false, change);
        }
    }

    /// What hands said of the relays that orders speak to is over.
    fn note_obeyed(&mut self, board: usize, orders: &Orders) {
        self.orders.entry((board, orders.number)).and_modify(|sent| sent.taken = true);
        for (number, _) in (1..).zip(&orders.relays).filter(|(_, word)| **word != RelayOrder::None) {
            self.contacts.entry((board, number)).or_default().by_hand = false;
        }
    }

    fn note_orders(
        &mut self,
        seen: &Happening,
        board: usize,
        orders: &Orders,
        charges: &[Option<Charge>],
        stage: &Stage,
    ) {
        if let Some((_, place)) = self.beat(board, orders.boot, orders.beat) {
            let heard = self.heard.entry(board).or_default();
            if std::mem::take(&mut heard.strange) {
                // Until now it was taken for the board that is gone.
                heard.mistaken = heard.boot.is_some_and(|(boot, _)| boot == orders.boot);
                heard.boot = Some((orders.boot, seen.at));
            }
            // Which of the reports that came out of turn the controller goes by shows in the beat that it quotes.
            if let Some(states) = heard.said.get(&(orders.boot, orders.beat)).filter(|_| place != heard.latest) {
                heard.states.clone_from(states);
                heard.latest = place;
            }
        }
        let before = self.last_orders(board);
        let together = orders.relays.iter().enumerate().map(|(index, word)| {
            let is_opened =
                *word == RelayOrder::Off && charges[index].as_ref().is_some_and(|charge| charge.why == Why::Interlock);
            let said = before.and_then(|before| Some((*before.orders.relays.get(index)?, before.together[index])));
            let may_be_closed = said.is_some_and(|(said, _)| said == RelayOrder::On);
            let spot = (board, index as u8 + 1);
            is_opened && (said == Some((*word, true)) || self.is_heard_beside_another(spot, may_be_closed, stage))
        });
        let together = together.collect();
        let (orders, charges) = (orders.clone(), charges.to_vec());
        let key = (board, orders.number);
        let sent = Sent { at: seen.at, place: seen.place, orders, charges, together, taken: false };
        self.last.insert(board, key.1);
        self.orders.insert(key, sent);
    }

    /// Whether a relay that was last reported closed, or that an order under way closes, stands beside another member of one of
    /// its interlocks that was reported closed.
    fn is_heard_beside_another(&self, spot: Spot, may_be_closed: bool, stage: &Stage) -> bool {
        let house = stage.house();
        // A report of a board that is gone may say so, too.
        let is_heard_closed = |spot: Spot| self.heard(spot) == Some(true) || self.is_strange(spot.0);
        (may_be_closed || is_heard_closed(spot))
            && house.interlocks.iter().any(|interlock| {
                let members = interlock.loads.iter().filter_map(|load| spot_of(stage, house, house.load(*load)));
                let members: Vec<Spot> = members.collect();
                members.contains(&spot) && members.iter().any(|other| *other != spot && is_heard_closed(*other))
            })
    }

    /// When a beat was sent, and its place in the order of all that happened.
    pub fn beat(&self, board: usize, boot: u32, beat: u32) -> Option<(BootTime, u64)> {
        self.beats.get(&(board, boot, beat)).copied()
    }

    /// The orders with a number.
    pub fn orders(&self, board: usize, number: u32) -> Option<&Sent> {
        self.orders.get(&(board, number))
    }

    /// The last orders sent to a board.
    pub fn last_orders(&self, board: usize) -> Option<&Sent> {
        self.orders(board, *self.last.get(&board)?)
    }

    /// Of which place in the order of all that happened the stored memory is.
    pub fn stored(&self) -> u64 {
        self.stored
    }

    /// When the controller last came up.
    pub fn started(&self) -> Option<BootTime> {
        self.started
    }

    /// When the controller last came up on a machine that had restarted.
    pub fn machine_began(&self) -> Option<BootTime> {
        self.machine_began
    }

    /// When a relay was last ordered to be energised, or not.
    pub fn last_ordered(&self, (board, number): Spot, energised: bool) -> Option<&Sent> {
        let own = if energised { RelayOrder::On } else { RelayOrder::Off };
        let word = usize::from(number) - 1;
        let mut sent = self.orders.range((board, 0)..=(board, u32::MAX)).rev().map(|(_, sent)| sent);
        sent.find(|sent| sent.orders.relays.get(word) == Some(&own))
    }

    /// The place of the last start of a machine whose clock had been stepped while it was off: how long ago anything was before
    /// it nothing tells.
    pub fn misled(&self) -> u64 {
        self.misled
    }

    /// When the controller last took a contact for having gone and come back unseen.
    pub fn unseen(&self, spot: Spot) -> Option<BootTime> {
        self.unseen.get(&spot).copied()
    }

    /// When the controller first heard a report of the boot that it heard of last.
    pub fn boot_heard(&self, board: usize) -> Option<BootTime> {
        self.heard.get(&board)?.boot.map(|(_, at)| at)
    }

    /// What a contact did.
    pub fn contact(&self, spot: Spot) -> Track {
        self.contacts.get(&spot).copied().unwrap_or_default()
    }

    /// Whether a board last reported a relay energised.
    pub fn heard(&self, (board, number): Spot) -> Option<bool> {
        self.heard.get(&board).and_then(|heard| heard.states.get(usize::from(number) - 1)).copied()
    }

    /// Whether the controller may take another board for this one.
    pub fn is_strange(&self, board: usize) -> bool {
        self.heard.get(&board).is_some_and(|heard| heard.strange)
    }

    /// Whether orders were sent to another board than the one that is there now, in answer to a beat that this had yet to send.
    pub fn is_for_former(&self, board: usize, sent: &Sent) -> bool {
        let answered = self.beat(board, sent.orders.boot, sent.orders.beat).map_or(0, |(_, place)| place);
        answered > sent.place || self.heard.get(&board).is_some_and(|heard| sent.place < heard.exchanged)
    }

    /// Whether the controller goes on with a board as if it were the one that was exchanged for it.
    pub fn is_mistaken(&self, board: usize) -> bool {
        self.heard.get(&board).is_some_and(|heard| heard.mistaken)
    }

    /// Whether a board that starts in this boot hangs there in the place of one of which the controller heard in the same.
    pub fn would_be_mistaken(&self, board: usize, boot: u32) -> bool {
        let heard = self.heard.get(&board).filter(|heard| heard.strange);
        heard.and_then(|heard| heard.boot).is_some_and(|(known, _)| known == boot)
    }

    /// The orders that made a change; `None` where something else did.
    pub fn sent_for(&self, spot: Spot, change: Change) -> Option<&Sent> {
        match change.mover {
            Mover::Orders(number) => self.orders(spot.0, number),
            _ => None,
        }
    }

    /// When the controller was first told by the board what happened there at `change`.
    pub fn told_at(&self, board: usize, change: u64) -> Option<BootTime> {
        let heard = self.heard.get(&board)?;
        let first = heard.reports.partition_point(|one| one.sent <= change);
        heard.reports.get(first).map(|one| one.at)
    }

    /// When the controller last heard a board before `at`.
    pub fn heard_before(&self, board: usize, at: BootTime) -> Option<BootTime> {
        self.heard.get(&board)?.reports.iter().rev().map(|one| one.at).find(|one| *one < at)
    }

    /// Whether the controller, when it did something at `place`, had been told by the board what happened there at `change`.
    pub fn knew(&self, board: usize, change: u64, place: u64) -> bool {
        let Some(heard) = self.heard.get(&board) else { return false };
        let arrived = heard.reports.partition_point(|one| one.place < place);
        arrived.checked_sub(1).is_some_and(|last| heard.reports[last].sent > change)
    }
}

/// The spot of a load's own relay.
pub fn spot_of(stage: &Stage, house: &House, load: &Load) -> Option<Spot> {
    let Relay { board, number } = load.relay()?;
    Some((stage.place(&house.board(board).name)?, number))
}

/// Whether a load is on, by what the contact behind it does.
pub fn is_on(load: &Load, track: &Track) -> bool {
    load.state(track.closed) == State::On
}
