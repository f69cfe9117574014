//! What the keeper hears: the link coming and going, and messages. It never decides what a message leads to.

use super::{Keeper, clock};
use crate::daemon::feed::ChangeKind;
use crate::daemon::ledger::Asker;
use crate::engine::{Event, Taken, take};
use crate::mqtt::{self, LinkEvent};
use crate::wire::Refusal;

impl Keeper {
    /// Takes in what the link tells. Two of its events are the loop's: they end it.
    pub fn hear(&mut self, event: LinkEvent) {
        self.has_tried_broker |= matches!(event, LinkEvent::Up | LinkEvent::Down { .. });
        match event {
            LinkEvent::Up => {
                tracing::info!("connected to the broker");
                self.post.flush();
                self.post.birth(&self.revision);
                self.teller.tell(ChangeKind::Broker, serde_json::json!({ "connected": true }).to_string());
                self.step(Event::LinkUp);
            }
            LinkEvent::Down { why } => {
                tracing::warn!("no broker: {why}; trying again until there is one");
                self.teller.tell(ChangeKind::Broker, serde_json::json!({ "connected": false }).to_string());
                self.step(Event::LinkDown);
            }
            LinkEvent::Message { topic, retain, .. } if self.post.answers(&topic, retain, &self.revision) => {}
            LinkEvent::Message { topic, payload, retain } => self.hear_message(&topic, &payload, retain),
            LinkEvent::TooLarge { topic, bytes } => {
                let limit = mqtt::PAYLOAD_LIMIT;
                self.complain(&topic, &Refusal::TooLong { bytes, limit }.to_string());
            }
            LinkEvent::Lost { messages } => {
                tracing::warn!(messages, "more messages than can be read; some were dropped")
            }
            LinkEvent::TakenOver => {}
        }
    }

    fn hear_message(&mut self, topic: &str, payload: &[u8], retain: bool) {
        if !retain {
            let at = self.engine.now().wall;
            self.seen.take(self.router.prefix(), topic, payload, at);
        }
        let token = self.ledger.open(Asker::Message { topic: topic.to_owned() });
        let mut taken = Vec::new();
        match self.router.route(topic, payload, retain) {
            Ok(incoming) => take(incoming, token, &mut |one| taken.push(one)),
            // Boards may say more than a house uses.
            Err(Refusal::Unused { what }) => tracing::debug!(topic, "nothing in the house uses this {what}"),
            Err(refusal) => taken.push(Taken::Refused(refusal.to_string())),
        }
        for one in taken {
            match one {
                Taken::Refused(why) => self.complain(topic, &why),
                Taken::Event(event) => self.step(event),
            }
        }
        self.ledger.forget(token);
    }

    /// Logs bad input, in measure.
    pub(super) fn complain(&mut self, topic: &str, why: &str) {
        // The pace of a played house must not multiply lines.
        self.complaints.log(topic, why, clock::boot_now());
    }
}
