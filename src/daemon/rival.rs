//! Whether another daemon with the same prefix lives at the broker, before this one takes its place there: the other would have
//! to stop, and this one remembers none of what it was told. It never takes the other's session.
//!
//! What the broker keeps says `birth` also where nobody is left who could have taken it back, so whoever may be there is
//! asked. One that does not answer, because it hangs or is gone, loses its place: then it is this one's turn.

use std::sync::Arc;
use std::time::Duration;

use tokio::time::timeout;

use super::clock;
use crate::mqtt::{self, Inbox, LinkEvent, Message, Outbox};
use crate::wire::{ControllerLife, Prefix, Topics};

/// How long a broker may take to let somebody in who asks. One that is away is no reason to wait.
const LET_IN_WITHIN: Duration = Duration::from_secs(1);
/// How long whoever may be there has for an answer.
const ANSWER_WITHIN: Duration = Duration::from_secs(1);

/// Asks at the broker of these options, under a name of its own. Yields whether somebody answered.
pub async fn lives(options: mqtt::Options, prefix: &Prefix) -> bool {
    let topics = Topics::new(prefix.clone());
    let name = format!("{}-look-{}-{}", options.client_id, std::process::id(), clock::boot_now().0);
    let (outbox, mut inbox) = mqtt::start(mqtt::Options {
        client_id: name.clone(),
        seat: None,
        will: None,
        subscriptions: vec![mqtt::Subscription::plain(topics.controller()), mqtt::Subscription::plain(topics.knock())],
        latest_wins: Arc::new(|_| false),
        ..options
    });
    let said = timeout(LET_IN_WITHIN, ask(&outbox, &mut inbox, &topics, &name)).await;
    let lives = match said {
        Ok(Said::Lives) => true,
        Ok(Said::Perhaps) => timeout(ANSWER_WITHIN, answer(&mut inbox, &topics)).await.unwrap_or(false),
        Ok(Said::Nobody) | Err(_) => false,
    };
    outbox.close(Vec::new()).await;
    lives
}

enum Said {
    /// One answered.
    Lives,
    /// The broker keeps a birth, which nobody may be left to take back.
    Perhaps,
    /// No controller is there, or no broker.
    Nobody,
}

/// Knocks, and listens until that comes back: what the broker keeps has come before it.
async fn ask(outbox: &Outbox, inbox: &mut Inbox, topics: &Topics, name: &str) -> Said {
    let (controller, knock) = (topics.controller(), topics.knock());
    let mut is_kept = false;
    while let Some(event) = inbox.next().await {
        match event {
            LinkEvent::Up => {
                let (topic, payload) = (knock.clone(), name.as_bytes().to_vec());
                let message = Message { topic, payload, acknowledged: true, retain: false, expires: None };
                if outbox.publish(&message).is_err() {
                    return Said::Nobody;
                }
            }
            LinkEvent::Message { topic, payload, retain } if topic == controller => {
                let is_birth = is_birth(&payload);
                if is_birth && !retain {
                    return Said::Lives;
                }
                is_kept = is_birth;
            }
            LinkEvent::Message { topic, payload, .. } if topic == knock && payload == name.as_bytes() => {
                return if is_kept { Said::Perhaps } else { Said::Nobody };
            }
            LinkEvent::Down { .. } | LinkEvent::TakenOver => return Said::Nobody,
            _ => {}
        }
    }
    Said::Nobody
}

fn is_birth(payload: &[u8]) -> bool {
    matches!(ControllerLife::decode(payload), Ok(ControllerLife::Birth { .. }))
}

/// Waits for another's birth.
async fn answer(inbox: &mut Inbox, topics: &Topics) -> bool {
    let controller = topics.controller();
    while let Some(event) = inbox.next().await {
        match event {
            LinkEvent::Message { topic, payload, retain: false } if topic == controller => {
                return is_birth(&payload);
            }
            LinkEvent::Down { .. } | LinkEvent::TakenOver => return false,
            _ => {}
        }
    }
    false
}
