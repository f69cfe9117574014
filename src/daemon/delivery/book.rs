//! What a person was told of alarms, and what is to be told now: after a delay, again until somebody has seen it, and once more when
//! it is over. It never hands anything on.

use std::collections::BTreeMap;

use super::{Manner, News, Notice, PROGRAM_ALARM};
use crate::engine::Alarm;
use crate::store::Told;
use crate::units::{BootTime, Span, WallTime};

/// So many notices go out within [`WINDOW`]; what comes beyond is told in one.
const MOST: usize = 30;
/// The window of [`MOST`].
const WINDOW: Span = Span::from_h(1);

#[derive(Clone, Debug)]
struct Standing {
    raised: WallTime,
    text: String,
    /// When it is to be told.
    due: BootTime,
    /// When it was told last.
    told: Option<BootTime>,
    /// Its turn to be told has come, now or before a restart, so its end is told as well.
    begun: bool,
    /// The program has taken it.
    heard: bool,
}

/// What was told of, and what is to be.
#[derive(Debug)]
pub struct Book {
    manner: Manner,
    standing: BTreeMap<String, Standing>,
    /// What is over, with when it was raised, as long as the program has not taken that.
    over: BTreeMap<String, WallTime>,
    /// When notices went out within the last window.
    sent: Vec<BootTime>,
    /// So many were not told one by one.
    unsaid: usize,
}

impl Book {
    /// A book that knows what was told before a restart, by the ids of alarms. What the program did not take is due.
    pub fn new(manner: Manner, told: &BTreeMap<String, Told>, now: BootTime) -> Book {
        let standing = |(id, told): (&String, &Told)| {
            let standing = Standing {
                raised: told.raised,
                text: String::new(),
                due: now,
                told: told.heard.then_some(now),
                begun: true,
                heard: told.heard,
            };
            (id.clone(), standing)
        };
        let standing = told.iter().map(standing).collect();
        Book { manner, standing, over: BTreeMap::new(), sent: Vec::new(), unsaid: 0 }
    }

    /// What was told, by the ids of alarms: those that stand, and those whose end the program has not taken. To be kept over a
    /// restart, which finds out by itself what is over.
    pub fn told(&self) -> BTreeMap<String, Told> {
        let over = self.over.iter().map(|(id, raised)| (id.clone(), Told { raised: *raised, heard: true }));
        let begun = self.standing.iter().filter(|(_, standing)| standing.begun);
        let begun = begun.map(|(id, one)| (id.clone(), Told { raised: one.raised, heard: one.heard }));
        // Of one that is raised anew, that it stands is what counts.
        over.chain(begun).collect()
    }

    /// Takes in that the program has taken a notice.
    pub fn heard(&mut self, notice: &Notice) {
        if notice.news == News::Cleared {
            if self.over.get(&notice.alarm) == Some(&notice.raised) {
                self.over.remove(&notice.alarm);
            }
        } else if let Some(standing) = self.standing.get_mut(&notice.alarm)
            && standing.raised == notice.raised
        {
            standing.heard = true;
        }
    }

    /// Looks at the alarms that stand, and says what is to be told now.
    pub fn look(&mut self, alarms: &BTreeMap<String, Alarm>, now: BootTime) -> Vec<Notice> {
        let mut notices = Vec::new();
        self.standing.retain(|id, standing| {
            // Told, gone and raised anew between two looks is told anew.
            let stands = alarms.get(id).is_some_and(|alarm| alarm.raised == standing.raised);
            if !stands && standing.begun {
                self.over.insert(id.clone(), standing.raised);
                notices.push(standing.notice(id, News::Cleared));
            }
            stands
        });
        for (id, alarm) in alarms.iter().filter(|(id, _)| *id != PROGRAM_ALARM) {
            let standing = self.standing.entry(id.clone()).or_insert_with(|| Standing {
                raised: alarm.raised,
                text: String::new(),
                due: now + self.manner.delay,
                told: None,
                begun: false,
                heard: false,
            });
            standing.text.clone_from(&alarm.text);
            if alarm.acknowledged {
                continue;
            }
            let (waits, news) = match standing.told {
                None => (Some(standing.due), News::Raised),
                Some(told) => (self.manner.reminder.map(|reminder| told + reminder), News::Reminder),
            };
            if waits.is_some_and(|until| until <= now) {
                (standing.told, standing.begun) = (Some(now), true);
                notices.push(standing.notice(id, news));
            }
        }
        self.in_measure(notices, now)
    }

    /// Holds back what a person could not read, and says how much that was once there is room again.
    fn in_measure(&mut self, notices: Vec<Notice>, now: BootTime) -> Vec<Notice> {
        self.sent.retain(|sent| now.since(*sent) < WINDOW);
        // The last place is for the notice that tells of the others.
        let room = (MOST - 1).saturating_sub(self.sent.len());
        let mut out: Vec<Notice> = Vec::new();
        for notice in notices {
            if out.len() < room { out.push(notice) } else { self.unsaid += 1 }
        }
        let first_of_window = self.sent.len() + out.len() < MOST;
        if self.unsaid > 0 && first_of_window {
            let text = match self.unsaid {
                1 => "one more alarm was raised or cleared; `standfast status` shows what stands".to_owned(),
                many => format!("{many} more alarms were raised or cleared; `standfast status` shows what stands"),
            };
            self.unsaid = 0;
            out.push(Notice { alarm: String::new(), text, raised: WallTime(0), news: News::Many });
        }
        self.sent.extend(out.iter().map(|_| now));
        out
    }
}

impl Standing {
    fn notice(&self, id: &str, news: News) -> Notice {
        let text = if self.text.is_empty() { id.to_owned() } else { self.text.clone() };
        Notice { alarm: id.to_owned(), text, raised: self.raised, news }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MANNER: Manner = Manner { delay: Span::from_s(30), reminder: Some(Span::from_h(12)) };

    fn told(id: &str, raised: i64, heard: bool) -> (String, Told) {
        (id.to_owned(), Told { raised: WallTime(raised), heard })
    }

    struct Case {
        book: Book,
        alarms: BTreeMap<String, Alarm>,
    }

    impl Case {
        fn new(manner: Manner) -> Case {
            Case { book: Book::new(manner, &BTreeMap::new(), BootTime(0)), alarms: BTreeMap::new() }
        }

        fn raise(&mut self, id: &str, raised: i64) {
            let alarm = Alarm {
                text: format!("{id} is wrong"),
                raised: WallTime(raised),
                acknowledged: false,
                acknowledged_by: None,
            };
            self.alarms.insert(id.to_owned(), alarm);
        }

        /// The daemon starts anew, with what it kept.
        fn restart(&mut self, second: u64) {
            self.book = Book::new(self.book.manner, &self.book.told(), BootTime(second * 1000));
        }

        /// What is told at a second, and taken by the program.
        fn check_heard(&mut self, second: u64, expected: &[(&str, News)]) {
            self.check(second, expected).iter().for_each(|notice| self.book.heard(notice));
        }

        /// What is told at a second.
        fn check(&mut self, second: u64, expected: &[(&str, News)]) -> Vec<Notice> {
            let notices = self.book.look(&self.alarms, BootTime(second * 1000));
            let found: Vec<(&str, News)> = notices.iter().map(|one| (one.alarm.as_str(), one.news)).collect();
            assert_eq!(found, expected, "at {second} s");
            notices
        }
    }

    #[test]
    fn one_that_lasts_is_told_once_again_and_when_it_is_over() {
        let mut case = Case::new(MANNER);
        case.raise("board-yard", 1);
        case.check(0, &[]);
        case.check(29, &[]);
        case.check(30, &[("board-yard", News::Raised)]);
        case.check(31, &[]);
        case.check(30 + 12 * 3600, &[("board-yard", News::Reminder)]);
        case.check(31 + 12 * 3600, &[]);
        case.alarms.clear();
        case.check(32 + 12 * 3600, &[("board-yard", News::Cleared)]);
        case.check(33 + 12 * 3600, &[]);
    }

    #[test]
    fn a_short_one_is_never_told() {
        let mut case = Case::new(MANNER);
        case.raise("sensor", 1);
        case.check(0, &[]);
        case.alarms.clear();
        case.check(29, &[]);
        case.raise("sensor", 2);
        case.check(31, &[]);
        case.check(61, &[("sensor", News::Raised)]);
    }

    #[test]
    fn what_somebody_has_seen_is_not_told_any_more_but_its_end_is() {
        let mut case = Case::new(MANNER);
        case.raise("clock", 1);
        case.check(0, &[]);
        case.check(30, &[("clock", News::Raised)]);
        case.alarms.get_mut("clock").expect("stands").acknowledged = true;
        case.check(30 + 13 * 3600, &[]);
        case.alarms.clear();
        case.check(31 + 13 * 3600, &[("clock", News::Cleared)]);
        let mut case = Case::new(MANNER);
        case.raise("clock", 1);
        case.alarms.get_mut("clock").expect("stands").acknowledged = true;
        case.check(0, &[]);
        case.check(60, &[]);
    }

    #[test]
    fn one_that_is_raised_anew_between_two_looks_is_told_anew() {
        let mut case = Case::new(Manner { delay: Span::ZERO, reminder: None });
        case.raise("board", 1);
        case.check(0, &[("board", News::Raised)]);
        case.raise("board", 2);
        case.check(1, &[("board", News::Cleared), ("board", News::Raised)]);
        case.check(1_000_000, &[]);
    }

    #[test]
    fn a_restart_tells_nothing_twice_and_forgets_no_end() {
        let before = BTreeMap::from([told("a", 1, true), told("b", 1, true)]);
        let mut case = Case { book: Book::new(MANNER, &before, BootTime(0)), alarms: BTreeMap::new() };
        case.raise("a", 1);
        case.check_heard(0, &[("b", News::Cleared)]);
        case.check(3600, &[]);
        assert_eq!(case.book.told(), BTreeMap::from([told("a", 1, true)]));
        case.check(12 * 3600, &[("a", News::Reminder)]);
    }

    #[test]
    fn what_the_program_has_not_taken_is_told_again_after_a_restart() {
        let mut case = Case::new(MANNER);
        for id in ["heard", "over", "over-unheard", "unheard"] {
            case.raise(id, 1);
        }
        case.check(0, &[]);
        let notices = case.book.look(&case.alarms, BootTime(30_000));
        assert_eq!(notices.len(), 4);
        notices[..2].iter().for_each(|notice| case.book.heard(notice));
        // Their ends are under way when it stops.
        case.alarms.retain(|id, _| !id.starts_with("over"));
        case.check(31, &[("over", News::Cleared), ("over-unheard", News::Cleared)]);
        case.restart(40);
        case.check_heard(40, &[("over", News::Cleared), ("over-unheard", News::Cleared), ("unheard", News::Raised)]);
        case.check(41, &[]);
        case.restart(50);
        case.check(50, &[]);
        assert_eq!(case.book.told(), BTreeMap::from([told("heard", 1, true), told("unheard", 1, true)]));
    }

    /// It has been told of, as far as anybody knows, so its end is told as well.
    #[test]
    fn one_that_nobody_took_and_that_is_gone_after_the_restart_is_told_as_over() {
        let mut case = Case::new(MANNER);
        case.raise("board", 1);
        case.check(0, &[]);
        case.check(30, &[("board", News::Raised)]);
        case.restart(40);
        case.alarms.clear();
        case.check(40, &[("board", News::Cleared)]);
        case.restart(50);
        case.check_heard(50, &[("board", News::Cleared)]);
        case.restart(60);
        case.check(60, &[]);
    }

    #[test]
    fn an_end_that_is_heard_late_is_not_that_of_one_that_was_raised_anew() {
        let mut case = Case::new(Manner { delay: Span::ZERO, reminder: None });
        case.raise("board", 1);
        let first = case.book.look(&case.alarms, BootTime(0));
        case.raise("board", 2);
        case.check(1, &[("board", News::Cleared), ("board", News::Raised)]);
        first.iter().for_each(|notice| case.book.heard(notice));
        assert_eq!(case.book.told(), BTreeMap::from([told("board", 2, false)]));
    }

    #[test]
    fn a_flood_is_told_in_one() {
        let mut case = Case::new(Manner { delay: Span::ZERO, reminder: None });
        for number in 0..100 {
            case.raise(&format!("sensor-{number:03}"), 1);
        }
        let notices = case.book.look(&case.alarms, BootTime(0));
        assert_eq!(notices.len(), MOST);
        let last = notices.last().expect("there are many");
        assert_eq!(last.news, News::Many);
        assert!(last.text.starts_with("71 more alarms"), "{}", last.text);
        case.alarms.clear();
        case.check(1, &[]);
        let later = case.book.look(&case.alarms, BootTime(3_600_000));
        assert_eq!(later.len(), 1);
        assert!(later[0].text.starts_with("100 more alarms"), "{}", later[0].text);
    }

    #[test]
    fn the_alarm_about_the_program_is_not_told_by_it() {
        let mut case = Case::new(Manner { delay: Span::ZERO, reminder: None });
        case.raise(PROGRAM_ALARM, 1);
        case.check(0, &[]);
        case.alarms.clear();
        case.check(1, &[]);
    }
}
