//! What carries out what is wanted of a load, and what proves it: a relay, the two relays of an actuator, the two loads of a
//! rotation; pulses and proofs. It never decides.
//!
//! Whatever rules and hands speak to is a [`super::Load`], with slots, holds and a name of its own, so that there is one
//! kind of target. What differs is how its state comes about; only a plain load has a relay of its own.

use super::model::{ActuatorId, Contact, Kind, Load, LoadId, Place, PortId, Relay, RotationId, SensorId};
use super::state::State;
use super::term::Term;
use crate::units::Span;

/// What carries out what is wanted of a load.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drive {
    /// One relay: the load is on while the contact that it is wired to is closed.
    Relay(Relay),
    /// A motor with a relay for each direction. On is open, off is closed; both relays rest de-energised.
    Actuator(ActuatorId),
    /// Two loads of which one does the job. On is one of them on, off is both off.
    Rotation(RotationId),
}

impl Load {
    /// One that nothing limits and nobody describes: safe and resting off, holds until the next change.
    pub fn plain(name: &str, drive: Drive, kind: Kind, place: Place) -> Load {
        Load {
            name: name.to_owned(),
            label: name.to_owned(),
            room: None,
            drive,
            contact: Contact::No,
            kind,
            power: None,
            endurance: None,
            safe: State::Off,
            resting: State::Off,
            min_on: Span::ZERO,
            min_off: Span::ZERO,
            max_on: None,
            rest: Span::ZERO,
            max_starts: None,
            pulse: None,
            proof: None,
            hold_for: Term::NextChange,
            place,
        }
    }
}

/// A motor driven open and closed by two relays: `[actuator.<name>]`. Its name, room, safe and resting state and holds are
/// those of its load.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Actuator {
    /// The load that rules and hands speak to: on is open, off is closed.
    pub load: LoadId,
    /// The relay that drives it open, wired to its NO contact.
    pub open: Relay,
    /// The relay that drives it closed, wired to its NO contact. Never energised together with `open`.
    pub close: Relay,
    /// How long one run lasts: from one end to the other.
    pub travel: Span,
    /// Towards an end with a contact, how much longer than `travel` a run may last.
    pub margin: Span,
    /// The pause between one relay surely being released and the other closing.
    pub dead_time: Span,
    /// The contact that is on while it stands wholly open.
    pub open_end: Option<PortId>,
    /// The contact that is on while it stands wholly closed.
    pub close_end: Option<PortId>,
    /// Where it is defined.
    pub place: Place,
}

impl Actuator {
    /// The relay that drives it so.
    pub const fn relay(&self, to: State) -> Relay {
        match to {
            State::On => self.open,
            State::Off => self.close,
        }
    }

    /// The contact at an end, if there is one.
    pub const fn end(&self, at: State) -> Option<PortId> {
        match at {
            State::On => self.open_end,
            State::Off => self.close_end,
        }
    }

    /// How long a run to an end lasts at most.
    pub fn length(&self, to: State) -> Span {
        if self.end(to).is_some() { self.travel + self.margin } else { self.travel }
    }

    /// Its relays, the opening one first.
    pub const fn relays(&self) -> [Relay; 2] {
        [self.open, self.close]
    }
}

/// Two loads that do one job: `[rotation.<name>]`. Its name, room, safe and resting state and holds are those of its load.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rotation {
    /// The load that rules and hands speak to: on is one of the two on.
    pub load: LoadId,
    /// The two, each with a relay of its own; the first leads until hours run say otherwise.
    pub loads: [LoadId; 2],
    /// The lead passes to the other when the one that leads has run for this much longer than it.
    pub change_after: Span,
    /// Where it is defined.
    pub place: Place,
}

/// A relay that is energised for a moment instead of for as long as the load is on; the board times it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pulse {
    /// How long it is energised.
    pub length: Span,
    /// What calls for one.
    pub at: PulseAt,
    /// The contact that is on while the load is, where there is one.
    pub feedback: Option<PortId>,
}

/// What calls for a pulse. Each change of what is wanted calls for one at most; nothing repeats it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum PulseAt {
    /// The load comes to be wanted on: a door opener.
    #[default]
    On,
    /// What is wanted changes: a latching relay, which turns over with each pulse.
    Change,
}

/// How a load shows that it does what its contact says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Proof {
    /// What shows it.
    pub by: ProofBy,
    /// So long after a change of its contact the load must have proved it.
    pub within: Span,
    /// What follows when it has not proved on, besides the alarm.
    pub on_failure: OnFailure,
}

/// What shows whether a load runs. Loads of one rotation or one interlock may share it; then what shows that one runs
/// counts for none of them while another may be on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ProofBy {
    /// Its current, flow or pressure: a reading of at least so much, in the sensor's unit, proves on, one below proves off.
    Reading {
        /// What measures it.
        sensor: SensorId,
        /// How much proves on.
        at_least: f64,
    },
    /// An on/off contact: a flow switch, an auxiliary contact.
    Contact {
        /// Where it is heard.
        port: PortId,
        /// The state that proves on; the other proves off.
        is: State,
    },
}

/// What follows when a load has not proved on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum OnFailure {
    /// The alarm alone.
    #[default]
    Alarm,
    /// The load is withdrawn until a person restores it.
    Withdraw,
}
