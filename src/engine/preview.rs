//! What another house would turn over at once, found on a copy of the engine. It never touches the engine that runs.

use super::{Cause, Engine};
use crate::house::{BoardId, House, State};

/// A contact that would be ordered over.
#[derive(Clone, Debug, PartialEq)]
pub struct Turned {
    /// The load behind it in the other house; `None` for a relay that would be without one.
    pub load: Option<String>,
    /// The relay, `yard/3`.
    pub relay: String,
    /// What the load would come to do; off for a relay without one, which is opened.
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
            let contact = trial.contact(relay);
            let wish = contact.wish.filter(|wish| contact.reported.is_some_and(|reported| reported != *wish))?;
            let (to, why) = match load {
                Some(load) => (house.load(load).state(wish), trial.explain(load).cause),
                None => (State::Off, Cause::NoLoad),
            };
            let load = load.map(|load| house.load(load).name.clone());
            Some(Turned { load, relay: house.relay_name(relay), to, why })
        });
        turned.collect()
    }
}
