//! What comes back from a snapshot, by name. It never takes one, and settles nothing by itself.

use super::super::boards::{BoardState, Presence};
use super::super::contact::Alone;
use super::super::foreign::ForeignState;
use super::super::inputs::PortState;
use super::super::presence::lease_end;
use super::super::sensors::SensorState;
use super::super::timers::{Timer, WallTimer};
use super::{Engine, LoadMemory, Snapshot};
use crate::house::{BoardId, LoadId, RuleId, SensorId};
use crate::units::BootTime;
use crate::wire::Fallback;

impl Engine {
    /// Takes a snapshot's memory, by name. `running` keeps what boards and inputs were known to be.
    pub(in crate::engine) fn recall(&mut self, mut snapshot: Snapshot, running: bool) {
        let house = self.house.clone();
        self.recall_boards(&mut snapshot, running);
        let passed = snapshot.pass_withdrawals(&house);
        self.unsaid.extend(passed);
        for (number, load) in house.loads.iter().enumerate() {
            let Some(memory) = snapshot.loads.remove(&load.name) else { continue };
            self.recall_load(LoadId(number as u32), memory);
        }
        if !running {
            self.forget_openings();
        }
        self.recall_travels(std::mem::take(&mut snapshot.travels));
        if !running {
            self.doubt_recalled_ends();
        }
        for (number, sensor) in house.sensors.iter().enumerate() {
            let Some(memory) = snapshot.sensors.remove(&sensor.name) else { continue };
            let id = SensorId(number as u32);
            if memory.basis != self.sensors[number].basis && !running {
                // While the engine was away it came to measure something else under this name, or on another scale.
                continue;
            }
            let memory = SensorState { basis: std::mem::take(&mut self.sensors[number].basis), ..memory };
            if memory.value.is_some() {
                self.boot_timers.set(Timer::Stale(id), memory.at.after(sensor.stale_after).max(self.now.boot));
            }
            self.sensors[number] = memory;
        }
        let index = self.index.clone();
        for (port, name) in index.port_names.iter().enumerate() {
            if let Some(memory) = snapshot.ports.remove(name) {
                // After a restart boards repeat their contacts.
                self.ports[port] = if running { memory } else { PortState { state: None, aside: None, ..memory } };
            }
        }
        self.recall_modes(std::mem::take(&mut snapshot.selectors), std::mem::take(&mut snapshot.setpoints));
        for memory in &index.memories {
            let (key, atom) = (self.memory_key(memory), memory.atom);
            if let Some(memory) = snapshot.rises.get(&key) {
                self.atoms[atom.index()].rise = memory.clone();
            }
            if let Some(memory) = snapshot.thresholds.get(&key) {
                self.atoms[atom.index()].memory = Some(*memory);
            }
        }
        for (number, rule) in house.rules.iter().enumerate() {
            let Some(memory) = snapshot.rules.remove(&rule.name) else { continue };
            if let Some(end) = memory.delay_end {
                self.boot_timers.set(Timer::Delay(RuleId(number as u32)), end);
            }
            self.recall_rule(RuleId(number as u32), memory, running);
        }
        if !running {
            self.tell_of_trips_gone(snapshot.rules.iter());
        }
        self.recall_duties(&snapshot.duties);
        self.hold_words_back(&snapshot.fallbacks);
        if !running {
            self.lose_sight_of_contacts();
        }
        self.alarms = snapshot.alarms;
        if !running {
            self.drop_alarms_of_what_is_gone();
        }
        self.await_calm();
        self.await_namesakes();
        self.begin_again();
    }

    fn recall_boards(&mut self, snapshot: &mut Snapshot, running: bool) {
        let house = self.house.clone();
        for (number, board) in house.boards.iter().enumerate() {
            match snapshot.boards.remove(&board.name) {
                Some(memory) => {
                    let fallback = snapshot.fallbacks.get(&board.name);
                    self.recall_board(BoardId(number as u32), memory, fallback, running);
                }
                None => self.boards[number].next_number = snapshot.numbers.remove(&board.name).unwrap_or(1),
            }
        }
        let gone = snapshot
            .boards
            .iter()
            .map(|(name, state)| (name.clone(), state.next_number.max(state.reserved.saturating_add(1))));
        self.numbers = std::mem::take(&mut snapshot.numbers);
        self.numbers.extend(gone);
    }

    fn recall_board(&mut self, board: BoardId, mut memory: BoardState, fallback: Option<&Fallback>, running: bool) {
        let relays = self.boards[board.index()].contacts.len();
        memory.contacts.resize_with(relays, Default::default);
        memory.foreign = ForeignState::new(relays);
        if !running {
            memory.presence = Presence::Unheard;
            // Numbers in use may be ahead of the snapshot, never of the reservation.
            memory.next_number = memory.next_number.max(memory.reserved.saturating_add(1));
            memory.own_from = Some(memory.next_number);
            memory.block = None;
            // Its lease may have been renewed until a moment ago: renewing it is nothing that is stored.
            if let Some(lease) = self.house.board(board).lease.filter(|_| memory.lease_bound > BootTime(0)) {
                memory.lease_bound = memory.lease_bound.max(lease_end(self.now.boot, lease));
            }
            let alone = memory.was_alone(self.house.board(board));
            for (index, contact) in memory.contacts.iter_mut().enumerate() {
                let told = fallback.and_then(|fallback| fallback.relays.get(index));
                // Where its fallback puts it from here on is asked once everything is back.
                contact.lose(told.and_then(|told| told.word.energised()), false, alone);
                contact.wish = None;
                contact.lose_track_of_timed();
            }
            if self.house.board(board).foreign.is_none() {
                let goes_out_once =
                    |load: Option<LoadId>| load.is_some_and(|load| self.house.load(load).is_driven_by_runs());
                let relays = self.index.relays(board).map(|(_, load)| load);
                let repeated = memory.contacts.iter_mut().zip(relays).filter(|(_, load)| !goes_out_once(*load));
                repeated.for_each(|(contact, _)| contact.was_said_up_to(memory.reserved));
            }
        }
        self.boards[board.index()] = memory;
    }

    /// Until they are reported again, contacts may have followed their fallback meanwhile.
    fn lose_sight_of_contacts(&mut self) {
        for number in 0..self.boards.len() {
            let fallback = self.told_fallback(BoardId(number as u32));
            let has_lease = self.house.boards[number].lease.is_some();
            let run_out = has_lease && self.boards[number].lease_bound <= self.now.boot;
            for (contact, fallback) in self.boards[number].contacts.iter_mut().zip(&fallback.relays) {
                contact.lose(fallback.word.energised(), run_out, Alone::No);
            }
        }
    }

    fn recall_load(&mut self, load: LoadId, memory: LoadMemory) {
        if let Some(hold) = &memory.hold {
            self.boot_timers.set(Timer::HoldOver(load), hold.boot_end);
            self.boot_timers.set_lazily(Timer::StoreTimes, self.now.boot);
            if let Some(end) = hold.wall_end {
                self.wall_timers.set(WallTimer::HoldOver(load), end);
            }
        }
        let state = &mut self.loads[load.index()];
        state.withdrawn = memory.withdrawn;
        state.hold = memory.hold;
        state.pulsed = memory.pulsed;
    }
}
