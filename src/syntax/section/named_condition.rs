//! `[condition.<name>]`: a condition that rules use by name. It never says what a condition means.

use super::super::condition;
use super::super::context::{Context, Item};
use super::super::fields::Fields;
use super::super::keys::Section;
use crate::house::{NAME_MAX, NamedCondition};

pub(super) static CONDITION: Section = Section {
    word: "condition",
    a: "a condition",
    named: Some(NAME_MAX),
    meaning: "A condition that several rules may use by its name.",
    keys: &[],
    is_condition: true,
    example: "[condition.dark-outside]\nsensor = \"porch-lux\"\ncut_in = \"<= 40\"\ncut_out = \">= 65\"\n",
    decode,
    after: None,
};

fn decode(context: &mut Context<'_>, item: &Item<'_>, _: &Fields<'_>) {
    let condition = condition::decode(context, item.node);
    let place = context.place(item.name_spot);
    let named = condition.map(|condition| NamedCondition { name: item.name.to_owned(), condition, place });
    context.draft.conditions.push(named);
}
