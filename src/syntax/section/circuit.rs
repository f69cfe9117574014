//! `[circuit.<name>]`: loads that share a supply. It never knows what a fuse can take; a person says so.

use super::super::context::{Context, Item};
use super::super::fields::Fields;
use super::super::keys::{Form, Key, Section};
use crate::house::{Circuit, LoadId, NAME_MAX};
use crate::units::{Span, Watts};

/// The longest pause between two closings.
const STAGGER_MAX: Span = Span::from_min(1);

pub(super) static CIRCUIT: Section = Section {
    word: "circuit",
    a: "a circuit",
    named: Some(NAME_MAX),
    meaning: "Loads that share a supply. The fuse protects the wire; this only keeps it from having to.",
    keys: &[
        Key::required(
            "loads",
            Form::Names("load"),
            "[\"towel-rail\", \"immersion\"]",
            "The loads on it; each has a `power`.",
        ),
        Key::required("limit", Form::Power, "\"2.8 kW\"", "What may be on together.")
            .guessed(&["max", "power", "fuse"]),
        Key::optional("stagger", Form::Duration, "\"500ms\"", "The pause between two closings.").or("0s"),
        Key::optional(
            "shed",
            Form::Names("load"),
            "[\"towel-rail\", \"immersion\"]",
            "The order in which loads of one slot give way, first to go first; one that is not named gives way to none.",
        ),
    ],
    is_condition: false,
    example: "[circuit.wash-house]\nloads = [\"towel-rail\", \"immersion\"]\nlimit = \"2.8 kW\"\nshed = [\"towel-rail\"]\n",
    decode,
    after: None,
};

fn decode(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) {
    let circuit = circuit(context, item, fields);
    context.draft.circuits.push(circuit);
}

fn circuit(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) -> Option<Circuit> {
    let loads = fields.names(context, "loads", "load", 1);
    let limit = fields.parsed(context, "limit", Watts::parse);
    let stagger = fields.duration(context, "stagger", Span::ZERO, STAGGER_MAX);
    let shed = if fields.has("shed") { fields.names(context, "shed", "load", 1) } else { Some(Vec::new()) };
    let loads = loads?;
    let shed = shed?;
    if let Some(stranger) = shed.iter().find(|load| !loads.contains(load)) {
        let name = context.names("load").get(*stranger as usize).copied().unwrap_or_default();
        let diagnostic = context
            .error(
                "contradiction",
                fields.spot_of("shed"),
                format!("load \"{name}\" is to be shed and is not on this circuit"),
                "",
            )
            .help("add it to `loads`, or take it out of `shed`");
        context.push(diagnostic);
        return None;
    }
    Some(Circuit {
        name: item.name.to_owned(),
        loads: loads.into_iter().map(LoadId).collect(),
        limit: limit?,
        stagger: stagger?,
        shed: shed.into_iter().map(LoadId).collect(),
        place: context.place(item.name_spot),
    })
}
