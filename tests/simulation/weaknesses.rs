//! Switches off one protection at a time: the simulation must fail then, and name the invariant. A checker that never fails
//! checks nothing.

use std::collections::BTreeMap;

use standfast::rehearse::{Trial, Weakness};

/// So many seeds are played at most until a weakness shows.
const SEEDS: u64 = 600;

/// The protection that is off, and the invariants of which one must break.
const TABLE: [(Weakness, &[&str]); 35] = [
    (Weakness::Dwell, &["I2"]),
    (Weakness::OrdersInFlight, &["I2"]),
    (Weakness::OldReports, &["press"]),
    (Weakness::Deadband, &["I7"]),
    (Weakness::StaleReadings, &["stale"]),
    (Weakness::Settling, &["start"]),
    (Weakness::HoldEnds, &["I5"]),
    (Weakness::PressCounts, &["press"]),
    (Weakness::ReservationsForgotten, &["I6"]),
    (Weakness::SnapshotsForgotten, &["I12"]),
    (Weakness::UnseenChanges, &["I10"]),
    (Weakness::Interlock, &["I1"]),
    (Weakness::DeadTime, &["I1"]),
    (Weakness::MaxOn, &["I3"]),
    (Weakness::Rest, &["I3"]),
    (Weakness::MaxStarts, &["I3"]),
    (Weakness::CircuitLimit, &["I11"]),
    (Weakness::CircuitStagger, &["stagger"]),
    (Weakness::SiteStagger, &["stagger"]),
    (Weakness::TripLatch, &["trip"]),
    (Weakness::DriveDeadTime, &["I1"]),
    (Weakness::TimedOrders, &["pulse"]),
    (Weakness::ModeEnds, &["mode"]),
    (Weakness::Calibration, &["I12", "I7"]),
    (Weakness::Quorum, &["stale"]),
    (Weakness::Shedding, &["I12"]),
    (Weakness::ForeignRepeats, &["I12"]),
    (Weakness::Proof, &["proof"]),
    (Weakness::Rotation, &["proof"]),
    (Weakness::Median, &["stray"]),
    (Weakness::MaxRate, &["stray"]),
    (Weakness::BoardLease, &["I4"]),
    (Weakness::BoardAge, &["I6"]),
    (Weakness::BoardNumber, &["I6"]),
    (Weakness::BoardBoot, &["I6"]),
];

#[test]
fn every_protection_is_missed_when_it_is_off() {
    let mut unnoticed = Vec::new();
    for (weakness, ids) in TABLE {
        let mut broken: BTreeMap<&str, u64> = BTreeMap::new();
        let found = (1..=SEEDS).find(|seed| {
            let trial = Trial { weakness: Some(weakness), ..Trial::new(*seed) };
            let id = trial.play().err().map(|one| one.id);
            if let Some(id) = id {
                *broken.entry(id).or_default() += 1;
            }
            id.is_some_and(|id| ids.contains(&id))
        });
        match found {
            Some(seed) => println!("{weakness:?} off: seed {seed} breaks one of {ids:?}; before it {broken:?}"),
            None => unnoticed.push(format!("{weakness:?}, expected {ids:?}, broke {broken:?}")),
        }
    }
    assert!(unnoticed.is_empty(), "within {SEEDS} seeds nobody missed:\n{}", unnoticed.join("\n"));
}
