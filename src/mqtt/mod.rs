//! The MQTT client task and the embedded broker. It never interprets a payload and never decides.
//!
//! [`start`] keeps one link to one broker alive for as long as the process lives. What comes in is read from the
//! [`Inbox`]; what goes out is handed to the [`Outbox`], which takes it only while the link is up: nothing is ever
//! kept for later, because an order that arrives late is worse than one that never arrives.

mod address;
mod client;
#[cfg(feature = "embedded-broker")]
pub mod embedded;
mod error;
mod inbox;
mod link;
mod outbox;
mod tls;

use std::sync::Arc;

use crate::units::Span;

pub use address::{Address, DEFAULT_PORT, DEFAULT_TLS_PORT};
pub use client::{Options, start};
pub use inbox::{Inbox, LinkEvent};
pub use outbox::{Outbox, Refusal};
pub use tls::{Tls, TlsError};

/// Payloads longer than this are not handed on; [`LinkEvent::TooLarge`] tells of them. In bytes.
pub const PAYLOAD_LIMIT: usize = 16 * 1024;

/// Something to publish, or a will.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// The whole topic, prefix included.
    pub topic: String,
    /// The payload.
    pub payload: Vec<u8>,
    /// QoS 1 where true, QoS 0 otherwise.
    pub acknowledged: bool,
    /// Whether the broker keeps it for later subscribers.
    pub retain: bool,
    /// After this the broker no longer delivers it (message expiry of MQTT 5); rounded up to whole seconds.
    pub expires: Option<Span>,
}

/// What to listen to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Subscription {
    /// The topic filter, prefix included.
    pub filter: String,
    /// QoS 1 where true, QoS 0 otherwise.
    pub acknowledged: bool,
    /// Whether a message published with the retain flag shows it even when it is delivered live (retain as published).
    pub retain_as_published: bool,
    /// Whether what this client publishes there itself does not come back to it (no local).
    pub no_local: bool,
}

impl Subscription {
    /// One that is acknowledged, and takes whatever comes as the broker hands it out.
    pub fn plain(filter: String) -> Subscription {
        Subscription { filter, acknowledged: true, retain_as_published: false, no_local: false }
    }
}

/// Where a client says that it is there, so that two with the same client id find each other out.
///
/// A broker should tell the older one that its session is taken over, but some close without a word, and the client
/// library misses some that speak. So everything published on this topic, the will included, carries the instance as
/// a user property of MQTT 5; whoever finds another instance's there after it was thrown out knows what happened. What
/// comes there from anybody else while the link is up is handed on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seat {
    /// The topic, prefix included; it is subscribed by the link itself.
    pub topic: String,
    /// Names this process among all that ever run.
    pub instance: String,
}

/// Tells by its topic whether a newer message may replace an older one that nobody has read yet.
pub type LatestWins = Arc<dyn Fn(&str) -> bool + Send + Sync>;
