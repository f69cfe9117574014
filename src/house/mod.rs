//! The checked house: what stands behind the TOML, with every name resolved to an index. It never holds unchecked text.
//!
//! Ids are indices into vectors sorted by name, so that the same house always yields the same order of work.

mod alarm;
mod analogue;
#[cfg(test)]
pub(crate) mod bare;
mod compare;
mod condition;
mod drive;
mod foreign;
mod lookup;
mod model;
mod modes;
mod output;
mod part;
mod past;
mod sensor;
mod state;
mod term;

pub use alarm::{ALARM_KINDS, AlarmState, OWN_ALARMS, alarm_about};
pub use analogue::{Calibration, Conversion, Divider, LightCurve, NtcCurve, Side};
pub use compare::{Loss, losses};
pub use condition::{Atom, Condition, NamedCondition, Rise, Threshold, ThresholdSide, Trend, Truth};
pub use drive::{Actuator, Drive, OnFailure, Proof, ProofBy, Pulse, PulseAt, Rotation};
pub use foreign::{Ask, Ear, Foreign, ForeignRelay, LEASE_SECONDS};
pub use model::{
    Action, ActuatorId, AtomId, BOARD_NAME_MAX, Board, BoardId, ConditionId, Contact, House, Input, InputId, Kind,
    Load, LoadId, NAME_MAX, OnUnknown, PRIORITY_LOWEST, PRIORITY_TRIP, Place, Port, PortId, RELAYS_MAX, Relay,
    Replaced, RotationId, Rule, RuleId, SelectorId, SensorId, SetpointId, Site, WIRE_NAME_MAX,
};
pub use modes::{Bound, Ends, POSITIONS_MAX, RELEASE, Range, Selector, Setpoint};
pub use output::{Circuit, CircuitId, Interlock, InterlockId, MaxStarts};
pub use part::{PART_NAMES, Part, PartQuantity};
pub use past::Past;
pub use sensor::{Derived, Grade, MaxRate, Sensor, Source};
pub use state::{State, Words};
pub use term::Term;
