//! What became of what a person did on the page, shown once on the page that follows. It never holds more than a few.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex};

use crate::daemon::clock;
use crate::daemon::protocol::{Response, ResponseOutcome};

/// So many wait to be shown; who does not come for one has left.
const KEPT: usize = 64;

/// Words for a person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// Whether it was done.
    pub done: bool,
    /// In words.
    pub text: String,
}

impl From<Response> for Notice {
    fn from(response: Response) -> Notice {
        Notice { done: response.outcome == ResponseOutcome::Done, text: response.text }
    }
}

/// Notices on their way to the next page.
#[derive(Clone, Debug, Default)]
pub struct Notices(Arc<Mutex<Kept>>);

#[derive(Debug, Default)]
struct Kept {
    last: u64,
    waiting: VecDeque<(u64, Notice)>,
}

impl Notices {
    /// Keeps one and yields its number, which no other has, not even after a restart.
    pub fn put(&self, notice: Notice) -> u64 {
        let mut kept = self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        kept.last = (kept.last + 1).max(clock::boot_now().0);
        let number = kept.last;
        kept.waiting.push_back((number, notice));
        if kept.waiting.len() > KEPT {
            kept.waiting.pop_front();
        }
        number
    }

    /// The notice of a number. It stays a while, so that a page that is loaded again says the same.
    pub fn get(&self, number: u64) -> Option<Notice> {
        let kept = self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        kept.waiting.iter().find(|(known, _)| *known == number).map(|(_, notice)| notice.clone())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_is_found_by_its_number_and_only_a_few_are_kept() {
        let notices = Notices::default();
        let notice = |text: String| Notice { done: true, text };
        let first = notices.put(notice("first".to_owned()));
        assert_eq!(notices.get(first), Some(notice("first".to_owned())));
        assert_eq!(notices.get(first + 1_000_000), None);
        let mut last = first;
        for number in 0..KEPT {
            last = notices.put(notice(number.to_string()));
        }
        assert_eq!(notices.get(first), None);
        assert_eq!(notices.get(last), Some(notice((KEPT - 1).to_string())));
    }
}
