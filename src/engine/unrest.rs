//! Boards that restart and contacts that switch more often than anything sound would: both are told, neither is stopped.
//! A board whose supply sags when a coil pulls in restarts, drops its relays and pulls them in again; a contact that chatters
//! is worn out within weeks.

use serde::{Deserialize, Serialize};

use super::timers::Timer;
use super::{Effect, Engine};
use crate::house::{BoardId, House, LoadId, Relay};
use crate::units::{BootTime, Span};

/// Events are counted over this long at a time.
const WINDOW: Span = Span::from_min(10);
/// So many restarts of a board within a window are told.
const RESTARTS: u32 = 3;
/// So many changes of a contact within a window are told: one a minute in either direction, all the time.
const CHANGES: u32 = 20;
/// What a relay's contact lasts at its rated load, in operations (Tianbo TR5V, data sheet: electrical life 10⁵).
const LIFE: u64 = 100_000;

/// How often something happened since a moment, started anew when a window is over.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Count {
    since: Option<BootTime>,
    times: u32,
}

impl Count {
    /// Adds to it, and yields how often it happened within the present window.
    fn add(&mut self, times: u32, now: BootTime) -> u32 {
        match self.since {
            Some(since) if now.since(since) < WINDOW => self.times = self.times.saturating_add(times),
            _ => *self = Count { since: Some(now), times },
        }
        self.times
    }
}

impl Engine {
    /// A board that was known before has started anew.
    pub(super) fn count_restart(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        let now = self.now.boot;
        let times = self.boards[board.index()].restarts.add(1, now);
        if times < RESTARTS || !self.is_used(board) {
            return;
        }
        let name = &self.house.board(board).name;
        let text = format!(
            "board {name:?} has started anew {times} times within {WINDOW}. Check the supply: coils that pull in together may \
             be more than it gives; then its wiring and its watchdog"
        );
        let id = restarts_alarm(name);
        self.raise_alarm(id, text, out);
        self.boot_timers.set(Timer::BoardCalm(board), now + Span(2 * WINDOW.0));
    }

    /// The contact of a load has changed, so many times.
    pub(super) fn count_changes(&mut self, relay: Relay, load: LoadId, changes: u32, out: &mut Vec<Effect>) {
        let now = self.now.boot;
        let times = self.contact_mut(relay).turns.add(changes, now);
        if changes == 0 || times < CHANGES {
            return;
        }
        let name = &self.house.load(load).name;
        let days = LIFE * WINDOW.0 / (u64::from(times.div_ceil(2)) * Span::from_h(24).0);
        let text = format!(
            "load {name:?} has switched {times} times within {WINDOW}: a contact that lasts {LIFE} operations is worn out in \
             {days} days of that. Look for a deadband that is too tight or a sensor that wavers, and check the supply"
        );
        let id = switching_alarm(name);
        // The count in the text moves on, and a person is told once.
        if !self.alarms.contains_key(&id) {
            self.raise_alarm(id, text, out);
        }
        self.boot_timers.set(Timer::LoadCalm(load), now + Span(2 * WINDOW.0));
    }

    pub(super) fn handle_board_calm(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        let id = restarts_alarm(&self.house.board(board).name);
        self.clear_alarm(&id, out);
    }

    pub(super) fn handle_load_calm(&mut self, load: LoadId, out: &mut Vec<Effect>) {
        let id = switching_alarm(&self.house.load(load).name);
        self.clear_alarm(&id, out);
    }

    /// A change of the house is no unrest: what was calm so far goes on being calm, and no second board speaks because of it.
    pub(super) fn carry_calm(&mut self, before: &Engine) {
        let house = self.house.clone();
        self.part_from_turns(&before.house);
        for (number, board) in house.boards.iter().enumerate() {
            let Some(old) = before.house.board_named(&board.name) else { continue };
            for timer in [Timer::BoardCalm, Timer::NamesakeGone] {
                if let Some(due) = before.boot_timers.due(timer(old)) {
                    self.boot_timers.set(timer(BoardId(number as u32)), due);
                }
            }
        }
        for (number, load) in house.loads.iter().enumerate() {
            let old = before.house.load_named(&load.name);
            if let Some(due) = old.and_then(|old| before.boot_timers.due(Timer::LoadCalm(old))) {
                self.boot_timers.set(Timer::LoadCalm(LoadId(number as u32)), due);
            }
        }
    }

    /// How often a contact changed with one load says nothing of another that has come on its relay: that is counted anew.
    fn part_from_turns(&mut self, before: &House) {
        let (house, index) = (self.house.clone(), self.index.clone());
        for (relay, load) in (0..house.boards.len()).flat_map(|board| index.relays(BoardId(board as u32))) {
            let name = house.relay_name(relay);
            let hung_here = |load: LoadId| {
                let old = before.load_named(&house.load(load).name).map(|old| before.relays_of(before.load(old)));
                old.is_some_and(|relays| relays.into_iter().any(|relay| before.relay_name(relay) == name))
            };
            if !load.is_some_and(hung_here) {
                self.contact_mut(relay).turns = Count::default();
            }
        }
    }

    /// Alarms of this kind that stand since before a restart go when it has been calm from now on.
    pub(super) fn await_calm(&mut self) {
        let (house, due) = (self.house.clone(), self.now.boot + Span(2 * WINDOW.0));
        for (number, board) in house.boards.iter().enumerate() {
            if self.alarms.contains_key(&restarts_alarm(&board.name)) {
                self.boot_timers.set(Timer::BoardCalm(BoardId(number as u32)), due);
            }
        }
        for (number, load) in house.loads.iter().enumerate() {
            if self.alarms.contains_key(&switching_alarm(&load.name)) {
                self.boot_timers.set(Timer::LoadCalm(LoadId(number as u32)), due);
            }
        }
    }
}

/// The alarm about a board that restarts again and again.
fn restarts_alarm(board: &str) -> String {
    format!("restarts-{board}")
}

/// The alarm about a load that switches again and again.
fn switching_alarm(load: &str) -> String {
    format!("switching-{load}")
}
