//! `[sensor.<name>]`: a measured quantity. It never judges a reading.

use super::super::address;
use super::super::context::{Context, Item};
use super::super::fields::{Fields, Refused};
use super::super::keys::{Form, Key, Section};
use super::super::unit;
use super::{derived, part, quantity, resistive};
use crate::house::{Calibration, NAME_MAX, PART_NAMES, Sensor, Source};
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
        .guessed(&["source", "input", "value", "pin"]),
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
        Key::optional(
            "dew_point",
            Form::Keys(&derived::AIR),
            "{ temperature = \"cellar-air\", humidity = \"cellar-humidity\" }",
            "Instead of `reading`: the dew point in °C, computed from two sensors in °C and %.",
        ),
        Key::optional(
            "absolute_humidity",
            Form::Keys(&derived::AIR),
            "{ temperature = \"cellar-air\", humidity = \"cellar-humidity\" }",
            "Instead of `reading`: the water in the air in g/m³, computed from two sensors in °C and %.",
        ),
        Key::optional(
            "mean",
            Form::Names("sensor"),
            "[\"air-left\", \"air-right\"]",
            "Instead of `reading`: the mean of several sensors of one unit.",
        )
        .guessed(&["average"]),
        Key::optional(
            "median",
            Form::Names("sensor"),
            "[\"air-left\", \"air-middle\", \"air-right\"]",
            "Instead of `reading`: the median of several sensors of one unit; one that is absurd does nothing.",
        ),
        Key::optional(
            "quorum",
            Form::Whole,
            "2",
            "How many sensors of a `mean` or `median` must be known; all for a mean, more than half for a median where it \
             is not given.",
        ),
        Key::optional(
            "median_of",
            Form::Whole,
            "3",
            "A reading counts as the median of the last so many, 3 to 15, so that a single absurd one does nothing.",
        ),
        Key::optional(
            "unit",
            Form::Unit,
            "\"°C\"",
            "The unit of the readings: a symbol, or its SenML code. A part that measures one thing, a photoresistor and a \
             thermistor bring their own.",
        ),
        Key::optional(
            "part",
            Form::OneOf(&PART_NAMES),
            "\"DHT22\"",
            "The number of the part that measures. Its data sheet fills in what is not written here: `range`, `accuracy`, \
             `resolution` and `sampling_period`; where it measures several things, `unit` says which.",
        )
        .guessed(&["model", "type", "chip"]),
        Key::optional(
            "range",
            Form::Pair,
            "[-20, 60]",
            "The least and the greatest reading that can be true; one outside is dropped. Of a `part`, what it measures, with \
             its accuracy and the offset beyond both ends.",
        )
        .unit("the sensor's"),
        Key::optional(
            "scale",
            Form::Number,
            "0.1",
            "Calibration: what is sent is multiplied by it, before anything else looks at it.",
        )
        .guessed(&["factor", "multiply", "gain"])
        .or("1"),
        Key::optional(
            "offset",
            Form::Amount,
            "-0.7",
            "Calibration: added after `scale`. Hold the sensor beside a thermometer that you trust, and write the difference.",
        )
        .guessed(&["add", "correction"])
        .unit("the sensor's")
        .or("0"),
        Key::optional(
            "photoresistor",
            Form::Keys(&resistive::PHOTORESISTOR),
            "{ fixed = \"10 kΩ\", side = \"high\", full_scale = 1023, dim = [10, 426], bright = [400, 871] }",
            "The board sends the raw value of a light-dependent resistor, which is made lx of.",
        )
        .guessed(&["ldr", "light_resistor", "photocell"]),
        Key::optional(
            "thermistor",
            Form::Keys(&resistive::THERMISTOR),
            "{ fixed = \"10 kΩ\", side = \"low\", full_scale = 4095, r25 = \"10 kΩ\", beta = 3892 }",
            "The board sends the raw value of an NTC thermistor, which is made °C of.",
        )
        .guessed(&["ntc"]),
        Key::optional(
            "max_rate",
            Form::Rate,
            "\"2 °C per 1min\"",
            "A reading that moves faster is dropped, one step of the sensor allowed. After three dropped in a row the sensor \
             is unknown; then one that goes on from the last dropped one is taken, so that a true leap is not locked out.",
        )
        .guessed(&["max_change", "max_step"]),
        Key::optional(
            "accuracy",
            Form::Amount,
            "0.5",
            "How far off it may be, either way; `check` holds deadbands against it.",
        )
        .guessed(&["tolerance"])
        .unit("the sensor's"),
        Key::optional(
            "resolution",
            Form::Amount,
            "0.1",
            "The step between two readings; `check` holds deadbands against it.",
        )
        .guessed(&["step"])
        .unit("the sensor's"),
        Key::optional(
            "sampling_period",
            Form::Duration,
            "\"2s\"",
            "The shortest time between two measurements of the part.",
        ),
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
    after: Some(derived::complete),
};

/// The most readings that `median_of` may take together.
const MEDIAN_MAX: i64 = 15;

/// Prefixes of units go no further apart than this.
const SCALE_MAX: f64 = 1e12;

fn decode(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) {
    let sensor = sensor(context, item, fields);
    context.draft.sensors.push(sensor);
}

fn sensor(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) -> Option<Sensor> {
    let source = source(context, fields);
    if source.is_none() && derived::KEYS.iter().any(|key| fields.has(key)) {
        // What belongs to measured sensors only is no second mistake.
        return None;
    }
    let written = match fields.has("unit") {
        true => fields.parsed(context, "unit", unit::parse),
        false => Some(String::new()),
    };
    let median_of = median_of(context, fields);
    let stale_after = fields.duration(context, "stale_after", Span::from_s(1), Span::from_h(7 * 24));
    let range = range(context, fields);
    let conversion = resistive::conversion(context, fields);
    let scale = scale(context, fields);
    // What follows is in the sensor's unit, which has to be known.
    let written = written?;
    let resolved = part::unit_and_sheet(context, fields, &written);
    let is_known = resolved.is_some();
    // Without its part what is written still has a unit to be held against.
    let (unit, sheet) = resolved.or((!written.is_empty()).then_some((written, None)))?;
    let offset = if fields.has("offset") { quantity::amount(context, fields, "offset", &unit) } else { Some(0.0) };
    let max_rate = quantity::max_rate(context, fields, &unit);
    let grade = part::grade(context, fields, &unit, sheet, offset.unwrap_or(0.0));
    let grade = grade.filter(|_| is_known)?;
    Some(Sensor {
        name: item.name.to_owned(),
        source: source?,
        unit,
        range: range?.or(grade.measures),
        stale_after: stale_after?,
        median_of: median_of?,
        calibration: Calibration { conversion: conversion?, scale: scale?, offset: offset? },
        max_rate: max_rate?,
        grade,
    })
}

/// Of how many readings the median counts; 1 where none is taken.
fn median_of(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<u8> {
    if !fields.has("median_of") {
        return Some(1);
    }
    let many = fields.whole(context, "median_of", 1, MEDIAN_MAX)?;
    if many == 2 {
        let diagnostic = context
            .error("out-of-bounds", fields.spot_of("median_of"), "two readings outvote nothing", "")
            .because("of two that differ neither can be told to be the absurd one")
            .help("write median_of = 3, which a single absurd reading does not move, or leave it out");
        context.push(diagnostic);
        return None;
    }
    Some(many as u8)
}

fn scale(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<f64> {
    let Some(node) = fields.node("scale") else { return Some(1.0) };
    let Some(scale) = resistive::bare(node) else {
        fields.report_type(context, "scale", node);
        return None;
    };
    if scale == 0.0 || scale.abs() > SCALE_MAX {
        let help = "write what one unit of what is sent makes in the sensor's unit, another number than 0";
        let message = "`scale` is out of bounds";
        let diagnostic = context.error("out-of-bounds", node.spot, message, "").help(help);
        context.push(diagnostic);
        return None;
    }
    Some(scale)
}

fn source(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Source> {
    let sources: Vec<&str> =
        ["reading", "topic"].into_iter().chain(derived::KEYS).filter(|key| fields.has(key)).collect();
    if let [first, second, ..] = sources[..] {
        let (first, second) = (fields.spot_of(first), fields.spot_of(second));
        let diagnostic = context
            .error("contradiction", second, format!("{} has two sources", fields.title), "one source too many")
            .also(context.file(first), first.range(), "")
            .help(
                "keep `reading` for something that one of the boards measures, `topic` for anything else, or one way to \
                 compute it",
            );
        context.push(diagnostic);
        return None;
    }
    if fields.has("field") && !fields.has("topic") {
        let diagnostic = context
            .error("contradiction", fields.key_spot_of("field"), "`field` goes with `topic` only", "")
            .because("what a board sends as a reading is a bare number, and so is what is computed")
            .help("leave `field` out");
        context.push(diagnostic);
    }
    derived::report_stray_quorum(context, fields);
    if fields.has("reading") {
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
    if let Some(key) = derived::KEYS.iter().find(|key| fields.has(key)) {
        return derived::source(context, fields, key).map(Source::Derived);
    }
    if ["reading", "topic"].into_iter().chain(derived::KEYS).any(|key| fields.is_meant(key)) {
        return None;
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
