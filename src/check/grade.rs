//! Sensors that are asked for more than their part can: a range beyond what it measures, a time-out shorter than a
//! measurement, a greatest rate finer than a step.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::Sensor;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    for sensor in &subject.house.sensors {
        let of = |number: f64| format!("{} {}", (number * 1e6).round() / 1e6, sensor.unit).trim_end().to_owned();
        found.extend(range(subject, sensor, &of));
        found.extend(time_out(subject, sensor));
        found.extend(rate(subject, sensor, &of));
    }
    found
}

fn range(subject: &Subject<'_>, sensor: &Sensor, of: &dyn Fn(f64) -> String) -> Option<Diagnostic> {
    let (part, (least, greatest)) = (sensor.grade.part?, sensor.grade.measures?);
    let (from, to) = sensor.range?;
    if from >= least && to <= greatest {
        return None;
    }
    let message = format!("the range of sensor \"{}\" reaches beyond what a {part} measures", sensor.name);
    let diagnostic = Diagnostic::warning("beyond-the-part", message)
        .because(format!(
            "it measures from {} to {}, its accuracy and the offset allowed for; what it sends beyond that is wrong, and \
             would be taken for true",
            of(least),
            of(greatest)
        ))
        .help("leave `range` out, which takes it from the part, or narrow it to what can be true where the sensor hangs");
    let diagnostic = subject.at(diagnostic, "sensor", &sensor.name, "range", "");
    Some(subject.also(diagnostic, "sensor", &sensor.name, "part", "the part"))
}

fn time_out(subject: &Subject<'_>, sensor: &Sensor) -> Option<Diagnostic> {
    let period = sensor.grade.sampling_period?;
    if sensor.stale_after >= period {
        return None;
    }
    let message = format!("sensor \"{}\" is stale before it can measure again", sensor.name);
    let diagnostic = Diagnostic::warning("stale-too-soon", message)
        .because(format!("{period} pass between two of its measurements, so it would be unknown before each"))
        .help(format!("write a `stale_after` of several times {period}"));
    Some(subject.at(diagnostic, "sensor", &sensor.name, "stale_after", ""))
}

/// One step is always allowed. If the rate grants less than that for as long as a reading keeps, then it tells nothing, or
/// drops what is true as soon as readings come seldom.
fn rate(subject: &Subject<'_>, sensor: &Sensor, of: &dyn Fn(f64) -> String) -> Option<Diagnostic> {
    let (rate, step) = (sensor.max_rate?, sensor.grade.resolution?);
    let granted = rate.change * (sensor.stale_after.0 as f64 / rate.within.0 as f64);
    if granted >= step {
        return None;
    }
    let message = format!("`max_rate` of sensor \"{}\" is finer than what it can show", sensor.name);
    let diagnostic = Diagnostic::warning("rate-too-fine", message)
        .because(format!(
            "it reads in steps of {}, and is granted {} within its `stale_after` of {}",
            of(step),
            of(granted),
            sensor.stale_after
        ))
        .help(format!("write at least max_rate = \"{} per {}\"", of(step), sensor.stale_after));
    Some(subject.at(diagnostic, "sensor", &sensor.name, "max_rate", ""))
}
