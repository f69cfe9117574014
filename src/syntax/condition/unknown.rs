//! `{ sensor = "porch-lux", is = "unknown" }`: true while nothing is known of a sensor. It never asks why.

use super::super::context::Context;
use super::super::fields::Fields;
use super::super::keys::{ConditionKind, Form, Key};
use crate::house::{Atom, SensorId};

pub(super) static UNKNOWN: ConditionKind = ConditionKind {
    word: "sensor check",
    a: "a sensor check",
    lead: &["is"],
    meaning: "True while a sensor is unknown: missed for `stale_after`, absurd, or on a board that is lost.",
    keys: &[
        Key::required("sensor", Form::Name("sensor"), "\"porch-lux\"", "The sensor."),
        Key::required("is", Form::OneOf(&["unknown"]), "\"unknown\"", "The only thing that can be asked of it so.")
            .guessed(&["state"]),
    ],
    example: "{ sensor = \"porch-lux\", is = \"unknown\" }",
    decode,
};

fn decode(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Atom> {
    let index = fields.resolved(context, "sensor", "sensor");
    fields.word(context, "is", &[("unknown", ())])?;
    Some(Atom::Unknown { sensor: SensorId(index?), place: context.place(fields.spot) })
}
