//! Wear: how much of a contact's life is used up, by the operations counted and the endurance that the relay's data sheet
//! gives. It never forbids an operation: a data sheet tells what most relays reach, not when this one fails.

use serde::Serialize;

use super::Engine;
use crate::house::{Drive, LoadId, Relay};

/// How worn the contact of a load is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Wear {
    /// How often it was energised since it is known.
    pub operations: u64,
    /// How often it lasts by its data sheet; `None` where the house does not say.
    pub endurance: Option<u32>,
}

impl Wear {
    /// The share of its life that is used up, 0 to 1 and beyond; `None` where the house does not say what it lasts.
    pub fn share(&self) -> Option<f64> {
        self.endurance.map(|endurance| self.operations as f64 / f64::from(endurance.max(1)))
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
        };
        relays.into_iter().map(wear).max_by_key(|wear| wear.operations)
    }
}
