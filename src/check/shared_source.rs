//! Two sensors with one source: they always say the same, so one of them was meant to be something else.

use super::Subject;
use crate::diagnostic::Diagnostic;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let sensors = &subject.house.sensors;
    let mut found = Vec::new();
    for (index, sensor) in sensors.iter().enumerate() {
        let Some(other) = sensors[..index].iter().find(|other| other.source == sensor.source) else { continue };
        let message = format!("sensors \"{}\" and \"{}\" have the same source", other.name, sensor.name);
        let diagnostic = Diagnostic::warning("shared-source", message)
            .because("they always say the same")
            .help("correct one of them, or use one sensor in all rules");
        let diagnostic = subject.at(diagnostic, "sensor", &sensor.name, key(sensor), "");
        found.push(subject.also(diagnostic, "sensor", &other.name, key(other), "the other"));
    }
    found
}

fn key(sensor: &crate::house::Sensor) -> &'static str {
    match sensor.source {
        crate::house::Source::Board { .. } => "reading",
        crate::house::Source::Topic { .. } => "topic",
        crate::house::Source::Derived(_) => "mean",
    }
}
