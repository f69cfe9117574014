//! One connection from connect to its end, after the pattern that the client library was measured to need: a clean
//! session, one poller that never publishes and waits, every poll under a time-out, and after any error the client and
//! its event loop are dropped together. It never replays anything.

use std::pin::Pin;
use std::time::Duration;

use rumqttc::v5::mqttbytes::v5::{
    ConnAck, ConnectProperties, LastWill, LastWillProperties, Packet, Publish, SubAck, Subscribe, SubscribeReasonCode,
};
use rumqttc::v5::{AsyncClient, Event, EventLoop, MqttOptions, Request};
use rumqttc::{NetworkOptions, TlsConfiguration, Transport};
use tokio::sync::watch;
use tokio::time::{Sleep, sleep, timeout};

use super::error::{is_taken_over, why};
use super::inbox::{Intake, LinkEvent};
use super::outbox::{INSTANCE, Shared, filter, quality};
use super::{Message, Options, PAYLOAD_LIMIT};

/// The shortest that the library accepts; a half-open link is noticed after one to two of them.
const KEEP_ALIVE: Duration = Duration::from_secs(5);
/// Longer packets a broker may not send (it drops them); ones below it but too long to use are told of. In bytes.
const PACKET_LIMIT: u32 = 1024 * 1024;
/// How many publishes may wait for the socket.
const REQUESTS: usize = 512;
/// How many QoS 1 publishes may be under way; the library keeps a slot for each.
const IN_FLIGHT: u16 = 256;
/// A link that was up for this long is steady: the next pause is short again.
const STEADY_AFTER: Duration = Duration::from_secs(5);
/// Retained messages may come before the SUBACK; so many are kept for after it.
const EARLY_LIMIT: usize = 4096;
/// After a reconnect the link is announced this much after the SUBACK: time for the broker to show who else was here.
const LOOK_AROUND: Duration = Duration::from_millis(300);
/// How long the last words may take before the connection is cut.
const LAST_WORDS_WITHIN: Duration = Duration::from_secs(2);

/// How a connection ended.
pub(super) enum End {
    /// It was asked to.
    Closed,
    /// Another client with the same id came.
    TakenOver,
    /// It broke or could not be made.
    Lost {
        /// In words for a person.
        why: String,
        /// Whether it had been up.
        was_up: bool,
        /// Whether it had been up for long enough to be trusted.
        was_steady: bool,
    },
}

type Closing = watch::Receiver<Option<Vec<Message>>>;

/// Makes one connection and tends it until it ends. `reconnects` says whether this process has had a link before.
pub(super) async fn tend(
    options: &Options,
    shared: &Shared,
    intake: &Intake,
    closing: &mut Closing,
    reconnects: bool,
) -> End {
    let (client, mut eventloop) = AsyncClient::new(library_options(options, shared), REQUESTS);
    let never = || Box::pin(sleep(Duration::MAX));
    let mut link = Link {
        client,
        shared,
        intake,
        reconnects,
        up: false,
        looked_around: never(),
        steady: never(),
        early: Vec::new(),
        broker_limit: usize::MAX,
        leaving: None,
        disconnected: false,
    };
    loop {
        let event = match next(&mut eventloop, &mut link, closing).await {
            Ok(event) => event,
            Err(end) => return link.leaving.unwrap_or(end),
        };
        // The acknowledgements are read first, and after the disconnect we read on until the broker closes: to close a
        // socket on unread bytes resets it, upon which the broker may drop what we said last.
        if link.leaving.is_some() && eventloop.state.inflight() == 0 {
            link.disconnect();
        }
        let Event::Incoming(packet) = event else { continue };
        if link.leaving.is_none() && link.is_usurped(&packet) {
            // In good order and without a word, so that our will does not throw the other one out in turn.
            link.leaving = Some(End::TakenOver);
            link.disconnect();
        }
        match link.take(packet) {
            Ok(None) => {}
            // Ahead of everything else, and not through the channel, which might be full.
            Ok(Some(first)) => eventloop.pending.push_front(first),
            Err(why) => return link.lost(why),
        }
    }
}

/// The next thing the connection has to tell, or its end.
async fn next(eventloop: &mut EventLoop, link: &mut Link<'_>, closing: &mut Closing) -> Result<Event, End> {
    // The broker may ask for another keep-alive; every healthy link moves at least that often.
    let limit = 2 * eventloop.options.keep_alive() + Duration::from_secs(5);
    // The poll is kept across the other wake-ups: dropping it half way could lose a packet.
    let mut poll = std::pin::pin!(timeout(limit, eventloop.poll()));
    let mut cut = std::pin::pin!(sleep(if link.leaving.is_some() { LAST_WORDS_WITHIN } else { Duration::MAX }));
    loop {
        tokio::select! {
            polled = &mut poll => return match polled {
                Err(_) => Err(link.lost(format!("the broker has not moved for {} s", limit.as_secs()))),
                Ok(Err(error)) if is_taken_over(&error) => Err(End::TakenOver),
                Ok(Err(error)) => Err(link.lost(why(&error))),
                Ok(Ok(event)) => Ok(event),
            },
            () = &mut link.looked_around, if !link.up && link.leaving.is_none() => link.announce(),
            () = &mut link.steady, if link.up && !link.steady.is_elapsed() => {}
            () = link.shared.again.notified() => return Err(link.lost("subscribing anew".to_owned())),
            last_words = farewell(closing), if link.leaving.is_none() => {
                if !link.up || !say(link.shared, &link.client, &last_words) {
                    return Err(End::Closed);
                }
                link.leaving = Some(End::Closed);
                if last_words.is_empty() {
                    link.disconnect();
                }
                cut.set(sleep(LAST_WORDS_WITHIN));
            }
            () = &mut cut, if link.leaving.is_some() => return Err(End::Closed),
        }
    }
}

/// What is known about one connection, apart from the library's event loop.
struct Link<'a> {
    client: AsyncClient,
    shared: &'a Shared,
    intake: &'a Intake,
    reconnects: bool,
    up: bool,
    /// Runs out when the link is to be announced.
    looked_around: Pin<Box<Sleep>>,
    /// Runs out once the link has been up for long enough.
    steady: Pin<Box<Sleep>>,
    early: Vec<LinkEvent>,
    broker_limit: usize,
    /// How the link will have ended, once it has been decided.
    leaving: Option<End>,
    disconnected: bool,
}

impl Link<'_> {
    fn lost(&self, why: String) -> End {
        End::Lost { why, was_up: self.up, was_steady: self.up && self.steady.is_elapsed() }
    }

    /// Asks for a disconnect in good order, once. Where there is no room for it the connection is cut in due time.
    fn disconnect(&mut self) {
        if !std::mem::replace(&mut self.disconnected, true) {
            let _ = self.client.try_disconnect();
        }
    }

    /// Takes a packet in; yields what has to go out before anything else.
    fn take(&mut self, packet: Packet) -> Result<Option<Request>, String> {
        match packet {
            Packet::ConnAck(ack) => return Ok(self.connected(&ack)),
            Packet::SubAck(ack) => self.subscribed(&ack)?,
            Packet::Publish(publish) => self.received(publish),
            _ => {}
        }
        Ok(None)
    }

    fn connected(&mut self, ack: &ConnAck) -> Option<Request> {
        let said = ack.properties.as_ref().and_then(|properties| properties.max_packet_size);
        self.broker_limit = said.map_or(usize::MAX, |bytes| usize::try_from(bytes).unwrap_or(usize::MAX));
        let filters: Vec<_> = self.shared.subscriptions().iter().map(filter).collect();
        if filters.is_empty() {
            self.announce();
            return None;
        }
        Some(Request::Subscribe(Subscribe::new_many(filters, None)))
    }

    fn subscribed(&mut self, ack: &SubAck) -> Result<(), String> {
        let refused = |code: &SubscribeReasonCode| !matches!(code, SubscribeReasonCode::Success(_));
        if let Some(index) = ack.return_codes.iter().position(refused) {
            let code = &ack.return_codes[index];
            if self.up {
                // Filters of a later SUBSCRIBE: their names are no longer known here.
                return Err(format!("the broker does not let us listen to a topic that the house names ({code:?})"));
            }
            let name = self.shared.subscriptions().get(index).map_or_else(String::new, |s| s.filter.clone());
            return Err(format!("the broker does not let us listen to {name} ({code:?})"));
        }
        if !self.up {
            let pause = if self.reconnects && self.shared.seat.is_some() { LOOK_AROUND } else { Duration::ZERO };
            self.looked_around = Box::pin(sleep(pause));
        }
        Ok(())
    }

    fn announce(&mut self) {
        self.up = true;
        self.steady = Box::pin(sleep(STEADY_AFTER));
        self.shared.set_link(Some((self.client.clone(), self.broker_limit)));
        self.intake.push(LinkEvent::Up);
        for event in self.early.drain(..) {
            self.intake.push(event);
        }
    }

    /// Whether a packet shows that another instance has sat here since we were thrown out. What was retained before
    /// our first link is only a predecessor's.
    fn is_usurped(&self, packet: &Packet) -> bool {
        let (Some(seat), Packet::Publish(publish)) = (&self.shared.seat, packet) else { return false };
        let signed = publish.properties.as_ref().map_or(&[][..], |properties| &properties.user_properties);
        let foreign = |(key, value): &(String, String)| key == INSTANCE && *value != seat.instance;
        self.reconnects && !self.up && publish.topic == seat.topic.as_bytes() && signed.iter().any(foreign)
    }

    fn received(&mut self, publish: Publish) {
        let topic = String::from_utf8_lossy(&publish.topic).into_owned();
        let seat = self.shared.seat.as_ref().filter(|seat| seat.topic == topic);
        // What was kept there from before we came is void with our first word.
        if seat.is_some_and(|seat| !self.up || publish.retain || is_signed(&publish, &seat.instance)) {
            return;
        }
        let event = if publish.payload.len() > PAYLOAD_LIMIT {
            LinkEvent::TooLarge { topic, bytes: publish.payload.len() }
        } else {
            LinkEvent::Message { topic, payload: publish.payload.to_vec(), retain: publish.retain }
        };
        if self.up {
            self.intake.push(event);
        } else if self.early.len() < EARLY_LIMIT {
            self.early.push(event);
        }
    }
}

/// Whether a message on the seat's topic is of this instance.
fn is_signed(publish: &Publish, instance: &str) -> bool {
    let signed = publish.properties.as_ref().map_or(&[][..], |properties| &properties.user_properties);
    signed.iter().any(|(key, value)| key == INSTANCE && value == instance)
}

/// Waits until the link shall end, and yields the last words.
async fn farewell(closing: &mut Closing) -> Vec<Message> {
    closing.wait_for(Option::is_some).await.ok().and_then(|last_words| last_words.clone()).unwrap_or_default()
}

/// Queues the last words; false where there is no room for them.
fn say(shared: &Shared, client: &AsyncClient, last_words: &[Message]) -> bool {
    last_words.iter().all(|message| shared.try_publish(client, message).is_ok())
}

fn library_options(options: &Options, shared: &Shared) -> MqttOptions {
    let address = &options.address;
    let host = if address.tls { address.host.clone() } else { address.bracketed_host() };
    let mut library = MqttOptions::new(&options.client_id, host, address.port);
    let mut network = NetworkOptions::new();
    network.set_tcp_nodelay(true);
    library.set_network_options(network);
    library.set_keep_alive(KEEP_ALIVE);
    library.set_clean_start(true);
    library.set_outgoing_inflight_upper_limit(IN_FLIGHT);
    let properties = ConnectProperties {
        session_expiry_interval: Some(0),
        max_packet_size: Some(PACKET_LIMIT),
        topic_alias_max: Some(0),
        ..ConnectProperties::new()
    };
    library.set_connect_properties(properties);
    if let Some(tls) = options.tls.as_ref().filter(|_| address.tls) {
        library.set_transport(Transport::tls_with_config(TlsConfiguration::Rustls(tls.0.clone())));
    }
    if let Some(username) = &options.username {
        library.set_credentials(username, options.password.as_deref().unwrap_or_default());
    }
    if let Some(will) = &options.will {
        let (topic, payload) = (will.topic.clone(), will.payload.clone());
        let properties = LastWillProperties {
            delay_interval: None,
            payload_format_indicator: None,
            message_expiry_interval: None,
            content_type: None,
            response_topic: None,
            correlation_data: None,
            user_properties: shared.signature(&will.topic),
        };
        let quality = quality(will.acknowledged);
        library.set_last_will(LastWill::new(topic, payload, quality, will.retain, Some(properties)));
    }
    library
}
