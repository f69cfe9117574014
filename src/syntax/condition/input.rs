//! `{ input = "cellar-door", is = "on" }`. It never reads the contact.

use super::super::context::Context;
use super::super::fields::Fields;
use super::super::keys::{ConditionKind, Form, Key};
use crate::house::{Atom, PortId, State};

const STATE_WORDS: [(&str, State); 2] = [("on", State::On), ("off", State::Off)];

pub(super) static INPUT: ConditionKind = ConditionKind {
    word: "input condition",
    a: "an input condition",
    lead: &["input"],
    meaning: "True while an on/off contact is in a state.",
    keys: &[
        Key::required("input", Form::Name("input"), "\"cellar-door\"", "The contact."),
        Key::required("is", Form::OneOf(&["on", "off"]), "\"on\"", "The condition is true while the contact is so.")
            .guessed(&["state"]),
    ],
    example: "{ input = \"cellar-door\", is = \"on\" }",
    decode,
};

fn decode(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Atom> {
    let index = fields.resolved(context, "input", "input");
    let is = fields.word(context, "is", &STATE_WORDS);
    let input = context.draft.inputs.get(index? as usize).and_then(Option::as_ref).map(|(input, _)| input);
    let key_of_remote = input.is_some_and(|input| input.code.is_some());
    // Where the input itself failed the house fails with it; any port will do until then.
    let port = input.map_or(PortId(0), |input| input.port);
    if key_of_remote {
        let diagnostic = context
            .error("wrong-input", fields.spot_of("input"), "a key of a remote is never on or off", "")
            .because("it is pressed and that is all, so the condition would be unknown for ever")
            .help("use an on/off contact here, or let the key make a hold: toggles, holds or releases in its [input] table");
        context.push(diagnostic);
        return None;
    }
    Some(Atom::Input { port, is: is?, place: context.place(fields.spot) })
}
