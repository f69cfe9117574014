//! `{ load = "boiler", is = "on" }`: what another load does. It never asks what is wanted of it.

use super::super::context::Context;
use super::super::fields::Fields;
use super::super::keys::{ConditionKind, Form, Key};
use super::super::state::{self, STATES};
use crate::house::{Atom, LoadId};

pub(super) static LOAD: ConditionKind = ConditionKind {
    word: "load condition",
    a: "a load condition",
    lead: &["load"],
    meaning: "True while another load is in a state: what its contact is reported to be, whoever switched it, not what is \
              wanted of it. Unknown while its board is not heard.",
    keys: &[
        Key::required("load", Form::Name("load"), "\"boiler\"", "The other load."),
        Key::required(
            "is",
            Form::OneOf(&STATES),
            "\"on\"",
            "The condition is true while the load is so: `on` or `off`, of an actuator `open` or `closed`.",
        )
        .guessed(&["state"]),
    ],
    example: "{ load = \"boiler\", is = \"on\" }",
    decode,
};

fn decode(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Atom> {
    let load = fields.resolved(context, "load", "load");
    let is = state::of_load(context, fields, "is", load);
    Some(Atom::Load { load: LoadId(load?), is: is?, place: context.place(fields.spot) })
}
