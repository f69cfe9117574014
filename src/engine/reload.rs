//! Another house while running: state goes over by load name, facts about contacts by relay. It never decides whether a
//! house may be taken; whoever calls has checked it.

use std::sync::Arc;

use super::boards::BoardState;
use super::index::Index;
use super::timers::Timer;
use super::{Effect, Engine, Retained};
use crate::house::{Board, BoardId, House, LoadId, Relay, SensorId};

impl Engine {
    /// Takes another house at the time of the last step, and appends what is to be done to `out`.
    ///
    /// Relays that no load names any more are opened, and forgotten once that is confirmed; for boards that the new house
    /// does not name this holds too, so [`Engine::house`] names them until then.
    pub fn reload(&mut self, house: House, out: &mut Vec<Effect>) {
        let before = self.house.clone();
        let kept = self.boards_to_keep(&house);
        let house = Arc::new(house.with_boards(kept));
        let snapshot = self.snapshot();
        let mut next = Engine::new(house.clone(), self.settings, self.now);
        next.link = self.link;
        next.linked_first = self.linked_first;
        next.next_closing = self.next_closing;
        next.stale_topics = std::mem::take(&mut self.stale_topics);
        next.recall(snapshot, true);
        next.carry_loads(self);
        next.open_orphans();
        next.set_board_timers();
        *self = next;
        self.clear_topics_of(&before, out);
        for board in 0..self.boards.len() {
            let board = BoardId(board as u32);
            self.due_boards.insert(board);
            self.publish_fallback(board, out);
        }
        self.carry_through(out);
        out.push(Effect::Save);
    }

    /// Boards that the new house does not name, with a relay that may still be energised.
    fn boards_to_keep(&self, house: &House) -> Vec<Board> {
        let gone = self.house.boards.iter().zip(&self.boards);
        gone.filter(|(board, state)| house.board_named(&board.name).is_none() && may_be_energised(state))
            .map(|(board, _)| board.clone())
            .collect()
    }

    /// Loads that were settled stay so, unless they now need a sensor that was not there before.
    fn carry_loads(&mut self, before: &Engine) {
        let house = self.house.clone();
        for (number, load) in house.loads.iter().enumerate() {
            let Some(old) = before.house.load_named(&load.name) else { continue };
            let new_sensor = self.index.sensors_of_load[number]
                .iter()
                .any(|sensor| before.house.sensor_named(&house.sensor(*sensor).name).is_none());
            let old = &before.loads[old.index()];
            self.loads[number].staggered = old.staggered;
            self.loads[number].settled = old.settled && !new_sensor;
            self.loads[number].settle_by = old.settle_by.filter(|_| !new_sensor);
        }
        if let Some(linked) = self.linked_first {
            let settle = self.settings.settle;
            for load in self.loads.iter_mut().filter(|load| !load.settled) {
                // A load that settles already does not start anew.
                load.settle_by.get_or_insert(self.now.boot.max(linked) + settle);
            }
            for number in 0..self.sensors.len() {
                if self.sensors[number].value.is_none() {
                    let due = self.now.boot + house.sensors[number].stale_after.max(settle);
                    self.boot_timers.set_lazily(Timer::Stale(SensorId(number as u32)), due);
                }
            }
        }
    }

    /// Relays without a load that may be energised are to be opened.
    fn open_orphans(&mut self) {
        let index: Arc<Index> = self.index.clone();
        for board in 0..self.boards.len() {
            for (relay, load) in index.relays(BoardId(board as u32)) {
                let contact = self.contact_mut(relay);
                if load.is_none() {
                    contact.wish =
                        contact.possible().energised.then_some(false).filter(|_| contact.last_reported.is_some());
                }
            }
        }
    }

    fn set_board_timers(&mut self) {
        for board in 0..self.boards.len() {
            // The timer looks for itself whether there is something to miss.
            self.boot_timers.set(Timer::BoardLost(BoardId(board as u32)), self.now.boot);
        }
    }

    fn clear_topics_of(&mut self, before: &House, out: &mut Vec<Effect>) {
        let house = self.house.clone();
        for load in before.loads.iter().filter(|load| house.load_named(&load.name).is_none()) {
            self.clear_retained(Retained::Load(load.name.clone()), out);
        }
        for board in before.boards.iter().filter(|board| house.board_named(&board.name).is_none()) {
            self.clear_retained(Retained::Board(board.name.clone()), out);
            self.clear_alarm(&format!("board-{}", board.name), out);
        }
        for sensor in before.sensors.iter().filter(|sensor| house.sensor_named(&sensor.name).is_none()) {
            self.clear_alarm(&format!("sensor-{}", sensor.name), out);
        }
        for load in before.loads.iter().filter(|load| house.load_named(&load.name).is_none()) {
            self.clear_alarm(&format!("obey-{}", load.name), out);
        }
    }

    /// Which loads' contacts would be ordered over if `house` were taken now.
    pub fn would_change(&self, house: House) -> Vec<(LoadId, Relay)> {
        let mut trial = self.clone();
        trial.reload(house, &mut Vec::new());
        let house = trial.house.clone();
        let loads = house.loads.iter().enumerate();
        loads
            .filter(|(_, load)| {
                let contact = trial.contact(load.relay);
                contact.wish.is_some() && contact.reported.is_some() && contact.wish != contact.reported
            })
            .map(|(number, load)| (LoadId(number as u32), load.relay))
            .collect()
    }
}

fn may_be_energised(state: &BoardState) -> bool {
    state.contacts.iter().any(|contact| contact.last_reported.is_some() && contact.possible().energised)
}
