//! `photoresistor` and `thermistor` of a sensor: what a board sends of a resistive sensor, and the curve that makes lx or °C of
//! it. It never converts a reading.

use super::super::context::Context;
use super::super::fields::Fields;
use super::super::keys::{Form, Key};
use super::super::tree::{Node, Value};
use crate::house::{Conversion, Divider, LightCurve, NtcCurve, Side};
use crate::sensing::light;
use crate::units::{Ohms, Volts};

/// The keys that name a conversion, the unit that comes of each, and what it is called.
pub(super) const KEYS: [(&str, &str, &str); 2] =
    [("photoresistor", "lx", "a light-dependent resistor"), ("thermistor", "°C", "a thermistor")];

const SIDE_WORDS: [(&str, Side); 2] = [("high", Side::High), ("low", Side::Low)];

const FIXED: Key = Key::optional(
    "fixed",
    Form::Resistance,
    "\"10 kΩ\"",
    "The other resistor of the divider. Without it the board is taken to send the resistance in Ω.",
);
const SIDE: Key = Key::optional(
    "side",
    Form::OneOf(&["high", "low"]),
    "\"high\"",
    "Where the sensor sits. high: between the supply and the tap; low: between the tap and ground.",
);
const FULL_SCALE: Key = Key::optional(
    "full_scale",
    Form::Number,
    "1023",
    "The highest value that the input can send: 1023 for 10 bits, 4095 for 12, 3.3 for volts, 1 for a ratio. At either end of \
     the scale a wire is broken or shorted, and the value is no reading.",
);
const SUPPLY: Key = Key::optional(
    "supply",
    Form::Voltage,
    "\"3.3 V\"",
    "The supply of the divider, where the input reads full scale at another voltage.",
);
const REFERENCE: Key = Key::optional(
    "reference",
    Form::Voltage,
    "\"1.1 V\"",
    "The voltage at which the input reads full scale; that of `supply` where neither is given.",
);

pub(super) static PHOTORESISTOR: [Key; 9] = [
    FIXED,
    SIDE,
    FULL_SCALE,
    SUPPLY,
    REFERENCE,
    Key::optional(
        "dim",
        Form::Pair,
        "[10, 426]",
        "Calibration, with a light meter beside the sensor: lux, and what the board sent then.",
    ),
    Key::optional("bright", Form::Pair, "[400, 871]", "A second such point, ten times as bright or more."),
    Key::optional(
        "r10",
        Form::Resistance,
        "\"14 kΩ\"",
        "Instead of the two points: the resistance at 10 lx. Parts of one make spread so far that lux is then off by a \
         factor of several.",
    ),
    Key::optional("gamma", Form::Number, "0.6", "With `r10`: the slope of the data sheet, log10(R10/R100)."),
];

pub(super) static THERMISTOR: [Key; 9] = [
    FIXED,
    SIDE,
    FULL_SCALE,
    SUPPLY,
    REFERENCE,
    Key::optional("r25", Form::Resistance, "\"10 kΩ\"", "With `beta`: the resistance at 25 °C."),
    Key::optional(
        "beta",
        Form::Number,
        "3892",
        "β of the data sheet, good to half a degree between the two temperatures that it was taken over.",
    )
    .unit("K"),
    Key::optional(
        "points",
        Form::Points,
        "[[0, 32640], [25, 10000], [70, 1751]]",
        "Instead of β: three points of the data sheet's table, each °C and Ω, over the whole range that is used; the curve of \
         Steinhart and Hart goes through them.",
    ),
    Key::optional(
        "coefficients",
        Form::Triple,
        "[1.129241e-3, 2.341077e-4, 8.775468e-8]",
        "Instead of points: A, B and C of Steinhart and Hart, 1/T = A + B·ln R + C·(ln R)³, for Ω and K.",
    ),
];

/// The conversion that a sensor names, `Some(None)` where it names none.
pub(super) fn conversion(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Option<Conversion>> {
    let named: Vec<&str> = KEYS.iter().map(|(key, ..)| *key).filter(|key| fields.has(key)).collect();
    let [key, others @ ..] = &named[..] else { return Some(None) };
    if let [other, ..] = others {
        contradiction(context, fields, other, format!("{} has two conversions", fields.title), "keep one of them");
        return None;
    }
    let node = fields.node(key)?;
    let Value::Table(table) = &node.value else {
        fields.report_type(context, key, node);
        return None;
    };
    let is_light = *key == "photoresistor";
    let (a, keys) = if is_light { ("a photoresistor", &PHOTORESISTOR) } else { ("a thermistor", &THERMISTOR) };
    let inner = Fields::open(context, format!("`{key}` of {}", fields.title), a, node.spot, table, keys);
    let divider = divider(context, &inner);
    if is_light {
        // The two points are read through the divider.
        let divider = divider?;
        let curve = light_curve(context, &inner, divider.as_ref())?;
        return Some(Some(Conversion::Photoresistor { divider, curve }));
    }
    let curve = ntc_curve(context, &inner);
    Some(Some(Conversion::Thermistor { divider: divider?, curve: curve? }))
}

/// How the input reads it, `Some(None)` where the board sends Ω.
fn divider(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Option<Divider>> {
    let parts = ["side", "full_scale", "supply", "reference"];
    if !fields.has("fixed") {
        let Some(stray) = parts.into_iter().find(|part| fields.has(part)) else { return Some(None) };
        let message = format!("`{stray}` is part of a divider, which has no `fixed`");
        contradiction(context, fields, stray, message, "add the other resistor, for example: fixed = \"10 kΩ\"");
        return None;
    }
    let mut complete = true;
    for needed in ["side", "full_scale"].into_iter().filter(|needed| !fields.has(needed)) {
        fields.report_absent(context, needed);
        complete = false;
    }
    if fields.has("supply") != fields.has("reference") {
        let key = if fields.has("supply") { "supply" } else { "reference" };
        let message = "`supply` and `reference` tell something only together".to_owned();
        contradiction(context, fields, key, message, "write both, or leave both out where they are the same voltage");
        complete = false;
    }
    let fixed = fields.parsed(context, "fixed", Ohms::parse);
    let side = if fields.has("side") { fields.word(context, "side", &SIDE_WORDS) } else { None };
    let full_scale = number(context, fields, "full_scale", (0.0, 1e9));
    let supply = fields.parsed(context, "supply", Volts::parse);
    let reference = fields.parsed(context, "reference", Volts::parse);
    let reference_share = match (fields.has("supply") && fields.has("reference"), supply, reference) {
        (true, Some(supply), Some(reference)) => reference.0 / supply.0,
        (true, ..) => return None,
        (false, ..) => 1.0,
    };
    if !complete {
        return None;
    }
    let divider = Divider { side: side?, fixed_ohm: fixed?.0, full_scale: full_scale?, reference_share };
    if reference_share > 1.0 {
        // Then the tap never brings the input to its end, and an open wire is not seen there but at the supply's share.
        let help = "write the lower voltage as the reference, and as full_scale what the input sends at the supply's";
        contradiction(context, fields, "reference", "`reference` is above `supply`".to_owned(), help);
        return None;
    }
    Some(Some(divider))
}

fn light_curve(context: &mut Context<'_>, fields: &Fields<'_>, divider: Option<&Divider>) -> Option<LightCurve> {
    let help = "write two points as dim = [10, 426] and bright = [400, 871], or r10 = \"14 kΩ\" and gamma = 0.6";
    match one_way(context, fields, &[&["dim", "bright"], &["r10", "gamma"]], help)? {
        0 => {
            let dim = point(context, fields, "dim", divider);
            let bright = point(context, fields, "bright", divider);
            let curve = LightCurve::through(dim?, bright?);
            if curve.is_none() {
                let help = "the resistance falls as light rises: look at the values, and at `side`";
                let message = "no light-dependent resistor has the points `dim` and `bright`";
                no_curve(context, fields, "bright", message, help);
            }
            curve
        }
        _ => {
            let r10 = fields.parsed(context, "r10", Ohms::parse);
            let gamma = number(context, fields, "gamma", (0.1, 2.0));
            Some(LightCurve { r10_ohm: r10?.0, gamma: gamma? })
        }
    }
}

/// A point of calibration: lux, and the resistance behind what the board sent.
fn point(context: &mut Context<'_>, fields: &Fields<'_>, key: &str, divider: Option<&Divider>) -> Option<(f64, f64)> {
    let (lux, raw) = fields.pair(context, key)?;
    let ohms = light::resistance(divider, raw).filter(|_| lux > 0.0);
    if ohms.is_none() {
        let help = "write lux greater than 0, then the value of the board, which lies between the ends of its scale";
        no_curve(context, fields, key, &format!("there is no resistance behind `{key}`"), help);
    }
    Some((lux, ohms?))
}

fn ntc_curve(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<NtcCurve> {
    let help =
        "write r25 = \"10 kΩ\" and beta = 3892, or points = [[0, 32640], [25, 10000], [70, 1751]], or coefficients";
    match one_way(context, fields, &[&["r25", "beta"], &["points"], &["coefficients"]], help)? {
        0 => {
            let r25 = fields.parsed(context, "r25", Ohms::parse);
            let beta = number(context, fields, "beta", (500.0, 10_000.0));
            Some(NtcCurve::Beta { r25_ohm: r25?.0, beta_k: beta? })
        }
        1 => {
            let curve = NtcCurve::through(points(context, fields)?);
            if curve.is_none() {
                let help = "write three different temperatures in °C, each with its resistance in Ω, which falls as it \
                            gets warmer";
                no_curve(context, fields, "points", "no NTC thermistor has these points", help);
            }
            curve
        }
        _ => {
            let [a, b, c] = triple(fields.node("coefficients")?).or_else(|| {
                fields.report_type(context, "coefficients", fields.node("coefficients")?);
                None
            })?;
            let curve = NtcCurve::SteinhartHart { a, b, c };
            // Whoever took log10, kΩ or °C for the formula is told so here, not by the thermometer.
            if !(b > 0.0 && [300.0, 1e6].iter().any(|ohm| curve.celsius(*ohm).is_some())) {
                let help = "write A, B and C for ln R with R in Ω and T in K; they are about 1e-3, 2e-4 and 1e-7";
                no_curve(context, fields, "coefficients", "these coefficients give no temperature", help);
                return None;
            }
            Some(curve)
        }
    }
}

/// Which of several groups of keys was written: exactly one, and whole.
fn one_way(context: &mut Context<'_>, fields: &Fields<'_>, ways: &[&[&'static str]], help: &str) -> Option<usize> {
    let begun = |way: &&[&'static str]| way.iter().any(|key| fields.has(key));
    let written: Vec<usize> = (0..ways.len()).filter(|way| begun(&ways[*way])).collect();
    match written[..] {
        [] => {
            let diagnostic = context
                .error("missing-key", fields.spot, format!("{} has no curve", fields.title), "")
                .because("without one a resistance says nothing")
                .help(help);
            context.push(diagnostic);
            None
        }
        [way] => {
            let absent: Vec<&'static str> = ways[way].iter().filter(|key| !fields.has(key)).copied().collect();
            absent.iter().for_each(|key| fields.report_absent(context, key));
            absent.is_empty().then_some(way)
        }
        [_, second, ..] => {
            let stray = ways[second].iter().find(|key| fields.has(key)).copied().unwrap_or(ways[second][0]);
            let message = format!("{} has two curves", fields.title);
            contradiction(context, fields, stray, message, help);
            None
        }
    }
}

fn no_curve(context: &mut Context<'_>, fields: &Fields<'_>, key: &str, message: &str, help: &str) {
    let diagnostic = context.error("bad-curve", fields.spot_of(key), message, "").help(help);
    context.push(diagnostic);
}

fn contradiction(context: &mut Context<'_>, fields: &Fields<'_>, key: &str, message: String, help: &str) {
    let diagnostic = context.error("contradiction", fields.key_spot_of(key), message, "").help(help);
    context.push(diagnostic);
}

/// A number between two bounds, the lower one not included.
fn number(context: &mut Context<'_>, fields: &Fields<'_>, key: &str, bounds: (f64, f64)) -> Option<f64> {
    let node = fields.node(key)?;
    let Some(number) = bare(node) else {
        fields.report_type(context, key, node);
        return None;
    };
    if number > bounds.0 && number <= bounds.1 {
        return Some(number);
    }
    let help = format!("write a number greater than {} and at most {}", bounds.0, bounds.1);
    let diagnostic = context.error("out-of-bounds", node.spot, format!("`{key}` is out of bounds"), "").help(help);
    context.push(diagnostic);
    None
}

fn points(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<[(f64, f64); 3]> {
    let node = fields.node("points")?;
    let pair = |node: &Node| match &node.value {
        Value::List(items) => match &items[..] {
            [celsius, ohm] => Some((bare(celsius)?, bare(ohm)?)),
            _ => None,
        },
        _ => None,
    };
    let points: Option<Vec<(f64, f64)>> = match &node.value {
        Value::List(items) => items.iter().map(pair).collect(),
        _ => None,
    };
    if let Some(&[first, second, third]) = points.as_deref() {
        return Some([first, second, third]);
    }
    fields.report_type(context, "points", node);
    None
}

fn triple(node: &Node) -> Option<[f64; 3]> {
    let Value::List(items) = &node.value else { return None };
    let numbers: Option<Vec<f64>> = items.iter().map(bare).collect();
    numbers?.try_into().ok()
}

/// A finite number of either kind.
pub(super) fn bare(node: &Node) -> Option<f64> {
    match node.value {
        Value::Whole(value) => Some(value as f64),
        Value::Decimal(value) if value.is_finite() => Some(value),
        _ => None,
    }
}
