//! Conditions about alarms that are never raised: of a trip that does not latch, of a sensor that is computed, of a load
//! without a proof.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Atom, AtomId, House, Source};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    for (index, atom) in subject.house.atoms.iter().enumerate() {
        let Atom::Alarm { alarm: Some(alarm), .. } = atom else { continue };
        let Some((why, help)) = silence(subject.house, alarm) else { continue };
        let diagnostic =
            Diagnostic::error("out-of-reach", format!("alarm \"{alarm}\" is never raised")).because(why).help(help);
        found.push(subject.at_spot(diagnostic, subject.spots.atom(AtomId(index as u32)), ""));
    }
    found
}

/// Why an alarm is never raised, and what to do.
fn silence(house: &House, alarm: &str) -> Option<(String, String)> {
    let (kind, name) = alarm.split_once('-')?;
    match kind {
        "trip" => {
            let rule = house.rule(house.rule_named(name)?);
            let why = format!("rule \"{name}\" does not wait for a reset by hand, so nobody has to be told of it");
            let help = "give the rule reset = \"manual\", or use its own condition here".to_owned();
            (!rule.latches).then_some((why, help))
        }
        "sensor" => {
            let sensor = house.sensor(house.sensor_named(name)?);
            let Source::Derived(derived) = &sensor.source else { return None };
            let from = derived.ingredients().first().map_or("", |first| house.sensor(*first).name.as_str());
            let why = format!("sensor \"{name}\" is computed; those that it is computed from raise alarms");
            Some((why, format!("write for example \"sensor-{from}\", or {{ sensor = \"{name}\", is = \"unknown\" }}")))
        }
        "proof" => {
            let load = house.load(house.load_named(name)?);
            let why = format!("{} \"{name}\" has no `proof`", load.section());
            load.proof.is_none().then(|| (why, "give it a `proof`, or leave this condition out".to_owned()))
        }
        _ => None,
    }
}
