//! `[load.<name>]`: the appliance behind a relay. It never decides what the appliance should be doing.

use super::super::address;
use super::super::context::{Context, Item};
use super::super::fields::{Fields, Refused, clip, optional, shown, within as within_bounds};
use super::super::keys::{Form, Key, Section};
use super::board::operations;
use super::proof;
use super::pulse;
use crate::house::{Contact, Drive, Kind, Load, MaxStarts, NAME_MAX, State, Term};
use crate::units::{Span, Watts};

/// The longest `min_on`, `min_off`, `max_on` and `rest`.
const DWELL_MAX: Span = Span::from_h(24);

/// The largest number of starts: the engine remembers no more.
const STARTS_MAX: u32 = 1000;

const STATE_WORDS: [(&str, State); 2] = [("on", State::On), ("off", State::Off)];
const CONTACT_WORDS: [(&str, Contact); 2] = [("NO", Contact::No), ("NC", Contact::Nc)];
const KIND_WORDS: [(&str, Kind); 9] = [
    ("resistive", Kind::Resistive),
    ("lamp", Kind::Lamp),
    ("led", Kind::Led),
    ("fluorescent", Kind::Fluorescent),
    ("motor", Kind::Motor),
    ("compressor", Kind::Compressor),
    ("solenoid", Kind::Solenoid),
    ("transformer", Kind::Transformer),
    ("electronics", Kind::Electronics),
];

pub(super) static LOAD: Section = Section {
    word: "load",
    a: "a load",
    named: Some(NAME_MAX),
    meaning: "The appliance behind a relay.",
    keys: &[
        Key::optional("label", Form::Text, "\"Sun-room fan\"", "What a person calls it; its name where none is given.")
            .guessed(&["name", "title"]),
        Key::optional("room", Form::Text, "\"sun room\"", "The room it is in, for grouping."),
        Key::required("relay", Form::Relay, "\"yard/2\"", "The relay it hangs on: board, and number from 1.")
            .guessed(&["output", "pin", "channel"]),
        Key::optional(
            "contact",
            Form::OneOf(&["NO", "NC"]),
            "\"NC\"",
            "The contact it is wired to. NO: it runs while the relay is energised. NC: while it is not.",
        )
        .or("NO"),
        Key::required(
            "kind",
            Form::OneOf(&[
                "resistive",
                "lamp",
                "led",
                "fluorescent",
                "motor",
                "compressor",
                "solenoid",
                "transformer",
                "electronics",
            ]),
            "\"motor\"",
            "What the appliance is to a contact; contacts wear differently under each kind.",
        )
        .guessed(&["type"]),
        Key::optional("power", Form::Power, "\"45 W\"", "Rated power, from the appliance's plate.").guessed(&["watts"]),
        Key::optional(
            "endurance",
            Form::Whole,
            "30000",
            "Electrical endurance of its relay under this kind of load, in operations, from the relay's data sheet: a motor or \
             a lamp wears a contact faster than a heater. As the board says where it is not given.",
        ),
        Key::optional(
            "safe",
            Form::OneOf(&["on", "off"]),
            "\"off\"",
            "What it must be when a sensor, the board, the broker or Standfast is lost.",
        )
        .or("off"),
        Key::optional("resting", Form::OneOf(&["on", "off"]), "\"off\"", "What it is when nothing is demanded.")
            .or("off"),
        Key::optional("min_on", Form::Duration, "\"2m\"", "Once on, it stays on for at least this long.").or("0s"),
        Key::optional("min_off", Form::Duration, "\"3m\"", "Once off, it stays off for at least this long.").or("0s"),
        Key::optional(
            "max_on",
            Form::Duration,
            "\"20m\"",
            "It is never on for longer than this; a limit for a pump, and no replacement for its thermal cut-out.",
        )
        .guessed(&["timeout", "max_runtime"]),
        Key::optional(
            "rest",
            Form::Duration,
            "\"5m\"",
            "Off this long after max on before it may be on again; an off that is shorter does not begin a new run. As \
             `min_off` where it is not given.",
        ),
        Key::optional(
            "pulse",
            Form::Duration,
            "\"400ms\"",
            "Its relay is energised only for so long, timed by the board: for a door opener or a latching relay. Each \
             changed demand is one pulse, which nothing repeats.",
        ),
        Key::optional(
            "pulse_at",
            Form::OneOf(&["on", "change"]),
            "\"change\"",
            "What calls for a pulse. `on`: being wanted on, and by itself it is off again: a door opener. `change`: every \
             change of what is wanted, for a latching relay that turns over with each pulse; before its first it is taken \
             to be off. `on` where it is not given.",
        ),
        Key::optional(
            "feedback",
            Form::Name("input"),
            "\"stairs-lit\"",
            "Of a latching relay: the on/off contact that is on while the load is. Without one its state is assumed. One \
             that changes without a pulse was switched by hand, which holds the load.",
        ),
        Key::optional("max_starts", Form::Starts, "\"6 per 1h\"", "How often it may start within a duration."),
        Key::optional(
            "proof",
            Form::Keys(&proof::PROOF),
            "{ sensor = \"pump-amps\", at_least = 0.2, within = \"5s\" }",
            "How it shows that it does what its contact says: an alarm tells of a load that does not prove on, or off (a welded \
             contact). What still proves on counts as on.",
        ),
        Key::optional("hold_for", Form::Term, "\"2h\"", "How long a hold lasts when nobody says.").or("next change"),
    ],
    is_condition: false,
    example: "[load.sunroom-fan]\nrelay = \"yard/2\"\nkind = \"motor\"\npower = \"45 W\"\nmin_off = \"3m\"\n",
    decode,
    after: None,
};

fn decode(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) {
    let load = load(context, item, fields);
    context.put_load(item.name, load);
}

fn load(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) -> Option<Load> {
    let label = shown(context, fields, "label");
    let room = shown(context, fields, "room");
    let relay = address::relay(context, fields, "relay");
    let contact = fields.word(context, "contact", &CONTACT_WORDS);
    let kind = fields.word(context, "kind", &KIND_WORDS);
    let power = fields.parsed(context, "power", Watts::parse);
    let safe = fields.word(context, "safe", &STATE_WORDS);
    let resting = fields.word(context, "resting", &STATE_WORDS);
    let min_on = fields.duration(context, "min_on", Span::ZERO, DWELL_MAX);
    let min_off = fields.duration(context, "min_off", Span::ZERO, DWELL_MAX);
    let max_on = optional(fields, "max_on", || fields.duration(context, "max_on", Span::from_s(1), DWELL_MAX));
    let rest = if fields.has("rest") { fields.duration(context, "rest", Span::ZERO, DWELL_MAX) } else { min_off };
    let max_starts = optional(fields, "max_starts", || fields.parsed(context, "max_starts", starts));
    let endurance = operations(context, fields);
    let proof = proof::proof(context, fields);
    let hold_for = fields.parsed(context, "hold_for", Term::parse);
    let pulse = pulse::decode(context, fields, (contact, safe, resting));
    Some(Load {
        name: item.name.to_owned(),
        label: label.unwrap_or_else(|| item.name.to_owned()),
        room,
        drive: Drive::Relay(relay?),
        contact: contact?,
        kind: kind?,
        power,
        endurance,
        safe: safe?,
        resting: resting?,
        min_on: min_on?,
        min_off: min_off?,
        max_on: max_on?,
        rest: rest?,
        max_starts: max_starts?,
        pulse: pulse?,
        proof: proof?,
        hold_for: hold_for?,
        place: context.place(item.name_spot),
    })
}

/// `6 per 1h`.
fn starts(text: &str) -> Result<MaxStarts, Refused> {
    let refused = |cause: String| Refused::new(cause, "write how many within how long, for example \"6 per 1h\"");
    let Some((most, within)) = text.split_once(" per ") else {
        return Err(refused(format!("\"{}\" is no number of starts per duration", clip(text))));
    };
    let most = most.trim().parse::<u32>().ok().filter(|most| (1..=STARTS_MAX).contains(most));
    let Some(most) = most else {
        return Err(refused(format!("the number of starts is not from 1 to {STARTS_MAX}")));
    };
    Ok(MaxStarts { most, within: within_bounds(within.trim(), Span::from_s(1), DWELL_MAX)? })
}
