//! The curve of a sensor over the day behind, with the thresholds that rules hold against it. What it shows is also there in
//! words. It never asks for anything: points go in, SVG comes out.

use std::fmt::Write;

use maud::{Markup, html};

use super::day::Day;
use super::ground::ground;
use crate::units::{Span, WallTime};

/// The figure's height without the clock, in px.
const HEIGHT: f64 = 96.0;
/// The curve is drawn in units of this many to its width.
const WIDTH: f64 = 1000.0;
/// Points no further apart than this are joined, however short the readings of the sensor keep.
pub const GAP: Span = Span::from_min(20);
/// Numbers at lines are this far apart at least, in px.
const APART: f64 = 12.0;

/// The least and the greatest that was read around a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// When.
    pub at: WallTime,
    /// The least, in the sensor's unit.
    pub least: f64,
    /// The greatest.
    pub greatest: f64,
}

/// A value at which a rule turns.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// The value, in the sensor's unit.
    pub value: f64,
    /// What turns there: `cut-in of sunroom-vents-when-warm`.
    pub what: String,
    /// Whether it is a cut-in, else a cut-out.
    pub is_in: bool,
}

/// From where to where the figure reaches.
fn scale(points: &[Point], marks: &[Mark]) -> Option<(f64, f64)> {
    let least = points.iter().map(|point| point.least).reduce(f64::min)?;
    let greatest = points.iter().map(|point| point.greatest).reduce(f64::max)?;
    let reach = (greatest - least).max(greatest.abs() * 0.01).max(0.5);
    // Thresholds far outside would press the curve flat.
    let near = marks
        .iter()
        .map(|mark| mark.value)
        .filter(|value| (least - 2.0 * reach..=greatest + 2.0 * reach).contains(value));
    let (low, high) = near.fold((least, greatest), |(low, high), value| (low.min(value), high.max(value)));
    let air = ((high - low) * 0.08).max(reach * 0.05);
    Some((low - air, high + air))
}

/// The figure; `None` where nothing was read.
pub fn figure((name, unit): (&str, &str), gap: Span, points: &[Point], marks: &[Mark], day: &Day) -> Option<Markup> {
    let (low, high) = scale(points, marks)?;
    let y = |value: f64| ((high - value) / (high - low) * HEIGHT * 100.0).round() / 100.0;
    let shown: Vec<&Mark> = marks.iter().filter(|mark| (low..=high).contains(&mark.value)).collect();
    let view = format!("0 0 {WIDTH} {HEIGHT}");
    Some(html! {
        svg.curve role="img" aria-label=(told(name, unit, points, marks, day)) height=(HEIGHT + 16.0) {
            (ground(day, HEIGHT, HEIGHT + 13.0))
            @for mark in &shown {
                line class=(if mark.is_in { "cut in" } else { "cut out" })
                    x1="0" x2="100%" y1=(y(mark.value)) y2=(y(mark.value)) {}
            }
            svg viewBox=(view) preserveAspectRatio="none" x="0" y="0" width="100%" height=(HEIGHT) {
                path.read d=(path(points, gap.max(GAP), day, y)) {}
            }
            @for (y, value) in labels(&shown, y) { text.value x="100%" y=(y) { (value) } }
        }
    })
}

/// Where numbers stand, each once and none over another.
fn labels(marks: &[&Mark], y: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    let mut labels: Vec<(f64, f64)> = Vec::new();
    for mark in marks {
        let place = label_y(y(mark.value));
        if labels.iter().all(|(other, _)| (other - place).abs() >= APART) {
            labels.push((place, mark.value));
        }
    }
    labels
}

/// A number sits above its line unless there is no room.
fn label_y(y: f64) -> f64 {
    if y < 14.0 { y + 12.0 } else { y - 3.0 }
}

/// A stroke through the least and the greatest of each point, broken where nothing was read.
fn path(points: &[Point], gap: Span, day: &Day, y: impl Fn(f64) -> f64) -> String {
    let mut path = String::new();
    let mut before: Option<WallTime> = None;
    for point in points {
        let x = day.x(point.at) / 100.0 * WIDTH;
        let joins = before.is_some_and(|before| point.at.0 - before.0 <= gap.0 as i64);
        let _ = write!(path, "{}{x:.1} {:.2}", if joins { "L" } else { "M" }, y(point.greatest));
        // A point of its own is a short stroke, or nobody would see it.
        let _ = write!(path, "L{:.1} {:.2}", x + 0.1, y(point.least));
        before = Some(point.at);
    }
    path
}

/// What the figure shows, in words.
pub fn told(name: &str, unit: &str, points: &[Point], marks: &[Mark], day: &Day) -> String {
    let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
    let least = points.iter().min_by(|a, b| a.least.total_cmp(&b.least));
    let greatest = points.iter().max_by(|a, b| a.greatest.total_cmp(&b.greatest));
    let (Some(least), Some(greatest)) = (least, greatest) else { return format!("{name}: nothing was read") };
    let mut text = format!(
        "{name} from {} to {}: least {}{unit} at {}, greatest {}{unit} at {}",
        day.clock(day.from),
        day.clock(day.to),
        tidy(least.least),
        day.clock(least.at),
        tidy(greatest.greatest),
        day.clock(greatest.at)
    );
    for mark in marks {
        let _ = write!(text, "; {} {}{unit}", mark.what, mark.value);
    }
    text
}

/// Hundredths at most.
pub fn tidy(value: f64) -> f64 {
    (value * 100.0).round() / 100.0 + 0.0
}

#[cfg(test)]
mod tests {
    use super::super::day::tests::{site, time};
    use super::*;

    fn point(at: &str, least: f64, greatest: f64) -> Point {
        Point { at: time(at), least, greatest }
    }

    fn mark(value: f64, what: &str) -> Mark {
        Mark { value, what: what.to_owned(), is_in: true }
    }

    fn check(points: &[Point], marks: &[Mark], words: &str, strokes: usize) {
        let day = Day::behind(time("2026-11-25T12:00:00Z"), &site(54.60));
        assert_eq!(told("air", "°C", points, marks, &day), words);
        let figure = figure(("air", "°C"), Span::ZERO, points, marks, &day)
            .map(|figure| figure.into_string())
            .unwrap_or_default();
        assert!(!figure.contains("style=") && !figure.contains("NaN") && !figure.contains("inf"), "{figure}");
        assert_eq!(figure.matches('M').count(), strokes, "{figure}");
    }

    #[test]
    fn a_day_with_a_gap_and_a_threshold() {
        let points = [
            point("2026-11-25T06:00:00Z", 18.0, 18.5),
            point("2026-11-25T06:06:00Z", 18.5, 19.0),
            point("2026-11-25T09:00:00Z", 27.0, 28.1),
        ];
        check(
            &points,
            &[mark(28.0, "cut-in of vents"), mark(500.0, "cut-in of never")],
            "air from Tue 12:00 to 12:00: least 18 °C at 06:00, greatest 28.1 °C at 09:00; cut-in of vents 28 °C; \
             cut-in of never 500 °C",
            2,
        );
    }

    #[test]
    fn one_reading_and_none() {
        check(
            &[point("2026-11-25T06:00:00Z", 0.0, 0.0)],
            &[],
            "air from Tue 12:00 to 12:00: least 0 °C at 06:00, greatest 0 °C at 06:00",
            1,
        );
        check(&[], &[], "air: nothing was read", 0);
    }
}
