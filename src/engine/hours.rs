//! Hours run: for how long the load behind a relay is known to have been on. It counts what was reported, never what was
//! ordered, and leaves out what nobody can tell.

use serde::{Deserialize, Serialize};

use super::contact::Heard;
use crate::units::{BootTime, Moment, Span};

/// The counter of one relay.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Hours {
    total: Span,
    /// While it is known to be on: up to when that is counted.
    counted_to: Option<Moment>,
}

impl Hours {
    /// Takes a report that was received at `now`, of a load that is on or not.
    pub fn hear(&mut self, on: bool, heard: &Heard, now: BootTime) {
        let counted_to = self.counted_to.take();
        let until = if on { now.into() } else { heard.at };
        let since = match counted_to {
            Some(counted_to) if heard.unseen == 0 => Some(counted_to),
            // It was off in between, for nobody knows how long: what is sure is the time since its last change.
            _ if on => Some(heard.at),
            _ => None,
        };
        if let Some(since) = since {
            self.total = self.total + since.age(now).less(until.age(now));
        }
        self.counted_to = on.then(|| now.into());
    }

    /// The hours run.
    pub fn run(&self) -> Span {
        self.total
    }

    /// Moves its times onto another boot's clock.
    pub fn move_times(&mut self, past: impl Fn(Moment) -> Moment) {
        self.counted_to = self.counted_to.map(past);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A report `at` seconds, of a change so many seconds ago.
    fn hear(hours: &mut Hours, on: bool, turned: bool, unseen: u32, at: u64, ago: u64) {
        let heard = Heard { turned, unseen, at: Moment((at - ago) as i64 * 1000), ..Heard::default() };
        hours.hear(on, &heard, BootTime(at * 1000));
    }

    fn check(hours: &Hours, seconds: u64) {
        assert_eq!(hours.run(), Span::from_s(seconds));
    }

    #[test]
    fn time_on_is_counted_from_change_to_change() {
        let mut hours = Hours::default();
        hear(&mut hours, false, false, 0, 1000, 500);
        check(&hours, 0);
        hear(&mut hours, true, true, 0, 1010, 3);
        check(&hours, 3);
        hear(&mut hours, true, false, 0, 1030, 23);
        check(&hours, 23);
        hear(&mut hours, false, true, 0, 1050, 10);
        check(&hours, 33);
        hear(&mut hours, false, false, 0, 1070, 30);
        check(&hours, 33);
    }

    #[test]
    fn what_nobody_saw_is_left_out() {
        let mut hours = Hours::default();
        hear(&mut hours, true, true, 0, 1000, 0);
        // Off and on again meanwhile: on for five seconds now.
        hear(&mut hours, true, false, 2, 1100, 5);
        check(&hours, 5);
        // Off, on and off again.
        hear(&mut hours, false, true, 2, 1200, 50);
        check(&hours, 5);
    }
}
