//! Two sensors at one topic of which one wants a bare number and the other a field of JSON: the topic cannot bring both.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Sensor, Source};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let sensors = &subject.house.sensors;
    let mut found = Vec::new();
    for (sensor, topic) in sensors.iter().filter_map(bare) {
        let field =
            |other: &&Sensor| matches!(&other.source, Source::Topic { topic: same, field: Some(_) } if same == topic);
        let Some(other) = sensors.iter().find(field) else { continue };
        let message = format!("sensor \"{}\" wants a bare number where \"{}\" reads a field", sensor.name, other.name);
        let diagnostic = Diagnostic::warning("mixed-topic", message)
            .because(
                "what comes on one topic is either a bare number or JSON with fields, so one of them stays unknown",
            )
            .help("add the `field` of this one, or correct its `topic`");
        let diagnostic = subject.at(diagnostic, "sensor", &sensor.name, "topic", "");
        found.push(subject.also(diagnostic, "sensor", &other.name, "field", "the other's field"));
    }
    found
}

/// A sensor whose topic brings the bare number.
fn bare(sensor: &Sensor) -> Option<(&Sensor, &String)> {
    match &sensor.source {
        Source::Topic { topic, field: None } => Some((sensor, topic)),
        _ => None,
    }
}
