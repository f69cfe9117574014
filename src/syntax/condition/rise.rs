//! `{ sensor = "bath-rh", rises = 5, within = "3m", until_back_by = 3 }`: a reading that moves fast. It never compares one.

use super::super::context::Context;
use super::super::fields::Fields;
use super::super::keys::{ConditionKind, Form, Key};
use crate::house::{Atom, Rise, SensorId, Trend};
use crate::units::Span;

/// Bounds of the span.
const WITHIN: (Span, Span) = (Span::from_s(10), Span::from_h(24));

pub(super) static RISE: ConditionKind = ConditionKind {
    word: "rise",
    a: "a rise",
    lead: &["rises", "falls", "within", "until_back_by"],
    meaning: "True once a reading has risen by so much within a span, compared with the lowest of that span, until it has come \
              back: `rises = 5` and `until_back_by = 3` from 55 begin at 60 and end at 57, however high it went meanwhile. If \
              it does not come back it stays true, so give the load a `max_on`.",
    keys: &[
        Key::required("sensor", Form::Name("sensor"), "\"bath-humidity\"", "The sensor that is watched."),
        Key::optional("rises", Form::Number, "5", "By how much the reading must rise, more than 0; this or `falls`.")
            .unit("the sensor's"),
        Key::optional("falls", Form::Number, "5", "By how much it must fall, compared with the highest; the same upside down.")
            .unit("the sensor's"),
        Key::required("within", Form::Duration, "\"3m\"", "Within how long.").guessed(&["in", "over", "span"]),
        Key::required(
            "until_back_by",
            Form::Number,
            "3",
            "How much of `rises` must be gone again for it to end, more than 0 and at most all of it. This is its deadband: \
             noise smaller than this turns it at most once.",
        )
        .unit("the sensor's")
        .guessed(&["until", "back_by", "back"]),
    ],
    example: "{ sensor = \"sunroom-air\", rises = 5, within = \"3m\", until_back_by = 3 }",
    decode,
};

fn decode(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Atom> {
    let sensor = fields.resolved(context, "sensor", "sensor");
    let moves = moves(context, fields);
    let within = fields.duration(context, "within", WITHIN.0, WITHIN.1);
    let back_by = positive(context, fields, "until_back_by");
    let ((key, trend, by), back_by) = (moves?, back_by?);
    if back_by > by {
        let message = format!("`until_back_by` is more than `{key}`");
        let beyond = if trend == Trend::Rises { "below" } else { "above" };
        let diagnostic = context
            .error("out-of-bounds", fields.spot_of("until_back_by"), message, "")
            .because(format!("the reading would have to go {beyond} where it came from, which it may never do"))
            .help(format!("write at most until_back_by = {by}, which is all the way back; less ends it sooner"));
        context.push(diagnostic);
        return None;
    }
    let place = context.place(fields.spot);
    Some(Atom::Rise(Rise { sensor: SensorId(sensor?), trend, by, within: within?, back_by, place }))
}

/// Which way the reading must go, and how far.
fn moves(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<(&'static str, Trend, f64)> {
    match (fields.has("rises"), fields.has("falls")) {
        (true, false) => Some(("rises", Trend::Rises, positive(context, fields, "rises")?)),
        (false, true) => Some(("falls", Trend::Falls, positive(context, fields, "falls")?)),
        (true, true) => {
            let message = "`rises` and `falls` cannot stand in one table";
            let diagnostic = context
                .error("contradiction", fields.key_spot_of("falls"), message, "")
                .help("write two tables: any = [ { ... rises ... }, { ... falls ... } ]");
            context.push(diagnostic);
            None
        }
        (false, false) => {
            let diagnostic = context
                .error("missing-key", fields.spot, "a rise has neither `rises` nor `falls`", "missing: by how much")
                .help("add for example: rises = 5");
            context.push(diagnostic);
            None
        }
    }
}

/// A number above zero.
fn positive(context: &mut Context<'_>, fields: &Fields<'_>, key: &str) -> Option<f64> {
    let number = fields.number(context, key)?;
    if number > 0.0 {
        return Some(number);
    }
    let help = match key {
        "rises" if number < 0.0 => format!("for a fall write falls = {}", -number),
        _ => format!("write how much, such as {key} = 3"),
    };
    let diagnostic =
        context.error("out-of-bounds", fields.spot_of(key), format!("`{key}` is not more than 0"), "").help(help);
    context.push(diagnostic);
    None
}
