//! Conditions as data: trees of atoms. Their meaning stands in `crate::condition`; nothing is evaluated here.

use serde::{Deserialize, Serialize};

use super::alarm::AlarmState;
use super::model::{AtomId, ConditionId, LoadId, Place, PortId, SelectorId, SensorId};
use super::modes::Bound;
use super::state::State;
use crate::calendar::{Cycle, Window};
use crate::sun::ElevationBound;
use crate::units::Span;

/// A tree over atoms.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Condition {
    /// A leaf.
    Atom(AtomId),
    /// A condition that has a name of its own.
    Named(ConditionId),
    /// True when all are.
    All(Vec<Condition>),
    /// True when one is.
    Any(Vec<Condition>),
    /// True when the other is false.
    Not(Box<Condition>),
}

/// `[condition.<name>]`.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedCondition {
    /// Its name.
    pub name: String,
    /// What it says; never reaches itself.
    pub condition: Condition,
    /// Where it is defined.
    pub place: Place,
}

/// A leaf of a condition.
#[derive(Clone, Debug, PartialEq)]
pub enum Atom {
    /// A reading against cut-in and cut-out.
    Threshold(Threshold),
    /// Wall time against a window.
    Window {
        /// When it is open.
        window: Window,
        /// Where it is written.
        place: Place,
    },
    /// Wall time against a cycle of on and off.
    Cycle {
        /// The cycle.
        cycle: Cycle,
        /// Where it is written.
        place: Place,
    },
    /// The sun's elevation against a bound.
    Sun {
        /// The bound.
        bound: ElevationBound,
        /// Where it is written.
        place: Place,
    },
    /// A reading that rose or fell fast.
    Rise(Rise),
    /// A selector in one of its positions.
    Selector {
        /// The selector.
        selector: SelectorId,
        /// True while it is in this position, by its index.
        is: u32,
        /// Where it is written.
        place: Place,
    },
    /// A sensor of which nothing is known.
    Unknown {
        /// The sensor.
        sensor: SensorId,
        /// Where it is written.
        place: Place,
    },
    /// An on/off contact.
    Input {
        /// The contact's endpoint.
        port: PortId,
        /// True while it is in this state.
        is: State,
        /// Where it is written.
        place: Place,
    },
    /// Alarms.
    Alarm {
        /// The alarm's id; `None` for any.
        alarm: Option<String>,
        /// Which are counted.
        is: AlarmState,
        /// Where it is written.
        place: Place,
    },
    /// What another load is known to do.
    Load {
        /// The other load.
        load: LoadId,
        /// True while it is in this state.
        is: State,
        /// Where it is written.
        place: Place,
    },
}

impl Atom {
    /// Whether its truth rests on nothing but the wall clock.
    pub fn asks_clock(&self) -> bool {
        matches!(self, Atom::Window { .. } | Atom::Cycle { .. } | Atom::Sun { .. })
    }
}

/// A threshold with its deadband; both ends inclusive.
#[derive(Clone, Debug, PartialEq)]
pub struct Threshold {
    /// The sensor it watches.
    pub sensor: SensorId,
    /// The sensor of the same unit whose reading is taken off first.
    pub minus: Option<SensorId>,
    /// Whether high or low readings make it true.
    pub side: ThresholdSide,
    /// Becomes true here, in the sensor's unit.
    pub cut_in: Bound,
    /// Becomes false here, in the sensor's unit.
    pub cut_out: Bound,
    /// Where it is written.
    pub place: Place,
}

impl Threshold {
    /// The sensors that it rests on.
    pub fn sensors(&self) -> impl Iterator<Item = SensorId> {
        [Some(self.sensor), self.minus].into_iter().flatten()
    }
}

/// A rise or a fall within a span; true from then until the reading has come back.
#[derive(Clone, Debug, PartialEq)]
pub struct Rise {
    /// The sensor it watches.
    pub sensor: SensorId,
    /// Which way it goes.
    pub trend: Trend,
    /// Becomes true when the reading has moved by this much; more than zero, in the sensor's unit.
    pub by: f64,
    /// Within this span.
    pub within: Span,
    /// Becomes false when of `by` this much is gone again; more than zero, at most `by`. This is its deadband.
    pub back_by: f64,
    /// Where it is written.
    pub place: Place,
}

/// Which way a reading goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Trend {
    /// Upwards.
    Rises,
    /// Downwards.
    Falls,
}

impl Trend {
    /// 1 or −1: what a reading is multiplied with, so that either way is a rise.
    pub const fn sign(self) -> f64 {
        match self {
            Trend::Rises => 1.0,
            Trend::Falls => -1.0,
        }
    }
}

/// Which side of a threshold is true.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum ThresholdSide {
    /// `cut_in = ">= …"`, `cut_out = "<= …"`.
    High,
    /// `cut_in = "<= …"`, `cut_out = ">= …"`.
    Low,
}

/// Strong Kleene truth.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Truth {
    /// Known false.
    False,
    /// Known true.
    True,
    /// Not known.
    #[default]
    Unknown,
}
