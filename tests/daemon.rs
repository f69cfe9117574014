//! `standfast run` as a process against Debian's mosquitto, with `mosquitto_pub` and `mosquitto_sub` as the board: brokers
//! that come late, die or freeze, restarts, changes of the house, bad input, hands. It knows nothing of Standfast's code.

#![cfg(feature = "daemon")]

mod support;

#[path = "daemon/alarms.rs"]
mod alarms;
#[path = "daemon/bad_input.rs"]
mod bad_input;
#[path = "daemon/broker.rs"]
mod broker;
#[path = "daemon/change.rs"]
mod change;
#[path = "daemon/commissioning.rs"]
mod commissioning;
#[path = "daemon/descriptors.rs"]
mod descriptors;
#[path = "daemon/disk.rs"]
mod disk;
#[path = "daemon/hands.rs"]
mod hands;
#[allow(dead_code, reason = "it serves other binaries too")]
#[path = "daemon/home.rs"]
mod home;
#[path = "daemon/kills.rs"]
mod kills;
#[path = "daemon/looks.rs"]
mod looks;
#[path = "daemon/memory.rs"]
mod memory;
#[path = "daemon/modes.rs"]
mod modes;
#[path = "daemon/network.rs"]
mod network;
#[path = "daemon/printed.rs"]
mod printed;
#[path = "daemon/restart.rs"]
mod restart;
#[path = "daemon/service.rs"]
mod service;
#[path = "daemon/standstill.rs"]
mod standstill;
#[path = "daemon/start.rs"]
mod start;
#[path = "daemon/waits.rs"]
mod waits;
