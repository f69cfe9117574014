//! The bounded queue between the link and whoever reads it. Under pressure the latest reading of a topic replaces older
//! ones, everything else stays first in, first out. It never blocks the link.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::Notify;

use super::LatestWins;

/// How many events wait at most before something has to give way.
const CAPACITY: usize = 1024;

/// What a link has to tell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LinkEvent {
    /// Connected, and every subscription is acknowledged.
    Up,
    /// The link is gone, or could not be made. Told once for each outage and again only when the reason changes.
    Down {
        /// In words for a person.
        why: String,
    },
    /// A message came in.
    Message {
        /// The whole topic, prefix included.
        topic: String,
        /// The payload, at most [`super::PAYLOAD_LIMIT`] bytes.
        payload: Vec<u8>,
        /// The broker delivered it as retained, or it was published so where the subscription asks for that.
        retain: bool,
    },
    /// A message was too long to be handed on.
    TooLarge {
        /// The whole topic, prefix included.
        topic: String,
        /// How long the payload was, in bytes.
        bytes: usize,
    },
    /// So many messages had to give way since this was last told, because nobody read them.
    Lost {
        /// How many.
        messages: u64,
    },
    /// Another client with the same id has taken the session. The link has ended for good.
    TakenOver,
}

impl LinkEvent {
    fn is_message(&self) -> bool {
        matches!(self, LinkEvent::Message { .. } | LinkEvent::TooLarge { .. })
    }
}

#[derive(Default)]
struct Waiting {
    events: VecDeque<LinkEvent>,
    lost: u64,
    closed: bool,
}

/// The link's end of the queue.
#[derive(Clone)]
pub(super) struct Intake {
    waiting: Arc<Mutex<Waiting>>,
    ready: Arc<Notify>,
    latest_wins: LatestWins,
}

/// The reader's end of the queue.
pub struct Inbox {
    waiting: Arc<Mutex<Waiting>>,
    ready: Arc<Notify>,
}

/// Both ends of a new queue.
pub(super) fn queue(latest_wins: LatestWins) -> (Intake, Inbox) {
    let waiting = Arc::new(Mutex::new(Waiting::default()));
    let ready = Arc::new(Notify::new());
    (Intake { waiting: waiting.clone(), ready: ready.clone(), latest_wins }, Inbox { waiting, ready })
}

fn lock(waiting: &Mutex<Waiting>) -> MutexGuard<'_, Waiting> {
    // Nothing below can leave the queue half changed, so a panic elsewhere does not spoil it.
    waiting.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Intake {
    /// Queues an event, making room where there is none.
    pub(super) fn push(&self, event: LinkEvent) {
        {
            let mut waiting = lock(&self.waiting);
            if waiting.events.len() < CAPACITY || self.make_room(&mut waiting, &event) {
                waiting.events.push_back(event);
            } else {
                waiting.lost += 1;
            }
        }
        self.ready.notify_one();
    }

    /// Nothing more will come.
    pub(super) fn close(&self) {
        lock(&self.waiting).closed = true;
        self.ready.notify_one();
    }

    /// Drops something older and less worthy; false where the newcomer is the one that has to go.
    fn make_room(&self, waiting: &mut Waiting, newcomer: &LinkEvent) -> bool {
        let topic = match newcomer {
            LinkEvent::Message { topic, .. } if (self.latest_wins)(topic) => Some(topic),
            _ => None,
        };
        let replaces = |event: &LinkEvent| matches!(event, LinkEvent::Message { topic: t, .. } if Some(t) == topic);
        let gives_way =
            |event: &LinkEvent| matches!(event, LinkEvent::Message { topic, .. } if (self.latest_wins)(topic));
        if let Some(older) = waiting.events.iter().position(replaces) {
            // The newer value says all that the older one did: nothing is lost.
            waiting.events.remove(older);
            return true;
        }
        let victim = match waiting.events.iter().position(gives_way) {
            Some(reading) => reading,
            None if newcomer.is_message() => return false,
            // What happens to the link itself must be told.
            None => waiting.events.iter().position(LinkEvent::is_message).unwrap_or(0),
        };
        waiting.events.remove(victim);
        waiting.lost += 1;
        true
    }
}

impl Inbox {
    /// The next event; `None` once the link has ended for good and all is read. Dropping the future loses nothing.
    pub async fn next(&mut self) -> Option<LinkEvent> {
        loop {
            {
                let mut waiting = lock(&self.waiting);
                if waiting.lost > 0 {
                    let messages = std::mem::take(&mut waiting.lost);
                    return Some(LinkEvent::Lost { messages });
                }
                if let Some(event) = waiting.events.pop_front() {
                    return Some(event);
                }
                if waiting.closed {
                    return None;
                }
            }
            self.ready.notified().await;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pair() -> (Intake, Inbox) {
        queue(Arc::new(|topic: &str| topic.starts_with("reading/")))
    }

    fn message(topic: &str, payload: &str) -> LinkEvent {
        LinkEvent::Message { topic: topic.to_owned(), payload: payload.as_bytes().to_vec(), retain: false }
    }

    async fn drain(mut inbox: Inbox, intake: Intake) -> Vec<LinkEvent> {
        intake.close();
        let mut events = Vec::new();
        while let Some(event) = inbox.next().await {
            events.push(event);
        }
        events
    }

    #[tokio::test]
    async fn without_pressure_every_message_arrives_in_order() {
        let (intake, inbox) = pair();
        let sent = [message("reading/a", "1"), message("hold/x", "on"), message("reading/a", "2")];
        sent.iter().for_each(|event| intake.push(event.clone()));
        assert_eq!(drain(inbox, intake).await, sent);
    }

    #[tokio::test]
    async fn under_pressure_the_latest_reading_of_a_topic_stays_and_hands_are_all_kept() {
        let (intake, inbox) = pair();
        for n in 0..CAPACITY - 1 {
            intake.push(message("hold/x", &n.to_string()));
        }
        for n in 0..50 {
            intake.push(message("reading/a", &n.to_string()));
        }
        let events = drain(inbox, intake).await;
        assert_eq!(events.len(), CAPACITY);
        let hands: Vec<_> = (0..CAPACITY - 1).map(|n| message("hold/x", &n.to_string())).collect();
        assert_eq!(events[..CAPACITY - 1], hands);
        assert_eq!(events[CAPACITY - 1], message("reading/a", "49"));
    }

    #[tokio::test]
    async fn a_hand_pushes_out_the_oldest_reading_and_the_loss_is_told() {
        let (intake, inbox) = pair();
        for n in 0..CAPACITY {
            intake.push(message(&format!("reading/{n}"), "1"));
        }
        intake.push(message("hold/x", "on"));
        let events = drain(inbox, intake).await;
        assert_eq!(events[0], LinkEvent::Lost { messages: 1 });
        assert_eq!(events[1], message("reading/1", "1"));
        assert_eq!(events.last(), Some(&message("hold/x", "on")));
    }

    #[tokio::test]
    async fn full_of_hands_the_newest_hand_gives_way_but_news_of_the_link_does_not() {
        let (intake, inbox) = pair();
        for n in 0..=CAPACITY {
            intake.push(message("hold/x", &n.to_string()));
        }
        intake.push(LinkEvent::TakenOver);
        let events = drain(inbox, intake).await;
        assert_eq!(events[0], LinkEvent::Lost { messages: 2 });
        assert_eq!(events[1], message("hold/x", "1"));
        assert_eq!(events.last(), Some(&LinkEvent::TakenOver));
        assert!(!events.contains(&message("hold/x", &CAPACITY.to_string())));
    }
}
