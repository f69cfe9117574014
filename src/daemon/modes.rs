//! Selectors and setpoints as people ask for them over the command socket, and as the status tells of them. It never
//! decides whether a value may be set.

use serde::Serialize;

use super::protocol::Refusal;
use super::requests::unknown;
use crate::engine::{Engine, HandOrder};
use crate::house::{House, RELEASE, SelectorId, Setpoint, SetpointId, Term};
use crate::units::Finite;

/// The selectors and the setpoints of a status.
pub struct ModeStatus {
    /// In the order of names.
    pub selectors: Vec<serde_json::Value>,
    /// In the order of names.
    pub setpoints: Vec<serde_json::Value>,
}

/// The order to turn a selector.
///
/// # Errors
/// For a selector that the house does not have and an end that is none; in words.
pub fn select(house: &House, name: &str, position: String, said: Option<String>) -> Result<HandOrder, Refusal> {
    let names = house.selectors.iter().map(|selector| selector.name.as_str());
    let selector = house.selector_named(name).ok_or_else(|| unknown("selector", name, names))?;
    if position == RELEASE {
        return no_end(said).map(|()| HandOrder::ReturnSelector { selector });
    }
    let positions = &house.selector(selector).positions;
    if !positions.contains(&position) {
        let what = format!("position of selector \"{name}\" called");
        return Err(unknown(&what, &position, positions.iter().map(String::as_str)));
    }
    Ok(HandOrder::Select { selector, position, term: term(said)? })
}

/// The order to set a setpoint.
///
/// # Errors
/// For a setpoint that the house does not have, a value that is no number, and an end that is none; in words.
pub fn set(house: &House, name: &str, value: &str, said: Option<String>) -> Result<HandOrder, Refusal> {
    let names = house.setpoints.iter().map(|setpoint| setpoint.name.as_str());
    let setpoint = house.setpoint_named(name).ok_or_else(|| unknown("setpoint", name, names))?;
    if value == RELEASE {
        return no_end(said).map(|()| HandOrder::ReturnSetpoint { setpoint });
    }
    let Setpoint { unit, value: example, .. } = house.setpoint(setpoint);
    let bare = value.strip_suffix(unit.as_str()).map_or(value, str::trim_end);
    let number = bare.parse().ok().and_then(Finite::new);
    let value = number.ok_or_else(|| {
        let pointed = bare.replacen(',', ".", 1);
        if pointed != bare && pointed.parse::<f64>().is_ok_and(f64::is_finite) {
            return Refusal::malformed(format!("\"{value}\" has a comma; write it with a point: {pointed}"));
        }
        Refusal::malformed(format!(
            "\"{value}\" is no number; write for example {example}, or {RELEASE} for the file's value"
        ))
    })?;
    Ok(HandOrder::Adjust { setpoint, value, term: term(said)? })
}

/// How long, as it was said.
///
/// # Errors
/// For what is no end; in words.
pub fn term(said: Option<String>) -> Result<Option<Term>, Refusal> {
    said.map(|said| Term::parse(&said)).transpose().map_err(|error| Refusal::malformed(error.to_string()))
}

fn no_end(said: Option<String>) -> Result<(), Refusal> {
    match said {
        None => Ok(()),
        Some(said) => Err(Refusal::malformed(format!("\"{said}\" is too much: {RELEASE} acts at once and has no end"))),
    }
}

/// How selectors and setpoints stand: sentences for people, and the same as data. `stored` says that all is on disk.
pub fn status(engine: &Engine, stored: bool) -> (Vec<String>, ModeStatus) {
    let house = engine.house();
    let zone = &house.site.zone;
    let selectors = (0..house.selectors.len()).map(|number| engine.selector_view(SelectorId(number as u32)));
    let setpoints = (0..house.setpoints.len()).map(|number| engine.setpoint_view(SetpointId(number as u32)));
    let (selectors, setpoints): (Vec<_>, Vec<_>) = (selectors.collect(), setpoints.collect());
    let words = selectors.iter().map(|view| view.sentence(zone));
    let words = words.chain(setpoints.iter().map(|view| view.sentence(zone))).collect();
    let selectors = selectors.iter().map(|view| json(&view.status(stored, zone))).collect();
    let setpoints = setpoints.iter().map(|view| json(&view.status(stored, zone))).collect();
    (words, ModeStatus { selectors, setpoints })
}

fn json(status: &impl Serialize) -> serde_json::Value {
    serde_json::to_value(status).unwrap_or_default()
}
