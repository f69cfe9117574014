//! Orders and beats as they were sent, for checkers to look up. It never judges.

use std::collections::BTreeMap;

use super::super::happening::{Charge, Happening, What};
use crate::units::BootTime;
use crate::wire::Orders;

/// What was sent.
#[derive(Clone, Debug, Default)]
pub struct Ledger {
    beats: BTreeMap<(usize, u32, u32), (BootTime, u64)>,
    orders: BTreeMap<(usize, u32), Sent>,
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
}

impl Ledger {
    /// Notes what was sent.
    pub fn note(&mut self, seen: &Happening) {
        match &seen.what {
            What::Beat { board, boot, beat } => {
                self.beats.insert((*board, *boot, *beat), (seen.at, seen.place));
            }
            What::Sent { board, orders, charges } => {
                let (orders, charges) = (orders.clone(), charges.clone());
                let key = (*board, orders.number);
                self.orders.insert(key, Sent { at: seen.at, place: seen.place, orders, charges });
            }
            // A new board counts its boots from one again: what was sent in the old one's is no beat of its own.
            What::BoardUp { board, is_new: true, .. } => self.beats.retain(|(place, ..), _| place != board),
            _ => {}
        }
    }

    /// When a beat was sent, and its place in the order of all that happened.
    pub fn beat(&self, board: usize, boot: u32, beat: u32) -> Option<(BootTime, u64)> {
        self.beats.get(&(board, boot, beat)).copied()
    }

    /// The orders with a number.
    pub fn orders(&self, board: usize, number: u32) -> Option<&Sent> {
        self.orders.get(&(board, number))
    }
}
