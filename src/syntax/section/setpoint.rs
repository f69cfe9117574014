//! `[setpoint.<name>]`: a number for thresholds that people change within a range. It never knows what it is set to.

use super::super::context::{Context, Item};
use super::super::fields::{Fields, shown};
use super::super::keys::{Form, Key, Section};
use super::super::unit;
use crate::house::{NAME_MAX, Setpoint};

pub(super) static SETPOINT: Section = Section {
    word: "setpoint",
    a: "a setpoint",
    named: Some(NAME_MAX),
    meaning: "A number that thresholds may name instead of writing it, and that people may change within a range while the \
              house runs: for a while, or until the value in the file changes.",
    keys: &[
        Key::required("value", Form::Number, "28.0", "What it is while nobody has set it.")
            .guessed(&["default", "initial", "is"]),
        Key::required(
            "range",
            Form::Pair,
            "[20, 32]",
            "The least and the greatest that it may be set to; thresholds that use it must keep a deadband all over it.",
        )
        .guessed(&["limits", "bounds", "min", "max"]),
        Key::optional(
            "unit",
            Form::Unit,
            "\"°C\"",
            "Its unit, as a symbol or as its SenML code (RFC 8428); sensors that it is compared with must have the same.",
        ),
        Key::optional("label", Form::Text, "\"Sun room\"", "What people call it; its name where none is given."),
    ],
    is_condition: false,
    example: "[setpoint.sunroom]\nvalue = 28.0\nrange = [20, 32]\n",
    decode,
    after: None,
};

fn decode(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) {
    let setpoint = setpoint(context, item, fields);
    context.draft.setpoints.push(setpoint);
}

fn setpoint(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) -> Option<Setpoint> {
    if !item.name.starts_with(|c: char| c.is_ascii_lowercase()) {
        let diagnostic = context
            .error("bad-name", item.name_spot, "a setpoint's name must begin with a letter", "")
            .because("it stands where a number may stand, as in cut_in = \">= sunroom\"")
            .help("put a letter in front");
        context.push(diagnostic);
        return None;
    }
    let value = fields.number(context, "value");
    let range = if fields.has("range") { fields.pair(context, "range") } else { None };
    let unit = if fields.has("unit") { fields.parsed(context, "unit", unit::parse) } else { Some(String::new()) };
    let label = if fields.has("label") { shown(context, fields, "label") } else { Some(item.name.to_owned()) };
    let (value, (least, greatest)) = (value?, range?);
    if least >= greatest {
        let help = format!("write the least first: range = [{greatest}, {least}]");
        let help = if least == greatest { "write a least and a greatest that differ".to_owned() } else { help };
        let message = format!("the range of {} is empty", fields.title);
        let diagnostic = context.error("bad-range", fields.spot_of("range"), message, "").help(help);
        context.push(diagnostic);
        return None;
    }
    if !(least..=greatest).contains(&value) {
        let range = fields.spot_of("range");
        let message = format!("the value of {} lies outside its range", fields.title);
        let diagnostic = context
            .error("out-of-bounds", fields.spot_of("value"), message, "")
            .also(context.file(range), range.range(), "the range")
            .help(format!("write a value from {least} to {greatest}, or widen the range"));
        context.push(diagnostic);
        return None;
    }
    Some(Setpoint {
        name: item.name.to_owned(),
        label: label?,
        unit: unit?,
        value,
        range: (least, greatest),
        place: context.place(item.name_spot),
    })
}
