//! Atoms of wall time: windows, cycles, the sun's elevation. They are computed from where the clock now stands, never
//! replayed; each has one timer, its next boundary. It never believes a clock that is not trusted.

use jiff::Timestamp;

use super::Engine;
use super::timers::WallTimer;
use crate::house::{Atom, AtomId, LoadId, Truth};
use crate::units::{Finite, WallTime};

impl Engine {
    /// The truth of an atom of wall time; unknown while the clock is not trusted.
    pub(super) fn clock_truth(&self, atom: AtomId) -> Truth {
        if !self.now.trusted {
            return Truth::Unknown;
        }
        let at = self.now.wall.instant();
        match self.house.atom(atom) {
            Atom::Window { window, .. } => Truth::from(window.is_open(at, self.setting())),
            Atom::Cycle { cycle, .. } => Truth::from(cycle.is_on(at, self.setting())),
            Atom::Sun { bound, .. } => bound.is_met(at, self.setting().position).map_or(Truth::Unknown, Truth::from),
            _ => Truth::Unknown,
        }
    }

    /// Computes an atom of wall time from where the clock now stands, and when to look again.
    pub(super) fn follow_clock(&mut self, atom: AtomId) {
        match self.boundary_after(atom, self.now.wall.instant()) {
            Some(next) => self.wall_timers.set(WallTimer::Boundary(atom), next.into()),
            None => self.wall_timers.clear(WallTimer::Boundary(atom)),
        }
        self.follow_atom(atom);
    }

    fn boundary_after(&self, atom: AtomId, after: Timestamp) -> Option<Timestamp> {
        match self.house.atom(atom) {
            Atom::Window { window, .. } => window.next_boundary(after, self.setting()),
            Atom::Cycle { cycle, .. } => cycle.next_boundary(after, self.setting()),
            Atom::Sun { bound, .. } => bound.next_change(after, self.setting().position),
            _ => None,
        }
    }

    /// When an atom of wall time changes next; `None` where it never does, or while the clock is not trusted.
    pub(super) fn next_boundary(&self, atom: AtomId) -> Option<WallTime> {
        self.wall_timers.due(WallTimer::Boundary(atom)).filter(|_| self.now.trusted)
    }

    /// Computes all atoms of wall time: the clock was stepped back, or its trust changed.
    pub(super) fn follow_all_clocks(&mut self) {
        let index = self.index.clone();
        index.clocked.iter().for_each(|atom| self.follow_clock(*atom));
        for (load, asks) in index.asks_clock.iter().enumerate() {
            if *asks && !self.loads[load].settled {
                self.dirty_loads.insert(LoadId(load as u32));
            }
        }
    }

    /// The sun's elevation now in tenths of a degree, which is how well it is known; `None` while the clock is not trusted.
    pub(super) fn sun_now(&self) -> Option<Finite> {
        let degrees = crate::sun::elevation(self.setting().position, self.now.wall.instant())?;
        Finite::new((degrees * 10.0).round() / 10.0).filter(|_| self.now.trusted)
    }
}
