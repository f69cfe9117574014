//! Links between clients and the broker: what becomes of a message on its way, and connections that die without a word. It
//! never decides by itself what goes wrong; a [`Network`] does.

use std::sync::Arc;

use crate::units::{BootTime, Span};

/// Who is connected to the broker.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Client {
    /// A board, by its place on the stage.
    Board(usize),
    /// The board of other firmware, by its place among those.
    Appliance(usize),
    /// The controller.
    Controller,
}

/// A direction on a link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// From the client to the broker.
    Up,
    /// From the broker to the client.
    Down,
}

/// A message on its way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Parcel {
    /// Its whole topic.
    pub topic: Arc<str>,
    /// Its payload.
    pub payload: Arc<[u8]>,
    /// On the way up, whether the broker is to store it; on the way down, whether it was stored.
    pub retained: bool,
    /// Its quality of service. With 1, order is kept and loss takes the connection with it.
    pub qos: u8,
    /// Which act of the world led to it; copies share it.
    pub stamp: u64,
}

impl Parcel {
    /// Whether the link keeps its order and never loses it silently: life, fallback and contacts, but not orders, which
    /// the controller renews at every report and drops when they are old.
    pub fn is_kept(&self) -> bool {
        self.qos > 0 && !self.topic.ends_with("/orders")
    }
}

/// What becomes of one message on one link.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Fate {
    /// How long it takes.
    pub delay: Span,
    /// It does not arrive. A kept message takes the connection with it.
    pub lost: bool,
    /// It may be overtaken by later ones.
    pub out_of_order: bool,
    /// A copy arrives this much later.
    pub again: Option<Span>,
}

/// What decides the fate of messages.
pub trait Network: std::fmt::Debug {
    /// The fate of one message.
    fn fate(&mut self, now: BootTime, way: Way, parcel: &Parcel) -> Fate;
}

/// A network without faults.
#[derive(Clone, Copy, Debug)]
pub struct Calm {
    /// How long each message takes on each link.
    pub delay: Span,
}

impl Network for Calm {
    fn fate(&mut self, _: BootTime, _: Way, _: &Parcel) -> Fate {
        Fate { delay: self.delay, ..Fate::default() }
    }
}

/// One direction of a link.
#[derive(Clone, Debug, Default)]
pub(super) struct Pipe {
    /// Bytes wait and nothing comes out.
    pub stalled: bool,
    pub waiting: Vec<Parcel>,
    /// Nothing that keeps its order arrives before this.
    pub busy_until: BootTime,
}

/// A client's link to the broker.
#[derive(Clone, Debug, Default)]
pub(super) struct Link {
    /// Counts the connections; what was sent on an earlier one is gone.
    pub epoch: u32,
    /// Bytes can flow.
    pub wire: bool,
    /// The client believes that it is connected.
    pub client_believes: bool,
    /// The broker believes that the client is connected.
    pub broker_believes: bool,
    pub up: Pipe,
    pub down: Pipe,
    /// No connection can be made before this.
    pub no_route_until: BootTime,
    /// What the broker publishes when it finds the client gone.
    pub will: Option<Parcel>,
}

impl Link {
    pub fn pipe(&mut self, way: Way) -> &mut Pipe {
        match way {
            Way::Up => &mut self.up,
            Way::Down => &mut self.down,
        }
    }
}
