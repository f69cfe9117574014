//! `{ sensor = "...", cut_in = ">= 28", cut_out = "<= 26.5" }`: a reading against two ends with a deadband between. It never
//! compares a reading.

use super::super::advice;
use super::super::context::Context;
use super::super::fields::{Fields, Refused, clip};
use super::super::keys::{ConditionKind, Form, Key};
use super::super::unit;
use super::end::{beside, end, keeps_deadband, number};
use crate::house::{Atom, Bound, Sensor, SensorId, Threshold, ThresholdSide};

pub(super) static THRESHOLD: ConditionKind = ConditionKind {
    word: "threshold",
    a: "a threshold",
    lead: &["sensor", "cut_in", "cut_out"],
    meaning: "True once a reading has passed `cut_in`, until it passes `cut_out`; between them it stays as it was.",
    keys: &[
        Key::required("sensor", Form::Name("sensor"), "\"sunroom-air\"", "The sensor that is watched.").guessed(&[
            "temperature",
            "humidity",
            "reading",
            "value",
        ]),
        Key::optional(
            "minus",
            Form::Name("sensor"),
            "\"tank\"",
            "A second sensor of the same unit: its reading is taken off the first before the ends are looked at.",
        )
        .guessed(&["less", "than"]),
        Key::optional(
            "cut_in",
            Form::Comparison,
            "\">= 28.0\"",
            "The condition becomes true here; inclusive, in the sensor's unit, which may be written behind. A setpoint may \
             stand for the number, as in `>= sunroom` or `<= sunroom - 1.5`.",
        )
        .guessed(&["above", "on", "min"]),
        Key::optional("cut_out", Form::Comparison, "\"<= 26.5\"", "The condition becomes false here; inclusive.")
            .guessed(&["below", "off", "max"]),
    ],
    example: "{ sensor = \"sunroom-air\", cut_in = \">= 28.0\", cut_out = \"<= 26.5\" }",
    decode,
};

/// Why there are two ends.
const DEADBAND: &str = "between `cut_in` and `cut_out` lies the deadband, in which the load stays as it is; without one it \
                        would switch on and off with every small change of the reading";

fn decode(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Atom> {
    let index = fields.resolved(context, "sensor", "sensor");
    let sensor = index.and_then(|index| context.draft.sensors.get(index as usize).cloned().flatten());
    let minus = minus(context, fields, sensor.as_ref());
    let cut_in = end(context, fields, "cut_in", sensor.as_ref());
    let cut_out = end(context, fields, "cut_out", sensor.as_ref());
    match (fields.has("cut_in"), fields.has("cut_out")) {
        (true, true) => {}
        (has_in, _) => {
            report_half(context, fields, has_in, cut_in.or(cut_out), sensor.as_ref());
            return None;
        }
    }
    let (side, cut_in) = cut_in?;
    let (other, cut_out) = cut_out?;
    if side == other {
        report_same_side(context, fields, side, cut_in, cut_out);
        return None;
    }
    let place = context.place(fields.spot);
    let sensor_id = SensorId(index.unwrap_or_default());
    let threshold = Threshold { sensor: sensor_id, minus: minus.flatten(), side, cut_in, cut_out, place };
    if let (Bound::Number(cut_in), Bound::Number(cut_out)) = (cut_in, cut_out) {
        if threshold.ends(|_| 0.0).deadband() <= 0.0 {
            report_overlap(context, fields, side, cut_in, cut_out, sensor.as_ref());
            return None;
        }
    } else if !keeps_deadband(context, fields, &threshold, band(number(context, cut_in), sensor.as_ref())) {
        return None;
    }
    (index.is_some() && minus.is_some()).then_some(Atom::Threshold(threshold))
}

/// The sensor that is taken off, `Some(None)` where there is none.
fn minus(context: &mut Context<'_>, fields: &Fields<'_>, sensor: Option<&Sensor>) -> Option<Option<SensorId>> {
    if !fields.has("minus") {
        return Some(None);
    }
    let index = fields.resolved(context, "minus", "sensor")?;
    let other = context.draft.sensors.get(index as usize).cloned().flatten();
    if let (Some(sensor), Some(other)) = (sensor, other) {
        let (message, help) = if sensor.name == other.name {
            ("a sensor less itself is nothing".to_owned(), "name another sensor")
        } else if !unit::same(&sensor.unit, &other.unit) {
            let (one, two) = (shown(&sensor.unit), shown(&other.unit));
            (format!("sensor \"{}\" is in {two}, not in {one}", other.name), "take off a sensor of the same unit")
        } else {
            return Some(Some(SensorId(index)));
        };
        let diagnostic = context.error("wrong-unit", fields.spot_of("minus"), message, "").help(help);
        context.push(diagnostic);
        return None;
    }
    // A sensor that failed has been reported where it stands.
    Some(Some(SensorId(index)))
}

fn shown(unit: &str) -> &str {
    if unit.is_empty() { "no unit" } else { unit }
}

/// A comparator, a number, and perhaps a unit.
pub(super) fn comparison(text: &str) -> Result<(ThresholdSide, f64, String), Refused> {
    let trimmed = text.trim();
    let (side, rest) = if let Some(rest) = trimmed.strip_prefix(">=") {
        (ThresholdSide::High, rest)
    } else if let Some(rest) = trimmed.strip_prefix("<=") {
        (ThresholdSide::Low, rest)
    } else {
        return Err(no_comparator(trimmed));
    };
    let rest = rest.trim();
    let rest = rest.strip_prefix('\u{2212}').map_or_else(|| rest.to_owned(), |digits| format!("-{digits}"));
    let end = rest
        .char_indices()
        .find(|(at, c)| !(c.is_ascii_digit() || *c == '.' || (*at == 0 && matches!(c, '-' | '+'))))
        .map_or(rest.len(), |(at, _)| at);
    let (digits, written) = rest.split_at(end);
    if written.starts_with(',') {
        return Err(Refused::new("it has a comma", "write a point before the decimals, as in \">= 26.5\""));
    }
    match digits.parse::<f64>() {
        Ok(number) if number.is_finite() && number.abs() < 1e12 => Ok((side, number, written.trim().to_owned())),
        _ => {
            let sign = if side == ThresholdSide::High { ">=" } else { "<=" };
            let cause = format!("\"{}\" has no number behind the comparator", clip(trimmed));
            Err(Refused::new(cause, format!("write for example \"{sign} 28\"")))
        }
    }
}

fn no_comparator(text: &str) -> Refused {
    let (sign, number) = advice::comparison(text);
    match sign {
        Some(sign) => Refused::new(
            "a comparison begins with >= or <=, and its own value counts",
            format!("write \"{sign} {number}\""),
        ),
        None => Refused::new(
            format!("\"{}\" does not say from which side", clip(text)),
            format!("write \">= {number}\" for this much or more, \"<= {number}\" for this much or less"),
        ),
    }
}

/// One end was written and the other was not, or neither.
fn report_half(
    context: &mut Context<'_>,
    fields: &Fields<'_>,
    has_in: bool,
    end: Option<(ThresholdSide, Bound)>,
    sensor: Option<&Sensor>,
) {
    let (missing, present) = if has_in { ("cut_out", "cut_in") } else { ("cut_in", "cut_out") };
    let neither = !has_in && !fields.has("cut_out");
    if fields.is_meant(missing) {
        return;
    }
    let (message, help) = match (neither, end) {
        (true, _) => (
            "this threshold has neither `cut_in` nor `cut_out`".to_owned(),
            "add for example: cut_in = \">= 28\", cut_out = \"<= 26.5\"".to_owned(),
        ),
        (false, Some((side, bound))) => {
            let (sign, offset) = opposite(side, band(number(context, bound), sensor));
            let other = beside(context, bound, offset);
            let meaning = if has_in { "false again" } else { "true" };
            (
                format!("this threshold has no `{missing}`"),
                format!("say where it becomes {meaning}, for example: {missing} = \"{sign} {other}\""),
            )
        }
        (false, None) => (
            format!("this threshold has no `{missing}`"),
            format!("add `{missing}` with the comparator that looks the other way, such as {missing} = \"<= 26.5\""),
        ),
    };
    let spot = if neither { fields.spot } else { fields.spot_of(present) };
    let diagnostic = context.error("no-deadband", spot, message, "").because(DEADBAND).help(help);
    context.push(diagnostic);
}

fn report_same_side(
    context: &mut Context<'_>,
    fields: &Fields<'_>,
    side: ThresholdSide,
    cut_in: Bound,
    cut_out: Bound,
) {
    let (sign, turned) = match side {
        ThresholdSide::High => (">=", "<="),
        ThresholdSide::Low => ("<=", ">="),
    };
    // Turn the comparator that makes a deadband of the two numbers as they stand.
    let (first, second) = (number(context, cut_in), number(context, cut_out));
    let fits = if side == ThresholdSide::High { second < first } else { second > first };
    let (cut_in, cut_out) = (beside(context, cut_in, 0.0), beside(context, cut_out, 0.0));
    let help = match fits {
        true => format!("write cut_out = \"{turned} {cut_out}\""),
        false => format!("write cut_in = \"{turned} {cut_in}\" with cut_out = \"{sign} {cut_out}\""),
    };
    let first = fields.spot_of("cut_in");
    let message = "`cut_in` and `cut_out` look the same way";
    let diagnostic = context
        .error("comparators-do-not-fit", fields.spot_of("cut_out"), message, "must look the other way")
        .also(context.file(first), first.range(), "")
        .because("one says where the condition becomes true, the other where it becomes false again")
        .help(help);
    context.push(diagnostic);
}

fn report_overlap(
    context: &mut Context<'_>,
    fields: &Fields<'_>,
    side: ThresholdSide,
    cut_in: f64,
    cut_out: f64,
    sensor: Option<&Sensor>,
) {
    let (message, why) = if cut_in == cut_out {
        ("`cut_in` and `cut_out` leave no deadband".to_owned(), DEADBAND.to_owned())
    } else {
        let (low, high) = if cut_in < cut_out { (cut_in, cut_out) } else { (cut_out, cut_in) };
        (
            "`cut_in` and `cut_out` overlap".to_owned(),
            format!("from {low} to {high} the condition would have to be true and false at once"),
        )
    };
    let (sign, offset) = opposite(side, band(cut_in, sensor));
    let other = beside(context, Bound::Number(cut_in), offset);
    let first = fields.spot_of("cut_in");
    let diagnostic = context
        .error("no-deadband", fields.spot_of("cut_out"), message, "")
        .also(context.file(first), first.range(), "")
        .because(why)
        .help(format!("move them apart, for example: cut_out = \"{sign} {other}\""));
    context.push(diagnostic);
}

/// The comparator of the other end, and how far it lies from this one, a band away.
fn opposite(side: ThresholdSide, band: f64) -> (&'static str, f64) {
    match side {
        ThresholdSide::High => ("<=", -band),
        ThresholdSide::Low => (">=", band),
    }
}

/// A deadband to suggest: what is common practice for a unit, else a twentieth of the value.
fn band(number: f64, sensor: Option<&Sensor>) -> f64 {
    match sensor.map_or("", |sensor| sensor.unit.as_str()) {
        "°C" | "K" => 1.0,
        "°F" => 2.0,
        "%" | "%RH" => 5.0,
        "lx" => (number.abs() * 0.5).max(1.0).round(),
        _ => {
            let rough = (number.abs() / 20.0).max(1e-3);
            let digit = 10_f64.powf(rough.log10().floor());
            (rough / digit).round() * digit
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expected: Result<(ThresholdSide, f64, &str), &str>) {
        match (comparison(text), expected) {
            (Ok(got), Ok((side, number, unit))) => assert_eq!(got, (side, number, unit.to_owned()), "{text}"),
            (Err(refused), Err(part)) => assert!(refused.help.contains(part), "{text}: {}", refused.help),
            (got, expected) => panic!("{text}: {:?}, expected {expected:?}", got.map_err(|refused| refused.help)),
        }
    }

    #[test]
    fn comparisons() {
        use ThresholdSide::{High, Low};
        check(">= 28.0", Ok((High, 28.0, "")));
        check("<=-3.5°C", Ok((Low, -3.5, "°C")));
        check(">= 60 %RH", Ok((High, 60.0, "%RH")));
        check("\u{2265} 28", Err("write \">= 28\""));
        check("> 28", Err("write \">= 28\""));
        check("28", Err("\">= 28\" for this much or more"));
        check(">=", Err("\">= 28\""));
        check(">= warm", Err("\">= 28\""));
        check(">= 26,5", Err("point"));
        check(">= 1e400", Ok((High, 1.0, "e400"))); // no unit of any sensor, so it is refused where that is known
        check(">= inf", Err("\">= 28\""));
        check("", Err("\">= 28\""));
    }
}
