//! Deadbands so narrow that the steps, the error or the noise of the sensor cross them, and the load switches all the time.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Atom, AtomId, Sensor};

/// What a deadband has to be wide enough for.
struct Need {
    /// The narrowest that does, in the sensor's unit.
    least: f64,
    /// Why a narrower one does not.
    why: String,
}

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    for (index, atom) in subject.house.atoms.iter().enumerate() {
        let sensors: Vec<&Sensor> = match atom {
            Atom::Threshold(threshold) => threshold.sensors().map(|sensor| subject.house.sensor(sensor)).collect(),
            Atom::Rise(rise) => vec![subject.house.sensor(rise.sensor)],
            _ => continue,
        };
        let unit = sensors.first().map_or("", |sensor| sensor.unit.as_str());
        let of = |number: f64| format!("{} {unit}", (number * 1e6).round() / 1e6).trim_end().to_owned();
        let (band, needs) = match atom {
            Atom::Rise(rise) => {
                // One sensor against itself a little later: what it is off by is the same each time.
                (rise.back_by, [noise(unit, rise.by), steps(&sensors, &of), None])
            }
            Atom::Threshold(threshold) => {
                // With setpoints, at its narrowest.
                let ends = subject.house.narrowest_ends(threshold);
                (ends.deadband(), [noise(unit, ends.cut_in), steps(&sensors, &of), error(&sensors, &of)])
            }
            _ => continue,
        };
        let widest = needs.into_iter().flatten().max_by(|a, b| a.least.total_cmp(&b.least));
        // A hair below what was meant is what was meant: 20.3 - 20.1 is not quite 0.2.
        let Some(need) = widest.filter(|need| band < need.least * (1.0 - 1e-9)) else { continue };
        let help = match atom {
            Atom::Rise(_) => format!("let `until_back_by` be at least {}", of(need.least)),
            _ => format!("move `cut_in` and `cut_out` at least {} apart", of(need.least)),
        };
        let diagnostic =
            Diagnostic::warning("narrow-deadband", format!("the deadband of {} is narrow for this sensor", of(band)))
                .because(need.why)
                .help(help);
        found.push(subject.at_spot(diagnostic, subject.spots.atom(AtomId(index as u32)), ""));
    }
    found
}

/// The noise and steps of small sensors for houses. Common practice, from memory.
fn noise(unit: &str, cut_in: f64) -> Option<Need> {
    let least = match unit {
        "°C" | "K" => 0.2,
        "°F" => 0.4,
        "%" | "%RH" => 1.0,
        // Light wavers in proportion to itself: clouds, passing headlamps.
        "lx" => (cut_in.abs() * 0.1).round(),
        _ => return None,
    };
    Some(Need { least, why: "readings waver by as much, and the load would switch with every one of them".to_owned() })
}

/// A sensor between two of its steps reads now one, now the other: a deadband of a single step is crossed each time, because
/// both ends are inclusive.
fn steps(sensors: &[&Sensor], of: &dyn Fn(f64) -> String) -> Option<Need> {
    let coarsest = sensors.iter().filter_map(|sensor| sensor.grade.resolution).max_by(f64::total_cmp)?;
    let why = format!("the sensor reads in steps of {}, and a single one would switch the load", of(coarsest));
    Some(Need { least: 2.0 * coarsest, why })
}

/// What a sensor is off by drifts with temperature and age, and differs between a rise and a fall. Of a difference the errors
/// of both count.
fn error(sensors: &[&Sensor], of: &dyn Fn(f64) -> String) -> Option<Need> {
    let known: Vec<f64> = sensors.iter().filter_map(|sensor| sensor.grade.accuracy).collect();
    if known.is_empty() {
        return None;
    }
    let error = known.iter().sum();
    let why = format!(
        "the reading is good to ±{}, so its drift may cross the deadband; if it repeats better than that, write what it does \
         as the sensor's `accuracy`",
        of(error)
    );
    Some(Need { least: error, why })
}
