//! `{ selector = "house", is = "away" }`. It never knows where the selector stands.

use super::super::context::Context;
use super::super::fields::{Fields, Refused, clip};
use super::super::keys::{ConditionKind, Form, Key};
use super::super::section::instead_of;
use crate::house::{Atom, SelectorId};

pub(super) static SELECTED: ConditionKind = ConditionKind {
    word: "selector condition",
    a: "a selector condition",
    lead: &["selector"],
    meaning: "True while a selector is in a position; its first one while nobody has set it.",
    keys: &[
        Key::required("selector", Form::Name("selector"), "\"house\"", "The selector."),
        Key::required("is", Form::Text, "\"away\"", "The condition is true while the selector is in this position.")
            .guessed(&["position", "state"]),
    ],
    example: "{ selector = \"house\", is = \"away\" }",
    decode,
};

fn decode(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Atom> {
    let index = fields.resolved(context, "selector", "selector");
    let is = fields.text(context, "is");
    let (index, is) = (index?, is?);
    // Where the selector itself failed that has been reported, and the house fails with it.
    let selector = context.draft.selectors.get(index as usize).and_then(Option::as_ref)?;
    let Some(position) = selector.position(&is) else {
        let cause = format!("selector \"{}\" has no position \"{}\"", selector.name, clip(&is));
        let refused = Refused::new(cause, instead_of(&selector.positions, &is));
        fields.refuse(context, "is", refused);
        return None;
    };
    Some(Atom::Selector { selector: SelectorId(index), is: position as u32, place: context.place(fields.spot) })
}
