//! `[selector.<name>]`: a switch of several positions that people turn. It never knows where it stands.

use super::super::context::{Context, Item};
use super::super::fields::{Fields, Refused, quoted_list, shown};
use super::super::keys::{Form, Key, Section};
use super::super::name;
use super::super::tree::{Node, Value};
use crate::house::{NAME_MAX, POSITIONS_MAX, RELEASE, Selector};

pub(super) static SELECTOR: Section = Section {
    word: "selector",
    a: "a selector",
    named: Some(NAME_MAX),
    meaning: "A switch of several positions that people turn, for a while or for good, and that conditions read: whether \
              anybody is at home, summer or winter.",
    keys: &[
        Key::required(
            "positions",
            Form::Texts,
            "[\"lived-in\", \"away\"]",
            "The names of its positions, two to sixteen; it is in the first while nobody has set it.",
        )
        .guessed(&["options", "states", "modes", "values"]),
        Key::optional("label", Form::Text, "\"House\"", "What people call it; its name where none is given."),
    ],
    is_condition: false,
    example: "[selector.house]\npositions = [\"lived-in\", \"away\"]\n",
    decode,
    after: None,
};

fn decode(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) {
    let positions = positions(context, fields);
    let label = if fields.has("label") { shown(context, fields, "label") } else { Some(item.name.to_owned()) };
    let place = context.place(item.name_spot);
    let selector =
        positions.zip(label).map(|(positions, label)| Selector { name: item.name.to_owned(), label, positions, place });
    context.draft.selectors.push(selector);
}

fn positions(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Vec<String>> {
    let node = fields.node("positions")?;
    let Value::List(items) = &node.value else {
        fields.report_type(context, "positions", node);
        return None;
    };
    let mut positions = Vec::with_capacity(items.len());
    let mut sound = true;
    for item in items {
        let Value::Text(text) = &item.value else {
            fields.report_type(context, "positions", item);
            return None;
        };
        sound &= is_position(context, item, text, &positions);
        positions.push(text.clone());
    }
    if sound && !(2..=POSITIONS_MAX).contains(&positions.len()) {
        let message = format!("{} has {}", fields.title, counted(positions.len()));
        let help = format!("name two to {POSITIONS_MAX}, the usual one first: positions = [\"lived-in\", \"away\"]");
        let diagnostic = context.error("bad-list", node.spot, message, "").help(help);
        context.push(diagnostic);
        return None;
    }
    sound.then_some(positions)
}

fn counted(positions: usize) -> String {
    match positions {
        0 => "no position".to_owned(),
        1 => "one position, and there is nothing to choose".to_owned(),
        more => format!("{more} positions"),
    }
}

/// Whether a text may be the name of a further position; an error where it may not.
fn is_position(context: &mut Context<'_>, node: &Node, text: &str, before: &[String]) -> bool {
    let fault = if text == RELEASE {
        let cause = format!("\"{RELEASE}\" is the word that puts a selector back to its first position");
        Some(Refused::new(cause, "give the position another name"))
    } else if before.iter().any(|known| known == text) {
        Some(Refused::new(format!("\"{text}\" stands in the list twice"), "name each position once"))
    } else {
        name::fault(text, NAME_MAX)
    };
    let Some(fault) = fault else { return true };
    let message = format!("a position cannot be called so: {}", fault.cause);
    let diagnostic = context.error("bad-name", node.spot, message, "").help(fault.help);
    context.push(diagnostic);
    false
}

/// What to write instead of a position that a selector does not have.
pub(in super::super) fn instead_of(positions: &[String], written: &str) -> String {
    let names = || positions.iter().map(String::as_str);
    match super::super::near::nearest(written, names()) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => format!("write one of {}", quoted_list(names())),
    }
}
