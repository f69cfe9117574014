//! How messages and connections fare on the stage: from clients to the broker and back. It never decides what goes wrong;
//! the network and the script do.

use super::happening::{Mover, What};
use super::link::{Client, Fate, Link, Parcel, Way};
use super::stage::{Due, Stage};
use crate::board::Event;
use crate::units::{BootTime, Span};

/// How long a client waits before it tries to connect again.
const RETRY: Span = Span(2_000);

impl Stage {
    /// Sends a message over a client's link.
    pub(super) fn send(&mut self, client: Client, way: Way, parcel: Parcel) {
        let now = self.now();
        let fate = self.network.fate(now, way, &parcel);
        let link = self.link(client);
        if !link.wire || fate.lost {
            let connected = link.wire;
            self.see(What::Lost { client, topic: parcel.topic.to_string() });
            if connected && parcel.is_kept() {
                self.cut(client, Span(500), Span(700), Span(900));
            }
            return;
        }
        let epoch = link.epoch;
        let due = Stage::arrival(link, way, &parcel, now, fate);
        if let Some(again) = fate.again {
            let later = if parcel.is_kept() { due } else { due + again };
            self.put(due, Due::Arrive { client, way, epoch, parcel: parcel.clone() });
            self.put(later, Due::Arrive { client, way, epoch, parcel });
        } else {
            self.put(due, Due::Arrive { client, way, epoch, parcel });
        }
    }

    fn arrival(link: &mut Link, way: Way, parcel: &Parcel, now: BootTime, fate: Fate) -> BootTime {
        let pipe = link.pipe(way);
        let due = now + fate.delay;
        if fate.out_of_order && !parcel.is_kept() {
            return due;
        }
        pipe.busy_until = pipe.busy_until.max(due);
        pipe.busy_until
    }

    pub(super) fn arrive(&mut self, client: Client, way: Way, epoch: u32, parcel: Parcel) {
        let link = self.link(client);
        if !link.wire || link.epoch != epoch {
            return self.see(What::Lost { client, topic: parcel.topic.to_string() });
        }
        let pipe = link.pipe(way);
        if pipe.stalled {
            return pipe.waiting.push(parcel);
        }
        match (way, client) {
            (Way::Up, _) => self.publish_at_broker(parcel),
            (Way::Down, Client::Board(place)) => self.board_hears(place, &parcel),
            (Way::Down, Client::Appliance(place)) => self.appliance_hears(place, &parcel),
            (Way::Down, Client::Controller) => self.controller_hears(parcel),
        }
    }

    /// A message reaches the broker, from a client of the stage or from somebody else's.
    pub fn publish_at_broker(&mut self, parcel: Parcel) {
        if !self.broker.up {
            return;
        }
        self.broker.keep(&parcel);
        let shown = parcel.retained && self.broker.shows_retain(&parcel.topic);
        for client in self.broker.readers(&parcel.topic) {
            if self.links[&client].broker_believes {
                self.send(client, Way::Down, Parcel { retained: shown, ..parcel.clone() });
            }
        }
    }

    /// Somebody publishes a message, by a client that is not on the stage.
    pub fn publish_by_hand(&mut self, topic: &str, payload: &[u8], retained: bool) {
        let stamp = self.stamp();
        self.publish_at_broker(Parcel { topic: topic.into(), payload: payload.into(), retained, qos: 1, stamp });
    }

    /// A client tries to connect.
    pub(super) fn connect(&mut self, client: Client) {
        let now = self.now();
        let alive = match client {
            Client::Board(place) => self.panels[place].is_powered(),
            Client::Appliance(place) => self.appliances[place].is_powered(),
            Client::Controller => self.controller.process.is_some(),
        };
        if !alive || self.links[&client].client_believes {
            return;
        }
        if !self.broker.up || now < self.links[&client].no_route_until {
            return self.put(now + RETRY, Due::Connect(client));
        }
        self.broker_drops(client);
        let will = match client {
            Client::Board(place) => Some(will_of(self.panels[place].board().will())),
            Client::Appliance(place) => self.appliances[place].will(),
            Client::Controller => Some(self.will_of_controller()),
        };
        let link = self.link(client);
        *link = Link {
            epoch: link.epoch + 1,
            wire: true,
            client_believes: true,
            broker_believes: true,
            will,
            ..Link::default()
        };
        for (topic, payload) in self.broker.retained_for(client) {
            self.send(client, Way::Down, Parcel { topic, payload, retained: true, qos: 1, stamp: 0 });
        }
        match client {
            Client::Board(place) => self.touch(place, Event::LinkUp, Mover::Lapse, 0),
            Client::Appliance(place) => self.appliance_linked(place),
            Client::Controller => self.controller_linked(),
        }
    }

    /// A connection dies without a word: nothing can be made anew before `outage` is over, and each end notices in its
    /// own time.
    pub fn cut(&mut self, client: Client, outage: Span, broker_notices: Span, client_notices: Span) {
        self.lose_wire(client, broker_notices, Some(client_notices));
        let until = self.now() + outage;
        self.link(client).no_route_until = until;
    }

    /// Bytes wait on one way of a link, or flow again.
    pub fn stall(&mut self, client: Client, way: Way, stalled: bool) {
        let link = self.link(client);
        let epoch = link.epoch;
        let pipe = link.pipe(way);
        pipe.stalled = stalled;
        if !stalled {
            for parcel in std::mem::take(&mut pipe.waiting) {
                self.arrive(client, way, epoch, parcel);
            }
        }
    }

    /// The broker ends; each client notices after `notices`, one after the other by `apart`.
    pub fn stop_broker(&mut self, notices: Span, apart: Span) {
        self.broker.up = false;
        let now = self.now();
        let clients: Vec<Client> = self.links.keys().copied().collect();
        for (number, client) in clients.into_iter().enumerate() {
            let link = self.link(client);
            (link.wire, link.broker_believes) = (false, false);
            if link.client_believes {
                let epoch = link.epoch;
                let due = now + notices + Span(apart.0 * number as u64);
                self.put(due, Due::ClientNotices(client, epoch));
            }
        }
    }

    /// The wire is gone; `None` where the client itself is, too.
    pub(super) fn lose_wire(&mut self, client: Client, broker_notices: Span, client_notices: Option<Span>) {
        let now = self.now();
        let link = self.link(client);
        link.wire = false;
        let epoch = link.epoch;
        if client_notices.is_none() {
            link.client_believes = false;
        }
        let (client_believes, broker_believes) = (link.client_believes, link.broker_believes);
        if broker_believes {
            self.put(now + broker_notices, Due::BrokerNotices(client, epoch));
        }
        if let Some(notices) = client_notices.filter(|_| client_believes) {
            self.put(now + notices, Due::ClientNotices(client, epoch));
        }
    }

    pub(super) fn broker_notices(&mut self, client: Client, epoch: u32) {
        if self.links[&client].epoch == epoch {
            self.broker_drops(client);
        }
    }

    /// The broker takes a client for gone and publishes its will.
    fn broker_drops(&mut self, client: Client) {
        let link = self.link(client);
        if std::mem::take(&mut link.broker_believes)
            && let Some(will) = link.will.take()
        {
            self.publish_at_broker(will);
        }
    }

    pub(super) fn client_notices(&mut self, client: Client, epoch: u32) {
        let link = self.link(client);
        if link.epoch != epoch || !std::mem::take(&mut link.client_believes) {
            return;
        }
        match client {
            Client::Board(place) => self.touch(place, Event::LinkDown, Mover::Lapse, 0),
            // It waits for its link and does nothing else.
            Client::Appliance(_) => {}
            Client::Controller => self.controller_unlinked(),
        }
        let due = self.now() + RETRY;
        self.put(due, Due::Connect(client));
    }

    fn link(&mut self, client: Client) -> &mut Link {
        self.links.entry(client).or_default()
    }
}

fn will_of(publish: crate::board::Publish) -> Parcel {
    Parcel {
        topic: publish.topic.into(),
        payload: publish.payload.as_bytes().into(),
        retained: publish.retain,
        qos: 1,
        stamp: 0,
    }
}
