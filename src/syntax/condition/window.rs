//! `{ from = "sunset - 20m", to = "23:15", days = "sun..thu" }`: wall time against a window. It never asks what time it is.

use super::super::context::Context;
use super::super::fields::Fields;
use super::super::keys::{ConditionKind, Form, Key};
use crate::calendar::{Weekdays, Window, WindowEnd, YearSpan, parse_clock};
use crate::house::Atom;

pub(super) static WINDOW: ConditionKind = ConditionKind {
    word: "window",
    a: "a window",
    lead: &["from", "to", "days", "dates", "not_before", "not_after"],
    meaning: "True from one time of day to another, on some days, in some part of the year.",
    keys: &[
        Key::optional(
            "from",
            Form::WindowEnd,
            "\"sunset - 20m\"",
            "It opens then: a clock time, or dawn, sunrise, sunset or dusk with an offset.",
        )
        .guessed(&["at", "start", "begin", "between", "after", "time"]),
        Key::optional("to", Form::WindowEnd, "\"23:15\"", "It closes then.")
            .guessed(&["until", "till", "end", "stop", "before", "and"]),
        Key::optional(
            "not_before",
            Form::Clock,
            "\"17:00\"",
            "Where `from` follows the sun: it opens no earlier than this clock time.",
        )
        .guessed(&["earliest"]),
        Key::optional(
            "not_after",
            Form::Clock,
            "\"08:00\"",
            "Where `to` follows the sun: it closes no later than this clock time.",
        )
        .guessed(&["latest"]),
        Key::optional("days", Form::Days, "\"mon..fri\"", "The weekdays that it may open on; every day without it."),
        Key::optional("dates", Form::Dates, "\"10-01..04-15\"", "The part of the year that it may open in."),
    ],
    example: "{ from = \"sunset - 20m\", to = \"23:15\" }",
    decode,
};

fn decode(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Atom> {
    let ends = match (fields.has("from"), fields.has("to")) {
        (false, false) => Some(None),
        (true, true) => {
            let from = fields.parsed(context, "from", WindowEnd::parse);
            let to = fields.parsed(context, "to", WindowEnd::parse);
            from.zip(to).map(Some)
        }
        (has_from, _) => {
            report_half(context, fields, has_from);
            None
        }
    };
    let days = optional(fields.has("days"), || fields.parsed(context, "days", Weekdays::parse));
    let dates = optional(fields.has("dates"), || fields.parsed(context, "dates", YearSpan::parse));
    let not_before = optional(fields.has("not_before"), || fields.parsed(context, "not_before", parse_clock));
    let not_after = optional(fields.has("not_after"), || fields.parsed(context, "not_after", parse_clock));
    let window = Window { ends: ends?, days: days?, dates: dates?, not_before: not_before?, not_after: not_after? };
    if let Some((key, fault)) = window.fault() {
        fields.refuse(context, key, fault.into());
        return None;
    }
    Some(Atom::Window { window, place: context.place(fields.spot) })
}

/// `Some(None)` where a key was not written, `None` where it was and could not be read.
fn optional<T>(written: bool, read: impl FnOnce() -> Option<T>) -> Option<Option<T>> {
    if written { read().map(Some) } else { Some(None) }
}

/// One end was written and the other was not.
fn report_half(context: &mut Context<'_>, fields: &Fields<'_>, has_from: bool) {
    let (present, missing, meaning, midnight) = match has_from {
        true => ("from", "to", "closes", "to = \"00:00\" is the next midnight"),
        false => ("to", "from", "opens", "from = \"00:00\" is midnight"),
    };
    let message = format!("this window has `{present}` and no `{missing}`");
    let diagnostic = context
        .error("missing-key", fields.spot_of(present), message, "")
        .help(format!("say when it {meaning}; {midnight}"));
    context.push(diagnostic);
}
