//! What the keeper hears: the link coming and going, and messages. It never decides what a message leads to.

use super::{Keeper, clock};
use crate::daemon::change::alarm;
use crate::daemon::feed::ChangeKind;
use crate::daemon::ledger::Asker;
use crate::daemon::other_writer::OTHER_WRITER_ALARM;
use crate::engine::{Dropped, Event, JournalEntry, JournalRow, Now, Retained, Taken, take};
use crate::house::{BoardId, House};
use crate::mqtt::{self, LinkEvent};
use crate::syntax::nearest;
use crate::wire::{BoardTopics, Excerpt, InputWord, Refusal};

/// The broker is out of reach.
pub(super) struct Unlinked {
    why: String,
    /// It was there before.
    was_linked: bool,
}

impl Keeper {
    /// Takes in what the link tells. Two of its events are the loop's: they end it.
    pub fn hear(&mut self, event: LinkEvent) {
        self.has_tried_broker |= matches!(event, LinkEvent::Up | LinkEvent::Down { .. });
        match event {
            LinkEvent::Up => {
                tracing::info!("connected to the broker");
                if self.unlinked.take().is_some_and(|unlinked| unlinked.was_linked) {
                    self.record_now(JournalEntry::BrokerFound);
                }
                self.post.flush();
                self.post.birth(&self.revision);
                self.teller.tell(ChangeKind::Broker, serde_json::json!({ "connected": true }).to_string());
                self.step(Event::LinkUp);
            }
            LinkEvent::Down { why } => {
                tracing::warn!("no broker: {why}; trying again until there is one");
                self.teller.tell(ChangeKind::Broker, serde_json::json!({ "connected": false }).to_string());
                let was_linked = self.engine.is_linked() || self.unlinked.as_ref().is_some_and(|one| one.was_linked);
                if self.engine.is_linked() {
                    self.record_now(JournalEntry::BrokerLost { why: why.clone() });
                }
                self.unlinked = Some(Unlinked { why, was_linked });
                self.step(Event::LinkDown);
            }
            LinkEvent::Message { topic, retain, .. } if self.post.answers(&topic, retain, &self.revision) => {}
            LinkEvent::Message { topic, payload, retain } if self.is_ours(&topic, retain) => {
                if !retain && self.post.contradicts(&topic, &payload) {
                    self.hear_other_writer(&topic, &payload);
                }
            }
            LinkEvent::Message { topic, payload, retain } => match self.shown_on(&topic) {
                Some(shown) if retain => self.empty_where_stale(&shown),
                Some(_) => self.complain(&topic, "nobody but this standfast is to write there"),
                None => self.hear_message(&topic, &payload, retain),
            },
            LinkEvent::TooLarge { topic, bytes } => {
                if self.post.owns(&topic) {
                    self.hear_other_writer(&topic, format!("{bytes} bytes").as_bytes());
                }
                let limit = mqtt::PAYLOAD_LIMIT;
                self.complain(&topic, &Refusal::TooLong { bytes, limit }.to_string());
            }
            LinkEvent::Lost { messages } => {
                tracing::warn!(messages, "more messages than can be read; some were dropped")
            }
            LinkEvent::TakenOver => {}
        }
    }

    /// Whether nobody but this standfast is to write on a topic, or an earlier house had left something there for a board.
    fn is_ours(&self, topic: &str, retain: bool) -> bool {
        let of_a_board = self.router.prefix().below(topic).is_some_and(|below| below.starts_with("to/"));
        self.post.owns(topic) || (retain && of_a_board)
    }

    /// What a topic shows of this standfast to whoever reads along.
    fn shown_on(&self, topic: &str) -> Option<Retained> {
        match self.router.prefix().below(topic)?.split_once('/')? {
            ("load", load) => Some(Retained::Load(load.to_owned())),
            ("alarm", id) => Some(Retained::Alarm(id.to_owned())),
            _ => None,
        }
    }

    /// The broker had kept something there. Where it is of a load that is gone, or of an alarm that does not stand, it was
    /// left by an earlier house, or by a process that ended before its last words were out.
    fn empty_where_stale(&mut self, shown: &Retained) {
        let stands = match shown {
            Retained::Load(load) => self.engine.house().load_named(load).is_some(),
            Retained::Alarm(id) => self.engine.alarms().contains_key(id),
            Retained::Board(_) => true,
        };
        if !stands {
            self.post.clear(shown);
        }
    }

    /// Somebody else wrote on a topic that is ours.
    fn hear_other_writer(&mut self, topic: &str, payload: &[u8]) {
        self.complain(topic, "nobody but this standfast is to write there");
        if self.other_writer.wrote(topic, clock::boot_now()) {
            self.post.put_right(topic);
            let said = match payload {
                [] => "was emptied".to_owned(),
                said => format!("said \"{}\"", Excerpt::of(&String::from_utf8_lossy(said))),
            };
            let text = format!(
                "somebody else writes on topics that are Standfast's own: {topic} {said}, which boards may have kept until it \
                 was put right. Look for another program, or for a broker that is bridged to this one, and let the broker \
                 allow nobody else to write there"
            );
            self.step(alarm(OTHER_WRITER_ALARM, Some(text)));
        }
    }

    /// Puts right what somebody else wrote, as far as it is due. For once in a second.
    pub fn look_after_topics(&mut self) {
        let now = clock::boot_now();
        for topic in self.other_writer.due(now) {
            self.post.put_right(&topic);
        }
        if self.engine.alarms().contains_key(OTHER_WRITER_ALARM) && self.other_writer.is_calm(now) {
            self.step(alarm(OTHER_WRITER_ALARM, None));
        }
    }

    /// Why there is no broker, as far as the link has told; `None` while there is one.
    pub fn why_unlinked(&self) -> Option<&str> {
        self.unlinked.as_ref().map(|unlinked| unlinked.why.as_str())
    }

    /// Writes a row that is the shell's own.
    fn record_now(&mut self, entry: JournalEntry) {
        let Now { wall: at, trusted, .. } = self.clock.now();
        self.record(JournalRow { at, trusted, entry });
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
            // Boards may say more than a house uses; or its name is mistyped.
            Err(Refusal::Unused { what }) => self.mention_unused(topic, what),
            Err(refusal) => taken.push(Taken::Refused(self.worded(&refusal))),
        }
        let stood = self.turn();
        for one in taken {
            match (one, stood) {
                (Taken::Refused(why), _) => self.complain(topic, &why),
                (Taken::Event(event), Some(stood)) if is_by_hand(&event) => {
                    self.complain(topic, &format!("this may have waited while Standfast stood still for {stood}"));
                }
                (Taken::Event(event), _) => self.step(event),
            }
        }
        self.ledger.forget(token);
    }

    /// Why a message is refused, with the name that may have been meant.
    fn worded(&self, refusal: &Refusal) -> String {
        let near = match refusal {
            Refusal::UnknownName { what, name } => nearest(name.as_str(), self.names_of(what)),
            _ => None,
        };
        near.map_or_else(|| refusal.to_string(), |near| format!("{refusal}; did you mean \"{near}\"?"))
    }

    /// The names that the house has of something that a topic can name.
    fn names_of(&self, what: &str) -> Vec<&str> {
        let house = self.engine.house();
        match what {
            "board" => house.boards.iter().map(|board| board.name.as_str()).collect(),
            "load" => house.loads.iter().map(|load| load.name.as_str()).collect(),
            "selector" => house.selectors.iter().map(|selector| selector.name.as_str()).collect(),
            "setpoint" => house.setpoints.iter().map(|setpoint| setpoint.name.as_str()).collect(),
            _ => Vec::new(),
        }
    }

    /// Says once of each topic that nothing is made of what comes there.
    fn mention_unused(&mut self, topic: &str, what: &str) {
        if let Some(topic) = self.complaints.first_of(topic) {
            tracing::info!(topic, "nothing in the house uses this {what}");
        }
    }

    /// Logs that a message was dropped for what it says, in measure.
    pub(super) fn complain_of(&mut self, house: &House, dropped: Dropped) {
        let topics = |board: BoardId| BoardTopics::new(self.router.prefix().clone(), &house.board(board).name);
        let topic = match dropped {
            Dropped::Report { board, .. } => topics(board).report(),
            Dropped::Press { port, .. } => {
                let port = &house.ports[port.index()];
                topics(port.board).input(&port.name)
            }
        };
        self.complain(&topic, &dropped.sentence());
    }

    /// Logs bad input, in measure.
    pub(super) fn complain(&mut self, topic: &str, why: &str) {
        // The pace of a played house must not multiply lines.
        self.complaints.log(topic, why, clock::boot_now());
    }
}

/// Whether somebody waits for what an event leads to, and will not for long.
fn is_by_hand(event: &Event) -> bool {
    match event {
        Event::Hand(_) => true,
        Event::Input { word, .. } => matches!(word, InputWord::Press { .. } | InputWord::Code { .. }),
        _ => false,
    }
}
