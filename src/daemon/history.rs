//! Readings on their way to the store: gathered, and handed over in batches that go to disk with the engine's memory, so that a
//! flash card lasts. It never judges a reading, and never hands over more often than it says; whoever wants to read what
//! waits here is shown it.

use std::collections::VecDeque;

use crate::store::StoredReading;
use crate::units::{BootTime, Finite, Span, WallTime};

/// Readings are handed over so often at most.
pub const BETWEEN: Span = Span::from_s(10);
/// When so many wait they are handed over as soon as that is allowed.
const MANY: usize = 4096;
/// So many wait at most; then the oldest go.
const MOST: usize = 40_960;
/// How often old readings are looked for.
const PRUNE_EVERY: Span = Span::from_h(24);

/// What waits.
#[derive(Debug)]
pub struct History {
    keep: Span,
    waiting: VecDeque<StoredReading>,
    /// So many found no room since readings were handed over.
    dropped: u64,
    /// When readings were handed over last.
    handed: Option<BootTime>,
    /// When old readings were dropped last, by the wall clock.
    pruned: Option<WallTime>,
}

/// Readings to be stored.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Handed {
    /// In the order in which they came.
    pub readings: Vec<StoredReading>,
    /// So many before them found no room.
    pub dropped: u64,
}

impl History {
    /// One that keeps readings for so long.
    pub fn new(keep: Span) -> History {
        History { keep, waiting: VecDeque::new(), dropped: 0, handed: None, pruned: None }
    }

    /// Takes a reading in as it came. One from while the clock is not trusted has no place in a history and is left out.
    pub fn take(&mut self, sensor: &str, value: Finite, at: WallTime, trusted: bool) {
        if !trusted {
            return;
        }
        if self.waiting.len() >= MOST {
            self.waiting.pop_front();
            self.dropped += 1;
        }
        self.waiting.push_back(StoredReading { sensor: sensor.to_owned(), at, value: value.get() });
    }

    /// What waits, for whoever wants to read it.
    pub fn waiting(&self) -> Vec<StoredReading> {
        self.waiting.iter().cloned().collect()
    }

    /// Whether so many wait that they are worth a write of their own, and one is allowed.
    pub fn is_pressing(&self, now: BootTime) -> bool {
        self.waiting.len() >= MANY && self.may_hand_over(now)
    }

    /// Hands over what waits, where a write is allowed again.
    pub fn hand_over(&mut self, now: BootTime) -> Option<Handed> {
        self.may_hand_over(now).then(|| {
            self.handed = Some(now);
            self.empty()
        })
    }

    /// Hands over what waits however short ago it was done, for an end.
    pub fn empty(&mut self) -> Handed {
        Handed { readings: std::mem::take(&mut self.waiting).into(), dropped: std::mem::take(&mut self.dropped) }
    }

    fn may_hand_over(&self, now: BootTime) -> bool {
        self.handed.is_none_or(|handed| now.since(handed) >= BETWEEN)
    }

    /// From when on readings are kept, where old ones are to be dropped now: once a day. Nothing is dropped by a clock that
    /// is not trusted.
    pub fn prune(&mut self, now: WallTime, trusted: bool) -> Option<WallTime> {
        let is_due = self.pruned.is_none_or(|pruned| now < pruned || now >= pruned + PRUNE_EVERY);
        (trusted && is_due).then(|| {
            self.pruned = Some(now);
            now - self.keep
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filled(count: usize) -> History {
        let mut history = History::new(Span::from_h(24));
        for at in 0..count {
            history.take("porch-lux", Finite::new(1.0).expect("finite"), WallTime(at as i64), true);
        }
        history
    }

    #[test]
    fn nothing_is_handed_over_twice_within_ten_seconds_however_much_waits() {
        let mut history = filled(MANY);
        let at = |s: u64| BootTime(s * 1000);
        assert!(history.is_pressing(at(100)));
        assert_eq!(history.hand_over(at(100)).map(|handed| handed.readings.len()), Some(MANY));
        let mut history = History { handed: Some(at(100)), ..filled(MOST) };
        for s in 100..110 {
            assert!(!history.is_pressing(at(s)), "at {s} s");
            assert_eq!(history.hand_over(at(s)), None, "at {s} s");
        }
        assert!(history.is_pressing(at(110)));
        assert_eq!(history.hand_over(at(110)).map(|handed| handed.readings.len()), Some(MOST));
        assert_eq!(history.hand_over(at(120)), Some(Handed::default()));
    }

    #[test]
    fn what_finds_no_room_is_counted_and_the_newest_are_kept() {
        let mut history = filled(MOST + 7);
        assert_eq!(history.waiting().len(), MOST);
        let handed = history.hand_over(BootTime(0)).expect("allowed");
        assert_eq!((handed.dropped, handed.readings[0].at), (7, WallTime(7)));
        assert_eq!(history.empty().dropped, 0);
    }

    #[test]
    fn old_readings_go_once_a_day_and_by_a_trusted_clock_only() {
        let mut history = filled(0);
        let day = |days: i64| WallTime(days * 86_400_000);
        assert_eq!(history.prune(day(10), false), None);
        assert_eq!(history.prune(day(10), true), Some(day(9)));
        assert_eq!(history.prune(day(11) - Span(1), true), None);
        assert_eq!(history.prune(day(11), true), Some(day(10)));
        // The clock was wrong, and is set back.
        assert_eq!(history.prune(day(5), true), Some(day(4)));
    }
}
