//! Bad input in the log: each topic at most once a minute, and the log never flooded by many topics. It never decides what
//! is bad.

use std::collections::{BTreeMap, BTreeSet};

use crate::units::{BootTime, Span};

/// A topic that was complained of is quiet for this long.
const QUIET: Span = Span::from_min(1);
/// So many topics are told apart; more only with a flood of invented ones.
const TOPICS: usize = 256;
/// The longest part of a topic that is shown, in characters.
const SHOWN: usize = 96;

/// What was complained of, and when.
#[derive(Debug, Default)]
pub struct Complaints {
    topics: BTreeMap<String, Quiet>,
    others: Option<Quiet>,
    /// What was said once for all.
    mentioned: BTreeSet<String>,
}

#[derive(Clone, Copy, Debug)]
struct Quiet {
    since: BootTime,
    unsaid: u64,
}

/// What to say of a complaint.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Say {
    /// This topic; so many more of it were not said since the last time.
    Topic {
        /// Shortened, control characters escaped.
        shown: String,
        /// How many were not said.
        unsaid: u64,
    },
    /// There are too many topics to tell apart; so many were not said.
    Others {
        /// How many were not said.
        unsaid: u64,
    },
    /// Nothing now.
    Nothing,
}

impl Complaints {
    /// Takes in a complaint about a topic and says whether it is to be logged.
    pub fn about(&mut self, topic: &str, now: BootTime) -> Say {
        let shown = shown(topic);
        if !self.topics.contains_key(&shown) && self.topics.len() >= TOPICS {
            self.topics.retain(|_, quiet| now.since(quiet.since) < QUIET);
        }
        if !self.topics.contains_key(&shown) && self.topics.len() >= TOPICS {
            return match heard(&mut self.others, now) {
                Some(unsaid) => Say::Others { unsaid },
                None => Say::Nothing,
            };
        }
        let mut quiet = self.topics.get(&shown).copied();
        let said = heard(&mut quiet, now);
        if let Some(quiet) = quiet {
            self.topics.insert(shown.clone(), quiet);
        }
        match said {
            Some(unsaid) => Say::Topic { shown, unsaid },
            None => Say::Nothing,
        }
    }

    /// Yields a topic as it is shown the first time that it is asked for; of more topics than are told apart, nothing.
    pub fn first_of(&mut self, topic: &str) -> Option<String> {
        let shown = shown(topic);
        let is_first = self.mentioned.len() < TOPICS && self.mentioned.insert(shown.clone());
        is_first.then_some(shown)
    }

    /// Takes in a complaint and logs it if it is time.
    pub fn log(&mut self, topic: &str, why: &str, now: BootTime) {
        match self.about(topic, now) {
            Say::Topic { shown, unsaid: 0 } => tracing::warn!(topic = shown, "dropped: {why}"),
            Say::Topic { shown, unsaid } => tracing::warn!(topic = shown, unsaid, "dropped: {why}"),
            Say::Others { unsaid } => tracing::warn!(unsaid, "many more topics have bad messages"),
            Say::Nothing => {}
        }
    }
}

/// Counts one; yields how many were not said if it is time to speak.
fn heard(quiet: &mut Option<Quiet>, now: BootTime) -> Option<u64> {
    match quiet {
        Some(last) if now.since(last.since) < QUIET => {
            last.unsaid += 1;
            None
        }
        _ => {
            let unsaid = quiet.map_or(0, |last| last.unsaid);
            *quiet = Some(Quiet { since: now, unsaid: 0 });
            Some(unsaid)
        }
    }
}

fn shown(topic: &str) -> String {
    let mut shown: String = topic.chars().take(SHOWN).flat_map(char::escape_debug).collect();
    if topic.chars().nth(SHOWN).is_some() {
        shown.push('…');
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(topic: &str, unsaid: u64) -> Say {
        Say::Topic { shown: topic.to_owned(), unsaid }
    }

    #[test]
    fn a_topic_is_said_once_a_minute_with_what_was_not() {
        let mut complaints = Complaints::default();
        let mut about = |topic, second: u64| complaints.about(topic, BootTime(second * 1000));
        assert_eq!(about("a", 0), said("a", 0));
        assert_eq!(about("a", 1), Say::Nothing);
        assert_eq!(about("b", 1), said("b", 0));
        assert_eq!(about("a", 59), Say::Nothing);
        assert_eq!(about("a", 60), said("a", 2));
        assert_eq!(about("a", 200), said("a", 0));
    }

    #[test]
    fn a_flood_of_topics_is_summed_up_and_room_comes_back() {
        let mut complaints = Complaints::default();
        let lines = (0..10_000).filter(|n| complaints.about(&format!("t{n}"), BootTime(0)) != Say::Nothing).count();
        assert_eq!(lines, TOPICS + 1);
        assert_eq!(complaints.about("new", BootTime(60_000)), said("new", 0));
    }

    #[test]
    fn what_is_mentioned_once_is_not_mentioned_again_and_not_without_bound() {
        let mut complaints = Complaints::default();
        assert_eq!(complaints.first_of("a"), Some("a".to_owned()));
        assert_eq!(complaints.first_of("a"), None);
        let mentioned = (0..10_000).filter_map(|n| complaints.first_of(&format!("t{n}"))).count();
        assert_eq!(mentioned, TOPICS - 1);
    }

    #[test]
    fn a_topic_cannot_forge_the_log() {
        let say = Complaints::default().about(&format!("a\n\u{1b}[2J{}", "x".repeat(200)), BootTime(0));
        let Say::Topic { shown, .. } = say else { panic!("{say:?}") };
        assert!(shown.starts_with("a\\n\\u{1b}[2J") && shown.len() < 130, "{shown}");
    }
}
