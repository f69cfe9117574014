//! What another house would turn over at once, found on a copy of the engine. It never touches the engine that runs.

use super::{Cause, Engine};
use crate::house::{BoardId, Drive, House, LoadId, Relay, State};

/// A contact that would be ordered over.
#[derive(Clone, Debug, PartialEq)]
pub struct Turned {
    /// The load behind it in the other house; `None` for a relay that would be without one.
    pub load: Option<String>,
    /// The relay, `yard/3`.
    pub relay: String,
    /// What the load would come to do, on for open; off for a relay without one, which is opened.
    pub to: State,
    /// Why.
    pub why: Cause,
}

impl Engine {
    /// Which contacts would be ordered over in the same instant if `house` were taken now, in the order of their relays.
    /// What protections or delays put off is not among them, nor what nobody has reported.
    pub fn preview(&self, house: House) -> Vec<Turned> {
        let mut trial = self.clone();
        trial.reload(house, &mut Vec::new());
        let house = trial.house.clone();
        let index = trial.index.clone();
        let relays = (0..house.boards.len()).flat_map(|board| index.relays(BoardId(board as u32)));
        let turned = relays.filter_map(|(relay, load)| {
            let (to, why) = match load {
                Some(load) => (trial.would_turn(load, relay)?, trial.explain(load).cause),
                None => (trial.would_turn_contact(relay).map(|_| State::Off)?, Cause::NoLoad),
            };
            let load = load.map(|load| house.load(load).name.clone());
            Some(Turned { load, relay: house.relay_name(relay), to, why })
        });
        turned.collect()
    }

    /// What a load would come to do by this relay; `None` where the relay stays as it is.
    fn would_turn(&self, load: LoadId, relay: Relay) -> Option<State> {
        let definition = self.house.load(load);
        let is_driven = self.contact(relay).timed.is_some_and(|timed| timed.since.is_none());
        match definition.drive {
            Drive::Actuator(id) if is_driven => {
                Some(if self.house.actuator(id).open == relay { State::On } else { State::Off })
            }
            _ if is_driven => Some(self.wanted_now(load)),
            // One that is stopped goes nowhere.
            Drive::Actuator(_) => None,
            _ => self.would_turn_contact(relay).map(|energised| definition.state(energised)),
        }
    }

    fn would_turn_contact(&self, relay: Relay) -> Option<bool> {
        let contact = self.contact(relay);
        contact.wish.filter(|wish| contact.reported.is_some_and(|reported| reported != *wish))
    }
}
