//! `[sensor.<name>]`: a measured quantity. It never judges a reading.

use super::super::address;
use super::super::context::{Context, Item};
use super::super::fields::{Fields, Refused};
use super::super::keys::{Form, Key, Section};
use super::super::unit;
use crate::house::{NAME_MAX, Sensor, Source};
use crate::units::Span;

pub(super) static SENSOR: Section = Section {
    word: "sensor",
    a: "a sensor",
    named: Some(NAME_MAX),
    meaning: "A measured quantity with unit, range and a time after which it is stale.",
    keys: &[
        Key::optional(
            "reading",
            Form::Endpoint,
            "\"yard/t1\"",
            "The board that measures, and the reading's name on the wire.",
        )
        .guessed(&["source", "input"]),
        Key::optional(
            "topic",
            Form::Topic,
            "\"roof\"",
            "Instead of `reading`: a whole MQTT topic of something that is not one of the boards.",
        ),
        Key::optional(
            "field",
            Form::Pointer,
            "\"/outdoor/t\"",
            "Where the number stands in the JSON behind `topic`; without it the payload is the bare number.",
        )
        .guessed(&["path", "pointer"]),
        Key::optional("unit", Form::Unit, "\"°C\"", "The unit of the readings: a symbol, or its SenML code."),
        Key::optional(
            "range",
            Form::Pair,
            "[-20, 60]",
            "The least and the greatest reading that can be true; one outside is dropped.",
        )
        .unit("the sensor's"),
        Key::optional(
            "stale_after",
            Form::Duration,
            "\"3m\"",
            "After this long without a reading the sensor is unknown, and its rules demand the safe state.",
        )
        .guessed(&["timeout", "max_age"])
        .or("5m"),
    ],
    is_condition: false,
    example: "[sensor.sunroom-air]\nreading = \"yard/t1\"\nunit = \"°C\"\nrange = [-20, 60]\nstale_after = \"3m\"\n",
    decode,
    after: None,
};

fn decode(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) {
    let source = source(context, fields);
    let unit = match fields.has("unit") {
        true => fields.parsed(context, "unit", unit::parse),
        false => Some(String::new()),
    };
    let range = range(context, fields);
    let stale_after = fields.duration(context, "stale_after", Span::from_s(1), Span::from_h(7 * 24));
    let sensor = match (source, unit, range, stale_after) {
        (Some(source), Some(unit), Some(range), Some(stale_after)) => {
            Some(Sensor { name: item.name.to_owned(), source, unit, range, stale_after })
        }
        _ => None,
    };
    context.draft.sensors.push(sensor);
}

fn source(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Source> {
    if let (true, Some(topic)) = (fields.has("reading"), fields.node("topic")) {
        let diagnostic = context
            .error("contradiction", topic.spot, format!("{} has two sources", fields.title), "one source too many")
            .help("keep `reading` for something that one of the boards measures, or `topic` for anything else");
        let reading = fields.spot_of("reading");
        let diagnostic = diagnostic.also(context.file(reading), reading.range(), "");
        context.push(diagnostic);
        return None;
    }
    if fields.has("reading") {
        if fields.has("field") {
            let diagnostic = context
                .error("contradiction", fields.key_spot_of("field"), "`field` goes with `topic` only", "")
                .because("what a board sends as a reading is a bare number")
                .help("leave `field` out");
            context.push(diagnostic);
        }
        let (board, reading) = address::endpoint(context, fields, "reading")?;
        return Some(Source::Board { board, reading });
    }
    if fields.has("topic") {
        let topic = fields.parsed(context, "topic", address::topic);
        let field = match fields.has("field") {
            true => fields.parsed(context, "field", address::pointer).map(Some),
            false => Some(None),
        };
        return Some(Source::Topic { topic: topic?, field: field? });
    }
    let diagnostic = context
        .error("missing-key", fields.spot, format!("{} has no source", fields.title), "")
        .because("without one it never has a reading, and its rules demand the safe state for ever")
        .help(
            "add for example: reading = \"yard/t1\", or for something that is not one of the boards: topic = \"roof\"",
        );
    context.push(diagnostic);
    None
}

/// `Some(None)` where none was written.
fn range(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Option<(f64, f64)>> {
    if !fields.has("range") {
        return Some(None);
    }
    let (least, greatest) = fields.pair(context, "range")?;
    if least < greatest {
        return Some(Some((least, greatest)));
    }
    let help = if least == greatest { "write two different numbers" } else { "write the lower number first" };
    fields.refuse(context, "range", Refused::new("it holds no reading", help));
    None
}
