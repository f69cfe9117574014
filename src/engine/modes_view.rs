//! Selectors and setpoints as they are shown: as data, in words, as JSON. It never changes anything.

use jiff::tz::TimeZone;
use serde::Serialize;

use super::modes::Chosen;
use super::render::until;
use super::status::rfc3339;
use super::{By, Engine};
use crate::house::{SelectorId, SetpointId};
use crate::units::WallTime;

/// A selector at one moment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SelectorView {
    /// Its name.
    pub selector: String,
    /// What a person calls it.
    pub label: String,
    /// The position that it is in.
    pub position: String,
    /// All its positions.
    pub positions: Vec<String>,
    /// Who set it and until when; `None` while nobody has.
    pub set: Option<SetView>,
}

/// A setpoint at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct SetpointView {
    /// Its name.
    pub setpoint: String,
    /// What a person calls it.
    pub label: String,
    /// Its unit; empty where it says none.
    pub unit: String,
    /// What it is.
    pub value: f64,
    /// What it is by the file.
    pub written: f64,
    /// The least and the greatest that it may be set to.
    pub range: (f64, f64),
    /// Who set it and until when; `None` while nobody has.
    pub set: Option<SetView>,
}

/// Who set something, and until when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetView {
    /// Who.
    pub by: By,
    /// When.
    pub began: WallTime,
    /// When it ends at the latest; `None` where no end was said.
    pub until: Option<WallTime>,
}

#[derive(Serialize)]
struct SelectorStatus<'a> {
    selector: &'a str,
    label: &'a str,
    position: &'a str,
    positions: &'a [String],
    #[serde(skip_serializing_if = "Option::is_none")]
    set: Option<SetStatus>,
}

#[derive(Serialize)]
struct SetpointStatus<'a> {
    setpoint: &'a str,
    label: &'a str,
    unit: &'a str,
    value: f64,
    written: f64,
    range: (f64, f64),
    #[serde(skip_serializing_if = "Option::is_none")]
    set: Option<SetStatus>,
}

#[derive(Serialize)]
struct SetStatus {
    by: String,
    since: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    until: Option<String>,
    stored: bool,
}

impl Engine {
    /// How a selector stands.
    pub fn selector_view(&self, id: SelectorId) -> SelectorView {
        let selector = self.house.selector(id);
        SelectorView {
            selector: selector.name.clone(),
            label: selector.label.clone(),
            position: self.position(id).to_owned(),
            positions: selector.positions.clone(),
            set: self.selectors[id.index()].as_ref().map(|chosen| self.set_view(chosen)),
        }
    }

    /// How a setpoint stands.
    pub fn setpoint_view(&self, id: SetpointId) -> SetpointView {
        let setpoint = self.house.setpoint(id);
        SetpointView {
            setpoint: setpoint.name.clone(),
            label: setpoint.label.clone(),
            unit: setpoint.unit.clone(),
            value: self.setpoint_value(id),
            written: setpoint.value,
            range: setpoint.range,
            set: self.setpoints[id.index()].as_ref().map(|adjusted| self.set_view(&adjusted.chosen)),
        }
    }

    fn set_view<T>(&self, chosen: &Chosen<T>) -> SetView {
        SetView { by: chosen.by.clone(), began: chosen.began, until: chosen.end.map(|end| self.over_at(end)) }
    }
}

impl SelectorView {
    /// `selector house: away until Wed 22:30, by a command of ann`.
    pub fn sentence(&self, zone: &TimeZone) -> String {
        let set = self.set.as_ref().map(|set| set.words(zone)).unwrap_or_default();
        format!("selector {}: {}{set}", self.selector, self.position)
    }

    /// The same as JSON; `stored` says that it is safe on disk.
    pub fn status(&self, stored: bool, zone: &TimeZone) -> impl Serialize + use<'_> {
        SelectorStatus {
            selector: &self.selector,
            label: &self.label,
            position: &self.position,
            positions: &self.positions,
            set: self.set.as_ref().map(|set| set.status(stored, zone)),
        }
    }
}

impl SetpointView {
    /// `setpoint sunroom: 29.5 °C until Wed 22:00, by a message; 28 °C by the file`.
    pub fn sentence(&self, zone: &TimeZone) -> String {
        let value = quantity(self.value, &self.unit);
        match &self.set {
            Some(set) => {
                let written = quantity(self.written, &self.unit);
                format!("setpoint {}: {value}{}; {written} by the file", self.setpoint, set.words(zone))
            }
            None => {
                let (least, greatest) = self.range;
                let greatest = quantity(greatest, &self.unit);
                format!("setpoint {}: {value} by the file, may be set from {least} to {greatest}", self.setpoint)
            }
        }
    }

    /// The same as JSON; `stored` says that it is safe on disk.
    pub fn status(&self, stored: bool, zone: &TimeZone) -> impl Serialize + use<'_> {
        SetpointStatus {
            setpoint: &self.setpoint,
            label: &self.label,
            unit: &self.unit,
            value: self.value,
            written: self.written,
            range: self.range,
            set: self.set.as_ref().map(|set| set.status(stored, zone)),
        }
    }
}

impl SetView {
    fn words(&self, zone: &TimeZone) -> String {
        format!("{}, by {}", until(self.until, zone), self.by.words())
    }

    fn status(&self, stored: bool, zone: &TimeZone) -> SetStatus {
        SetStatus {
            by: self.by.words(),
            since: rfc3339(self.began, zone),
            until: self.until.map(|until| rfc3339(until, zone)),
            stored,
        }
    }
}

/// `29.5 °C`, or `29.5` without a unit.
pub(super) fn quantity(value: f64, unit: &str) -> String {
    if unit.is_empty() { value.to_string() } else { format!("{value} {unit}") }
}
