//! Another house while running: state goes over by load name, facts about contacts by relay. It never decides whether a
//! house may be taken; whoever calls has checked it.

use std::sync::Arc;

use super::boards::{BoardState, Presence};
use super::index::Index;
use super::timers::Timer;
use super::{Effect, Engine, Retained};
use crate::house::{Board, BoardId, House, LoadId, Port, PortId, SensorId, Source};
use crate::units::BootTime;

impl Engine {
    /// Takes another house at the time of the last step, and appends what is to be done to `out`.
    ///
    /// Relays that no load names any more are opened, and forgotten once that is confirmed; for boards that the new house
    /// does not name this holds too, so [`Engine::house`] names them until then.
    pub fn reload(&mut self, house: House, out: &mut Vec<Effect>) {
        let before = self.house.clone();
        let let_go = self.rows_of_let_go(&house);
        let mut snapshot = self.snapshot();
        let mut kept = self.boards_to_keep(&house);
        kept.extend(snapshot.readdress(&house));
        let house = Arc::new(house.with_boards(kept));
        let mut next = Engine::new(house.clone(), self.settings, self.now);
        next.link = self.link;
        next.linked_first = self.linked_first;
        next.next_closing = self.next_closing;
        next.began = self.began;
        next.knows_nothing = self.knows_nothing;
        next.owes_block = self.owes_block;
        next.block_at = self.block_at;
        for (number, circuit) in house.circuits.iter().enumerate() {
            let old = before.circuits.iter().position(|old| old.name == circuit.name);
            next.next_in_circuit[number] = old.map_or(BootTime(0), |old| self.next_in_circuit[old]);
        }
        next.stale_topics = std::mem::take(&mut self.stale_topics);
        next.recall(snapshot, true);
        next.unsaid.extend(let_go);
        next.carry_loads(self);
        next.carry_proofs(self);
        next.carry_calm(self);
        next.part_from_runs(&before);
        next.carry_foreign(self);
        next.carry_leases(self);
        next.await_what_is_new(&before);
        next.await_numbers(self, out);
        next.open_orphans();
        next.set_board_timers();
        *self = next;
        self.clear_topics_of(&before, out);
        self.reword_trips(out);
        for board in 0..self.boards.len() {
            let board = BoardId(board as u32);
            self.due_boards.insert(board);
            self.publish_fallback(board, out);
            self.resume_foreign(board, out);
        }
        self.carry_through(out);
        out.push(Effect::Save);
    }

    /// Boards that the new house does not name, with a relay that may still be energised, or that their fallback would
    /// energise later.
    fn boards_to_keep(&self, house: &House) -> Vec<Board> {
        let gone = self.house.boards.iter().enumerate().filter(|(_, board)| house.board_named(&board.name).is_none());
        gone.filter(|(number, _)| {
            let was_heard = self.boards[*number].boot.is_some();
            let fallback = self.told_fallback(BoardId(*number as u32));
            let falls_back = fallback.relays.iter().any(|relay| relay.word.energised() != Some(false));
            may_be_energised(&self.boards[*number]) || (was_heard && falls_back)
        })
        .map(|(_, board)| board.clone())
        .collect()
    }

    /// What is new in this house is waited for and missed from now on.
    fn await_what_is_new(&mut self, before: &House) {
        let house = self.house.clone();
        for (number, board) in house.boards.iter().enumerate() {
            let same = before.board_named(&board.name).is_some_and(|old| before.board(old).speaks_like(board));
            if !same {
                self.boards[number].heard_at = self.now.boot;
            }
        }
        for (number, sensor) in house.sensors.iter().enumerate() {
            if is_new_sensor(before, &house, SensorId(number as u32)) && before.sensor_named(&sensor.name).is_some() {
                // It measured something else under this name, or on another scale.
                self.forget_readings(SensorId(number as u32));
                self.forget_rises(SensorId(number as u32));
            }
        }
    }

    /// Loads that were settled stay so, unless they now need a sensor, a contact or another load that was not there
    /// before.
    fn carry_loads(&mut self, before: &Engine) {
        let house = self.house.clone();
        for (number, load) in house.loads.iter().enumerate() {
            let Some(old) = before.house.load_named(&load.name) else { continue };
            let new_sensor =
                self.index.sensors_of_load[number].iter().any(|sensor| is_new_sensor(&before.house, &house, *sensor))
                    || self.index.ports_of_load[number].iter().any(|port| is_new_port(&before.house, &house, *port))
                    || self.index.watched_of_load[number].iter().any(|load| is_new_load(&before.house, &house, *load));
            let old = &before.loads[old.index()];
            self.loads[number].staggered = old.staggered;
            self.loads[number].held_since_start = old.held_since_start;
            self.loads[number].settled = old.settled && !new_sensor;
            self.loads[number].settle_by = old.settle_by.filter(|_| !new_sensor && !old.settled);
        }
        if let Some(linked) = self.linked_first {
            let settle = self.settings.settle;
            for load in self.loads.iter_mut().filter(|load| !load.settled) {
                // A load that settles already does not start anew.
                load.settle_by.get_or_insert(self.now.boot.max(linked) + settle);
            }
            self.carry_waits_for_sensors(before);
        }
    }

    /// Sensors that are not known are missed when they would have been; new ones after their time.
    fn carry_waits_for_sensors(&mut self, before: &Engine) {
        let house = self.house.clone();
        for (number, sensor) in
            house.sensors.iter().enumerate().filter(|(number, _)| self.sensors[*number].value.is_none())
        {
            let id = SensorId(number as u32);
            let known = before.house.sensor_named(&sensor.name).filter(|_| !is_new_sensor(&before.house, &house, id));
            let due = match known {
                Some(old) => before.boot_timers.due(Timer::Stale(old)),
                None => Some(self.now.boot + sensor.stale_after.max(self.settings.settle)),
            };
            if let Some(due) = due {
                self.boot_timers.set_lazily(Timer::Stale(id), due);
            }
        }
    }

    /// Relays without a load that were ordered before and may be energised are to be opened.
    pub(super) fn open_orphans(&mut self) {
        let index: Arc<Index> = self.index.clone();
        for board in 0..self.boards.len() {
            for (relay, load) in index.relays(BoardId(board as u32)) {
                let contact = self.contact_mut(relay);
                if load.is_none() {
                    let is_ours = contact.said.is_some() && contact.last_reported.is_some();
                    contact.wish = (is_ours && contact.possible().energised).then_some(false);
                }
            }
        }
    }

    fn set_board_timers(&mut self) {
        for board in 0..self.boards.len() {
            let (id, state) = (BoardId(board as u32), &self.boards[board]);
            // A board that is lost already is no more missed, but its lease goes on running out.
            if state.presence == Presence::Lost && self.house.board(id).lease.is_some() {
                self.await_end_of_lease(id);
            }
            // What else is due by then keeps its place before it, or after.
            if let Some(due) = self.missed_at(id) {
                self.boot_timers.set(Timer::BoardLost(id), due);
            }
        }
    }

    fn clear_topics_of(&mut self, before: &House, out: &mut Vec<Effect>) {
        let house = self.house.clone();
        for load in before.loads.iter().filter(|load| house.load_named(&load.name).is_none()) {
            self.clear_retained(Retained::Load(load.name.clone()), out);
        }
        // A board that is kept has yet to hear that nothing is on it any more.
        let hears_contract = |board: &Board| board.foreign.is_none();
        let still_hears = |name: &str| house.board_named(name).is_some_and(|id| hears_contract(house.board(id)));
        for board in before.boards.iter().filter(|board| hears_contract(board) && !still_hears(&board.name)) {
            self.clear_retained(Retained::Board(board.name.clone()), out);
        }
        self.clear_alarms_of_what_is_gone(out);
    }
}

/// Whether a board that was heard may have an energised relay.
pub(super) fn may_be_energised(state: &BoardState) -> bool {
    state.contacts.iter().any(|contact| contact.last_reported.is_some() && contact.possible().energised)
}

/// Whether a sensor measures something that the house before did not know under its name, or on another scale.
pub(super) fn is_new_sensor(before: &House, house: &House, sensor: SensorId) -> bool {
    let Some(old_id) = before.sensor_named(&house.sensor(sensor).name) else { return true };
    let old = before.sensor(old_id);
    match (&old.source, &house.sensor(sensor).source) {
        // Ids differ from house to house. What it is computed from is measured, so this is one step deep.
        (Source::Derived(_), Source::Derived(derived)) => {
            derived.ingredients().iter().any(|ingredient| is_new_sensor(before, house, *ingredient))
                || old.unit != house.sensor(sensor).unit
        }
        (Source::Derived(_), _) | (_, Source::Derived(_)) => true,
        _ => Engine::basis(before, old_id) != Engine::basis(house, sensor),
    }
}

/// Whether the house before did not know a load, or knew it on other relays.
fn is_new_load(before: &House, house: &House, load: LoadId) -> bool {
    let relays = |house: &House, load| -> Vec<String> {
        house.relays_of(house.load(load)).into_iter().map(|relay| house.relay_name(relay)).collect()
    };
    let old = before.load_named(&house.load(load).name);
    old.is_none_or(|old| relays(before, old) != relays(house, load))
}

/// Whether the house before did not listen to an endpoint.
fn is_new_port(before: &House, house: &House, port: PortId) -> bool {
    let port = &house.ports[port.index()];
    let is_same = |old: &Port| before.board(old.board).name == house.board(port.board).name && old.name == port.name;
    !before.ports.iter().any(is_same)
}
