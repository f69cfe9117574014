//! A process is away for less than the lease while the heater is on: no contact moves.

use std::time::Duration;

use super::network::{listen, number};
use super::scene::{Fault, LEASE, Part, Scene};
use super::support::TEN_SECONDS;

fn check(part: Part, fault: Fault) {
    let mut scene = Scene::new();
    let mut reports = listen(&scene, "from/washhouse/report");
    // Right after a report that is answered: the next but one comes well before the lease is over.
    let answered = reports.next(TEN_SECONDS).expect("a report");
    let next = reports.next(TEN_SECONDS).expect("the next report");
    assert!(number(&next, 2) > number(&answered, 2), "{answered:?} was answered before {next:?}");
    scene.break_part(part, fault);
    // Where the broker is what is broken nobody hears a report, and this is over when one would have come.
    let _ = reports.next(LEASE / 3 + Duration::from_millis(300));
    scene.mend_part(part, fault);
    let mut reports = listen(&scene, "from/washhouse/report");
    let taken = number(&next, 2);
    reports.expect(|message| number(message, 2) > taken + 2, LEASE + 2 * TEN_SECONDS);
    let lines = scene.board.lines();
    assert!(!lines.iter().any(|line| line.text.ends_with("frost-heater is off")), "{}", scene.board.transcript());
}

#[test]
fn a_daemon_frozen_for_less_than_the_lease_moves_no_contact() {
    check(Part::Daemon, Fault::Frozen);
}

#[test]
fn a_broker_frozen_for_less_than_the_lease_moves_no_contact() {
    check(Part::Broker, Fault::Frozen);
}
