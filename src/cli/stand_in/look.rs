//! Whether a board is there already, before somebody else plays it. It only listens: to ask would mean to speak for the
//! controller.

use std::time::Duration;

use tokio::time::sleep;

use crate::house::{BoardId, Foreign, House};
use crate::mqtt::{self, Inbox, LinkEvent, Subscription};
use crate::units::Span;
use crate::wire::{BoardTopics, ForeignWord, Incoming, Life, Prefix, Report, Router};

/// After the subscription is acknowledged, what the broker has stored comes within this.
const STORED_WITHIN: Duration = Duration::from_secs(1);
/// How much later than due a report may come.
const GRACE: Duration = Duration::from_secs(2);
/// A board of other firmware that reports is told again or asked this often, where the house says nothing else.
const TOLD_AGAIN: Span = Span::from_min(1);

/// What was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Presence {
    /// Nobody, or one who has said that it died.
    Absent,
    /// Somebody was born, but let a report's time pass in silence.
    Silent {
        /// The boot that was born.
        boot: u32,
    },
    /// Somebody is there.
    There {
        /// What tells, as a clause: `its boot 17 reports`.
        how: String,
    },
}

/// What one message says about it.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Sign {
    Born { boot: u32 },
    Died,
    There { how: String },
}

/// The board that is looked for, and where it would be heard.
pub struct Watch<'h> {
    topics: BoardTopics,
    /// How long a living board of that lease may be silent.
    patience: Duration,
    other: Option<Other<'h>>,
}

/// A board of other firmware.
struct Other<'h> {
    id: BoardId,
    foreign: &'h Foreign,
    router: Router,
}

impl<'h> Watch<'h> {
    /// For a board of a house.
    pub fn new(house: &'h House, id: BoardId, prefix: &Prefix) -> Watch<'h> {
        let board = house.board(id);
        let other = |foreign| Other { id, foreign, router: Router::new(house, prefix.clone()) };
        let other = board.foreign.as_ref().map(other);
        let quarter = match (&other, board.lease) {
            (Some(other), _) => other.silence(),
            (None, Some(lease)) => Duration::from_millis(lease.0 / 4),
            (None, None) => Duration::from_secs(u64::from(crate::board::REPORT_WITHOUT_LEASE_S)),
        };
        Watch { topics: BoardTopics::new(prefix.clone(), &board.name), patience: quarter + GRACE, other }
    }

    fn filters(&self) -> Vec<String> {
        let Some(other) = &self.other else { return vec![self.topics.life(), self.topics.report()] };
        let mut filters: Vec<String> = other.foreign.ears().map(|ear| ear.topic.clone()).collect();
        filters.sort_unstable();
        filters.dedup();
        filters
    }

    /// How long is listened at first, and where that is long, why.
    fn at_first(&self) -> (Duration, Option<String>) {
        match &self.other {
            Some(other) if other.foreign.alive.is_none() && other.foreign.reports() => {
                let why = format!("listening for up to {} s whether it reports", self.patience.as_secs());
                (self.patience, Some(why))
            }
            _ => (STORED_WITHIN, None),
        }
    }

    fn sign(&self, topic: &str, payload: &[u8], retained: bool) -> Option<Sign> {
        if let Some(other) = &self.other {
            return other.sign(topic, payload, retained);
        }
        if topic == self.topics.report() {
            let there = |report: Report| Sign::There { how: format!("its boot {} reports", report.boot) };
            return Report::decode(payload).ok().map(there);
        }
        Life::decode(payload).ok().map(|life| match life {
            Life::Birth { boot, .. } => Sign::Born { boot },
            Life::Death { .. } => Sign::Died,
        })
    }
}

impl Other<'_> {
    /// How long a living one may be silent while somebody speaks to it.
    fn silence(&self) -> Duration {
        let told_again = [self.foreign.ask.as_ref().map(|ask| ask.every), self.foreign.repeat];
        let every = told_again.into_iter().flatten().min().unwrap_or(TOLD_AGAIN);
        Duration::from_millis(every.0)
    }

    fn sign(&self, topic: &str, payload: &[u8], retained: bool) -> Option<Sign> {
        let Ok(Incoming::Foreign(said)) = self.router.route(topic, payload, retained) else { return None };
        let words = said.words.into_iter().filter(|(board, _)| *board == self.id);
        words.filter_map(|(_, word)| word.ok()).find_map(|word| match word {
            ForeignWord::Alive(true) => Some(Sign::There { how: format!("{topic} says so") }),
            ForeignWord::Alive(false) => Some(Sign::Died),
            ForeignWord::Relays { kept: false, .. } => Some(Sign::There { how: format!("it reports on {topic}") }),
            // The broker had kept it, so nobody knows how old it is.
            ForeignWord::Relays { kept: true, .. } => None,
        })
    }
}

/// Listens on the board's own topics. `waiting` is called when that takes a while, with why.
pub async fn look(link: mqtt::Options, watch: &Watch<'_>, mut waiting: impl FnMut(&str)) -> Presence {
    let subscriptions = watch.filters().into_iter().map(Subscription::plain).collect();
    let (outbox, mut inbox) = mqtt::start(mqtt::Options { subscriptions, will: None, ..link });
    while let Some(event) = inbox.next().await {
        match event {
            LinkEvent::Up => break,
            LinkEvent::Down { why } => waiting(&format!("waiting for the broker: {why}")),
            _ => {}
        }
    }
    let presence = listen(&mut inbox, watch, waiting).await;
    outbox.close(Vec::new()).await;
    presence
}

async fn listen(inbox: &mut Inbox, watch: &Watch<'_>, mut waiting: impl FnMut(&str)) -> Presence {
    let mut born = None;
    let (within, why) = watch.at_first();
    if let Some(why) = why {
        waiting(&why);
    }
    let mut limit = Box::pin(sleep(within));
    loop {
        let event = tokio::select! {
            event = inbox.next() => event,
            () = &mut limit => None,
        };
        let (topic, payload, retained) = match event {
            None => return born.map_or(Presence::Absent, |boot| Presence::Silent { boot }),
            Some(LinkEvent::Message { topic, payload, retain }) => (topic, payload, retain),
            Some(_) => continue,
        };
        match watch.sign(&topic, &payload, retained) {
            Some(Sign::There { how }) => return Presence::There { how },
            Some(Sign::Died) => return Presence::Absent,
            Some(Sign::Born { boot }) if born.is_none() => {
                born = Some(boot);
                waiting(&format!(
                    "boot {boot} was born and has not died; listening for up to {} s whether it reports",
                    watch.patience.as_secs()
                ));
                limit.set(sleep(watch.patience));
            }
            _ => {}
        }
    }
}
