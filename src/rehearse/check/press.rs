//! press: one press of a button makes at most one hold, however often the message comes. Only a press that comes again after
//! some board started, or was lost and found, is left out: a new boot forgets the counts, and a board that is found may have
//! one. And a hand that switches a relay at its board makes at most one hold, too.

use std::collections::BTreeMap;

use super::super::happening::{Happening, What};
use super::{Checker, Scene, Tally};
use crate::engine::{By, JournalEntry};

/// Watches holds made by inputs.
#[derive(Debug, Default)]
pub struct Presses {
    /// By act and input, how many boots there may have been.
    made: BTreeMap<(u64, String), u64>,
    boots: u64,
}

impl Checker for Presses {
    fn id(&self) -> &'static str {
        "press"
    }

    fn see(&mut self, seen: &Happening, _: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            What::BoardUp { .. } => self.boots += 1,
            What::Journal(row) if matches!(row.entry, JournalEntry::BoardFound { .. }) => self.boots += 1,
            What::Held(hold) => {
                tally.count(&format!("hold by {}", word(&hold.by)));
                if let By::Input(input) = &hold.by
                    && self.made.insert((hold.stamp, input.clone()), self.boots) == Some(self.boots)
                {
                    return Err(format!("one press of input {input:?} made two holds of load {:?}", hold.load));
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
    }
}
