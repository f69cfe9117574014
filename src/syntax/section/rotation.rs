//! `[rotation.<name>]`: two loads that do one job. It never decides which.

use super::super::context::{Context, Item};
use super::super::fields::{Fields, shown};
use super::super::keys::{Form, Key, Section};
use crate::house::{Drive, Kind, Load, LoadId, NAME_MAX, Rotation, RotationId, State, Term};
use crate::units::Span;

/// The longest `change_after`: a pump that runs an hour a day leads for most of a year.
const CHANGE_AFTER_MAX: Span = Span::from_h(300);

const STATE_WORDS: [(&str, State); 2] = [("on", State::On), ("off", State::Off)];

pub(super) static ROTATION: Section = Section {
    word: "rotation",
    a: "a rotation",
    named: Some(NAME_MAX),
    meaning: "Two loads that do one job: one of them runs, by turns, and the other takes over when that one cannot. Rules and \
              holds speak to the rotation by its name, as to a load; on is one of the two on.",
    keys: &[
        Key::optional("label", Form::Text, "\"Cellar sump\"", "What a person calls it; its name where none is given.")
            .guessed(&["name", "title"]),
        Key::optional("room", Form::Text, "\"cellar\"", "The room it is in, for grouping."),
        Key::required(
            "loads",
            Form::Names("load"),
            "[\"sump-pump-a\", \"sump-pump-b\"]",
            "The two, each a [load] of its own with its limits and its `proof`. The one with fewer hours run leads, at first the \
             one that is named first. The other takes over when it does not prove on, is withdrawn, held off, tripped, at \
             the end of its max on or max starts, or on a board that is not heard.",
        )
        .guessed(&["members", "load"]),
        Key::optional(
            "change_after",
            Form::Duration,
            "\"10h\"",
            "The lead passes to the other between two runs, once the one that leads was on for this much longer in all.",
        )
        .or("1h")
        .guessed(&["margin", "hours"]),
        Key::optional(
            "safe",
            Form::OneOf(&["on", "off"]),
            "\"off\"",
            "What it must be when a sensor is lost. When the board is lost, each of its loads is in a safe state of its own.",
        )
        .or("off"),
        Key::optional("resting", Form::OneOf(&["on", "off"]), "\"off\"", "What it is when nothing is demanded.")
            .or("off"),
        Key::optional("hold_for", Form::Term, "\"2h\"", "How long a hold lasts when nobody says.").or("next change"),
    ],
    is_condition: false,
    example: "[rotation.cellar-sump]\nloads = [\"sump-pump-a\", \"sump-pump-b\"]\nchange_after = \"10h\"\n",
    decode,
    after: None,
};

fn decode(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) {
    let id = RotationId(context.draft.rotations.len() as u32);
    let (load, rotation) = rotation(context, item, fields, id).unzip();
    context.put_load(item.name, load);
    context.draft.rotations.push(rotation);
}

fn rotation(
    context: &mut Context<'_>,
    item: &Item<'_>,
    fields: &Fields<'_>,
    id: RotationId,
) -> Option<(Load, Rotation)> {
    let label = shown(context, fields, "label");
    let room = shown(context, fields, "room");
    let loads = members(context, fields);
    let change_after = fields.duration(context, "change_after", Span::ZERO, CHANGE_AFTER_MAX);
    let safe = fields.word(context, "safe", &STATE_WORDS);
    let resting = fields.word(context, "resting", &STATE_WORDS);
    let hold_for = fields.parsed(context, "hold_for", Term::parse);
    let loads = loads?;
    let first = context.draft.loads.get(loads[0].index()).and_then(Option::as_ref);
    let kind = first.map_or(Kind::Motor, |load| load.kind);
    let place = context.place(item.name_spot);
    let itself = LoadId(context.index("load", item.name)?);
    let plain = Load::plain(item.name, Drive::Rotation(id), kind, place);
    let load = Load {
        label: label.unwrap_or_else(|| item.name.to_owned()),
        room,
        safe: safe?,
        resting: resting?,
        hold_for: hold_for?,
        ..plain
    };
    Some((load, Rotation { load: itself, loads, change_after: change_after?, place }))
}

/// The two members: loads with a relay of their own, and of no other rotation.
fn members(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<[LoadId; 2]> {
    let found = fields.names(context, "loads", "load", 2)?;
    let spot = fields.spot_of("loads");
    let [first, second] = found[..] else {
        let message = format!("`loads` names {} where a rotation has two", found.len());
        let diagnostic = context
            .error("too-many", spot, message, "")
            .because("with two it is plain which one takes over")
            .help("name two; a third can stand by itself, with a rule of its own");
        context.push(diagnostic);
        return None;
    };
    for member in [first, second] {
        let name = context.names("load").get(member as usize).copied().unwrap_or_default();
        let is_plain = context.items.get("load").is_some_and(|items| items.iter().any(|item| item.name == name));
        if !is_plain {
            let message = format!("\"{name}\" cannot take turns: it has no relay of its own");
            let diagnostic =
                context.error("wrong-member", spot, message, "").help("name two [load] tables, each with a `relay`");
            context.push(diagnostic);
            return None;
        }
        let taken = context.draft.rotations.iter().flatten().any(|other| other.loads.contains(&LoadId(member)));
        if taken {
            let diagnostic = context
                .error("named-twice", spot, format!("load \"{name}\" is in another rotation already"), "")
                .because("two rotations would demand different things of it")
                .help("let it take turns in one rotation only");
            context.push(diagnostic);
            return None;
        }
    }
    Some([LoadId(first), LoadId(second)])
}
