//! Topics, both ways: what is published where, and what is subscribed. It never touches a payload.

use std::fmt;

use super::refusal::Refusal;
use crate::house::{Board, Ear, Foreign, House, Source};

/// The head of every topic of the contract, `standfast`. It has no slash at either end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Prefix(String);

impl Prefix {
    /// The longest, in bytes; a short one leaves firmware more room for names.
    pub const BYTES_MAX: usize = 32;

    /// Reads a prefix; a slash behind it is not part of it.
    ///
    /// # Errors
    /// [`Refusal::BadPrefix`] where it is empty or too long, has wildcards or control characters, empty levels, or begins
    /// with `$`, which brokers keep for themselves.
    pub fn parse(text: &str) -> Result<Prefix, Refusal> {
        let text = text.strip_suffix('/').unwrap_or(text);
        let reason = if text.is_empty() {
            "it is empty"
        } else if text.len() > Self::BYTES_MAX {
            "it is longer than 32 bytes"
        } else if text.starts_with('$') {
            "topics that begin with $ belong to the broker"
        } else if !is_topic(text) {
            "+, # and control characters cannot stand in a topic"
        } else if text.split('/').any(str::is_empty) {
            "it has an empty level"
        } else {
            return Ok(Prefix(text.to_owned()));
        };
        Err(Refusal::BadPrefix { reason })
    }

    /// The prefix as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The topic without the prefix, or `None` where it is not below it.
    pub fn below<'t>(&self, topic: &'t str) -> Option<&'t str> {
        topic.strip_prefix(self.0.as_str())?.strip_prefix('/')
    }
}

impl Default for Prefix {
    fn default() -> Prefix {
        Prefix("standfast".to_owned())
    }
}

impl fmt::Display for Prefix {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Whether a text can be published to and subscribed as one exact topic (MQTT 5.0, 4.7.1 and 4.7.3; control characters,
/// which 1.5.4 lets a broker refuse, are left out too).
pub fn is_topic(text: &str) -> bool {
    !text.is_empty()
        && text.len() <= usize::from(u16::MAX)
        && !text.contains(|c: char| matches!(c, '+' | '#') || c.is_control())
}

/// The topics that the controller publishes on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Topics {
    prefix: Prefix,
}

impl Topics {
    /// Topics below a prefix.
    pub fn new(prefix: Prefix) -> Topics {
        Topics { prefix }
    }

    /// `to/<board>/orders`: QoS 1, not retained, expires with the lease.
    pub fn orders(&self, board: &str) -> String {
        format!("{}/to/{board}/orders", self.prefix)
    }

    /// `to/<board>/fallback`: QoS 1, retained.
    pub fn fallback(&self, board: &str) -> String {
        format!("{}/to/{board}/fallback", self.prefix)
    }

    /// `controller`: QoS 1, retained, also the will.
    pub fn controller(&self) -> String {
        format!("{}/controller", self.prefix)
    }

    /// `controller/knock`: whoever wants to take the controller's place asks there whether it lives, and it answers by
    /// another birth. The payload says who asks; never retained.
    pub fn knock(&self) -> String {
        format!("{}/controller/knock", self.prefix)
    }

    /// `load/<load>`: retained JSON.
    pub fn load(&self, load: &str) -> String {
        format!("{}/load/{load}", self.prefix)
    }

    /// `alarm/<id>`: retained JSON, empty once cleared.
    pub fn alarm(&self, id: &str) -> String {
        format!("{}/alarm/{id}", self.prefix)
    }

    /// `hold/<load>`: what anyone allowed publishes on, never retained.
    pub fn hold(&self, load: &str) -> String {
        format!("{}/hold/{load}", self.prefix)
    }

    /// `selector/<selector>`: what anyone allowed publishes on, never retained.
    pub fn selector(&self, selector: &str) -> String {
        format!("{}/selector/{selector}", self.prefix)
    }

    /// `setpoint/<setpoint>`: what anyone allowed publishes on, never retained.
    pub fn setpoint(&self, setpoint: &str) -> String {
        format!("{}/setpoint/{setpoint}", self.prefix)
    }
}

/// The topics of one board, as the board sees them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BoardTopics {
    prefix: Prefix,
    board: String,
}

impl BoardTopics {
    /// The topics of the board of that name.
    pub fn new(prefix: Prefix, board: &str) -> BoardTopics {
        BoardTopics { prefix, board: board.to_owned() }
    }

    /// `from/<board>/life`: retained, QoS 1, also the will.
    pub fn life(&self) -> String {
        format!("{}/from/{}/life", self.prefix, self.board)
    }

    /// `from/<board>/report`.
    pub fn report(&self) -> String {
        format!("{}/from/{}/report", self.prefix, self.board)
    }

    /// `from/<board>/reading/<name>`.
    pub fn reading(&self, name: &str) -> String {
        format!("{}/from/{}/reading/{name}", self.prefix, self.board)
    }

    /// `from/<board>/input/<name>`.
    pub fn input(&self, name: &str) -> String {
        format!("{}/from/{}/input/{name}", self.prefix, self.board)
    }

    /// `to/<board>/orders`.
    pub fn orders(&self) -> String {
        Topics::new(self.prefix.clone()).orders(&self.board)
    }

    /// `to/<board>/fallback`.
    pub fn fallback(&self) -> String {
        Topics::new(self.prefix.clone()).fallback(&self.board)
    }

    /// `controller`.
    pub fn controller(&self) -> String {
        Topics::new(self.prefix.clone()).controller()
    }

    /// What the board subscribes, all with QoS 1: its orders, its fallback, and the controller's life.
    pub fn filters(&self) -> [String; 3] {
        [self.orders(), self.fallback(), self.controller()]
    }
}

/// One subscription of the controller.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Subscription {
    /// The topic filter.
    pub filter: String,
    /// The highest QoS asked for.
    pub qos: u8,
    /// Whether the retain flag is to arrive as it was published. Where it is, a message that asks to be stored is refused
    /// even when it arrives live; where it is not, the flag only marks what the broker had stored.
    pub retain_as_published: bool,
    /// Whether what the controller publishes there itself does not come back to it: only others are listened for.
    pub no_local: bool,
}

/// Everything that the controller subscribes for a house, topics outside the contract last and in order.
pub fn subscriptions(house: &House, prefix: &Prefix) -> Vec<Subscription> {
    let of_boards = house.boards.iter().filter_map(|board: &Board| board.foreign.as_ref()).flat_map(Foreign::ears);
    let mut foreign: Vec<&str> = house
        .sensors
        .iter()
        .filter_map(|sensor| match &sensor.source {
            Source::Topic { topic, .. } => Some(topic.as_str()),
            _ => None,
        })
        .chain(of_boards.map(|ear: &Ear| ear.topic.as_str()))
        .filter(|topic| is_topic(topic))
        .collect();
    foreign.sort_unstable();
    foreign.dedup();
    let own =
        [("from/#", false), ("hold/#", true), ("selector/#", true), ("setpoint/#", true), ("controller/knock", true)];
    let own = own.map(|(filter, retain_as_published)| Subscription {
        filter: format!("{prefix}/{filter}"),
        qos: 1,
        retain_as_published,
        no_local: false,
    });
    // Boards keep what stands on the first, so nobody else is to write it. On the others something may be left of an earlier
    // house, or of a process whose last words were lost.
    let ours = ["to/+/fallback", "load/+", "alarm/+"].map(|filter| Subscription {
        filter: format!("{prefix}/{filter}"),
        qos: 1,
        retain_as_published: false,
        no_local: true,
    });
    let foreign = foreign.into_iter().map(|topic| Subscription {
        filter: topic.to_owned(),
        qos: 1,
        retain_as_published: false,
        no_local: false,
    });
    own.into_iter().chain(ours).chain(foreign).collect()
}
