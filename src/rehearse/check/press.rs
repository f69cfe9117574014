//! press: one press of a button makes at most one hold, however often the message comes. Only a press that comes again after
//! some board started, or was heard to have, or was lost and found, is left out: a new boot forgets the counts, and a board
//! that is found may have one. So is a press of an input that left the house and came back to it. And a hand that switches a
//! relay at its board makes at most one hold, too.

use std::collections::{BTreeMap, BTreeSet};

use super::super::happening::{Happening, What};
use super::{Checker, Scene, Tally};
use crate::engine::{By, JournalEntry};

/// Watches holds made by inputs.
#[derive(Debug, Default)]
pub struct Presses {
    /// By act and input, how many boots there may have been.
    made: BTreeMap<(u64, String), u64>,
    boots: u64,
    /// By board, the boot that was heard last: a late report of a board that is gone is of another one, too.
    boot: BTreeMap<usize, u32>,
    /// By relay, how often a hand switched it less the holds that this made.
    hands: BTreeMap<String, i64>,
    /// Boards that were exchanged, or are taken to have been: late reports of the old one tell of other hands.
    exchanged: BTreeSet<String>,
    /// By board and boot, the last beat that was heard.
    beats: BTreeMap<(usize, u32), u32>,
    /// Boards that were lost since.
    lost: BTreeSet<String>,
}

impl Checker for Presses {
    fn id(&self) -> &'static str {
        "press"
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            What::BoardUp { board, is_new, .. } => {
                self.boots += 1;
                if *is_new {
                    self.exchanged.insert(scene.stage.panels()[*board].name.clone());
                }
            }
            // A press of the new boot may have come before the news of it.
            What::BirthHeard { board, boot } if self.boot.get(board).is_none_or(|before| before < boot) => {
                self.boot.insert(*board, *boot);
                self.boots += 1;
            }
            What::ReportHeard { board, boot, beat, .. } => {
                let before = self.boot.insert(*board, *boot);
                self.boots += u64::from(before != Some(*boot));
                if before.is_some_and(|before| before > *boot) {
                    self.exchanged.insert(scene.stage.panels()[*board].name.clone());
                }
                let last = self.beats.entry((*board, *boot)).or_default();
                if *beat > *last {
                    *last = *beat;
                    self.lost.remove(&scene.stage.panels()[*board].name);
                }
            }
            // A lost board goes by reports from before its last one: a backlog that insisted as a new board does.
            What::Sent { board, orders, .. }
                if self.beats.get(&(*board, orders.boot)).is_some_and(|last| *last > orders.beat) =>
            {
                let name = &scene.stage.panels()[*board].name;
                if self.lost.contains(name) {
                    self.exchanged.insert(name.clone());
                }
            }
            What::Journal(row) => match &row.entry {
                JournalEntry::BoardFound { .. } => self.boots += 1,
                JournalEntry::BoardLost { board } => drop(self.lost.insert(board.clone())),
                _ => {}
            },
            // Of an endpoint that no input names nothing is remembered.
            What::House { taken: true } => {
                let before = self.made.len();
                self.made.retain(|(_, input), _| scene.stage.house().inputs.iter().any(|one| one.name == *input));
                if self.made.len() < before {
                    tally.count("inputs that left the house after a press");
                }
            }
            // The hold that a hand made is lost with the news of the hand, and made again once it is heard.
            What::Stopped { unsaved: true, .. } => self.hands.values_mut().for_each(|hands| *hands += 1),
            What::Switched { board, relay } => {
                let relay = format!("{}/{relay}", scene.stage.panels()[*board].name);
                *self.hands.entry(relay).or_default() += 1;
            }
            What::Held(hold) => {
                tally.count(&format!("hold by {}", word(&hold.by)));
                if let By::Input(input) = &hold.by
                    && self.made.insert((hold.stamp, input.clone()), self.boots) == Some(self.boots)
                {
                    return Err(format!("one press of input {input:?} made two holds of load {:?}", hold.load));
                }
                if let By::Board(relay) = &hold.by {
                    let left = self.hands.entry(relay.clone()).or_default();
                    *left -= 1;
                    let board = relay.split('/').next().unwrap_or_default();
                    if *left < 0 && !self.exchanged.contains(board) {
                        return Err(format!("more holds were made by hand at {relay} than hands touched it"));
                    }
                }
            }
            _ => {}
        }
        Ok(())
    }
}

fn word(by: &By) -> &'static str {
    match by {
        By::Input(_) => "input",
        By::Board(_) => "board",
        By::Message => "message",
        By::Command(_) => "command",
        By::Page(_) => "page",
        By::Api(_) => "API",
    }
}
