//! The sections of a house, one file each: key table and decoder side by side. To add one, write its file and name its
//! table here.

mod actuator;
mod board;
mod circuit;
mod derived;
mod foreign;
mod foreign_keys;
mod input;
mod interlock;
mod load;
mod named_condition;
mod part;
mod proof;
mod pulse;
mod quantity;
mod resistive;
mod rotation;
mod rule;
mod selector;
mod sensor;
mod setpoint;
mod site;

pub(super) use selector::instead_of;

use super::keys::Section;

/// All sections, in the order in which they are decoded: what is referred to comes first.
pub static SECTIONS: [&Section; 13] = [
    &site::SITE,
    &board::BOARD,
    &sensor::SENSOR,
    &selector::SELECTOR,
    &setpoint::SETPOINT,
    &load::LOAD,
    &rotation::ROTATION,
    &interlock::INTERLOCK,
    &circuit::CIRCUIT,
    &input::INPUT,
    &actuator::ACTUATOR,
    &named_condition::CONDITION,
    &rule::RULE,
];
