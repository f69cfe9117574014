//! The ends of a threshold: a number, or a setpoint with something added or taken off, and whether a deadband is left
//! whatever is set. It never knows what a setpoint is set to.

use super::super::context::Context;
use super::super::fields::{Fields, Refused, clip};
use super::super::unit;
use super::threshold::comparison;
use crate::house::{Bound, Sensor, Setpoint, SetpointId, Threshold, ThresholdSide};

/// An end as it is written.
#[derive(Debug, PartialEq)]
struct Written {
    side: ThresholdSide,
    /// The name of a setpoint, to which the number is added.
    setpoint: Option<String>,
    number: f64,
    unit: String,
}

/// One end: which way it looks, and where it lies.
pub(super) fn end(
    context: &mut Context<'_>,
    fields: &Fields<'_>,
    key: &str,
    sensor: Option<&Sensor>,
) -> Option<(ThresholdSide, Bound)> {
    let Written { side, setpoint, number, unit: written } = fields.parsed(context, key, written)?;
    let mut bound = Some(Bound::Number(number));
    if let Some(name) = setpoint {
        bound = setpoint_named(context, fields, key, &name).map(|id| Bound::Setpoint { setpoint: id, offset: number });
        let own =
            bound.and_then(Bound::setpoint).and_then(|id| of_draft(context, id)).map(|setpoint| setpoint.unit.clone());
        if let (Some(own), Some(sensor)) = (own, sensor)
            && !own.is_empty()
            && !unit::same(&own, &sensor.unit)
        {
            let message = format!("setpoint \"{name}\" is in another unit than sensor \"{}\"", sensor.name);
            let help = match sensor.unit.as_str() {
                "" => format!("give the sensor unit = \"{own}\", or leave the unit of the setpoint out"),
                unit => format!("use a setpoint in {unit}, which is the sensor's unit"),
            };
            let diagnostic = context.error("wrong-unit", fields.spot_of(key), message, "").help(help);
            context.push(diagnostic);
            return None;
        }
    }
    let Some(sensor) = sensor.filter(|sensor| !written.is_empty() && !unit::same(&written, &sensor.unit)) else {
        return bound.map(|bound| (side, bound));
    };
    let message = format!("`{key}` is in another unit than sensor \"{}\"", sensor.name);
    let (label, help) = match sensor.unit.as_str() {
        "" => ("the sensor has no unit", "leave the unit out, or give the sensor its `unit`".to_owned()),
        unit => ("", format!("write the number in {unit}, which is the sensor's unit")),
    };
    let diagnostic = context.error("wrong-unit", fields.spot_of(key), message, label).help(help);
    context.push(diagnostic);
    None
}

/// A setpoint as it was read, where that succeeded.
fn of_draft<'c>(context: &'c Context<'_>, id: SetpointId) -> Option<&'c Setpoint> {
    context.draft.setpoints.get(id.index()).and_then(Option::as_ref)
}

/// The setpoint of a name; `None` where there is none or where it failed, which has then been reported.
fn setpoint_named(context: &mut Context<'_>, fields: &Fields<'_>, key: &str, name: &str) -> Option<SetpointId> {
    if let Some(index) = context.index("setpoint", name) {
        return Some(SetpointId(index)).filter(|id| of_draft(context, *id).is_some());
    }
    let joined = name.rsplit_once('-').filter(|(head, tail)| {
        tail.bytes().all(|byte| byte.is_ascii_digit()) && context.index("setpoint", head).is_some()
    });
    let help = if let Some((head, tail)) = joined {
        format!("write spaces around the minus: \"{head} - {tail}\"")
    } else if context.index("sensor", name).is_some() {
        format!("to compare two sensors write minus = \"{name}\" and by how much the first is to be above or below it")
    } else {
        context.resolve("setpoint", name, fields.spot_of(key));
        return None;
    };
    let message = format!("there is no setpoint \"{}\"", clip(name));
    let diagnostic = context.error("unknown-name", fields.spot_of(key), message, "").help(help);
    context.push(diagnostic);
    None
}

/// A comparator and a number, or a comparator, a setpoint's name and perhaps a number with its sign; perhaps a unit.
fn written(text: &str) -> Result<Written, Refused> {
    let trimmed = text.trim();
    let behind = trimmed.get(2..).unwrap_or_default().trim_start();
    let has_sign = trimmed.starts_with(">=") || trimmed.starts_with("<=");
    if !has_sign || !behind.starts_with(|c: char| c.is_ascii_alphabetic()) {
        let (side, number, unit) = comparison(text)?;
        // No unit begins so: somebody calculates.
        if unit.starts_with(['+', '-', '\u{2212}', '*', '/']) {
            return Err(Refused::new(
                format!("\"{}\" is more than one number", clip(trimmed)),
                format!("write the result, or a setpoint first, as in \"{} sunroom - 1.5\"", &trimmed[..2]),
            ));
        }
        return Ok(Written { side, setpoint: None, number, unit });
    }
    let side = if trimmed.starts_with('>') { ThresholdSide::High } else { ThresholdSide::Low };
    let in_name = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    let (name, rest) = behind.split_at(behind.find(|c| !in_name(c)).unwrap_or(behind.len()));
    let sign = &trimmed[..2];
    if rest.starts_with('.') && name.contains('-') {
        let (head, tail) = name.rsplit_once('-').unwrap_or((name, ""));
        return Err(Refused::new(
            format!("\"{}\" has no space around the minus", clip(trimmed)),
            format!("write \"{sign} {head} - {tail}{}\"", clip(rest)),
        ));
    }
    let rest = rest.trim_start();
    if rest.is_empty() {
        return Ok(Written { side, setpoint: Some(name.to_owned()), number: 0.0, unit: String::new() });
    }
    let (turn, rest) = match rest.chars().next() {
        Some('+') => (1.0, &rest[1..]),
        Some('-') => (-1.0, &rest[1..]),
        Some('\u{2212}') => (-1.0, &rest['\u{2212}'.len_utf8()..]),
        _ => return Err(unreadable(trimmed, sign, name)),
    };
    // The number behind the sign is read like any other; it brings no second sign.
    if rest.trim_start().starts_with(['+', '-', '\u{2212}']) {
        return Err(unreadable(trimmed, sign, name));
    }
    match comparison(&format!("{sign} {rest}")) {
        Ok((_, number, unit)) => Ok(Written { side, setpoint: Some(name.to_owned()), number: turn * number, unit }),
        Err(_) => Err(unreadable(trimmed, sign, name)),
    }
}

fn unreadable(text: &str, sign: &str, name: &str) -> Refused {
    let name = clip(name);
    Refused::new(
        format!("what stands behind the setpoint in \"{}\" is no number with its sign", clip(text)),
        format!("write for example \"{sign} {name}\" or \"{sign} {name} - 1.5\""),
    )
}

/// The end that lies `offset` beside another, as it is written: `sunroom - 1.5`, `26.5`.
pub(super) fn beside(context: &Context<'_>, bound: Bound, offset: f64) -> String {
    let round = |number: f64| (number * 1000.0).round() / 1000.0;
    match bound {
        Bound::Number(number) => round(number + offset).to_string(),
        Bound::Setpoint { setpoint, offset: own } => {
            let name = context.names("setpoint").get(setpoint.index()).copied().unwrap_or_default();
            match round(own + offset) {
                0.0 => name.to_owned(),
                offset if offset < 0.0 => format!("{name} - {}", -offset),
                offset => format!("{name} + {offset}"),
            }
        }
    }
}

/// Where an end lies while nobody has set anything.
pub(super) fn number(context: &Context<'_>, bound: Bound) -> f64 {
    bound.at(|id| of_draft(context, id).map_or(0.0, |setpoint| setpoint.value))
}

/// Whether a threshold that rests on setpoints keeps a deadband whatever they are set to; an error where it does not. `band`
/// is a deadband to suggest.
pub(super) fn keeps_deadband(context: &mut Context<'_>, fields: &Fields<'_>, threshold: &Threshold, band: f64) -> bool {
    let narrowest = threshold.narrowest(|id| match of_draft(context, id) {
        Some(setpoint) => setpoint.into(),
        None => crate::house::Range { value: 0.0, least: 0.0, greatest: 0.0 },
    });
    if narrowest.deadband() > 0.0 {
        return true;
    }
    let (sign, offset) = match threshold.side {
        ThresholdSide::High => ("<=", -band),
        ThresholdSide::Low => (">=", band),
    };
    let together = threshold.cut_in.setpoint() == threshold.cut_out.setpoint();
    let cause = match together {
        true => "both ends move together, so it is the same whatever the setpoint is set to".to_owned(),
        false => format!(
            "the setpoint may be set so that `cut_in` is {} and `cut_out` is {}: there the condition would have to be true \
             and false at once",
            narrowest.cut_in, narrowest.cut_out
        ),
    };
    let message = match together {
        true if narrowest.deadband() == 0.0 => "`cut_in` and `cut_out` leave no deadband",
        true => "`cut_in` and `cut_out` overlap",
        false => "`cut_in` and `cut_out` can be set so that they overlap",
    };
    let base = if threshold.cut_in.setpoint().is_some() { threshold.cut_in } else { threshold.cut_out };
    let help = if base == threshold.cut_in {
        format!("let both ends rest on the same setpoint: cut_out = \"{sign} {}\"", beside(context, base, offset))
    } else {
        let turned = if sign == "<=" { ">=" } else { "<=" };
        format!("let both ends rest on the same setpoint: cut_in = \"{turned} {}\"", beside(context, base, -offset))
    };
    let help =
        if together { help.replacen("let both ends rest on the same setpoint", "move them apart", 1) } else { help };
    let more = if together { "" } else { "; or narrow its `range`" };
    let first = fields.spot_of("cut_in");
    let diagnostic = context
        .error("no-deadband", fields.spot_of("cut_out"), message, "")
        .also(context.file(first), first.range(), "")
        .because(cause)
        .help(format!("{help}{more}"));
    context.push(diagnostic);
    false
}

#[cfg(test)]
mod tests {
    use super::*;
    use ThresholdSide::{High, Low};

    /// The end with its setpoint, number and unit, or a part of the advice.
    fn check(text: &str, expected: Result<(ThresholdSide, Option<&str>, f64, &str), &str>) {
        match (written(text), expected) {
            (Ok(got), Ok((side, setpoint, number, unit))) => {
                let expected = Written { side, setpoint: setpoint.map(str::to_owned), number, unit: unit.to_owned() };
                assert_eq!(got, expected, "{text}");
            }
            (Err(refused), Err(part)) => assert!(refused.help.contains(part), "{text}: {}", refused.help),
            (got, expected) => panic!("{text}: {:?}, expected {expected:?}", got.map_err(|refused| refused.help)),
        }
    }

    #[test]
    fn numbers_and_setpoints() {
        check(">= 28.0", Ok((High, None, 28.0, "")));
        check(">= sunroom", Ok((High, Some("sunroom"), 0.0, "")));
        check("<=sunroom - 1.5", Ok((Low, Some("sunroom"), -1.5, "")));
        check("<= sun-room-2 + 2 °C", Ok((Low, Some("sun-room-2"), 2.0, "°C")));
        check("<= sunroom \u{2212} 1.5", Ok((Low, Some("sunroom"), -1.5, "")));
        check("<= sunroom +0.5", Ok((Low, Some("sunroom"), 0.5, "")));
        check("<= sunroom-1.5", Err("\"<= sunroom - 1.5\""));
        check(">= sunroom 1.5", Err("\">= sunroom - 1.5\""));
        check(">= sunroom - ", Err("\">= sunroom - 1.5\""));
        check(">= sunroom - - 1", Err("\">= sunroom - 1.5\""));
        check(">= sunroom - 1,5", Err("\">= sunroom - 1.5\""));
        check(">= 5 - 1", Err("write the result"));
        check("<= 1.5 + sunroom", Err("\"<= sunroom - 1.5\""));
        check(">= 2 * 14", Err("write the result"));
        check("> sunroom", Err("\">= sunroom\""));
        check("sunroom", Err("\">= sunroom\""));
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_answered(text in ".{0,30}", near in "[<>]=? ?[a-z-]{0,6}[0-9.,]{0,3} ?[-+−]? ?[0-9.]{0,4} ?(°C)?") {
            for text in [text, near] {
                if let Ok(read) = written(&text) {
                    proptest::prop_assert!(read.number.is_finite());
                }
            }
        }
    }
}
