//! Who else writes on topics that are Standfast's own: that it is told of, and how soon what was written there is put right.
//! Two that put each other right do so ever more seldom. It never decides what is to stand there.

use std::collections::BTreeMap;

use crate::units::{BootTime, Span};

/// The alarm about it.
pub const OTHER_WRITER_ALARM: &str = "other-writer";

/// A topic is put right at once, and then not again before this much has passed; each time twice as much.
const FIRST_PAUSE: Span = Span::from_s(5);
/// No pause is longer; it is shorter than what counts as calm, so that two that go on are not taken for new ones.
const LONGEST_PAUSE: Span = Span::from_min(30);
/// After so long without another word from it, whoever it was has left.
const CALM: Span = Span::from_h(1);

/// What somebody else wrote where, and when.
#[derive(Debug)]
pub struct OtherWriter {
    topics: BTreeMap<String, Written>,
    /// When the last word of it came, or since when there may be one of before.
    last: BootTime,
}

#[derive(Clone, Copy, Debug)]
struct Written {
    /// When it may be put right again.
    next: BootTime,
    pause: Span,
    /// It is not put right yet.
    is_owed: bool,
    last: BootTime,
}

impl OtherWriter {
    /// Nothing was seen yet, by a process that runs since `now`.
    pub fn new(now: BootTime) -> OtherWriter {
        OtherWriter { topics: BTreeMap::new(), last: now }
    }

    /// Somebody else wrote on a topic; whether it is to be put right now.
    pub fn wrote(&mut self, topic: &str, now: BootTime) -> bool {
        self.last = now;
        let fresh = Written { next: now, pause: FIRST_PAUSE, is_owed: false, last: now };
        let written = self.topics.entry(topic.to_owned()).or_insert(fresh);
        if now.since(written.last) >= CALM {
            *written = fresh;
        }
        written.last = now;
        written.is_owed = true;
        written.put_right(now)
    }

    /// The topics that are to be put right by now. For once in a second.
    pub fn due(&mut self, now: BootTime) -> Vec<String> {
        let due = self.topics.iter_mut().filter_map(|(topic, written)| written.put_right(now).then(|| topic.clone()));
        due.collect()
    }

    /// Whether nobody else has written for long, and all is put right.
    pub fn is_calm(&mut self, now: BootTime) -> bool {
        self.topics.retain(|_, written| written.is_owed || now.since(written.last) < CALM);
        self.topics.is_empty() && now.since(self.last) >= CALM
    }
}

impl Written {
    /// Whether it is put right now; notes that it is.
    fn put_right(&mut self, now: BootTime) -> bool {
        if !self.is_owed || now < self.next {
            return false;
        }
        self.is_owed = false;
        self.next = now + self.pause;
        self.pause = Span(self.pause.0 * 2).min(LONGEST_PAUSE);
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TOPIC: &str = "standfast/to/yard/fallback";

    fn at(second: u64) -> BootTime {
        BootTime(second * 1000)
    }

    #[test]
    fn one_slip_is_put_right_at_once_and_forgotten_in_an_hour() {
        let mut other = OtherWriter::new(at(0));
        assert!(other.wrote(TOPIC, at(100)));
        assert_eq!(other.due(at(101)), [""; 0]);
        assert!(!other.is_calm(at(3699)));
        assert!(other.is_calm(at(3700)));
        assert!(other.wrote(TOPIC, at(9000)), "as if it were the first");
    }

    /// Each puts right what the other wrote, within a second.
    #[test]
    fn two_that_put_each_other_right_do_so_ever_more_seldom() {
        let mut other = OtherWriter::new(at(0));
        let mut times = u32::from(other.wrote(TOPIC, at(0)));
        assert!(!other.wrote(TOPIC, at(0)), "again at once");
        for second in 1..24 * 3600 {
            let is_put_right = !other.due(at(second)).is_empty();
            times += u32::from(is_put_right);
            if is_put_right {
                assert!(!other.wrote(TOPIC, at(second)), "again at once");
            }
        }
        assert!((30..80).contains(&times), "{times} times in a day");
    }

    #[test]
    fn a_flood_is_put_right_once_in_a_while() {
        let mut other = OtherWriter::new(at(0));
        let times = (0..10_000).filter(|ms| other.wrote(TOPIC, BootTime(*ms))).count();
        assert_eq!(times, 2);
        assert_eq!(other.due(at(20)), [TOPIC]);
    }

    #[test]
    fn an_alarm_of_before_stands_for_an_hour_more() {
        let mut other = OtherWriter::new(at(500));
        assert!(!other.is_calm(at(501)));
        assert!(other.is_calm(at(500 + 3600)));
    }
}
