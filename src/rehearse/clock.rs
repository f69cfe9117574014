//! The clocks of the controller's machine, by the stage's true time: a boot clock that starts with the machine, and a wall
//! clock that drifts, is stepped, and may be trusted or not. It never reads a real clock.

use crate::engine::Now;
use crate::units::{BootTime, WallTime};

/// A machine's clocks.
#[derive(Clone, Debug)]
pub struct Machine {
    /// What a right wall clock shows at true time zero.
    epoch: WallTime,
    /// True time at which the machine started.
    started: BootTime,
    /// How far the wall clock is ahead of a right one, in ms, at `set_at`.
    ahead: i64,
    /// How fast it runs away since then, in millionths.
    ppm: i64,
    set_at: BootTime,
    trusted: bool,
}

impl Machine {
    /// A machine that started at true time zero with a right clock.
    pub fn new(epoch: WallTime) -> Machine {
        Machine { epoch, started: BootTime(0), ahead: 0, ppm: 0, set_at: BootTime(0), trusted: true }
    }

    /// What its clocks show at a true time.
    pub fn now(&self, at: BootTime) -> Now {
        let wall = WallTime(self.right_wall(at).0 + self.error(at));
        Now { boot: BootTime(at.since(self.started).0), wall, trusted: self.trusted }
    }

    /// What a right wall clock shows.
    pub fn right_wall(&self, at: BootTime) -> WallTime {
        WallTime(self.epoch.0 + at.0 as i64)
    }

    /// How far the wall clock is ahead of a right one, in ms.
    pub fn error(&self, at: BootTime) -> i64 {
        self.ahead + at.since(self.set_at).0 as i64 * self.ppm / 1_000_000
    }

    /// How far the wall clock was ahead of a right one, in ms, when its clocks showed this since it started.
    pub fn error_of(&self, read: Now) -> i64 {
        read.wall.0 - self.right_wall(self.when_boot(read.boot)).0
    }

    /// Whether the wall clock is trusted.
    pub fn trusted(&self) -> bool {
        self.trusted
    }

    /// The true time at which the boot clock shows this.
    pub fn when_boot(&self, boot: BootTime) -> BootTime {
        BootTime(self.started.0.saturating_add(boot.0))
    }

    /// The first true time, from `at` on, at which the wall clock shows at least this if nobody touches it.
    pub fn when_wall(&self, at: BootTime, wall: WallTime) -> BootTime {
        let left = wall.0.saturating_sub(self.now(at).wall.0).max(0);
        let guess = i128::from(left) * 1_000_000 / i128::from(1_000_000 + self.ppm);
        let mut due = BootTime(at.0.saturating_add(u64::try_from(guess).unwrap_or(u64::MAX)));
        while self.now(due).wall < wall && due.0 < u64::MAX / 2 {
            due.0 += 1;
        }
        due
    }

    /// Steps the wall clock by so many ms and lets it run fast by so many millionths from now on.
    pub fn disturb(&mut self, at: BootTime, step_ms: i64, ppm: i64) {
        self.ahead = self.error(at) + step_ms;
        self.ppm = ppm;
        self.set_at = at;
    }

    /// Sets whether the wall clock is trusted.
    pub fn trust(&mut self, trusted: bool) {
        self.trusted = trusted;
    }

    /// Sets the wall clock right and trusts it.
    pub fn synchronise(&mut self, at: BootTime) {
        (self.ahead, self.ppm, self.set_at, self.trusted) = (0, 0, at, true);
    }

    /// The machine starts anew: its boot clock begins at zero.
    pub fn restart(&mut self, at: BootTime) {
        self.started = at;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_drifts_and_finds_its_way_back() {
        let mut machine = Machine::new(WallTime(1_000_000));
        machine.disturb(BootTime(10_000), 5_000, 100);
        let now = machine.now(BootTime(1_010_000));
        assert_eq!((now.boot, now.wall), (BootTime(1_010_000), WallTime(2_010_000 + 5_000 + 100)));
        assert_eq!(machine.error_of(now), 5_100);
        let due = machine.when_wall(BootTime(10_000), now.wall);
        assert!(machine.now(due).wall >= now.wall && machine.now(BootTime(due.0 - 1)).wall < now.wall);
        machine.restart(BootTime(2_000_000));
        machine.synchronise(BootTime(2_000_000));
        let now = machine.now(BootTime(2_000_500));
        assert_eq!((now.boot, now.wall, now.trusted), (BootTime(500), WallTime(3_000_500), true));
        assert_eq!(machine.error_of(now), 0);
    }
}
