//! Why a relay was ordered as it was, and what the house says of its load: what checkers hold orders against. It never judges.

use crate::engine::{Cause, Engine};
use crate::house::{Contact, Load, LoadId, State};
use crate::units::Span;

/// Why a relay was ordered as it was: the engine's own words in short, noted when an order turned a relay over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// Its load is withdrawn.
    Withdrawn,
    /// A safety trip.
    Trip,
    /// Min on or min off.
    Dwell,
    /// A hold.
    Hold,
    /// Settling after a start.
    Settling,
    /// It waits for its turn.
    Stagger,
    /// Max on, or its rest.
    MaxOn,
    /// Max starts.
    MaxStarts,
    /// A circuit's limit or stagger.
    Circuit,
    /// An interlock.
    Interlock,
    /// An interlock, and another member of it is shown to run though its contact is open: it is found on together with it.
    InterlockShown,
    /// Ordinary rules, or nothing demanded.
    Rules,
    /// The rules' conditions are not known.
    Unknown,
}

/// What the house says of a relay's load when orders for it are sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Charge {
    /// The load.
    pub load: String,
    /// The contact that it is wired to.
    pub contact: Contact,
    /// Its min on.
    pub min_on: Span,
    /// Its min off.
    pub min_off: Span,
    /// Why it is ordered as it is.
    pub why: Why,
    /// What it is to be.
    pub wanted: State,
}

impl Why {
    /// The short form of a cause.
    pub fn of(cause: &Cause) -> Why {
        match cause {
            Cause::Withdrawn { .. } => Why::Withdrawn,
            Cause::Rule(rule) if rule.priority < crate::engine::SLOT_RULES => Why::Trip,
            Cause::Rule(rule) if rule.truth == crate::house::Truth::Unknown => Why::Unknown,
            Cause::Dwell { .. } => Why::Dwell,
            Cause::Hold(_) => Why::Hold,
            Cause::Settling { .. } => Why::Settling,
            Cause::Stagger => Why::Stagger,
            Cause::MaxOn { .. } => Why::MaxOn,
            Cause::MaxStarts { .. } => Why::MaxStarts,
            Cause::Circuit { .. } => Why::Circuit,
            Cause::Interlock { shown, .. } if !shown.is_empty() => Why::InterlockShown,
            Cause::Interlock { .. } => Why::Interlock,
            _ => Why::Rules,
        }
    }

    /// What decides a load now, by the engine's own words, and what it decides.
    pub fn now(engine: &Engine, load: LoadId) -> (Why, State) {
        (Why::of(&engine.cause(load)), engine.wanted(load))
    }

    /// Whether it stands above min on and min off.
    pub const fn breaks_dwell(self) -> bool {
        matches!(self, Why::Withdrawn | Why::Trip | Why::MaxOn | Why::MaxStarts | Why::Circuit | Why::InterlockShown)
    }
}

impl Charge {
    /// What the house says of a load.
    pub fn new(load: &Load, why: Why, wanted: State) -> Charge {
        let (min_on, min_off) = (load.min_on, load.min_off);
        Charge { load: load.name.clone(), contact: load.contact, min_on, min_off, why, wanted }
    }

    /// What the load does while the relay is energised or not.
    pub fn state(&self, energised: bool) -> State {
        if energised == (self.contact == Contact::No) { State::On } else { State::Off }
    }

    /// How long the load must have been in the other state before it may change to this one.
    pub fn dwell_before(&self, state: State) -> Span {
        if state == State::On { self.min_off } else { self.min_on }
    }
}
