//! Loads whose rules ask about each other in a circle: each change of one would turn the next, and so on for ever.

use super::Subject;
use crate::condition::for_each_atom;
use crate::diagnostic::Diagnostic;
use crate::house::{Atom, AtomId, Drive, House};

/// How many loads of a circle are named.
const NAMED_MAX: usize = 8;

/// Why a load follows another.
#[derive(Clone, Copy)]
struct Edge {
    to: usize,
    /// The condition that asks; `None` for a member that its rotation switches.
    asks: Option<AtomId>,
}

/// How far the search has come with a load.
#[derive(Clone, Copy, PartialEq)]
enum Mark {
    New,
    Open,
    Done,
}

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let edges = edges(subject.house);
    let mut marks = vec![Mark::New; edges.len()];
    let mut found = Vec::new();
    for start in 0..edges.len() {
        if marks[start] != Mark::New {
            continue;
        }
        // Depth first with a path of our own: loads may form a chain as long as the house. Of each load the next edge.
        let mut path: Vec<(usize, usize)> = vec![(start, 0)];
        marks[start] = Mark::Open;
        while let Some((at, next)) = path.last_mut() {
            let Some(edge) = edges[*at].get(*next) else {
                marks[*at] = Mark::Done;
                path.pop();
                continue;
            };
            *next += 1;
            match marks[edge.to] {
                Mark::New => {
                    marks[edge.to] = Mark::Open;
                    path.push((edge.to, 0));
                }
                Mark::Open => {
                    let from = path.iter().position(|(load, _)| *load == edge.to).unwrap_or(0);
                    let circle: Vec<(usize, Edge)> =
                        path[from..].iter().map(|(load, next)| (*load, edges[*load][next - 1])).collect();
                    found.push(report(subject, &circle));
                }
                Mark::Done => {}
            }
        }
    }
    found
}

/// By load, the loads that it follows.
fn edges(house: &House) -> Vec<Vec<Edge>> {
    let mut edges: Vec<Vec<Edge>> = vec![Vec::new(); house.loads.len()];
    for rule in &house.rules {
        for_each_atom(house, &rule.condition, &mut |atom| {
            if let Atom::Load { load, .. } = house.atom(atom) {
                let asked = &mut edges[rule.load.index()];
                if asked.iter().all(|edge| edge.to != load.index()) {
                    asked.push(Edge { to: load.index(), asks: Some(atom) });
                }
            }
        });
    }
    for (number, load) in house.loads.iter().enumerate() {
        if let Drive::Rotation(rotation) = load.drive {
            for member in house.rotation(rotation).loads {
                edges[member.index()].push(Edge { to: number, asks: None });
            }
        }
    }
    edges
}

fn report(subject: &Subject<'_>, circle: &[(usize, Edge)]) -> Diagnostic {
    let name = |load: usize| format!("\"{}\"", subject.house.loads[load].name);
    let mut names: Vec<String> = circle.iter().take(NAMED_MAX).map(|(load, _)| name(*load)).collect();
    if circle.len() > NAMED_MAX {
        names.push("...".to_owned());
    }
    names.extend(circle.first().map(|(load, _)| name(*load)));
    let message = match circle {
        [(load, _)] => format!("a rule of load {} asks what that load does", name(*load)),
        _ => format!("loads go round in a circle: {}", names.join(" asks about ")),
    };
    let mut diagnostic = Diagnostic::error("circle", message)
        .because("each time one of them switches, the circle may switch it back")
        .help("let one of them follow what the others follow: a sensor, an input or the clock");
    for (number, atom) in circle.iter().filter_map(|(_, edge)| edge.asks).take(NAMED_MAX).enumerate() {
        let spot = subject.spots.atom(atom);
        diagnostic = match number {
            0 => subject.at_spot(diagnostic, spot, ""),
            _ => diagnostic.also(subject.file(spot), spot.range(), ""),
        };
    }
    diagnostic
}
