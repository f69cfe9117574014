//! Withdrawals over a change of the house: somebody may have his hands in what hangs on a relay, whatever it is called. They go
//! on by load, and whatever comes on a relay whose load was withdrawn is withdrawn too. Nothing here restores a load; where a
//! withdrawn one is taken away and nothing comes in its place, that its withdrawal is over is told.

use serde::{Deserialize, Serialize};

use super::narrate::said;
use super::snapshot::Snapshot;
use super::{Engine, HoldEndReason, JournalEntry};
use crate::house::{House, Load, LoadId, Relay};

/// The load that hung on a relay before.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Former {
    /// The load.
    pub load: String,
    /// The relay, `yard/3`.
    pub relay: String,
}

impl Snapshot {
    /// Withdraws what a house has on relays whose loads were withdrawn. Yields the rows of that, and of withdrawals that are
    /// over because their load is gone.
    pub(super) fn pass_withdrawals(&mut self, house: &House) -> Vec<JournalEntry> {
        let withdrawn = self.loads.iter().filter_map(|(load, memory)| {
            memory.withdrawn.clone().map(|why| (load.clone(), why, memory.relays.clone()))
        });
        let withdrawn: Vec<(String, String, Vec<String>)> = withdrawn.collect();
        let mut rows = Vec::new();
        for (former, why, relays) in withdrawn {
            let mut goes_on = house.load_named(&former).is_some();
            for relay in &relays {
                let Some(heir) = heir(house, relay, relays.len() > 1) else { continue };
                let load = heir.name.clone();
                let memory = self.loads.entry(load.clone()).or_default();
                if memory.withdrawn.is_some() {
                    continue;
                }
                memory.withdrawn = Some(why.clone());
                goes_on = true;
                if memory.hold.take().is_some() {
                    rows.push(JournalEntry::HoldEnded { load: load.clone(), why: HoldEndReason::Withdrawn });
                }
                let after = Some(Former { load: former.clone(), relay: relay.clone() });
                rows.push(JournalEntry::Withdrawn { load, why: why.clone(), by: None, stays: false, after });
            }
            if !goes_on {
                rows.push(JournalEntry::WithdrawalEnded { load: former, why });
            }
        }
        rows
    }
}

/// The load of a house that takes the place of a withdrawn one on a relay: what hangs there, or the rotation that this is one
/// of where the withdrawn one had several relays.
fn heir<'h>(house: &'h House, relay: &str, several: bool) -> Option<&'h Load> {
    let (board, number) = relay.split_once('/')?;
    let relay = Relay { board: house.board_named(board)?, number: number.parse().ok()? };
    let load = house.load_on(relay)?;
    let is_one = |member: &LoadId| house.load(*member).name == load.name;
    let rotation = house.rotations.iter().find(|rotation| several && rotation.loads.iter().any(is_one));
    Some(rotation.map_or(load, |rotation| house.load(rotation.load)))
}

impl Engine {
    /// What another house would make of withdrawals, as rows of the journal that are written once it is taken.
    pub fn rows_of_withdrawals(&self, after: &House) -> Vec<JournalEntry> {
        self.snapshot().pass_withdrawals(after)
    }

    /// The same in words, for a person who has not taken it yet.
    pub fn withdrawals_touched(&self, after: &House) -> Vec<String> {
        let words = |row| match row {
            JournalEntry::Withdrawn { load, why, after: Some(former), .. } => Some(format!(
                "load \"{load}\" would be withdrawn until somebody restores it, since it comes on {}, whose load \"{}\" is \
                 withdrawn{}",
                former.relay,
                former.load,
                said(&why)
            )),
            JournalEntry::WithdrawalEnded { load, why } => Some(format!(
                "the withdrawal of load \"{load}\"{} would end, though nobody has restored it: the load is gone",
                said(&why)
            )),
            _ => None,
        };
        self.rows_of_withdrawals(after).into_iter().filter_map(words).collect()
    }
}
