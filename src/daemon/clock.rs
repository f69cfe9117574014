//! The one file that reads clocks: boot time, wall time, whether the kernel calls wall time synchronised, and alarms on
//! both. It never decides what a time means for a load.

use std::io;
use std::os::fd::OwnedFd;

use rustix::time::{
    ClockId, Itimerspec, TimerfdClockId, TimerfdFlags, TimerfdTimerFlags, Timespec, clock_gettime, timerfd_create,
    timerfd_settime,
};
use tokio::io::unix::AsyncFd;

use super::shift;
pub use super::shift::shift;
use crate::engine::{Deadline, Now};
use crate::units::{BootTime, Span, WallTime};

/// A step of the wall clock by more than this must be explained.
const STEP: Span = Span::from_min(5);
/// How often the kernel is asked again whether the clock is synchronised.
const ASK_AGAIN: Span = Span::from_s(10);
/// This version was written after 2026-11-01: no clock that shows less is right.
const WRITTEN_AFTER: WallTime = WallTime(1_793_491_200_000);
/// Where the kernel keeps a name for the time since the machine started.
const BOOT_ID: &str = "/proc/sys/kernel/random/boot_id";
/// The kernel lets the estimated error grow by 500 ppm and gives up at 16 s: adjtimex(2), `maxerror`.
const MAX_ERROR_US: i64 = 16_000_000;

/// When wall time is trusted: `clock` in `standfast.toml`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ClockPolicy {
    /// When the kernel says that it is synchronised.
    #[default]
    Synchronised,
    /// When it is plausible: later than the store and than this version. For a machine with a battery-backed clock.
    Rtc,
    /// Always.
    Always,
}

/// Decides whether wall time may be believed. It reads nothing itself.
#[derive(Clone, Debug)]
pub struct Trust {
    policy: ClockPolicy,
    /// Wall time is later than this, if it is right.
    floor: WallTime,
    last: Option<Observation>,
    /// Until the kernel says so at this time or later, synchronised is not believed.
    suspect_until: Option<BootTime>,
}

/// What the clocks show at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Observation {
    /// Boot time.
    pub boot: BootTime,
    /// Wall time.
    pub wall: WallTime,
    /// Whether the kernel says that wall time is synchronised.
    pub synchronised: bool,
}

impl Trust {
    /// `stored` is the latest wall time that the store knows to have been.
    pub fn new(policy: ClockPolicy, stored: Option<WallTime>) -> Trust {
        let floor = stored.map_or(WRITTEN_AFTER, |stored| stored.max(WRITTEN_AFTER));
        Trust { policy, floor, last: None, suspect_until: None }
    }

    /// Takes in what the clocks show and says whether wall time is trusted.
    pub fn observe(&mut self, seen: Observation) -> bool {
        let last = self.last.replace(seen);
        match self.policy {
            ClockPolicy::Always => true,
            ClockPolicy::Rtc => seen.wall > self.floor,
            ClockPolicy::Synchronised => {
                // A step together with becoming synchronised explains itself. One after which the kernel goes on
                // saying that all is well does not: whoever keeps the clock gets a while to object.
                if let Some(last) = last
                    && stepped_by(last, seen) > STEP.0
                    && last.synchronised
                {
                    self.suspect_until = Some(seen.boot + ASK_AGAIN);
                }
                if seen.synchronised && self.suspect_until.is_some_and(|until| seen.boot >= until) {
                    self.suspect_until = None;
                }
                if !seen.synchronised {
                    // From here on "synchronised" is news, and needs no waiting.
                    self.suspect_until = None;
                }
                seen.synchronised && self.suspect_until.is_none()
            }
        }
    }
}

/// By how much wall time moved apart from boot time between two observations, in ms, either way.
fn stepped_by(before: Observation, after: Observation) -> u64 {
    let wall = i128::from(after.wall.0) - i128::from(before.wall.0);
    let boot = i128::from(after.boot.0) - i128::from(before.boot.0);
    u64::try_from((wall - boot).abs()).unwrap_or(u64::MAX)
}

/// How fast time runs for whoever asks, for a house that is only played. Copies agree on the time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pace {
    times: u32,
    boot: BootTime,
    wall: WallTime,
}

impl Pace {
    /// From now on time runs `times` as fast; less than once counts as once.
    pub fn from_now(times: u32) -> Pace {
        Pace { times: times.max(1), boot: boot_now(), wall: wall_now() }
    }

    /// How many times as fast it runs.
    pub const fn speed(self) -> u32 {
        self.times
    }

    /// Boot time now at this pace.
    pub fn boot_now(self) -> BootTime {
        self.boot(boot_now())
    }

    /// How much real time passes from now until boot time at this pace is that late.
    pub fn until(self, at: BootTime) -> Span {
        self.real_boot(at).since(boot_now())
    }

    /// Wall time now at this pace.
    pub fn wall_now(self) -> WallTime {
        self.wall(wall_now())
    }

    fn boot(self, real: BootTime) -> BootTime {
        self.boot + Span(real.since(self.boot).0.saturating_mul(u64::from(self.times)))
    }

    fn wall(self, real: WallTime) -> WallTime {
        WallTime(self.wall.0.saturating_add((real.0.saturating_sub(self.wall.0)).saturating_mul(i64::from(self.times))))
    }

    /// The real time at which it is that late, not earlier.
    fn real_boot(self, at: BootTime) -> BootTime {
        self.boot + Span(at.since(self.boot).0.div_ceil(u64::from(self.times)))
    }

    fn real_wall(self, at: WallTime) -> WallTime {
        let times = i64::from(self.times);
        let ahead = at.0.saturating_sub(self.wall.0);
        WallTime(self.wall.0.saturating_add(ahead.div_euclid(times) + i64::from(ahead.rem_euclid(times) != 0)))
    }
}

/// The clocks of this machine, with an alarm on each.
pub struct Clock {
    trust: Trust,
    pace: Option<Pace>,
    boot_alarm: AsyncFd<OwnedFd>,
    wall_alarm: AsyncFd<OwnedFd>,
}

impl Clock {
    /// Prepares the alarms. Must be called within a tokio runtime.
    ///
    /// # Errors
    /// When the kernel gives no timers.
    pub fn new(trust: Trust) -> io::Result<Clock> {
        Ok(Clock {
            trust,
            pace: None,
            boot_alarm: alarm(TimerfdClockId::Boottime)?,
            wall_alarm: alarm(TimerfdClockId::Realtime)?,
        })
    }

    /// The same clock at another pace.
    #[must_use]
    pub fn at_pace(mut self, pace: Pace) -> Clock {
        self.pace = Some(pace);
        self
    }

    /// The time now, and whether its wall part is trusted.
    pub fn now(&mut self) -> Now {
        let seen = observe();
        let trusted = self.trust.observe(seen);
        match self.pace {
            None => Now { boot: seen.boot, wall: seen.wall, trusted },
            Some(pace) => Now { boot: pace.boot(seen.boot), wall: pace.wall(seen.wall), trusted },
        }
    }

    /// Sleeps until the deadline by whichever clock is reached first, until the wall clock is set, or for 10 s: then what
    /// the kernel says of it is worth asking again. Time in suspend counts. Dropping the future loses nothing.
    ///
    /// # Errors
    /// When the kernel refuses a timer.
    pub async fn sleep_until(&self, deadline: Deadline) -> io::Result<()> {
        let deadline = match self.pace {
            None => deadline,
            Some(pace) => Deadline {
                boot: deadline.boot.map(|at| pace.real_boot(at)),
                wall: deadline.wall.map(|at| pace.real_wall(at)),
            },
        };
        let ask_again = boot_now() + ASK_AGAIN;
        let boot = deadline.boot.map_or(ask_again, |boot| boot.min(ask_again));
        let boot = boot.back(shift::boot());
        let flags = TimerfdTimerFlags::ABSTIME;
        timerfd_settime(&self.boot_alarm, flags, &once(i64::try_from(boot.0).unwrap_or(i64::MAX)))?;
        // Armed even with nothing to wait for, because only an armed one tells of the clock being set.
        let wall = deadline.wall.map_or(i64::MAX, |wall| wall.0.saturating_sub(shift::wall_ms()));
        timerfd_settime(&self.wall_alarm, flags | TimerfdTimerFlags::CANCEL_ON_SET, &once(wall))?;
        tokio::select! {
            rung = rung(&self.boot_alarm) => rung,
            rung = rung(&self.wall_alarm) => rung,
        }
    }
}

#[expect(unsafe_code, reason = "the runtime cannot see that a descriptor that we own stays open")]
fn alarm(clock: TimerfdClockId) -> io::Result<AsyncFd<OwnedFd>> {
    let timer = timerfd_create(clock, TimerfdFlags::NONBLOCK | TimerfdFlags::CLOEXEC)?;
    // SAFETY: the timer is a live descriptor that the `AsyncFd` owns from here on, and an `OwnedFd` is always the same.
    Ok(unsafe { AsyncFd::register(timer) }?)
}

/// Waits for an alarm. That the clock was set counts as well.
async fn rung(alarm: &AsyncFd<OwnedFd>) -> io::Result<()> {
    loop {
        let mut ready = alarm.readable().await?;
        let mut count = [0_u8; 8];
        match ready.try_io(|alarm| Ok(rustix::io::read(alarm, &mut count)?)) {
            Ok(Ok(_)) => return Ok(()),
            Ok(Err(error)) if error.raw_os_error() == Some(rustix::io::Errno::CANCELED.raw_os_error()) => return Ok(()),
            Ok(Err(error)) => return Err(error),
            // A false alarm.
            Err(_) => {}
        }
    }
}

/// A timer that rings once at an absolute time in ms; never zero, which would disarm it.
fn once(at_ms: i64) -> Itimerspec {
    // The kernel's own bound on seconds is far above any date, yet below what i64 milliseconds can say.
    let at_ms = at_ms.clamp(1, 253_402_300_799_000);
    Itimerspec {
        it_interval: Timespec { tv_sec: 0, tv_nsec: 0 },
        it_value: Timespec { tv_sec: at_ms / 1000, tv_nsec: at_ms % 1000 * 1_000_000 },
    }
}

/// Boot time now, at no pace but its own.
pub fn boot_now() -> BootTime {
    let now = clock_gettime(ClockId::Boottime);
    BootTime(u64::try_from(milliseconds(now)).unwrap_or(0).saturating_add(shift::boot().0))
}

/// Wall time now, trusted or not. For what is only shown or logged.
pub fn wall_now() -> WallTime {
    WallTime(milliseconds(clock_gettime(ClockId::Realtime)).saturating_add(shift::wall_ms()))
}

/// The kernel's name for the time since the machine started; `None` where it gives none, as in some sandboxes.
pub fn boot_id() -> Option<String> {
    let id = std::fs::read_to_string(BOOT_ID).ok()?;
    Some(id.trim().to_owned()).filter(|id| !id.is_empty())
}

fn observe() -> Observation {
    Observation { boot: boot_now(), wall: wall_now(), synchronised: is_synchronised() }
}

fn milliseconds(at: Timespec) -> i64 {
    at.tv_sec.saturating_mul(1000).saturating_add(at.tv_nsec / 1_000_000)
}

/// Whether the kernel says that something keeps the wall clock right. Where it may not be asked, nothing does.
#[expect(unsafe_code, reason = "no maintained safe wrapper for adjtimex exists, and only it knows")]
#[expect(clippy::useless_conversion, reason = "the kernel's long is 32 bits wide on some machines")]
fn is_synchronised() -> bool {
    // SAFETY: `timex` consists of integers only, for which all zeroes is a value; modes 0 makes the call read-only.
    let mut timex: libc::timex = unsafe { std::mem::zeroed() };
    // SAFETY: the pointer is to a live `timex` of ours that the kernel may fill.
    let state = unsafe { libc::adjtimex(&raw mut timex) };
    // The flag for "unsynchronised" is not asked: some keep a clock right without clearing it, and then keep the
    // estimated error small.
    state >= 0 && i64::from(timex.maxerror) < MAX_ERROR_US
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOON: i64 = 1_800_000_000_000;

    /// Observes each (seconds of boot time, ms that wall time is ahead of where it should be, synchronised).
    fn check(policy: ClockPolicy, seen: &[(u64, i64, bool)], expected: &[bool]) {
        let mut trust = Trust::new(policy, Some(WallTime(NOON - 1000)));
        let got: Vec<bool> = seen
            .iter()
            .map(|&(boot_s, ahead_ms, synchronised)| {
                let boot = BootTime(boot_s * 1000);
                let wall = WallTime(NOON + boot_s as i64 * 1000 + ahead_ms);
                trust.observe(Observation { boot, wall, synchronised })
            })
            .collect();
        assert_eq!(got, expected, "{policy:?} {seen:?}");
    }

    const HOUR: i64 = 3_600_000;

    #[test]
    fn synchronised_follows_the_kernel() {
        let seen = [(1, 0, false), (2, 0, true), (3, 0, true), (4, 0, false), (5, 0, true)];
        check(ClockPolicy::Synchronised, &seen, &[false, true, true, false, true]);
    }

    #[test]
    fn a_step_that_comes_with_synchronisation_explains_itself() {
        check(ClockPolicy::Synchronised, &[(1, -HOUR, false), (2, 0, true), (3, 0, true)], &[false, true, true]);
    }

    #[test]
    fn a_step_by_hand_removes_trust_until_synchronised_again() {
        // Setting the clock makes the kernel call it unsynchronised.
        let seen = [(1, 0, true), (2, HOUR, false), (60, HOUR, false), (61, 0, true)];
        check(ClockPolicy::Synchronised, &seen, &[true, false, false, true]);
    }

    #[test]
    fn a_step_that_the_kernel_did_not_notice_removes_trust_for_a_while() {
        let seen = [(1, 0, true), (2, HOUR, true), (11, HOUR, true), (12, HOUR, true)];
        check(ClockPolicy::Synchronised, &seen, &[true, false, false, true]);
        let back = [(1, 0, true), (2, -HOUR, true), (30, -HOUR, true)];
        check(ClockPolicy::Synchronised, &back, &[true, false, true]);
    }

    #[test]
    fn a_small_step_and_a_long_silence_are_no_step() {
        let seen = [(1, 0, true), (2, 299_000, true), (90_000, 299_000, true)];
        check(ClockPolicy::Synchronised, &seen, &[true, true, true]);
    }

    #[test]
    fn rtc_asks_for_plausibility_only_and_always_for_nothing() {
        let seen = [(1, 0, false), (2, HOUR, false), (3, -HOUR, false), (4, 0, false)];
        check(ClockPolicy::Rtc, &seen, &[true, true, false, true]);
        check(ClockPolicy::Always, &seen, &[true, true, true, true]);
        let mut fresh = Trust::new(ClockPolicy::Rtc, None);
        let at = |wall| Observation { boot: BootTime(1), wall, synchronised: false };
        assert!(!fresh.observe(at(WallTime(0))));
        assert!(fresh.observe(at(WallTime(WRITTEN_AFTER.0 + 1))));
    }

    #[test]
    fn a_pace_stretches_both_clocks_and_finds_its_way_back() {
        let pace = Pace { times: 60, boot: BootTime(1000), wall: WallTime(NOON) };
        assert_eq!(pace.boot(BootTime(1500)), BootTime(31_000));
        assert_eq!(pace.wall(WallTime(NOON + 500)), WallTime(NOON + 30_000));
        for ms in [0, 1, 59, 60, 61, 30_000] {
            let (boot, wall) = (BootTime(1000 + ms), WallTime(NOON + ms as i64));
            let (real_boot, real_wall) = (pace.real_boot(boot), pace.real_wall(wall));
            assert!(
                pace.boot(real_boot) >= boot && pace.boot(real_boot.back(Span(1))) < boot.max(BootTime(1001)),
                "{ms}"
            );
            assert!(pace.wall(real_wall) >= wall && pace.wall(real_wall - Span(1)) < wall, "{ms}");
        }
    }

    #[tokio::test]
    async fn alarms_ring_by_either_clock_and_at_once_when_they_are_late() {
        let mut clock = Clock::new(Trust::new(ClockPolicy::Always, None)).expect("timers");
        let before = clock.now();
        let soon = before.boot + Span(30);
        clock.sleep_until(Deadline { boot: Some(soon), wall: None }).await.expect("rings");
        assert!(boot_now() >= soon);
        let soon = wall_now() + Span(30);
        clock.sleep_until(Deadline { boot: None, wall: Some(soon) }).await.expect("rings");
        assert!(wall_now() >= soon);
        clock.sleep_until(Deadline { boot: Some(BootTime(0)), wall: None }).await.expect("rings");
        clock.sleep_until(Deadline { boot: None, wall: Some(WallTime(-5)) }).await.expect("rings");
        assert!(clock.now().boot >= before.boot);
    }
}
