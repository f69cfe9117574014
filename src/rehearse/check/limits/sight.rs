//! What the controller lost sight of: what a crash took, what was before a step of the clock while the machine was off, and what
//! late reports made it take for a board's past. It never judges a run.

use std::collections::BTreeMap;

use super::super::super::happening::{Happening, Mover, What};
use super::super::ledger::{Change, Spot};
use super::super::{Scene, Tally};
use crate::wire::Orders;

/// Of what the controller knows nothing any more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lost {
    /// Of all loads, what was before.
    All,
    /// Of all loads, what was before and is not in the memory stored last, which is of this place.
    Unsaved(u64),
    /// Of the loads of a board.
    Board(usize),
}

/// Follows what the controller knows of.
#[derive(Debug, Default)]
pub struct Sight {
    /// By board, the boot heard last.
    boots: BTreeMap<usize, u32>,
    /// By board, the boot and the beat that were answered last.
    answered: BTreeMap<usize, (u32, u32)>,
    /// By crash: what was remembered last, and the place of the crash.
    crashes: Vec<(u64, u64)>,
    /// Late reports of earlier boots: of which board, and where.
    gone_back: Vec<(usize, u64)>,
    /// By board, where the controller last went by a backlog.
    gone_over: BTreeMap<usize, u64>,
}

impl Sight {
    /// Something happened; what the controller lost sight of by that.
    pub fn follow(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Option<Lost> {
        match &seen.what {
            What::Stopped { unsaved: true, .. } => {
                let stored = scene.ledger.stored();
                self.crashes.push((stored, seen.place));
                Some(Lost::Unsaved(stored))
            }
            What::Started { .. } => {
                self.answered.clear();
                let is_misled = scene.ledger.misled() == seen.place;
                is_misled.then(|| {
                    tally.count("restarts of the machine across a step of its clock");
                    Lost::All
                })
            }
            // A late report of an earlier boot passes for a restart, and so does the next one of the boot that runs.
            What::ReportHeard { board, boot, .. } if self.goes_back(*board, *boot) => {
                tally.count("reports of an earlier boot");
                self.gone_back.push((*board, seen.place));
                Some(Lost::All)
            }
            What::Sent { board, orders, .. } if self.goes_over(*board, orders) => {
                tally.count("backlogs that passed for another board");
                self.gone_over.insert(*board, seen.place);
                Some(Lost::Board(*board))
            }
            _ => None,
        }
    }

    /// Whether a board is heard of in an earlier boot than before.
    fn goes_back(&mut self, board: usize, boot: u32) -> bool {
        self.boots.insert(board, boot).is_some_and(|before| before > boot)
    }

    /// Whether orders answer an earlier beat than those before.
    fn goes_over(&mut self, board: usize, orders: &Orders) -> bool {
        let before = self.answered.insert(board, (orders.boot, orders.beat));
        before.is_some_and(|(boot, beat)| boot == orders.boot && beat > orders.beat)
    }

    /// Whether orders closed a contact of which the controller still knows, so that the run counts from there.
    pub fn is_its_own(&self, spot: Spot, closing: Change, scene: &Scene<'_>) -> bool {
        if !matches!(closing.mover, Mover::Orders(_)) {
            return false;
        }
        let Some(sent) = scene.ledger.sent_for(spot, closing) else { return true };
        let is_gone = |(board, place): &(usize, u64)| {
            *board == spot.0 && sent.place < *place && !scene.ledger.knew(*board, closing.place, *place)
        };
        !self.crashes.iter().any(|(stored, crash)| *stored < sent.place && sent.place < *crash)
            && !self.gone_back.iter().any(is_gone)
            && self.gone_over.get(&spot.0).is_none_or(|place| *place <= sent.place)
    }
}
