//! Proofs that cannot do what they are for: a sensor slower than `within`, one that can never or always prove, one shared by
//! loads that may run at the same time, and a load whose contact is closed for a moment only.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{House, Load, LoadId, Proof, ProofBy};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let house = subject.house;
    let mut found = Vec::new();
    for (number, load) in house.loads.iter().enumerate() {
        let Some(proof) = &load.proof else { continue };
        let faults = [pulse(load), reach(house, load, proof), slow(house, load, proof), shared(house, number, proof)];
        let at = |diagnostic| subject.at(diagnostic, "load", &load.name, "proof", "");
        found.extend(faults.into_iter().flatten().map(at));
    }
    found
}

/// A contact that closes for a moment says nothing of whether the load runs.
fn pulse(load: &Load) -> Option<Diagnostic> {
    load.pulse?;
    let message = format!("load \"{}\" has a `pulse` and a `proof`", load.name);
    Some(
        Diagnostic::error("contradiction", message)
            .because("its contact is closed for a moment only, so it says nothing of whether the load runs")
            .help("leave `proof` out"),
    )
}

fn reach(house: &House, load: &Load, proof: &Proof) -> Option<Diagnostic> {
    let ProofBy::Reading { sensor, at_least } = proof.by else { return None };
    let sensor = house.sensor(sensor);
    let (low, high) = sensor.range?;
    let (message, because) = if at_least > high {
        (
            format!("load \"{}\" can never prove on", load.name),
            format!("sensor \"{}\" never reads above {high}", sensor.name),
        )
    } else if at_least <= low {
        (
            format!("load \"{}\" can never prove off", load.name),
            format!("sensor \"{}\" never reads below {low}", sensor.name),
        )
    } else {
        return None;
    };
    let help = "put `at_least` between what the sensor reads with the load off and with the load on";
    Some(Diagnostic::error("unreachable-proof", message).because(because).help(help))
}

fn slow(house: &House, load: &Load, proof: &Proof) -> Option<Diagnostic> {
    let ProofBy::Reading { sensor, .. } = proof.by else { return None };
    let sensor = house.sensor(sensor);
    (sensor.stale_after > proof.within).then(|| {
        let (stale_after, within) = (sensor.stale_after, proof.within);
        let message = format!("the proof of load \"{}\" may come late: {within} is shorter than its sensor takes", load.name);
        Diagnostic::warning("slow-proof", message)
            .because(format!(
                "sensor \"{}\" may be silent for {stale_after} before it is missed, and only a reading from after the contact \
                 changed proves anything",
                sensor.name
            ))
            .help(format!(
                "let the sensor report more often and shorten its `stale_after` to {within} or less, or lengthen `within` to \
                 {stale_after}"
            ))
    })
}

/// What two loads share tells which of them runs only while they do not run together.
fn shared(house: &House, number: usize, proof: &Proof) -> Option<Diagnostic> {
    let load = &house.loads[number];
    let this = LoadId(number as u32);
    let (name, what) = match proof.by {
        ProofBy::Reading { sensor, .. } => (house.sensor(sensor).name.clone(), "sensor"),
        ProofBy::Contact { port, .. } => {
            let port = &house.ports[port.index()];
            (format!("{}/{}", house.board(port.board).name, port.name), "contact")
        }
    };
    let is_same = |other: &Proof| match (proof.by, other.by) {
        (ProofBy::Reading { sensor: a, .. }, ProofBy::Reading { sensor: b, .. }) => a == b,
        (ProofBy::Contact { port: a, .. }, ProofBy::Contact { port: b, .. }) => a == b,
        _ => false,
    };
    let stranger = (0..number).find(|other| {
        let id = LoadId(*other as u32);
        house.loads[*other].proof.as_ref().is_some_and(is_same) && !are_apart(house, this, id)
    })?;
    let message = format!(
        "loads \"{}\" and \"{}\" are proved by the same {what} \"{name}\"",
        house.loads[stranger].name, load.name
    );
    Some(
        Diagnostic::warning("shared-proof", message)
            .because("while both run nobody can tell which of them it shows")
            .help("give each what shows it alone, or join them by an [interlock] or a [rotation] so that one runs at a time"),
    )
}

/// Whether two loads run one at a time.
fn are_apart(house: &House, one: LoadId, other: LoadId) -> bool {
    let both = |loads: &[LoadId]| loads.contains(&one) && loads.contains(&other);
    house.interlocks.iter().any(|interlock| both(&interlock.loads))
        || house.rotations.iter().any(|rotation| both(&rotation.loads))
}
