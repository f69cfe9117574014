//! What a board reads: its orders, its fallback, and the controller's life. It never judges whether orders still hold.

use super::fallback::Fallback;
use super::life::ControllerLife;
use super::orders::Orders;
use super::refusal::Refusal;
use super::topics::BoardTopics;

/// A message for a board.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ToBoard {
    /// `to/<board>/orders`.
    Orders(Orders),
    /// `to/<board>/fallback`.
    Fallback(Fallback),
    /// `controller`.
    Controller(ControllerLife),
}

/// Understands what arrives at one board.
#[derive(Clone, Debug)]
pub struct BoardInbox {
    orders: String,
    fallback: String,
    controller: String,
    relays: usize,
}

impl BoardInbox {
    /// Prepares for the board with these topics and that many relays.
    pub fn new(topics: &BoardTopics, relays: u8) -> BoardInbox {
        BoardInbox {
            orders: topics.orders(),
            fallback: topics.fallback(),
            controller: topics.controller(),
            relays: usize::from(relays),
        }
    }

    /// Understands one message.
    ///
    /// # Errors
    /// A [`Refusal`] for another topic, a payload that does not fit, another number of relays than the board has, and
    /// retained orders.
    pub fn route(&self, topic: &str, payload: &[u8], retained: bool) -> Result<ToBoard, Refusal> {
        if topic == self.orders {
            if retained {
                return Err(Refusal::Retained { what: "orders" });
            }
            let orders = Orders::decode(payload)?;
            self.of_relays(orders.relays.len())?;
            Ok(ToBoard::Orders(orders))
        } else if topic == self.fallback {
            let fallback = Fallback::decode(payload)?;
            self.of_relays(fallback.relays.len())?;
            Ok(ToBoard::Fallback(fallback))
        } else if topic == self.controller {
            Ok(ToBoard::Controller(ControllerLife::decode(payload)?))
        } else {
            Err(Refusal::UnknownTopic)
        }
    }

    fn of_relays(&self, found: usize) -> Result<(), Refusal> {
        if found == self.relays { Ok(()) } else { Err(Refusal::RelayCount { found, expected: self.relays }) }
    }
}
