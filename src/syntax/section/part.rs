//! `part` of a sensor, and the figures of its data sheet: what is filled in, and what was written instead. It never overrides
//! what was written.

use super::super::context::Context;
use super::super::fields::{Fields, Refused, clip, quoted_list};
use super::super::near::nearest;
use super::super::unit;
use super::{quantity, resistive};
use crate::house::{Grade, PART_NAMES, Part, PartQuantity};
use crate::units::Span;

/// A part and what it measures here.
type Sheet = Option<(&'static Part, PartQuantity)>;

/// The unit of a sensor, as it was written or as part and conversion have it, and what its part measures in it.
pub(super) fn unit_and_sheet(context: &mut Context<'_>, fields: &Fields<'_>, written: &str) -> Option<(String, Sheet)> {
    let resistive = resistive::KEYS.into_iter().find(|(key, ..)| fields.has(key));
    if let Some((key, brings, what)) = resistive {
        if fields.has("part") {
            let message = format!("`part` does not go with `{key}`");
            let diagnostic = context
                .error("contradiction", fields.key_spot_of("part"), message, "")
                .because("a part with a data sheet here sends its quantity itself")
                .help(format!("leave out `part` or `{key}`"));
            context.push(diagnostic);
            return None;
        }
        // Whoever rescales it may make another unit of it.
        let is_rescaled = fields.has("scale");
        if !written.is_empty() && !unit::same(written, brings) && !is_rescaled {
            let message = format!("{what} gives {brings}, not {written}");
            let diagnostic = context
                .error("wrong-unit", fields.spot_of("unit"), message, "")
                .help(format!("write unit = \"{brings}\", or leave it out"));
            context.push(diagnostic);
            return None;
        }
        let unit = if written.is_empty() { brings } else { written };
        return Some((unit.to_owned(), None));
    }
    if !fields.has("part") {
        return Some((written.to_owned(), None));
    }
    let part = fields.parsed(context, "part", named)?;
    let measures: Vec<&str> = part.quantities.iter().map(|quantity| quantity.unit).collect();
    let quantity = match (written, part.quantities) {
        ("", [only]) => Some(*only),
        _ => part.in_unit(written),
    };
    if let Some(quantity) = quantity {
        return Some((quantity.unit.to_owned(), Some((part, quantity))));
    }
    let units = quoted_list(measures.iter().copied());
    let diagnostic = if written.is_empty() {
        context
            .error("missing-key", fields.spot_of("part"), format!("{} has no `unit`", fields.title), "")
            .because(format!("a {} measures {} things, and this sensor is one of them", part.name, measures.len()))
            .help(format!("write which: unit = {units}"))
    } else {
        let message = format!("a {} does not measure {written}", part.name);
        context.error("wrong-unit", fields.spot_of("unit"), message, "").help(format!("write unit = {units}"))
    };
    context.push(diagnostic);
    None
}

fn named(text: &str) -> Result<&'static Part, Refused> {
    if let Some(part) = Part::named(text) {
        return Ok(part);
    }
    let upper = text.trim().to_uppercase();
    let near = Part::named(&upper).map(|part| part.name).or_else(|| nearest(&upper, PART_NAMES));
    let help = match near {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => format!(
            "leave it out and write `range`, `accuracy` and `resolution` from its data sheet; known are {}",
            quoted_list(PART_NAMES.into_iter())
        ),
    };
    Err(Refused::new(format!("nothing is known here of a part \"{}\"", clip(text)), help))
}

/// How well the sensor measures: what was written, else what the data sheet says.
pub(super) fn grade(
    context: &mut Context<'_>,
    fields: &Fields<'_>,
    unit: &str,
    sheet: Sheet,
    offset: f64,
) -> Option<Grade> {
    let accuracy = quantity::positive(context, fields, "accuracy", unit);
    let resolution = quantity::positive(context, fields, "resolution", unit);
    let period = match fields.has("sampling_period") {
        true => fields.duration(context, "sampling_period", Span(1), Span::from_h(24)).map(Some),
        false => Some(None),
    };
    let accuracy = accuracy?.or(sheet.and_then(|(_, quantity)| quantity.accuracy));
    Some(Grade {
        part: sheet.map(|(part, _)| part.name),
        measures: sheet.map(|(_, quantity)| widened(quantity.range, accuracy.unwrap_or(0.0), offset)),
        accuracy,
        resolution: resolution?.or(sheet.map(|(_, quantity)| quantity.resolution)),
        sampling_period: period?.or(sheet.and_then(|(part, _)| part.sampling_period)),
    })
}

/// What a part may send at the ends of its range: off by its accuracy, and moved by the offset.
fn widened((least, greatest): (f64, f64), accuracy: f64, offset: f64) -> (f64, f64) {
    let tidy = |value: f64| (value * 1e9).round() / 1e9;
    (tidy(least - accuracy + offset.min(0.0)), tidy(greatest + accuracy + offset.max(0.0)))
}
