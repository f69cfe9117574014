//! Wear: how much of a contact's life is used up, by the operations counted and the endurance that the relay's data sheet
//! gives. It never forbids an operation: a data sheet tells what most relays reach, not when this one fails.

use super::Engine;
use crate::house::{BoardId, Drive, LoadId, Relay, Replaced};

/// How worn the contact of a load is.
#[derive(Clone, Debug, PartialEq)]
pub struct Wear {
    /// How often it was energised since it is known, or since its relay was replaced.
    pub operations: u64,
    /// How often it lasts by its data sheet; `None` where the house does not say.
    pub endurance: Option<u32>,
    /// The day on which its relay was replaced, `2026-05-12`; `None` where the house names none.
    pub replaced: Option<String>,
}

impl Wear {
    /// The share of its life that is used up, 0 to 1 and beyond; `None` where the house does not say what it lasts.
    pub fn share(&self) -> Option<f64> {
        self.share_of(self.operations)
    }

    /// The share of its life that so many operations take.
    pub fn share_of(&self, operations: u64) -> Option<f64> {
        self.endurance.map(|endurance| operations as f64 / f64::from(endurance.max(1)))
    }
}

impl Engine {
    /// How worn the contact of a load is; of an actuator, the more worn one. `None` for a load without a relay of its own.
    pub fn wear(&self, load: LoadId) -> Option<Wear> {
        let definition = self.house.load(load);
        let relays: Vec<Relay> = match definition.drive {
            Drive::Relay(relay) => vec![relay],
            Drive::Actuator(id) => self.house.actuator(id).relays().to_vec(),
            Drive::Rotation(_) => return None,
        };
        let wear = |relay: Relay| Wear {
            operations: self.contact(relay).operations,
            endurance: definition.endurance.or(self.house.board(relay.board).endurance),
            replaced: self.contact(relay).replaced.clone(),
        };
        relays.into_iter().map(wear).max_by_key(|wear| wear.operations)
    }

    /// Counts the operations of relays anew that the house says were replaced since it was last read. A day that is put
    /// right to an earlier one is no other relay.
    pub(super) fn part_from_replaced(&mut self) {
        let house = self.house.clone();
        for (number, board) in house.boards.iter().enumerate() {
            let id = BoardId(number as u32);
            for relay in 1..=board.relays {
                let is_it = |one: &&Replaced| one.relay.is_none_or(|number| number == relay);
                let Some(day) = board.replaced.iter().filter(is_it).map(|one| one.day.to_string()).max() else {
                    continue;
                };
                let contact = self.contact_mut(Relay { board: id, number: relay });
                if contact.replaced.as_ref().is_none_or(|before| *before < day) {
                    contact.operations = 0;
                }
                if contact.replaced.as_ref() != Some(&day) {
                    contact.replaced = Some(day);
                    self.save = true;
                }
            }
        }
    }
}
