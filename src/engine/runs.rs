//! How long a load has run and how often it has started: what max on, rest and max starts rest upon. It counts what the
//! contact may have done, never what was wished, and errs towards too long and too often.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::units::{BootTime, Moment, Span};

/// The starts and the present run behind one relay.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Runs {
    /// The earliest moment at which the run can have begun that has not been followed by a rest yet.
    pub since: Option<Moment>,
    /// Max on has ended the run, and the rest is not over.
    pub cut: bool,
    /// When it started, latest last; no more than the limit counts.
    pub starts: VecDeque<Moment>,
}

/// So many starts are kept at most: more than any limit that a contact could live with.
pub(super) const STARTS_KEPT: usize = 1000;

/// How often something came to a state in so many changes to and fro, by whether it is in that state after them.
pub(super) const fn comings(is_there: bool, changes: u32) -> u32 {
    if is_there { changes.div_ceil(2) } else { changes / 2 }
}

impl Runs {
    /// It may run from `at` on.
    pub fn may_run(&mut self, at: Moment) {
        self.since = Some(self.since.map_or(at, |since| since.min(at)));
    }

    /// It was found to have started, `times` times since it was last looked at, the last time at `at`.
    pub fn started(&mut self, at: Moment, times: u32) {
        for _ in 0..times.min(STARTS_KEPT as u32) {
            if self.starts.len() == STARTS_KEPT {
                self.starts.pop_front();
            }
            // What is found out late may have happened before what is known already.
            let place = self.starts.partition_point(|start| *start <= at);
            self.starts.insert(place, at);
        }
    }

    /// It has been off since `since` at the latest: after a rest the next run is a new one. An off shorter than the rest
    /// does not cool a motor down, so the run goes on counting across it.
    pub fn rested(&mut self, since: Moment, rest: Span, now: BootTime) {
        if since.after(rest) <= now {
            self.since = None;
            self.cut = false;
        }
    }

    /// Whether max on ends the run now, or has ended it and the rest is not over.
    pub fn is_cut(&mut self, max_on: Span, now: BootTime) -> bool {
        if self.since.is_some_and(|since| since.after(max_on) <= now) {
            self.cut = true;
        }
        self.cut
    }

    /// When max on will end the run.
    pub fn cut_at(&self, max_on: Span) -> Option<BootTime> {
        self.since.filter(|_| !self.cut).map(|since| since.after(max_on))
    }

    /// When the next start is free, if `most` starts within `within` have happened; `None` where it is free now.
    pub fn next_start(&self, most: u32, within: Span, now: BootTime) -> Option<BootTime> {
        // The oldest of the last `most` starts has to leave the span.
        let place = self.starts.len().checked_sub(most as usize)?;
        let free = self.starts.get(place)?.after(within);
        (free > now).then_some(free)
    }

    /// Moves its times onto another boot's clock; `ran` does so for the beginning of the run that goes on.
    pub fn move_times(&mut self, ran: impl Fn(Moment) -> Moment, past: impl Fn(Moment) -> Moment) {
        self.since = self.since.map(ran);
        self.starts.iter_mut().for_each(|start| *start = past(*start));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: u64 = 60_000;

    fn at(minutes: u64) -> BootTime {
        BootTime(minutes * MINUTE)
    }

    #[test]
    fn a_run_is_cut_at_max_on_and_stays_cut_until_it_has_rested() {
        let mut runs = Runs::default();
        runs.may_run(at(10).into());
        assert_eq!(runs.cut_at(Span::from_min(20)), Some(at(30)));
        assert!(!runs.is_cut(Span::from_min(20), BootTime(30 * MINUTE - 1)));
        assert!(runs.is_cut(Span::from_min(20), at(30)));
        runs.rested(at(30).into(), Span::from_min(5), BootTime(35 * MINUTE - 1));
        assert!(runs.is_cut(Span::from_min(20), at(34)));
        runs.rested(at(30).into(), Span::from_min(5), at(35));
        assert!(!runs.is_cut(Span::from_min(20), at(35)));
    }

    #[test]
    fn an_off_shorter_than_the_rest_does_not_begin_a_new_run() {
        let mut runs = Runs::default();
        runs.may_run(at(10).into());
        runs.rested(at(20).into(), Span::from_min(5), at(22));
        runs.may_run(at(22).into());
        assert_eq!(runs.cut_at(Span::from_min(20)), Some(at(30)));
    }

    #[test]
    fn starts_within_a_span_are_counted() {
        let mut runs = Runs::default();
        for minute in [0, 10, 20] {
            assert_eq!(runs.next_start(3, Span::from_h(1), at(minute)), None);
            runs.started(at(minute).into(), 1);
        }
        assert_eq!(runs.next_start(3, Span::from_h(1), at(30)), Some(at(60)));
        assert_eq!(runs.next_start(3, Span::from_h(1), at(60)), None, "the first one has left the hour");
        runs.started(at(60).into(), 1);
        assert_eq!(runs.next_start(3, Span::from_h(1), at(61)), Some(at(70)));
        assert_eq!(runs.next_start(9, Span::from_h(1), at(61)), None);
    }

    #[test]
    fn a_start_that_is_found_out_late_takes_its_place_in_time() {
        let mut runs = Runs::default();
        runs.started(at(20).into(), 1);
        runs.started(at(5).into(), 1);
        assert_eq!(runs.next_start(1, Span::from_h(1), at(30)), Some(at(80)));
        assert_eq!(runs.next_start(2, Span::from_h(1), at(30)), Some(at(65)));
    }

    #[test]
    fn starts_that_nobody_saw_count_too_and_memory_is_bounded() {
        let mut runs = Runs::default();
        runs.started(at(5).into(), 2);
        assert_eq!(runs.next_start(2, Span::from_h(1), at(6)), Some(at(65)));
        runs.started(at(6).into(), u32::MAX);
        assert_eq!(runs.starts.len(), STARTS_KEPT);
    }
}
