//! What drove an actuator before the house changed: it must be seen released before anything else drives it, and nobody
//! knows where it stands. It never drives anything.
//!
//! A house changes while the engine runs or while it does not, so what is kept of an actuator names its relays.

use std::collections::BTreeMap;

use super::Engine;
use super::boards::Presence;
use super::travel::{Travel, Wait};
use crate::house::{Actuator, ActuatorId, BoardId, House, LoadId, Relay};
use crate::units::{BootTime, Span};

impl Engine {
    /// What must survive of every actuator, by name, with the relays that it hangs on.
    pub(super) fn travel_memories(&self) -> BTreeMap<String, Travel> {
        let house = &self.house;
        let memory = |(actuator, travel): (&Actuator, &Travel)| {
            let kept = Travel { on: relay_names(house, actuator), ..travel.clone() };
            (house.load(actuator.load).name.clone(), kept)
        };
        house.actuators.iter().zip(&self.travels).map(memory).collect()
    }

    /// Takes what was kept of every actuator. One that is new, or hangs on other relays than it did, stands nobody knows
    /// where; what drove it, and whatever its relays did before, must be released first.
    pub(super) fn recall_travels(&mut self, mut kept: BTreeMap<String, Travel>) {
        let house = self.house.clone();
        for (number, actuator) in house.actuators.iter().enumerate() {
            let own = relay_names(&house, actuator);
            let memory = kept.remove(&house.load(actuator.load).name).unwrap_or_default();
            if memory.on == own {
                self.travels[number] = Travel { on: Vec::new(), ..memory };
                continue;
            }
            self.travels[number] = Travel { drove: [memory.drove, memory.on, own].concat(), ..Travel::default() };
            // What they were energised for is not its run.
            actuator.relays().into_iter().for_each(|relay| self.contact_mut(relay).timed = None);
        }
    }

    /// The engine begins anew. Orders of a run may have gone out that were not stored, so what stood where it was demanded may
    /// turn out not to be there, and then its demand still has its run to come.
    pub(super) fn doubt_recalled_ends(&mut self) {
        for travel in &mut self.travels {
            travel.found |= travel.stands.is_some() && travel.stands == travel.served;
        }
    }

    /// Another house has come: of what runs on relays that drive something else now, nobody waits for the end any more.
    pub(super) fn part_from_runs(&mut self, before: &House) {
        let (house, index) = (self.house.clone(), self.index.clone());
        for board in 0..self.boards.len() {
            for (relay, load) in index.relays(BoardId(board as u32)) {
                let same = load.is_some_and(|load| is_same_drive(before, &house, load, relay));
                if !same {
                    self.contact_mut(relay).timed = None;
                }
            }
        }
        for number in 0..self.travels.len() {
            self.forget_what_is_released(ActuatorId(number as u32));
        }
    }

    /// Why what drove an actuator before lets it wait.
    pub(super) fn waits_for_former(&self, id: ActuatorId) -> Option<Wait> {
        let dead_time = self.house.actuator(id).dead_time;
        self.travels[id.index()].drove.iter().find_map(|name| self.former_waits(name, dead_time))
    }

    /// Forgets what drove an actuator before once it was seen released for its dead time: whatever hangs on it now may do
    /// as it likes.
    pub(super) fn forget_what_is_released(&mut self, id: ActuatorId) {
        let dead_time = self.house.actuator(id).dead_time;
        let mut drove = std::mem::take(&mut self.travels[id.index()].drove);
        drove.retain(|name| self.former_waits(name, dead_time).is_some());
        self.travels[id.index()].drove = drove;
    }

    /// Whether a relay drove an actuator, or did something else, before the house changed, and was not seen released since.
    pub(super) fn is_former(&self, id: ActuatorId, relay: Relay) -> bool {
        self.travels[id.index()].drove.contains(&self.house.relay_name(relay))
    }

    fn former_waits(&self, name: &str, dead_time: Span) -> Option<Wait> {
        let (board, number) = name.split_once('/')?;
        // A board that the house names no more was kept for as long as it may drive anything.
        let board = self.house.board_named(board)?;
        let number = number.parse::<u8>().ok().filter(|number| *number <= self.house.board(board).relays)?;
        let relay = Relay { board, number };
        if !self.is_released(relay) {
            return Some(Wait::Former);
        }
        let clear = self.released_since(relay) + dead_time;
        (clear > self.now.boot).then_some(Wait::DeadTime(clear))
    }

    fn released_since(&self, relay: Relay) -> BootTime {
        let changed = self.contact(relay).changed_latest.after(Span::ZERO);
        match self.presence(relay.board) {
            Presence::Lost => changed.max(self.boards[relay.board.index()].lease_bound),
            Presence::Present | Presence::Unheard => changed,
        }
    }
}

fn relay_names(house: &House, actuator: &Actuator) -> Vec<String> {
    actuator.relays().into_iter().map(|relay| house.relay_name(relay)).collect()
}

/// Whether a relay did the same for a load of the same name in the house before.
fn is_same_drive(before: &House, house: &House, load: LoadId, relay: Relay) -> bool {
    let load = house.load(load);
    let old = before.load_named(&load.name).map(|old| before.load(old));
    let at = house.relays_of(load).iter().position(|own| *own == relay);
    let name = house.relay_name(relay);
    old.is_some_and(|old| {
        let was = before.relays_of(old).iter().position(|relay| before.relay_name(*relay) == name);
        load.is_driven_by_runs() && old.is_driven_by_runs() && was == at
    })
}
