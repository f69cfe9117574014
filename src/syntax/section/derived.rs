//! Sensors that are computed from others: `dew_point`, `absolute_humidity`, `mean`, `median`. It never computes one.

use super::super::context::{Context, Item};
use super::super::fields::Fields;
use super::super::keys::{Form, Key};
use super::super::tree::{Spot, Value};
use super::super::unit;
use crate::house::{Derived, Sensor, SensorId, Source};

/// The keys that say how a sensor is computed; one stands in place of `reading`.
pub(super) const KEYS: [&str; 4] = ["dew_point", "absolute_humidity", "mean", "median"];

pub(super) static AIR: [Key; 2] = [
    Key::required("temperature", Form::Name("sensor"), "\"cellar-air\"", "A sensor in °C."),
    Key::required("humidity", Form::Name("sensor"), "\"cellar-humidity\"", "A sensor of relative humidity in %."),
];

/// Keys that belong to what is measured.
const OF_MEASURED: [&str; 13] = [
    "unit",
    "range",
    "stale_after",
    "median_of",
    "max_rate",
    "scale",
    "offset",
    "photoresistor",
    "thermistor",
    "part",
    "accuracy",
    "resolution",
    "sampling_period",
];

/// How the sensor is computed that has this key.
pub(super) fn source(context: &mut Context<'_>, fields: &Fields<'_>, key: &str) -> Option<Derived> {
    for own in OF_MEASURED {
        if fields.has(own) {
            let diagnostic = context
                .error("contradiction", fields.key_spot_of(own), format!("`{own}` does not go with `{key}`"), "")
                .because("what is computed has that from the sensors that it is computed from")
                .help(format!("leave `{own}` out here, and give it to those sensors"));
            context.push(diagnostic);
            return None;
        }
    }
    match key {
        "dew_point" => air(context, fields, key).map(|air| Derived::DewPoint { air }),
        "absolute_humidity" => air(context, fields, key).map(|air| Derived::AbsoluteHumidity { air }),
        _ => {
            let of: Vec<SensorId> = fields.names(context, key, "sensor", 2)?.into_iter().map(SensorId).collect();
            let most = of.len() as i64;
            let usual = if key == "mean" { of.len() } else { of.len() / 2 + 1 };
            let quorum = match fields.has("quorum") {
                true => fields.whole(context, "quorum", 1, most)? as usize,
                false => usual,
            };
            Some(if key == "mean" { Derived::Mean { of, quorum } } else { Derived::Median { of, quorum } })
        }
    }
}

/// Says that a quorum stands where nothing is counted.
pub(super) fn report_stray_quorum(context: &mut Context<'_>, fields: &Fields<'_>) {
    if fields.has("quorum") && !fields.has("mean") && !fields.has("median") {
        let message = "`quorum` goes with `mean` or `median` only";
        let diagnostic = context
            .error("contradiction", fields.key_spot_of("quorum"), message, "")
            .help("leave `quorum` out; `median_of` takes the median of one sensor's last readings");
        context.push(diagnostic);
    }
}

fn air(context: &mut Context<'_>, fields: &Fields<'_>, key: &str) -> Option<[SensorId; 2]> {
    let node = fields.node(key)?;
    let Value::Table(table) = &node.value else {
        fields.report_type(context, key, node);
        return None;
    };
    let inner =
        Fields::open(context, format!("`{key}` of {}", fields.title), "a computation from air", node.spot, table, &AIR);
    let temperature = inner.resolved(context, "temperature", "sensor");
    let humidity = inner.resolved(context, "humidity", "sensor");
    Some([SensorId(temperature?), SensorId(humidity?)])
}

/// Gives derived sensors what they have from others, now that all are read, and refuses those that do not fit.
pub(super) fn complete(context: &mut Context<'_>) {
    for number in 0..context.draft.sensors.len() {
        let Some(sensor) = &context.draft.sensors[number] else { continue };
        let Source::Derived(derived) = sensor.source.clone() else { continue };
        let ingredients: Vec<Option<Sensor>> =
            derived.ingredients().iter().map(|id| context.draft.sensors.get(id.index()).cloned().flatten()).collect();
        // One that failed has been reported where it stands.
        let Some(ingredients) = ingredients.into_iter().collect::<Option<Vec<Sensor>>>() else { continue };
        let completed = fault(&derived, &ingredients).map_or_else(
            || Ok((unit_of(&derived, &ingredients), ingredients.iter().map(|one| one.stale_after).max())),
            Err,
        );
        let item: Item<'_> = context.items["sensor"][number];
        match completed {
            Ok((unit, stale_after)) => {
                if let Some(sensor) = &mut context.draft.sensors[number] {
                    sensor.unit = unit;
                    sensor.stale_after = stale_after.unwrap_or(sensor.stale_after);
                }
            }
            Err((which, message, help)) => {
                let spot = spot_of(&item, which).unwrap_or(item.name_spot);
                let diagnostic = context.error("wrong-ingredient", spot, message, "").help(help);
                context.push(diagnostic);
                context.draft.sensors[number] = None;
            }
        }
    }
}

/// Where an ingredient is named, by its place among them.
fn spot_of(item: &Item<'_>, which: usize) -> Option<Spot> {
    let Value::Table(sensor) = &item.node.value else { return None };
    let node = &KEYS.iter().find_map(|key| sensor.get(key))?.node;
    match &node.value {
        Value::List(names) => names.get(which).map(|name| name.spot),
        Value::Table(air) => AIR.get(which).and_then(|key| air.get(key.name)).map(|entry| entry.node.spot),
        _ => None,
    }
}

/// Which of the ingredients is wrong, why, and what to do.
fn fault(derived: &Derived, ingredients: &[Sensor]) -> Option<(usize, String, &'static str)> {
    if let Some(which) = ingredients.iter().position(|sensor| matches!(sensor.source, Source::Derived(_))) {
        let message = format!("sensor \"{}\" is computed itself", ingredients[which].name);
        return Some((which, message, "compute it from sensors that are measured"));
    }
    match derived {
        Derived::DewPoint { .. } | Derived::AbsoluteHumidity { .. } => {
            let [temperature, humidity] = ingredients else { return None };
            if !unit::same("°C", &temperature.unit) {
                let message = format!("sensor \"{}\" is not in °C", temperature.name);
                return Some((0, message, "name a sensor with unit = \"°C\" as the temperature"));
            }
            let is_relative = unit::same("%", &humidity.unit) || unit::same("%RH", &humidity.unit);
            (!is_relative).then(|| {
                let message = format!("sensor \"{}\" is not in %", humidity.name);
                (1, message, "name a sensor of relative humidity with unit = \"%\"")
            })
        }
        Derived::Mean { .. } | Derived::Median { .. } => {
            let first = ingredients.first()?;
            let which = ingredients.iter().position(|sensor| !unit::same(&first.unit, &sensor.unit))?;
            let stranger = &ingredients[which];
            let message = format!("sensors \"{}\" and \"{}\" have different units", first.name, stranger.name);
            Some((which, message, "combine sensors of one unit only"))
        }
    }
}

fn unit_of(derived: &Derived, ingredients: &[Sensor]) -> String {
    match derived {
        Derived::DewPoint { .. } => "°C".to_owned(),
        Derived::AbsoluteHumidity { .. } => "g/m³".to_owned(),
        Derived::Mean { .. } | Derived::Median { .. } => ingredients.first().map_or(String::new(), |s| s.unit.clone()),
    }
}
