//! Which alarms a person is told of by a program of theirs: what there is to tell is in the [`book`], and [`run`] runs the program.
//! It never raises an alarm, nor clears one.
//!
//! Alarms themselves are the engine's and stand on `alarm/<id>` from the first moment. What is delivered here reaches a
//! person who is not looking, so it waits out short ones, and it never says more than a person can read. What the program has
//! not taken is told again after a restart: rather twice than never.

pub mod book;
pub mod run;

use std::collections::BTreeMap;
use std::future::pending;

use jiff::tz::TimeZone;
use tokio::sync::mpsc;

use self::book::Book;
use super::config::Delivery;
use crate::engine::Alarm;
use crate::store::Told;
use crate::units::{BootTime, Span, WallTime};

/// The alarm about the program itself; it is not delivered by it.
pub const PROGRAM_ALARM: &str = "alarm-program";
/// What a notice tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum News {
    /// An alarm stands.
    Raised,
    /// It still stands and nobody has seen it.
    Reminder,
    /// What was told of is over.
    Cleared,
    /// More alarms came and went than can be told one by one.
    Many,
}

impl News {
    /// The word that the program gets.
    pub const fn word(self) -> &'static str {
        match self {
            News::Raised => "raised",
            News::Reminder => "reminder",
            News::Cleared => "cleared",
            News::Many => "many",
        }
    }
}

/// Something to tell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// The alarm's id; empty for [`News::Many`].
    pub alarm: String,
    /// What is wrong and what to do.
    pub text: String,
    /// When it was raised.
    pub raised: WallTime,
    /// What is told of it.
    pub news: News,
}

/// How a house wants to be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Manner {
    /// One that is over sooner is not told.
    pub delay: Span,
    /// Told again so often until somebody has seen it; `None` for once.
    pub reminder: Option<Span>,
}

/// The book with the program that it feeds.
pub struct Teller {
    book: Book,
    notices: mpsc::Sender<(Notice, TimeZone)>,
    outcomes: mpsc::Receiver<run::Outcome>,
}

impl Teller {
    /// Starts the task that runs the program. Must be called within a tokio runtime.
    pub fn new(delivery: Delivery, told: &BTreeMap<String, Told>, now: BootTime) -> Teller {
        let (notices, outcomes) = run::start(delivery.program);
        Teller { book: Book::new(delivery.manner, told, now), notices, outcomes }
    }

    /// Looks at the alarms that stand and hands on what is to be told. Yields what was told of by now, where that changed.
    pub fn look(
        &mut self,
        alarms: &BTreeMap<String, Alarm>,
        zone: &TimeZone,
        now: BootTime,
    ) -> Option<BTreeMap<String, Told>> {
        let notices = self.book.look(alarms, now);
        if notices.is_empty() {
            return None;
        }
        for notice in notices {
            if let Err(error) = self.notices.try_send((notice, zone.clone())) {
                tracing::error!("the alarm program does not keep up: {error}");
            }
        }
        Some(self.book.told())
    }

    /// Takes in what became of a notice. Yields what was told of by now, where that changed.
    pub fn hear(&mut self, outcome: &run::Outcome) -> Option<BTreeMap<String, Told>> {
        outcome.end.as_ref().ok()?;
        self.book.heard(&outcome.notice);
        Some(self.book.told())
    }

    /// Waits for what became of a notice.
    pub async fn outcome(&mut self) -> run::Outcome {
        match self.outcomes.recv().await {
            Some(outcome) => outcome,
            // Its task ends only with this.
            None => pending().await,
        }
    }
}
