//! Whether a board is there already, before somebody else plays it. It only listens: to ask would mean to speak for the
//! controller.

use std::time::Duration;

use tokio::time::sleep;

use crate::house::Board;
use crate::mqtt::{self, Inbox, LinkEvent, Subscription};
use crate::wire::{BoardTopics, Life, Report};

/// After the subscription is acknowledged, what the broker has stored comes within this.
const STORED_WITHIN: Duration = Duration::from_secs(1);
/// How much later than due a report may come.
const GRACE: Duration = Duration::from_secs(2);

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
    /// Somebody reports.
    There {
        /// The boot that reports.
        boot: u32,
    },
}

/// What one message says about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sign {
    Born { boot: u32 },
    Died,
    Reported { boot: u32 },
}

/// How long a living board of that lease may be silent.
pub fn patience(board: &Board) -> Duration {
    let quarter = match board.lease {
        Some(lease) => Duration::from_millis(lease.0 / 4),
        None => Duration::from_secs(u64::from(crate::board::REPORT_WITHOUT_LEASE_S)),
    };
    quarter + GRACE
}

/// Listens on the board's own topics. `waiting` is called when that takes a while, with why.
pub async fn look(
    link: mqtt::Options,
    topics: &BoardTopics,
    patience: Duration,
    mut waiting: impl FnMut(&str),
) -> Presence {
    let subscribe = |filter| Subscription { filter, acknowledged: true, retain_as_published: false };
    let subscriptions = vec![subscribe(topics.life()), subscribe(topics.report())];
    let (outbox, mut inbox) = mqtt::start(mqtt::Options { subscriptions, will: None, ..link });
    while let Some(event) = inbox.next().await {
        match event {
            LinkEvent::Up => break,
            LinkEvent::Down { why } => waiting(&format!("waiting for the broker: {why}")),
            _ => {}
        }
    }
    let presence = listen(&mut inbox, topics, patience, waiting).await;
    outbox.close(Vec::new()).await;
    presence
}

async fn listen(
    inbox: &mut Inbox,
    topics: &BoardTopics,
    patience: Duration,
    mut waiting: impl FnMut(&str),
) -> Presence {
    let mut born = None;
    let mut limit = Box::pin(sleep(STORED_WITHIN));
    loop {
        let event = tokio::select! {
            event = inbox.next() => event,
            () = &mut limit => None,
        };
        match event {
            None => return born.map_or(Presence::Absent, |boot| Presence::Silent { boot }),
            Some(LinkEvent::Message { topic, payload, .. }) => match sign(topics, &topic, &payload) {
                Some(Sign::Reported { boot }) => return Presence::There { boot },
                Some(Sign::Died) => return Presence::Absent,
                Some(Sign::Born { boot }) if born.is_none() => {
                    born = Some(boot);
                    waiting(&format!(
                        "boot {boot} was born and has not died; listening for up to {} s whether it reports",
                        patience.as_secs()
                    ));
                    limit.set(sleep(patience));
                }
                _ => {}
            },
            Some(_) => {}
        }
    }
}

fn sign(topics: &BoardTopics, topic: &str, payload: &[u8]) -> Option<Sign> {
    if topic == topics.report() {
        return Report::decode(payload).ok().map(|report| Sign::Reported { boot: report.boot });
    }
    Life::decode(payload).ok().map(|life| match life {
        Life::Birth { boot, .. } => Sign::Born { boot },
        Life::Death { .. } => Sign::Died,
    })
}
