//! What the engine waits for, by boot time and by wall time. It never reads a clock; the order in which due timers fire is
//! fixed: by time, then by kind and index.

use std::collections::{BTreeMap, BTreeSet};

use crate::house::{AtomId, BoardId, LoadId, RuleId, SelectorId, SensorId, SetpointId};
use crate::units::{BootTime, WallTime};

/// What falls due by boot time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Timer {
    /// No report of the board for two thirds of its lease.
    BoardLost(BoardId),
    /// The lease of a lost board has surely run out.
    LeaseOut(BoardId),
    /// A board of other firmware is to be told everything again, or asked, or has had the time to take its orders.
    Foreign(BoardId),
    /// Orders of the board have waited long enough for their numbers to be on disk.
    Numbers(BoardId),
    /// The sensor has not been heard for as long as its readings keep.
    Stale(SensorId),
    /// An on delay or off delay of the rule is over.
    Delay(RuleId),
    /// A hold is over.
    HoldOver(LoadId),
    /// The time of a selector's position is over.
    SelectorOver(SelectorId),
    /// The time of what a setpoint was set to is over.
    SetpointOver(SetpointId),
    /// How long runs have lasted, and what is left of all that has an end, is to be stored again.
    StoreTimes,
    /// A board has not restarted too often for a while.
    BoardCalm(BoardId),
    /// A second board of that name has not been heard for a while.
    NamesakeGone(BoardId),
    /// A load has not switched too often for a while.
    LoadCalm(LoadId),
    /// A dwell, a settling time or a stagger of the load is over: decide again.
    Decide(LoadId),
}

/// What falls due by wall time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum WallTimer {
    /// The atom of wall time changes: a window opens or closes, a cycle turns, the sun passes an elevation.
    Boundary(AtomId),
    /// A hold until a clock time or an event of the sun is over.
    HoldOver(LoadId),
    /// The same of a selector's position.
    SelectorOver(SelectorId),
    /// The same of what a setpoint was set to.
    SetpointOver(SetpointId),
}

/// One due time for each timer, and all of them in order.
#[derive(Clone, Debug)]
pub(super) struct Timers<K: Ord + Copy, T: Ord + Copy> {
    due_of: BTreeMap<K, T>,
    in_order: BTreeSet<(T, K)>,
}

pub(super) type BootTimers = Timers<Timer, BootTime>;
pub(super) type WallTimers = Timers<WallTimer, WallTime>;

impl<K: Ord + Copy, T: Ord + Copy> Default for Timers<K, T> {
    fn default() -> Self {
        Timers { due_of: BTreeMap::new(), in_order: BTreeSet::new() }
    }
}

impl<K: Ord + Copy, T: Ord + Copy> Timers<K, T> {
    /// Lets `timer` fall due at `due`, instead of any time set before.
    pub fn set(&mut self, timer: K, due: T) {
        if let Some(before) = self.due_of.insert(timer, due) {
            if before == due {
                return;
            }
            self.in_order.remove(&(before, timer));
        }
        self.in_order.insert((due, timer));
    }

    /// Lets `timer` fall due at `due` unless it falls due before: for timers that look, when they fire, whether there is
    /// still something to wait for. That spares the work of moving them at every reading.
    pub fn set_lazily(&mut self, timer: K, due: T) {
        if self.due_of.get(&timer).is_none_or(|before| *before > due) {
            self.set(timer, due);
        }
    }

    /// Forgets `timer`.
    pub fn clear(&mut self, timer: K) {
        if let Some(due) = self.due_of.remove(&timer) {
            self.in_order.remove(&(due, timer));
        }
    }

    /// When a timer falls due, if it is set.
    pub fn due(&self, timer: K) -> Option<T> {
        self.due_of.get(&timer).copied()
    }

    /// When the next falls due.
    pub fn next(&self) -> Option<T> {
        self.in_order.first().map(|(due, _)| *due)
    }

    /// Takes the first that is due, if one is, and tells since when. One that was set lazily and is to fall due later is set
    /// once more by whoever takes it, also to a time that is over by now: what was due between comes first.
    pub fn pop_due(&mut self, now: T) -> Option<(K, T)> {
        let (due, timer) = *self.in_order.first()?;
        if due > now {
            return None;
        }
        self.in_order.pop_first();
        self.due_of.remove(&timer);
        Some((timer, due))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fires_by_time_then_kind_then_index() {
        let mut timers = BootTimers::default();
        timers.set(Timer::Decide(LoadId(1)), BootTime(10));
        timers.set(Timer::Stale(SensorId(7)), BootTime(10));
        timers.set(Timer::Stale(SensorId(2)), BootTime(10));
        timers.set(Timer::HoldOver(LoadId(0)), BootTime(5));
        assert_eq!(timers.next(), Some(BootTime(5)));
        let fired: Vec<Timer> = std::iter::from_fn(|| Some(timers.pop_due(BootTime(10))?.0)).collect();
        assert_eq!(
            fired,
            [
                Timer::HoldOver(LoadId(0)),
                Timer::Stale(SensorId(2)),
                Timer::Stale(SensorId(7)),
                Timer::Decide(LoadId(1))
            ]
        );
    }

    #[test]
    fn setting_again_moves_and_lazily_only_forward() {
        let mut timers = BootTimers::default();
        let timer = Timer::Stale(SensorId(0));
        timers.set(timer, BootTime(10));
        timers.set_lazily(timer, BootTime(20));
        assert_eq!(timers.next(), Some(BootTime(10)));
        timers.set(timer, BootTime(30));
        assert_eq!(timers.pop_due(BootTime(29)), None);
        timers.clear(timer);
        assert_eq!(timers.next(), None);
    }
}
