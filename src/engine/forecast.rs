//! What comes by itself: a copy of the engine run ahead on virtual time, with every reading and every input as it is now and
//! boards that obey at once. It never touches the engine that runs, and its work is bounded.

use std::sync::Arc;

use super::index::Index;
use super::timers::Timer;
use super::{Cause, Effect, Engine, Event, Now, Presence};
use crate::house::{BoardId, House, LoadId, SensorId, State};
use crate::units::{BootTime, Span, WallTime};
use crate::wire::{ForeignWord, RelayReport, Report};

/// So many moments are looked at; a house in which more happens is told of for a shorter time.
const MOMENTS_MAX: usize = 4000;
/// So often boards answer at one moment: each answer may free the way for another load.
const ANSWERS_MAX: usize = 16;
/// The least that time goes on by from one moment to the next.
const TICK: Span = Span(1);

/// What is to come if nothing is read, pressed or broken meanwhile.
#[derive(Clone, Debug, PartialEq)]
pub struct Forecast {
    /// When it was made, by the wall clock.
    pub from: WallTime,
    /// It tells of nothing beyond this.
    pub until: WallTime,
    /// Changes, by time.
    pub changes: Vec<Foreseen>,
}

/// A load that comes to do something else.
#[derive(Clone, Debug, PartialEq)]
pub struct Foreseen {
    /// When.
    pub at: WallTime,
    /// Which load.
    pub load: LoadId,
    /// What it does from then on; `None` for on its way or not known.
    pub state: Option<State>,
    /// Why.
    pub why: Cause,
}

impl Engine {
    /// What comes by itself within a span from now on. Whatever a person should know of it: readings stay as they are, so
    /// only what follows from clocks, delays, limits and ends of holds is told.
    pub fn forecast(&self, ahead: Span) -> Forecast {
        let mut trial = self.clone();
        trial.hold_still();
        let (from, end) = (self.now.wall, self.now.boot + ahead);
        let all = |engine: &Engine| -> Vec<Option<State>> {
            (0..engine.loads.len()).map(|load| engine.known_state(LoadId(load as u32))).collect()
        };
        let mut states = all(&trial);
        let mut changes = Vec::new();
        for _ in 0..MOMENTS_MAX {
            trial.live_through();
            for (number, state) in all(&trial).into_iter().enumerate() {
                if std::mem::replace(&mut states[number], state) != state {
                    let load = LoadId(number as u32);
                    changes.push(Foreseen { at: trial.now.wall, load, state, why: trial.cause(load) });
                }
            }
            let due = trial.next_moment().filter(|due| *due <= end);
            let Some(due) = due else { return Forecast { from, until: from + ahead, changes } };
            trial.pass_to(due);
        }
        Forecast { from, until: trial.now.wall, changes }
    }

    /// Takes away what would find fault with readings and inputs that do not change.
    fn hold_still(&mut self) {
        let mut house = House::clone(&self.house);
        for load in &mut house.loads {
            load.proof = None;
            if let Some(pulse) = &mut load.pulse {
                pulse.feedback = None;
            }
        }
        for actuator in &mut house.actuators {
            (actuator.open_end, actuator.close_end) = (None, None);
        }
        self.index = Arc::new(Index::new(&house));
        self.house = Arc::new(house);
    }

    /// When something is due next.
    fn next_moment(&self) -> Option<BootTime> {
        let deadline = self.next_deadline();
        let wall = deadline.wall.map(|due| self.now.boot + Span(due.0.saturating_sub(self.now.wall.0).max(0) as u64));
        let timed = self.boards.iter().flat_map(|board| &board.contacts).filter_map(|contact| {
            let timed = contact.timed?;
            Some(timed.since.unwrap_or(timed.at) + timed.length).filter(|end| *end > self.now.boot)
        });
        let due = [deadline.boot, wall].into_iter().flatten().chain(timed).min()?;
        Some(due.max(self.now.boot + TICK))
    }

    fn pass_to(&mut self, due: BootTime) {
        let Now { boot, wall, trusted } = self.now;
        self.now = Now { boot: due, wall: wall + due.since(boot), trusted };
    }

    /// One moment: what is due, and what boards make of it.
    fn live_through(&mut self) {
        let mut out = Vec::new();
        self.stay_fresh();
        self.step(self.now, Event::Woken, &mut out);
        for _ in 0..ANSWERS_MAX {
            let mut is_still = true;
            for board in (0..self.boards.len()).map(|board| BoardId(board as u32)) {
                is_still &= !self.answer_for(board, &mut out);
            }
            if is_still {
                break;
            }
        }
        self.stay_fresh();
    }

    /// Every known reading was heard just now, and so was every board that is there.
    fn stay_fresh(&mut self) {
        let now = self.now.boot;
        for (number, sensor) in self.sensors.iter_mut().enumerate() {
            if sensor.value.is_some() {
                sensor.at = now.into();
            }
            self.boot_timers.clear(Timer::Stale(SensorId(number as u32)));
        }
        for (number, state) in self.boards.iter_mut().enumerate() {
            let board = BoardId(number as u32);
            if state.presence == Presence::Present {
                (state.heard_at, state.obeyed_at) = (now, now);
                self.boot_timers.clear(Timer::LeaseOut(board));
                self.boot_timers.clear(Timer::BoardLost(board));
            }
            self.boot_timers.clear(Timer::Foreign(board));
        }
        self.boot_timers.clear(Timer::StoreTimes);
    }

    /// Lets a board report what it was ordered to do; whether that was news.
    fn answer_for(&mut self, board: BoardId, out: &mut Vec<Effect>) -> bool {
        let state = &self.boards[board.index()];
        let definition = self.house.board(board);
        if state.presence != Presence::Present || definition.is_assumed() {
            return false;
        }
        let now = self.now.boot;
        let does: Vec<(bool, bool)> = state
            .contacts
            .iter()
            .map(|contact| {
                let before = contact.reported.unwrap_or(false);
                let does = match contact.timed {
                    Some(timed) => now < timed.since.unwrap_or(timed.at) + timed.length,
                    None => contact.said.unwrap_or(before),
                };
                (before, does)
            })
            .collect();
        if does.iter().all(|(before, does)| before == does) {
            return false;
        }
        if definition.foreign.is_some() {
            let said = (1..).zip(&does).filter(|(_, (before, does))| before != does);
            let said = said.map(|(number, (_, does))| (number, *does)).collect();
            let word = ForeignWord::Relays { said, kept: false };
            self.step(self.now, Event::Foreign { board, word }, out);
            return true;
        }
        let Some(boot) = state.boot else { return false };
        let relays = does.iter().zip(&state.contacts).map(|((before, does), contact)| RelayReport {
            energised: *does,
            seconds: None,
            changes: contact.changes.map(|changes| changes.saturating_add(u32::from(before != does))),
            hands: contact.hands,
        });
        let (beat, taken) = (state.beat.saturating_add(1), state.next_number.saturating_sub(1));
        let report = Report { boot, beat, taken, relays: relays.collect() };
        self.step(self.now, Event::Report { board, report }, out);
        true
    }
}
