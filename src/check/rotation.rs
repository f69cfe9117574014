//! Rotations that cannot do what they are for: rules that speak to a member past its rotation, members that cannot show that
//! they failed, safe and resting states that contradict each other, and rotations where a contact is wanted.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Drive, House, Load, LoadId, PRIORITY_TRIP, Rotation, State};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let mut found = in_groups(subject);
    for rotation in &subject.house.rotations {
        let name = &subject.house.load(rotation.load).name;
        found.extend(rules(subject, rotation));
        found.extend(unproved(subject.house, rotation).map(|one| subject.at(one, "rotation", name, "loads", "")));
        found.extend(fallback(subject.house, rotation).map(|one| subject.at(one, "rotation", name, "safe", "")));
        for member in members(subject.house, rotation).filter(|member| member.resting == State::On) {
            let message = format!("load \"{}\" rests on, and is a member of rotation \"{name}\"", member.name);
            let diagnostic = Diagnostic::warning("unused", message)
                .because("what nothing is demanded of is decided for the rotation, so this has no effect")
                .help("leave `resting` out here, or write it in the rotation");
            found.push(subject.at(diagnostic, "load", &member.name, "resting", ""));
        }
    }
    found
}

fn members<'h>(house: &'h House, rotation: &Rotation) -> impl Iterator<Item = &'h Load> {
    rotation.loads.map(|load| house.load(load)).into_iter()
}

/// A rule that demands something of a member would work against its rotation. Safety trips may: they keep one pump off.
fn rules(subject: &Subject<'_>, rotation: &Rotation) -> Vec<Diagnostic> {
    let house = subject.house;
    let name = &house.load(rotation.load).name;
    let past = house.rules.iter().filter(|rule| rotation.loads.contains(&rule.load) && rule.priority != PRIORITY_TRIP);
    past.map(|rule| {
        let member = &house.load(rule.load).name;
        let message =
            format!("rule \"{}\" speaks to \"{member}\", which takes turns in rotation \"{name}\"", rule.name);
        let diagnostic = Diagnostic::error("rule-for-a-member", message)
            .because(
                "the rotation decides which of its loads runs; only a safety trip or a hold may speak to one alone",
            )
            .help(format!("write load = \"{name}\", or make it a safety trip with priority = 2"));
        subject.at(diagnostic, "rule", &rule.name, "load", "")
    })
    .collect()
}

fn unproved(house: &House, rotation: &Rotation) -> Option<Diagnostic> {
    let without: Vec<&str> =
        members(house, rotation).filter(|load| load.proof.is_none()).map(|load| load.name.as_str()).collect();
    (!without.is_empty()).then(|| {
        let message = format!("a failure of \"{}\" would go unnoticed", without.join("\" and \""));
        Diagnostic::warning("no-proof", message)
            .because(
                "without a `proof` the other load takes over only when this one's board is lost or it is withdrawn",
            )
            .help(
                "give it what shows that it runs: proof = { sensor = \"pump-amps\", at_least = 0.2, within = \"5s\" }",
            )
    })
}

/// When contact is lost the members' own safe states are what happens.
fn fallback(house: &House, rotation: &Rotation) -> Option<Diagnostic> {
    let safe = house.load(rotation.load).safe;
    let on: Vec<&Load> = members(house, rotation).filter(|load| load.safe == State::On).collect();
    let (because, help) = match (safe, on[..].len()) {
        (State::Off, 0) | (State::On, 1) => return None,
        (State::Off, _) => (
            format!("it is safe off, but load \"{}\" is safe on and runs when contact is lost", on[0].name),
            "write safe = \"off\" in the load, or safe = \"on\" in the rotation",
        ),
        (State::On, 0) => (
            "it is safe on, but both of its loads are safe off, so neither runs when contact is lost".to_owned(),
            "write safe = \"on\" in one of the loads",
        ),
        (State::On, _) => (
            "both of its loads are safe on, so both run when contact is lost".to_owned(),
            "leave safe = \"on\" in one of the loads only",
        ),
    };
    let message =
        format!("rotation \"{}\" and its loads are not safe in the same state", house.load(rotation.load).name);
    Some(Diagnostic::warning("safe-states-differ", message).because(because).help(help))
}

/// Interlocks and circuits are about contacts, and a rotation has none of its own.
fn in_groups(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let house = subject.house;
    let interlocks = house.interlocks.iter().map(|one| ("interlock", &one.name, &one.loads));
    let circuits = house.circuits.iter().map(|one| ("circuit", &one.name, &one.loads));
    let mut found = Vec::new();
    for (section, name, loads) in interlocks.chain(circuits) {
        let is_rotation = |load: &&LoadId| matches!(house.load(**load).drive, Drive::Rotation(_));
        for load in loads.iter().filter(is_rotation).map(|load| house.load(*load)) {
            let message = format!("{section} \"{name}\" names rotation \"{}\"", load.name);
            let diagnostic = Diagnostic::error("wrong-member", message)
                .because("it has no contact of its own; its loads have")
                .help("name the loads of the rotation instead");
            found.push(subject.at(diagnostic, section, name, "loads", ""));
        }
    }
    found
}
