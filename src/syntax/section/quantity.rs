//! Numbers in a sensor's own unit: bare, or with the unit behind, which is then checked. It never converts.

use super::super::context::Context;
use super::super::fields::{Fields, Refused, clip, within};
use super::super::tree::Value;
use super::super::unit;
use crate::house::MaxRate;
use crate::units::Span;

/// No quantity of a house is greater.
const MOST: f64 = 1e12;

/// The number behind a key, in the unit of the sensor: `0.5`, `"0.5 °C"`; of a temperature a difference may be in K.
pub(super) fn amount(context: &mut Context<'_>, fields: &Fields<'_>, key: &str, sensor_unit: &str) -> Option<f64> {
    let node = fields.node(key)?;
    let number = match &node.value {
        Value::Whole(number) => Ok(*number as f64),
        Value::Decimal(number) => Ok(*number),
        Value::Text(text) => number_in(text, sensor_unit),
        _ => {
            fields.report_type(context, key, node);
            return None;
        }
    };
    let bounded = |number: f64| match number.is_finite() && number.abs() < MOST {
        true => Ok(number),
        false => Err(Refused::new("it is out of all bounds", "write a number that a sensor can reach")),
    };
    match number.and_then(bounded) {
        Ok(number) => Some(number),
        Err(refused) => {
            fields.refuse(context, key, refused);
            None
        }
    }
}

/// The same, more than nothing; `Some(None)` where it was not written.
pub(super) fn positive(
    context: &mut Context<'_>,
    fields: &Fields<'_>,
    key: &str,
    sensor_unit: &str,
) -> Option<Option<f64>> {
    if !fields.has(key) {
        return Some(None);
    }
    let number = amount(context, fields, key, sensor_unit)?;
    if number > 0.0 {
        return Some(Some(number));
    }
    let message = format!("`{key}` is not more than nothing");
    let diagnostic =
        context.error("out-of-bounds", fields.spot_of(key), message, "").help("write a number greater than 0");
    context.push(diagnostic);
    None
}

/// `2 °C per 1min`; `Some(None)` where it was not written.
pub(super) fn max_rate(context: &mut Context<'_>, fields: &Fields<'_>, sensor_unit: &str) -> Option<Option<MaxRate>> {
    if !fields.has("max_rate") {
        return Some(None);
    }
    fields.parsed(context, "max_rate", |text| rate(text, sensor_unit)).map(Some)
}

fn rate(text: &str, sensor_unit: &str) -> Result<MaxRate, Refused> {
    let example = format!("\"{} per 1min\"", with_unit("2", sensor_unit));
    let help = format!("write how much within how long, for example {example}");
    let Some((change, time)) = text.split_once(" per ") else {
        return Err(Refused::new(format!("\"{}\" is no change per duration", clip(text)), help));
    };
    let change = number_in(change, sensor_unit)?;
    if !(change > 0.0 && change < MOST) {
        return Err(Refused::new("the change is not more than nothing", help));
    }
    let time = time.trim();
    // "per minute" is "per 1 minute".
    let time = if time.starts_with(|c: char| c.is_ascii_digit()) { time.to_owned() } else { format!("1{time}") };
    Ok(MaxRate { change, within: within(&time, Span::from_s(1), Span::from_h(24))? })
}

/// A number, and perhaps the sensor's unit.
fn number_in(text: &str, sensor_unit: &str) -> Result<f64, Refused> {
    let trimmed = text.trim().replace('\u{2212}', "-");
    let end = trimmed
        .char_indices()
        .find(|(at, c)| !(c.is_ascii_digit() || *c == '.' || (*at == 0 && matches!(c, '-' | '+'))))
        .map_or(trimmed.len(), |(at, _)| at);
    let (digits, written) = trimmed.split_at(end);
    if written.starts_with(',') {
        return Err(Refused::new("it has a comma", "write a point before the decimals, as in \"0.5\""));
    }
    let written = written.trim();
    let Ok(number) = digits.parse::<f64>() else {
        let help = format!("write for example \"{}\"", with_unit("0.5", sensor_unit));
        return Err(Refused::new(format!("\"{}\" does not begin with a number", clip(text)), help));
    };
    let is_difference = sensor_unit == "°C" && written == "K";
    if written.is_empty() || unit::same(written, sensor_unit) || is_difference {
        return Ok(number);
    }
    let help = match sensor_unit {
        "" => "leave the unit out, or give the sensor its `unit`".to_owned(),
        unit => format!("write the number in {unit}, which is the sensor's unit"),
    };
    Err(Refused::new(format!("\"{}\" is not the sensor's unit", clip(written)), help))
}

fn with_unit(number: &str, unit: &str) -> String {
    format!("{number} {unit}").trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, unit: &str, expected: Result<(f64, u64), &str>) {
        let got = rate(text, unit).map(|rate| (rate.change, rate.within.0));
        match (got, expected) {
            (Ok(got), Ok(expected)) => assert_eq!(got, expected, "{text}"),
            (Err(refused), Err(part)) => assert!(refused.help.contains(part), "{text}: {}", refused.help),
            (got, expected) => panic!("{text}: {:?}, expected {expected:?}", got.map_err(|refused| refused.help)),
        }
    }

    #[test]
    fn rates() {
        check("2 °C per 1min", "°C", Ok((2.0, 60_000)));
        check("2 K per 90s", "°C", Ok((2.0, 90_000)));
        check("0.5 per 1h", "", Ok((0.5, 3_600_000)));
        check("5 % per min", "%", Ok((5.0, 60_000)));
        check("2 °C", "°C", Err("\"2 °C per 1min\""));
        check("2 °C/min", "°C", Err("\"2 °C per 1min\""));
        check("2 % per 1min", "°C", Err("in °C"));
        check("2 °C per 1min", "", Err("give the sensor its `unit`"));
        check("0 °C per 1min", "°C", Err("\"2 °C per 1min\""));
        check("-2 °C per 1min", "°C", Err("\"2 °C per 1min\""));
        check("2,5 °C per 1min", "°C", Err("a point"));
        check("°C per 1min", "°C", Err("\"0.5 °C\""));
        check("2 °C per 1", "°C", Err("\"1s\" for seconds"));
        check("2 °C per 10ms", "°C", Err("from \"1s\""));
    }
}
