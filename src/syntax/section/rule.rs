//! `[rule.<name>]`: while a condition is true, a load is demanded to be in a state. It never evaluates anything.

use super::super::condition;
use super::super::context::{Context, Item};
use super::super::fields::Fields;
use super::super::keys::{Form, Key, Section};
use super::super::state::{self, STATES};
use super::super::tree::Value;
use crate::house::{LoadId, NAME_MAX, OnUnknown, PRIORITY_LOWEST, PRIORITY_TRIP, Rule};
use crate::units::Span;

/// The longest `on_delay` and `off_delay`.
const DELAY_MAX: Span = Span::from_h(24);

const UNKNOWN_WORDS: [(&str, OnUnknown); 2] = [("safe", OnUnknown::Safe), ("release", OnUnknown::Release)];

const RESET_WORDS: [(&str, bool); 2] = [("automatic", false), ("manual", true)];

pub(super) static RULE: Section = Section {
    word: "rule",
    a: "a rule",
    named: Some(NAME_MAX),
    meaning: "While its condition is true a rule demands a state of a load, at a priority.",
    keys: &[
        Key::required("load", Form::Name("load"), "\"sunroom-fan\"", "The load that the rule speaks to."),
        Key::required(
            "demand",
            Form::OneOf(&STATES),
            "\"on\"",
            "What the rule demands of the load while its condition is true: `on` or `off`, of an actuator `open` or `closed`.",
        )
        .guessed(&["state", "action", "then", "set", "do"]),
        Key::required(
            "while",
            Form::Condition,
            "{ sensor = \"sunroom-air\", cut_in = \">= 28\", cut_out = \"<= 26.5\" }",
            "The rule demands its state while this condition is true.",
        )
        .guessed(&["when", "if", "condition"]),
        Key::optional(
            "priority",
            Form::Whole,
            "12",
            "The slot that the rule fills: 9 to 16, or 2 for a safety trip; the lowest number that is set wins.",
        )
        .or("16"),
        Key::optional("on_delay", Form::Duration, "\"1m\"", "How long the condition must have been true.")
            .guessed(&["delay"])
            .or("0s"),
        Key::optional(
            "off_delay",
            Form::Duration,
            "\"5m\"",
            "How long the rule goes on demanding after its condition became false.",
        )
        .or("0s"),
        Key::optional(
            "otherwise",
            Form::OneOf(&STATES),
            "\"off\"",
            "What the rule demands while its condition is false; without it the rule gives way.",
        )
        .guessed(&["else"]),
        Key::optional(
            "on_unknown",
            Form::OneOf(&["safe", "release"]),
            "\"release\"",
            "While the condition is unknown: demand the load's safe state, or give way.",
        )
        .or("safe"),
        Key::optional(
            "reset",
            Form::OneOf(&["automatic", "manual"]),
            "\"manual\"",
            "Of a safety trip: `manual` keeps it demanding, once it was true, until a person resets it.",
        )
        .or("automatic"),
    ],
    is_condition: false,
    example: "[rule.sunroom-vents-when-hot]\nload = \"sunroom-fan\"\ndemand = \"on\"\nwhile = { sensor = \
              \"sunroom-air\", cut_in = \">= 28.0\", cut_out = \"<= 26.5\" }\n",
    decode,
    after: None,
};

fn decode(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) {
    let rule = rule(context, item, fields);
    context.draft.rules.push(rule);
}

fn rule(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) -> Option<Rule> {
    let load = fields.resolved(context, "load", "load");
    let demand = state::of_load(context, fields, "demand", load);
    let condition = fields.node("while").and_then(|node| condition::decode(context, node));
    let priority = priority(context, fields);
    let on_delay = fields.duration(context, "on_delay", Span::ZERO, DELAY_MAX);
    let off_delay = fields.duration(context, "off_delay", Span::ZERO, DELAY_MAX);
    let otherwise = state::of_load(context, fields, "otherwise", load);
    let on_unknown = fields.word(context, "on_unknown", &UNKNOWN_WORDS);
    let latches = fields.word(context, "reset", &RESET_WORDS);
    if latches == Some(true) && priority.is_some_and(|priority| priority != PRIORITY_TRIP) {
        let diagnostic = context
            .error("contradiction", fields.key_spot_of("reset"), "only a safety trip is reset by hand", "")
            .because("an ordinary rule gives way by itself when its condition is false")
            .help("write priority = 2 if this is a safety trip, or leave `reset` out");
        context.push(diagnostic);
        return None;
    }
    Some(Rule {
        name: item.name.to_owned(),
        load: LoadId(load?),
        demand: demand?,
        otherwise,
        priority: priority?,
        condition: condition?,
        on_delay: on_delay?,
        off_delay: off_delay?,
        on_unknown: on_unknown?,
        latches: latches?,
        place: context.place(item.name_spot),
    })
}

fn priority(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<u8> {
    let Some(node) = fields.node("priority") else { return Some(PRIORITY_LOWEST) };
    let slot = match node.value {
        Value::Whole(slot @ (2 | 9..=16)) => return Some(slot as u8),
        Value::Whole(slot) => slot,
        Value::Decimal(_) => 0,
        _ => {
            fields.report_type(context, "priority", node);
            return None;
        }
    };
    let label = match slot {
        1 => "slot 1 is for loads that a person has withdrawn",
        3 | 4 | 7 => "this slot is kept free",
        5 => "slot 5 is for the limits of loads and circuits",
        6 => "slot 6 is for min on and min off",
        8 => "slot 8 is for holds made by hand",
        _ => "there is no such slot",
    };
    let diagnostic = context
        .error("bad-priority", node.spot, "a rule cannot have this priority", label)
        .because(
            "each load has sixteen slots and the lowest number that is set wins: 1 withdrawn, 2 safety trips, 5 limits, \
             6 min on and min off, 8 holds by hand, 9 to 16 rules",
        )
        .help("write 9 to 16 (a lower number is stronger; 16 where none is given), or 2 for a safety trip");
    context.push(diagnostic);
    None
}
