//! `[interlock.<name>]`: loads of which at most one may be on. It never decides which.

use super::super::context::{Context, Item};
use super::super::fields::Fields;
use super::super::keys::{Form, Key, Section};
use crate::house::{Interlock, LoadId, NAME_MAX};
use crate::units::Span;

/// The longest pause between two members: a motor that runs down in a minute is a large one.
const DEAD_TIME_MAX: Span = Span::from_min(10);

pub(super) static INTERLOCK: Section = Section {
    word: "interlock",
    a: "an interlock",
    named: Some(NAME_MAX),
    meaning: "Loads of which at most one may be on, whatever slot demands them.",
    keys: &[
        Key::required(
            "loads",
            Form::Names("load"),
            "[\"towel-rail\", \"immersion\"]",
            "Its members; at a tie the one that is on stays, else the first in the list goes first.",
        )
        .guessed(&["members", "load"]),
        Key::optional(
            "dead_time",
            Form::Duration,
            "\"1s\"",
            "The pause between one member surely being off and another closing.",
        )
        .or("0s")
        .guessed(&["pause", "delay"]),
    ],
    is_condition: false,
    example: "[interlock.wash-house-heat]\nloads = [\"towel-rail\", \"immersion\"]\ndead_time = \"1s\"\n",
    decode,
    after: None,
};

fn decode(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) {
    let loads = fields.names(context, "loads", "load", 2);
    let dead_time = fields.duration(context, "dead_time", Span::ZERO, DEAD_TIME_MAX);
    let place = context.place(item.name_spot);
    let interlock = loads.zip(dead_time).map(|(loads, dead_time)| Interlock {
        name: item.name.to_owned(),
        loads: loads.into_iter().map(LoadId).collect(),
        dead_time,
        place,
    });
    context.draft.interlocks.push(interlock);
}
