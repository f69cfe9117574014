//! What the loop does once a second beside what happens: small chores, and alarms of the shell's own that come with time. It
//! never waits.

use super::{Running, Turning};
use crate::daemon::change::alarm;
use crate::daemon::clock;
use crate::engine::MEMORY_ALARM;
use crate::units::{BootTime, Span};

/// A clock that is not trusted for this long is an alarm; right after a start it is usual.
const UNTRUSTED_FOR: Span = Span::from_min(5);
/// The alarm about the clock.
const CLOCK_ALARM: &str = "clock";
/// A broker that is out of reach for this long is an alarm; one that starts anew is back sooner.
const UNLINKED_FOR: Span = Span::from_s(10);
/// The alarm about the broker.
const BROKER_ALARM: &str = "broker";

impl Turning {
    /// Tells of alarms, as far as that is wanted and due.
    fn tell(&mut self, now: BootTime) {
        let Running { keeper, teller: Some(teller), .. } = &mut self.running else { return };
        let engine = keeper.engine();
        if let Some(told) = teller.look(engine.alarms(), &engine.house().site.zone, now) {
            keeper.store().tell(told);
        }
    }

    pub(super) fn chores(&mut self) {
        let now = clock::boot_now();
        self.tell(now);
        let keeper = &mut self.running.keeper;
        keeper.turn();
        keeper.flush();
        keeper.tell_of_sensors();
        keeper.store_what_waits();
        keeper.look_after_topics();
        keeper.keep_lock();
        self.doubt_clock(now);
        self.miss_broker(now);
        self.forget_memory_alarm();
    }

    /// A clock that stays untrusted is an alarm: rules that ask it are unknown.
    fn doubt_clock(&mut self, now: BootTime) {
        if self.running.keeper.engine().now().trusted {
            self.untrusted_since = None;
            self.clear(CLOCK_ALARM);
        } else if now.since(*self.untrusted_since.get_or_insert(now)) >= UNTRUSTED_FOR {
            let text = "the clock is not trusted, so rules that ask it are unknown. Find out why the machine does not \
                        synchronise it; where nothing does, write clock = \"rtc\" in standfast.toml";
            self.running.keeper.step(alarm(CLOCK_ALARM, Some(text.to_owned())));
        }
    }

    /// A broker that stays away is an alarm: no order goes out, and readings do not come.
    fn miss_broker(&mut self, now: BootTime) {
        if self.running.keeper.is_linked() {
            self.unlinked_since = None;
            self.clear(BROKER_ALARM);
        } else if now.since(*self.unlinked_since.get_or_insert(now)) >= UNLINKED_FOR
            && !self.running.keeper.engine().alarms().contains_key(BROKER_ALARM)
        {
            let why = self.running.keeper.why_unlinked().unwrap_or("it does not answer");
            let text = format!(
                "the broker is out of reach ({why}). No board gets orders, and each goes to its fallback when its lease has run \
                 out. See whether the broker runs, and look at [broker] in standfast.toml"
            );
            self.running.keeper.step(alarm(BROKER_ALARM, Some(text)));
        }
    }

    /// What is lost from memory does not come back: the alarm has done its work once a person has seen it, and not before.
    fn forget_memory_alarm(&mut self) {
        let alarms = self.running.keeper.engine().alarms();
        if alarms.get(MEMORY_ALARM).is_some_and(|alarm| alarm.acknowledged) {
            self.clear(MEMORY_ALARM);
        }
    }
}
