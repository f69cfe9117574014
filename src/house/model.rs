//! Sites, boards, sensors, loads, inputs and rules as data. It never decodes text and never decides.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use super::condition::{Atom, Condition, NamedCondition};
use super::drive::{Actuator, Drive, Proof, Pulse, Rotation};
use super::foreign::Foreign;
use super::modes::{Selector, Setpoint};
use super::output::{Circuit, Interlock, MaxStarts};
use super::sensor::Sensor;
use super::state::{State, Words};
use super::term::Term;
use crate::calendar::Setting;
use crate::sun::Position;
use crate::units::{Amperes, Span, Watts};

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub struct $name(pub u32);

        impl $name {
            /// The id as an index into its vector in [`House`].
            pub const fn index(self) -> usize {
                self.0 as usize
            }
        }
    )*};
}

ids! {
    /// Index into [`House::boards`].
    BoardId;
    /// Index into [`House::sensors`].
    SensorId;
    /// Index into [`House::loads`].
    LoadId;
    /// Index into [`House::inputs`].
    InputId;
    /// Index into [`House::ports`].
    PortId;
    /// Index into [`House::rules`].
    RuleId;
    /// Index into [`House::conditions`].
    ConditionId;
    /// Index into [`House::atoms`].
    AtomId;
    /// Index into [`House::actuators`].
    ActuatorId;
    /// Index into [`House::rotations`].
    RotationId;
    /// Index into [`House::selectors`].
    SelectorId;
    /// Index into [`House::setpoints`].
    SetpointId;
}

/// The priority of a rule that names none: the last of the sixteen slots.
pub const PRIORITY_LOWEST: u8 = 16;

/// The most relays that one board has.
pub const RELAYS_MAX: u8 = 16;

/// The longest name of a board in bytes. With [`WIRE_NAME_MAX`] it keeps topics under the default prefix to 64 bytes.
pub const BOARD_NAME_MAX: usize = 20;

/// The longest name of a reading or an input on the wire in bytes.
pub const WIRE_NAME_MAX: usize = 20;

/// The longest name of anything else in bytes.
pub const NAME_MAX: usize = 40;

/// The priority of a safety trip.
pub const PRIORITY_TRIP: u8 = 2;

/// One house, decoded and checked as a whole.
#[derive(Clone, Debug)]
pub struct House {
    /// Where the house stands.
    pub site: Site,
    /// Relay boards, sorted by name.
    pub boards: Vec<Board>,
    /// Sensors, sorted by name.
    pub sensors: Vec<Sensor>,
    /// All that rules and hands speak to, sorted by name: loads, and the loads that stand for actuators and rotations.
    pub loads: Vec<Load>,
    /// Wire endpoints of inputs, sorted by board and name; several remote keys share one.
    pub ports: Vec<Port>,
    /// Inputs, sorted by name.
    pub inputs: Vec<Input>,
    /// Rules, sorted by name.
    pub rules: Vec<Rule>,
    /// Conditions that have a name, sorted by it.
    pub conditions: Vec<NamedCondition>,
    /// The leaves of all conditions, each distinct leaf once per table that writes it, in order of first use.
    pub atoms: Vec<Atom>,
    /// Interlocks, sorted by name.
    pub interlocks: Vec<Interlock>,
    /// Circuits, sorted by name.
    pub circuits: Vec<Circuit>,
    /// Actuators, sorted by name.
    pub actuators: Vec<Actuator>,
    /// Rotations, sorted by name.
    pub rotations: Vec<Rotation>,
    /// Selectors, sorted by name.
    pub selectors: Vec<Selector>,
    /// Setpoints, sorted by name.
    pub setpoints: Vec<Setpoint>,
    /// The files that the house was read from, in path order, as paths below its directory.
    pub files: Vec<String>,
}

/// Position, zone and site-wide limits.
#[derive(Clone, Debug)]
pub struct Site {
    /// Degrees north, −90 to 90.
    pub latitude: f64,
    /// Degrees east, −180 to 180.
    pub longitude: f64,
    /// The IANA name of the zone.
    pub zone_name: String,
    /// The zone's rules, handed in by whoever read the house.
    pub zone: TimeZone,
    /// The pause between closings after a start or a reconnect.
    pub stagger: Span,
}

/// A relay board.
#[derive(Clone, Debug, PartialEq)]
pub struct Board {
    /// Its name, also on the wire.
    pub name: String,
    /// How many relays it has, 1 to 16.
    pub relays: u8,
    /// How long it obeys its last orders without fresh ones; `None` means for ever.
    pub lease: Option<Span>,
    /// Current of one coil.
    pub coil: Option<Amperes>,
    /// What its supply can give.
    pub supply: Option<Amperes>,
    /// How many operations the data sheet of its relays gives their contacts under load.
    pub endurance: Option<u32>,
    /// Which of its relays were replaced, and when.
    pub replaced: Vec<Replaced>,
    /// How it is spoken to where its firmware does not know the contract.
    pub foreign: Option<Foreign>,
}

/// A relay that was replaced by a new one, whose contact has its life before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Replaced {
    /// Its number on the board, from 1; `None` for all of them.
    pub relay: Option<u8>,
    /// The day.
    pub day: Date,
}

/// A relay by board and number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Relay {
    /// The board it sits on.
    pub board: BoardId,
    /// Its number on the board, from 1.
    pub number: u8,
}

/// Which contact of the changeover relay the load is wired to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Contact {
    /// Normally open: the load runs while the relay is energised.
    #[default]
    No,
    /// Normally closed: the load runs while the relay is not energised.
    Nc,
}

/// What the appliance is to a contact.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A heater or the like.
    Resistive,
    /// An incandescent lamp.
    Lamp,
    /// An LED lamp or driver.
    Led,
    /// A fluorescent lamp.
    Fluorescent,
    /// A motor: fan or pump.
    Motor,
    /// A refrigeration compressor.
    Compressor,
    /// A solenoid or valve.
    Solenoid,
    /// A transformer.
    Transformer,
    /// A power supply or other electronics.
    Electronics,
}

/// What rules and hands speak to: the appliance behind a relay, an actuator, a rotation.
#[derive(Clone, Debug, PartialEq)]
pub struct Load {
    /// Its name.
    pub name: String,
    /// What a person calls it; the name where none is given.
    pub label: String,
    /// The room it is in, for grouping only.
    pub room: Option<String>,
    /// What carries out what is wanted of it.
    pub drive: Drive,
    /// The contact it is wired to; NO where it has no relay of its own.
    pub contact: Contact,
    /// What it is to the contact.
    pub kind: Kind,
    /// Rated power.
    pub power: Option<Watts>,
    /// How many operations its contact lasts under this load; as its board says where it is `None`.
    pub endurance: Option<u32>,
    /// What it must be when contact is lost or a condition is unknown.
    pub safe: State,
    /// What it is when nothing is demanded.
    pub resting: State,
    /// Once on, on for at least this long.
    pub min_on: Span,
    /// Once off, off for at least this long.
    pub min_off: Span,
    /// Never on for longer than this.
    pub max_on: Option<Span>,
    /// After max on has ended a run, off for at least this long.
    pub rest: Span,
    /// How often it may start.
    pub max_starts: Option<MaxStarts>,
    /// Energised for a moment instead of for as long as it is on.
    pub pulse: Option<Pulse>,
    /// How it shows that it does what its contact says.
    pub proof: Option<Proof>,
    /// How long a hold lasts when nobody says.
    pub hold_for: Term,
    /// Where it is defined.
    pub place: Place,
}

impl Load {
    /// The relay it hangs on; `None` for an actuator and a rotation.
    pub const fn relay(&self) -> Option<Relay> {
        match self.drive {
            Drive::Relay(relay) => Some(relay),
            Drive::Actuator(_) | Drive::Rotation(_) => None,
        }
    }

    /// Whether its relays are energised for a run or a pulse only, which the board times.
    pub const fn is_driven_by_runs(&self) -> bool {
        matches!(self.drive, Drive::Actuator(_)) || self.pulse.is_some()
    }

    /// What a person calls a state of it: an actuator is open or closed, everything else on or off.
    pub const fn word(&self, state: State) -> &'static str {
        self.words().word(state)
    }

    /// What its two states are called.
    pub const fn words(&self) -> Words {
        match self.drive {
            Drive::Actuator(_) => Words::OpenClosed,
            Drive::Relay(_) | Drive::Rotation(_) => Words::OnOff,
        }
    }

    /// What it is in TOML and in messages: `load`, `actuator` or `rotation`.
    pub const fn section(&self) -> &'static str {
        match self.drive {
            Drive::Relay(_) => "load",
            Drive::Actuator(_) => "actuator",
            Drive::Rotation(_) => "rotation",
        }
    }

    /// Whether the relay is energised when the load is in `state`.
    pub fn energised(&self, state: State) -> bool {
        (state == State::On) == (self.contact == Contact::No)
    }

    /// What the load does when its relay is `energised` or not.
    pub fn state(&self, energised: bool) -> State {
        if energised == (self.contact == Contact::No) { State::On } else { State::Off }
    }
}

/// An endpoint on the wire, `from/<board>/input/<name>`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Port {
    /// The board that reports it.
    pub board: BoardId,
    /// Its name on the wire.
    pub name: String,
}

/// A push button, a key of a remote, or an on/off contact.
#[derive(Clone, Debug, PartialEq)]
pub struct Input {
    /// Its name.
    pub name: String,
    /// The endpoint it is heard on.
    pub port: PortId,
    /// The code of a remote's key; `None` for a button or a contact.
    pub code: Option<String>,
    /// What a press does; `None` for a contact that only conditions read.
    pub action: Option<Action>,
    /// How long what a press makes lasts: a hold, the load's where none is given; a selector's position, without end.
    pub hold_for: Option<Term>,
}

/// What a press does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Action {
    /// Holds the load in the opposite of what is wanted now.
    Toggles(LoadId),
    /// Holds the load in a state.
    Holds(LoadId, State),
    /// Ends the load's hold.
    Releases(LoadId),
    /// Sets a selector to a position, by its index.
    Selects(SelectorId, u32),
    /// Turns a selector to its next position, from the last to the first.
    Steps(SelectorId),
}

/// A rule: while its condition is true it demands a state of a load, at a priority.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// Its name.
    pub name: String,
    /// The load it speaks to.
    pub load: LoadId,
    /// What it demands while true.
    pub demand: State,
    /// What it demands while false; `None` gives way.
    pub otherwise: Option<State>,
    /// The slot it fills: 2, or 9 to 16.
    pub priority: u8,
    /// Its condition.
    pub condition: Condition,
    /// How long the condition must have been true.
    pub on_delay: Span,
    /// How long the rule goes on demanding after its condition became false.
    pub off_delay: Span,
    /// What an unknown condition means.
    pub on_unknown: OnUnknown,
    /// A safety trip that latches: once it was true it demands until a person resets it.
    pub latches: bool,
    /// Where it is defined.
    pub place: Place,
}

/// What a rule does while its condition is unknown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum OnUnknown {
    /// Demands the load's safe state at its own priority.
    #[default]
    Safe,
    /// Gives way.
    Release,
}

/// A place in the house's text.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Place {
    /// Index into [`House::files`].
    pub file: u32,
    /// Line, from 1.
    pub line: u32,
}

impl Site {
    /// Where windows are read.
    pub fn setting(&self) -> Setting<'_> {
        let position = Position { latitude: self.latitude, longitude: self.longitude };
        Setting { position, zone: &self.zone }
    }
}
