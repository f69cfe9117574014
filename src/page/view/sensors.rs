//! The page of sensors: value, age, and the day behind with the thresholds that rules hold against it. It never judges a
//! reading.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::curve::{self, Mark, Point};
use super::day::Day;
use super::gather::{POINTS, Shown};
use super::symbol::{Lamp, lamp};
use crate::condition::for_each_atom;
use crate::house::{Atom, AtomId, House, SensorId, Source};
use crate::sensing::{calibrated, derive};
use crate::store::Stretch;
use crate::units::{Span, WallTime};

/// So many thresholds are drawn of one sensor at most.
const MARKS_MAX: usize = 12;

/// The page.
pub fn main(shown: &Shown) -> Markup {
    let house = shown.house();
    let day = Day::behind(shown.now(), &house.site);
    let curves = Curves::new(house, &shown.stretches, &day);
    html! {
        @if house.sensors.is_empty() { p { "The house has no sensors." } }
        @else {
            p.small #legend {
                "Each curve shows the day behind; night is shaded. Lines across are thresholds: where a rule becomes true \
                 (cut-in, long dashes) and where it becomes false again (cut-out, dots)."
            }
        }
        ul.sensors {
            @for number in 0..house.sensors.len() as u32 { (sensor(shown, SensorId(number), &curves, &day)) }
        }
    }
}

fn sensor(shown: &Shown, id: SensorId, curves: &Curves<'_>, day: &Day) -> Markup {
    let sensor = shown.house().sensor(id);
    let reading = shown.engine.reading(id);
    let marks = marks(shown, id);
    let points = curves.of(id);
    let unit = if sensor.unit.is_empty() { String::new() } else { format!(" {}", sensor.unit) };
    html! {
        li.sensor id={ "sensor-" (sensor.name) } data-live {
            div.plate {
                @if reading.is_none() { (lamp(Lamp::Abnormal)) }
                h2 { (sensor.name) }
                p.value {
                    @match reading {
                        Some((value, _)) => { strong { (sensor.shown(value.get())) } (unit) },
                        None => "not known",
                    }
                }
            }
            p.small {
                @match reading {
                    Some((_, at)) => { (age(at.age(shown.engine.now().boot))) " old, unknown after " (sensor.stale_after) },
                    None => { "no good reading within " (sensor.stale_after) },
                }
                ", " (source(shown.house(), id))
            }
            @match curve::figure((&sensor.name, &sensor.unit), sensor.stale_after, &points, &marks, day) {
                Some(figure) => (figure),
                None => p.small { "Nothing was written of it within the day." },
            }
            @if !marks.is_empty() {
                ul.thresholds { @for mark in &marks { li { (mark.what) " " (mark.value) (unit) } } }
            }
        }
    }
}

/// `12 s`, `4 min`, `3 h`, `2 d`: as old as a person cares to know.
pub fn age(age: Span) -> String {
    match age.whole_s() {
        seconds @ 0..120 => format!("{seconds} s"),
        seconds @ 120..7200 => format!("{} min", seconds / 60),
        seconds @ 7200..172_800 => format!("{} h", seconds / 3600),
        seconds => format!("{} d", seconds / 86_400),
    }
}

fn source(house: &House, id: SensorId) -> String {
    match &house.sensor(id).source {
        Source::Board { board, reading } => format!("reading {}/{reading}", house.board(*board).name),
        Source::Topic { topic, field: None } => format!("topic {topic}"),
        Source::Topic { topic, field: Some(field) } => format!("topic {topic} at {field}"),
        Source::Derived(derived) => {
            let of = derived.ingredients().iter().map(|id| house.sensor(*id).name.as_str());
            format!("computed from {}", of.collect::<Vec<_>>().join(" and "))
        }
    }
}

/// Where rules turn by this sensor alone, with setpoints as they are now.
fn marks(shown: &Shown, sensor: SensorId) -> Vec<Mark> {
    let house = shown.house();
    let mut rules_of: BTreeMap<AtomId, Vec<&str>> = BTreeMap::new();
    for rule in &house.rules {
        for_each_atom(house, &rule.condition, &mut |atom| rules_of.entry(atom).or_default().push(&rule.name));
    }
    let mut marks: Vec<Mark> = Vec::new();
    for (atom, rules) in &rules_of {
        let Atom::Threshold(threshold) = house.atom(*atom) else { continue };
        if threshold.sensor != sensor || threshold.minus.is_some() {
            continue;
        }
        let (ends, rules) = (shown.engine.ends(threshold), rules.join(", "));
        for (value, is_in, word) in [(ends.cut_in, true, "cut-in"), (ends.cut_out, false, "cut-out")] {
            let what = format!("{word} of {rules}:");
            if !marks.iter().any(|mark| mark.what == what && mark.value == value) {
                marks.push(Mark { value: curve::tidy(value), what, is_in });
            }
        }
    }
    marks.truncate(MARKS_MAX);
    marks
}

/// What sensors said, as points of curves.
struct Curves<'a> {
    house: &'a House,
    /// By sensor and place on the curve.
    points: BTreeMap<(SensorId, i64), Point>,
    from: WallTime,
    step: i64,
}

impl<'a> Curves<'a> {
    fn new(house: &'a House, stretches: &[Stretch], day: &Day) -> Curves<'a> {
        let step = ((day.to.0 - day.from.0) / i64::from(POINTS)).max(1);
        let mut points = BTreeMap::new();
        for stretch in stretches {
            let Some(id) = house.sensor_named(&stretch.sensor) else { continue };
            let sensor = house.sensor(id);
            // What was sent is stored, and what it means may run the other way.
            let ends = [stretch.least, stretch.greatest].map(|raw| calibrated(&sensor.calibration, raw));
            let [Some(one), Some(other)] = ends else { continue };
            let (mut least, mut greatest) = (one.min(other), one.max(other));
            if let Some((bottom, top)) = sensor.range {
                if greatest < bottom || least > top {
                    continue;
                }
                // What the range drops is not drawn.
                (least, greatest) = (least.clamp(bottom, top), greatest.clamp(bottom, top));
            }
            let place = (stretch.at.0 - day.from.0) / step;
            points.insert((id, place), Point { at: stretch.at, least, greatest });
        }
        Curves { house, points, from: day.from, step }
    }

    fn of(&self, sensor: SensorId) -> Vec<Point> {
        let Source::Derived(derived) = &self.house.sensor(sensor).source else {
            let all = (sensor, i64::MIN)..=(sensor, i64::MAX);
            return self.points.range(all).map(|(_, point)| *point).collect();
        };
        // Computed from the middle of what was said within each stretch.
        let computed = (0..=i64::from(POINTS)).filter_map(|place| {
            let middle = |id: SensorId| self.points.get(&(id, place)).map(|point| (point.least + point.greatest) / 2.0);
            let value = derive(derived, middle).filter(|value| value.is_finite())?;
            let at = WallTime(self.from.0 + place * self.step + self.step / 2);
            Some(Point { at, least: value, greatest: value })
        });
        computed.collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ages_are_as_old_as_a_person_cares_to_know() {
        let check = |seconds, words: &str| assert_eq!(age(Span::from_s(seconds)), words);
        check(0, "0 s");
        check(119, "119 s");
        check(120, "2 min");
        check(7199, "119 min");
        check(7200, "2 h");
        check(200_000, "2 d");
    }
}
