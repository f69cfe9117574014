//! The way out: takes a message only while the link is up and never keeps one for later. It never waits.

use std::fmt;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use rumqttc::v5::AsyncClient;
use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{Filter, PublishProperties};
use tokio::sync::{Notify, watch};
use tokio::time::timeout;

use super::{Message, Seat, Subscription};

/// How long [`Outbox::close`] waits for the last words to go out.
const CLOSE_WITHIN: Duration = Duration::from_secs(3);
/// Room for topic, properties and headers beside the payload, in bytes: a topic is at most 64 KiB, ours are short.
const OVERHEAD: usize = 512;

/// The user property that names the instance on the seat's topic.
pub(super) const INSTANCE: &str = "instance";

/// Why a message was not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// The link is down.
    NotConnected,
    /// The broker takes nothing at the moment.
    Full,
    /// The broker does not accept a message as long as this, or the topic is none.
    Unsendable,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Refusal::NotConnected => "there is no link to the broker",
            Refusal::Full => "the broker takes nothing at the moment",
            Refusal::Unsendable => "the broker does not accept such a message",
        })
    }
}

impl std::error::Error for Refusal {}

/// What the task and all handles share.
pub(super) struct Shared {
    /// The client of the present link while it is up, and how long a packet the broker accepts.
    link: Mutex<Option<(AsyncClient, usize)>>,
    subscriptions: Mutex<Vec<Subscription>>,
    pub(super) seat: Option<Seat>,
    /// Wakes the task: drop this link and make a new one.
    pub(super) again: Notify,
    /// The last words, once the link shall end.
    pub(super) closing: watch::Sender<Option<Vec<Message>>>,
    /// True once the task has ended.
    pub(super) ended: watch::Sender<bool>,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // Each critical section is one assignment or one read; a panic cannot leave half of it.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Shared {
    pub(super) fn new(subscriptions: Vec<Subscription>, seat: Option<Seat>) -> Shared {
        Shared {
            link: Mutex::new(None),
            subscriptions: Mutex::new(subscriptions),
            seat,
            again: Notify::new(),
            closing: watch::Sender::new(None),
            ended: watch::Sender::new(false),
        }
    }

    pub(super) fn set_link(&self, link: Option<(AsyncClient, usize)>) {
        *lock(&self.link) = link;
    }

    /// What to listen to, the seat included.
    pub(super) fn subscriptions(&self) -> Vec<Subscription> {
        let seat = self.seat.iter().map(|seat| Subscription::plain(seat.topic.clone()));
        seat.chain(lock(&self.subscriptions).iter().cloned()).collect()
    }

    /// The user properties of a message on this topic.
    pub(super) fn signature(&self, topic: &str) -> Vec<(String, String)> {
        let ours = self.seat.iter().filter(|seat| seat.topic == topic);
        ours.map(|seat| (INSTANCE.to_owned(), seat.instance.clone())).collect()
    }

    /// Puts a message into a client's channel without waiting.
    pub(super) fn try_publish(&self, client: &AsyncClient, message: &Message) -> Result<(), Refusal> {
        if message.topic.is_empty() || message.topic.contains(['+', '#', '\0']) {
            return Err(Refusal::Unsendable);
        }
        let qos = quality(message.acknowledged);
        let seconds = |ms: u64| u32::try_from(ms.div_ceil(1000)).unwrap_or(u32::MAX);
        let properties = PublishProperties {
            message_expiry_interval: message.expires.map(|span| seconds(span.0)),
            user_properties: self.signature(&message.topic),
            ..PublishProperties::default()
        };
        client
            .try_publish_with_properties(&message.topic, qos, message.retain, message.payload.clone(), properties)
            .map_err(|_| Refusal::Full)
    }
}

/// The handle to publish with; clones share the link.
#[derive(Clone)]
pub struct Outbox {
    shared: Arc<Shared>,
}

impl Outbox {
    pub(super) fn new(shared: Arc<Shared>) -> Outbox {
        Outbox { shared }
    }

    /// Hands a message to the link if it is up. Taken does not mean delivered: the link may break with it.
    ///
    /// # Errors
    /// When the link is down, has no room, or the broker would not accept the message.
    pub fn publish(&self, message: &Message) -> Result<(), Refusal> {
        match &*lock(&self.shared.link) {
            Some((client, limit)) if message.payload.len() + message.topic.len() + OVERHEAD <= *limit => {
                self.shared.try_publish(client, message)
            }
            Some(_) => Err(Refusal::Unsendable),
            None => Err(Refusal::NotConnected),
        }
    }

    /// Whether the link is up.
    pub fn is_up(&self) -> bool {
        lock(&self.shared.link).is_some()
    }

    /// Listens to these from now on instead. A live link is changed in place where it has room, else made anew.
    pub fn listen_to(&self, subscriptions: Vec<Subscription>) {
        let before = std::mem::replace(&mut *lock(&self.shared.subscriptions), subscriptions.clone());
        let added: Vec<Filter> = subscriptions.iter().filter(|new| !before.contains(new)).map(filter).collect();
        let kept = |old: &&Subscription| subscriptions.iter().any(|new| new.filter == old.filter);
        let removed: Vec<&Subscription> = before.iter().filter(|old| !kept(old)).collect();
        let Some((client, _)) = lock(&self.shared.link).clone() else { return };
        let subscribed = added.is_empty() || client.try_subscribe_many(added).is_ok();
        let unsubscribed = removed.iter().all(|old| client.try_unsubscribe(&old.filter).is_ok());
        if !(subscribed && unsubscribed) {
            self.shared.again.notify_one();
        }
    }

    /// Publishes the last words, disconnects in good order and ends the link; at most 3 s. Where the broker takes
    /// nothing any more the connection is cut instead, upon which the broker publishes the will.
    pub async fn close(&self, last_words: Vec<Message>) {
        let mut ended = self.shared.ended.subscribe();
        self.shared.closing.send_replace(Some(last_words));
        let _ = timeout(CLOSE_WITHIN, ended.wait_for(|ended| *ended)).await;
    }
}

/// QoS 1 or 0.
pub(super) fn quality(acknowledged: bool) -> QoS {
    if acknowledged { QoS::AtLeastOnce } else { QoS::AtMostOnce }
}

/// A subscription as the client library wants it.
pub(super) fn filter(subscription: &Subscription) -> Filter {
    let mut filter = Filter::new(&subscription.filter, quality(subscription.acknowledged));
    filter.preserve_retain = subscription.retain_as_published;
    filter.nolocal = subscription.no_local;
    filter
}
