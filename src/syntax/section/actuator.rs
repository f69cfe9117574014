//! `[actuator.<name>]`: a motor driven open and closed by two relays. It never decides which way it is to go.

use super::super::address;
use super::super::context::{Context, Item};
use super::super::fields::{Fields, optional, shown};
use super::super::keys::{Form, Key, Section};
use crate::house::{Actuator, ActuatorId, Drive, Kind, Load, LoadId, NAME_MAX, PortId, Relay, State, Term};
use crate::units::Span;

/// The shortest and the longest travel.
const TRAVEL: (Span, Span) = (Span(500), Span::from_min(40));
/// The shortest and the longest pause between two directions: a motor that still turns is not to be reversed.
const DEAD_TIME: (Span, Span) = (Span(100), Span::from_min(10));

const STATE_WORDS: [(&str, State); 2] = [("open", State::On), ("closed", State::Off)];

pub(super) static ACTUATOR: Section = Section {
    word: "actuator",
    a: "an actuator",
    named: Some(NAME_MAX),
    meaning: "A motor driven open and closed by two relays, one for each direction: a hatch, a flap, an awning. Rules demand \
              `open` or `closed` of it as of a load. Each changed demand is one run of the length of `travel`, which the \
              board times; then both relays are released. Without contact to its board it cannot be driven at all: it \
              stays where it is until the board is heard again, whatever `safe` says.",
    keys: &[
        Key::optional("label", Form::Text, "\"Hen-house door\"", "What a person calls it; its name where none is given.")
            .guessed(&["title"]),
        Key::optional("room", Form::Text, "\"hen house\"", "The room it is in, for grouping."),
        Key::required("open", Form::Relay, "\"yard/5\"", "The relay that drives it open: board, and number from 1."),
        Key::required(
            "close",
            Form::Relay,
            "\"yard/6\"",
            "The relay that drives it closed, on the same board. Both are wired to NO, and the motor between them so that \
             it stands still when neither is energised.",
        ),
        Key::required(
            "travel",
            Form::Duration,
            "\"18s\"",
            "How long one run lasts: from one end to the other, and a little more where the motor stops by itself at its \
             end. At most two thirds of the board's lease.",
        )
        .guessed(&["travel_time", "duration", "time", "runtime"]),
        Key::optional(
            "margin",
            Form::Duration,
            "\"3s\"",
            "Towards an end with a contact: how much longer than `travel` a run may last before it is given up with an \
             alarm. A tenth of `travel` where it is not given.",
        ),
        Key::optional(
            "dead_time",
            Form::Duration,
            "\"1s\"",
            "The pause between one direction surely being released and the other.",
        )
        .or("1s")
        .guessed(&["pause", "delay"]),
        Key::optional(
            "open_end",
            Form::Name("input"),
            "\"hen-door-open\"",
            "The on/off contact that is on while it stands wholly open; reaching it ends the run.",
        )
        .guessed(&["open_contact", "end_open", "open_at", "open_stop", "opened"]),
        Key::optional(
            "close_end",
            Form::Name("input"),
            "\"hen-door-closed\"",
            "The on/off contact that is on while it stands wholly closed; reaching it ends the run.",
        )
        .guessed(&["close_contact", "closed_end", "end_close", "close_at", "closed_at", "close_stop"]),
        Key::optional(
            "safe",
            Form::OneOf(&["open", "closed"]),
            "\"closed\"",
            "Where it is driven when a sensor is lost. It takes a board that is heard: a board by itself drives nothing.",
        )
        .or("closed"),
        Key::optional(
            "resting",
            Form::OneOf(&["open", "closed"]),
            "\"closed\"",
            "Where it is driven when nothing is demanded.",
        )
        .or("closed"),
        Key::optional("hold_for", Form::Term, "\"2h\"", "How long a hold lasts when nobody says.").or("next change"),
    ],
    is_condition: false,
    example: "[actuator.hen-door]\nopen = \"yard/5\"\nclose = \"yard/6\"\ntravel = \"18s\"\ndead_time = \"1s\"\nsafe = \"closed\"\n",
    decode,
    after: None,
};

fn decode(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) {
    let id = ActuatorId(context.draft.actuators.len() as u32);
    let load = load(context, item, fields, id);
    let actuator = actuator(context, item, fields);
    context.put_load(item.name, load);
    context.draft.actuators.push(actuator);
}

/// What rules and hands speak to.
fn load(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>, id: ActuatorId) -> Option<Load> {
    let label = shown(context, fields, "label");
    let room = shown(context, fields, "room");
    let safe = fields.word(context, "safe", &STATE_WORDS);
    let resting = fields.word(context, "resting", &STATE_WORDS);
    let hold_for = fields.parsed(context, "hold_for", Term::parse);
    let plain = Load::plain(item.name, Drive::Actuator(id), Kind::Motor, context.place(item.name_spot));
    Some(Load {
        label: label.unwrap_or_else(|| item.name.to_owned()),
        room,
        safe: safe?,
        resting: resting?,
        hold_for: hold_for?,
        ..plain
    })
}

/// The motor behind it.
fn actuator(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) -> Option<Actuator> {
    let open = address::relay(context, fields, "open");
    let close = address::relay(context, fields, "close");
    let travel = fields.duration(context, "travel", TRAVEL.0, TRAVEL.1);
    let dead_time = fields.duration(context, "dead_time", DEAD_TIME.0, DEAD_TIME.1);
    let open_end = optional(fields, "open_end", || contact_named(context, fields, "open_end"));
    let close_end = optional(fields, "close_end", || contact_named(context, fields, "close_end"));
    let margin = optional(fields, "margin", || fields.duration(context, "margin", Span::ZERO, TRAVEL.1));
    let (open, close) = pair(context, fields, open?, close?)?;
    let (open_end, close_end, travel) = (open_end?, close_end?, travel?);
    if fields.has("margin") && open_end.is_none() && close_end.is_none() {
        let diagnostic = context
            .error("contradiction", fields.key_spot_of("margin"), "no end contact would end a longer run early", "")
            .because("without end contacts a run always lasts as long as `travel`")
            .help("write a longer `travel`, or name the contacts with `open_end` and `close_end`");
        context.push(diagnostic);
        return None;
    }
    if let (Some(first), Some(second)) = (open_end, close_end)
        && first == second
    {
        let message = "one contact cannot tell both ends apart";
        let diagnostic = context
            .error("contradiction", fields.spot_of("close_end"), message, "")
            .help("give each end an input of its own, or leave one of them out");
        context.push(diagnostic);
        return None;
    }
    Some(Actuator {
        load: LoadId(context.index("load", item.name)?),
        open,
        close,
        travel,
        margin: margin?.unwrap_or(Span(travel.0 / 10)),
        dead_time: dead_time?,
        open_end,
        close_end,
        place: context.place(item.name_spot),
    })
}

/// The two relays, if they are two, and on one board: one order then speaks to both.
fn pair(context: &mut Context<'_>, fields: &Fields<'_>, open: Relay, close: Relay) -> Option<(Relay, Relay)> {
    let (message, help) = if open == close {
        ("both directions are driven by the same relay", "name the relay of each direction")
    } else if open.board != close.board {
        ("its two relays are on different boards", "move them to one board, so that one order speaks to both")
    } else {
        return Some((open, close));
    };
    let first = fields.spot_of("open");
    let diagnostic = context
        .error("bad-pair", fields.spot_of("close"), message, "")
        .also(context.file(first), first.range(), "the other direction")
        .help(help);
    context.push(diagnostic);
    None
}

/// The endpoint of the on/off contact that a key names, once all inputs are read.
pub(super) fn contact_named(context: &mut Context<'_>, fields: &Fields<'_>, key: &str) -> Option<PortId> {
    let index = fields.resolved(context, key, "input")?;
    // One that failed has been reported where it stands.
    let (input, _) = context.draft.inputs.get(index as usize)?.as_ref()?;
    if input.action.is_none() && input.code.is_none() {
        return Some(input.port);
    }
    let message = format!("input \"{}\" is pressed, and has no state to tell", input.name);
    let diagnostic = context
        .error("no-contact", fields.spot_of(key), message, "")
        .because(format!("`{key}` wants an on/off contact that closes and stays closed"))
        .help("name an input without `toggles`, `holds`, `releases` and `code`");
    context.push(diagnostic);
    None
}
