//! Each process killed and frozen in turn while a heater is on, and the network between them stalled, half open and
//! unplugged: the heater ends in its safe state, a lost board is missed, and all of it comes back. How long it takes is
//! measured by `cargo bench --bench faults`, not here.

#![cfg(feature = "daemon")]

mod support;

#[path = "real_faults/hosts.rs"]
mod hosts;
#[path = "real_faults/network.rs"]
mod network;
#[path = "real_faults/scene.rs"]
mod scene;
#[path = "real_faults/within.rs"]
mod within;

use scene::{ALL, Fault, Part, Scene};

fn play(part: Part, fault: Fault) {
    let mut scene = Scene::new();
    scene.break_part(part, fault);
    match part {
        // With no orders the lease runs out, whoever it is that does not give them.
        Part::Broker | Part::Daemon => scene.expect_heater(false),
        // A board without power has released its relays; one that hangs for long is reset by its watchdog.
        Part::Board => scene.expect_missed(),
    }
    scene.mend_part(part, fault);
    scene.expect_recovered(part, fault);
}

#[test]
fn a_broker_that_is_killed() {
    play(Part::Broker, Fault::Killed);
}

#[test]
fn a_broker_that_is_frozen() {
    play(Part::Broker, Fault::Frozen);
}

#[test]
fn a_daemon_that_is_killed() {
    play(Part::Daemon, Fault::Killed);
}

#[test]
fn a_daemon_that_is_frozen() {
    play(Part::Daemon, Fault::Frozen);
}

#[test]
fn a_board_that_is_killed() {
    play(Part::Board, Fault::Killed);
}

#[test]
fn a_board_that_is_frozen() {
    play(Part::Board, Fault::Frozen);
}

#[test]
fn every_fault_of_the_table_is_played_here() {
    let parts = [Part::Broker, Part::Daemon, Part::Board];
    let all: Vec<_> = parts.iter().flat_map(|part| [(*part, Fault::Killed), (*part, Fault::Frozen)]).collect();
    assert_eq!(all, ALL);
}
