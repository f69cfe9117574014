//! The timing diagram of a load, as a relay's data sheet has it: a line that is high while the load is on and low while it is
//! off, night shaded, what is to come dashed. What it shows is also there as a sentence. It never asks for anything: rows of
//! the journal and a forecast go in, SVG comes out.

use std::collections::BTreeSet;

use maud::{Markup, html};

use super::day::Day;
use super::ground::{ground, percent};
use crate::engine::{Forecast, JournalEntry};
use crate::house::{LoadId, State, Words};
use crate::store::JournalLine;
use crate::units::WallTime;

/// The kinds of rows that it is drawn from.
pub const KINDS: &[&str] = &["changed", "assumed", "driven", "board-lost", "board-found"];

/// Levels in px: on, off, the foot of the figure, the line of the clock.
const ON: f64 = 5.0;
const OFF: f64 = 27.0;
const FOOT: f64 = 32.0;
const CLOCK: f64 = 44.0;
/// So many changes are told in words at most, the last ones before now and the first ones after.
const TOLD: usize = 6;

/// What a load did or will do from some moment on.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// Since when.
    pub from: WallTime,
    /// Until when.
    pub to: WallTime,
    /// What.
    pub level: Level,
    /// It lies ahead.
    pub foreseen: bool,
}

/// What a load does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// On or off, open or closed.
    At(State),
    /// On its way to one of them.
    Towards(State),
    /// Nobody knows.
    Unknown,
}

/// Of which load it tells.
#[derive(Clone, Copy, Debug)]
pub struct Of<'a> {
    /// Its number in the house.
    pub id: LoadId,
    /// Its name.
    pub name: &'a str,
    /// Of a rotation the names of its members, of which one on is enough; empty for others.
    pub members: &'a [String],
    /// The boards that its relays sit on.
    pub boards: &'a [String],
    /// What its states are called.
    pub words: Words,
    /// What it does now.
    pub known: Option<State>,
}

/// What a load did within the figure's time and what it will do.
pub fn pieces(of: &Of<'_>, rows: &[JournalLine], forecast: &Forecast, day: &Day) -> Vec<Piece> {
    let mut turns = past(of, rows, day);
    // The journal may be a little behind; what is known now is known.
    let now = of.known.map_or(Level::Unknown, Level::At);
    let is_moving = matches!(turns.last(), Some((_, Level::Towards(_)))) && of.known.is_none();
    if turns.last().is_none_or(|(_, last)| *last != now) && !is_moving {
        let at = turns.last().map_or(day.from, |_| day.now);
        turns.push((at, now));
    }
    let mut pieces = joined(&turns, day.now, false);
    let mut ahead = vec![(day.now, turns.last().map_or(now, |(_, level)| *level))];
    for change in forecast.changes.iter().filter(|change| change.load == of.id && change.at < day.to) {
        let level = change.state.map_or(Level::Unknown, Level::At);
        ahead.push((change.at, level));
    }
    // On its way is known by where it comes to.
    for place in 0..ahead.len() {
        if let (Level::Unknown, Some((_, Level::At(next)))) = (ahead[place].1, ahead.get(place + 1).copied()) {
            ahead[place].1 = Level::Towards(next);
        }
    }
    pieces.extend(joined(&ahead, forecast.until.min(day.to), true));
    pieces
}

/// What rows of the journal say, from the figure's beginning on.
fn past(of: &Of<'_>, rows: &[JournalLine], day: &Day) -> Vec<(WallTime, Level)> {
    let mut turns: Vec<(WallTime, Level)> = Vec::new();
    let mut running: BTreeSet<&str> = BTreeSet::new();
    for row in rows.iter().filter(|row| row.at >= day.from && row.at <= day.now) {
        let field = |name: &str| row.entry.get(name).and_then(serde_json::Value::as_str);
        let member = of.members.iter().find(|member| field("load") == Some(member.as_str()));
        let is_ours = field("load") == Some(of.name) || field("actuator") == Some(of.name) || member.is_some();
        let is_board = field("board").is_some_and(|board| of.boards.iter().any(|ours| ours == board));
        if !is_ours && !is_board {
            continue;
        }
        let Ok(entry) = serde_json::from_value::<JournalEntry>(row.entry.clone()) else { continue };
        let (before, after) = match entry {
            JournalEntry::Changed { state, .. } | JournalEntry::Assumed { state, .. } if member.is_some() => {
                // One that goes off was on before, also where that began before the figure.
                running.extend(member.map(String::as_str));
                let before = if turns.is_empty() && state == State::On { State::Off } else { State::On };
                if state == State::Off {
                    running.retain(|name| Some(*name) != member.map(String::as_str));
                }
                (Level::At(before), Level::At(if running.is_empty() { State::Off } else { State::On }))
            }
            JournalEntry::Changed { state, .. } | JournalEntry::Assumed { state, .. } => {
                (Level::At(state.opposite()), Level::At(state))
            }
            JournalEntry::Driven { to, energised: true, .. } => (Level::At(to.opposite()), Level::Towards(to)),
            JournalEntry::Driven { to, energised: false, .. } => (Level::Towards(to), Level::At(to)),
            JournalEntry::BoardLost { .. } => {
                let before = turns.last().map(|(_, level)| *level).or(of.known.map(Level::At));
                (before.unwrap_or(Level::Unknown), Level::Unknown)
            }
            // What it came back as, a report behind it says where it is another.
            JournalEntry::BoardFound { .. } => {
                let known = turns.iter().rev().find(|(_, level)| *level != Level::Unknown).map(|(_, level)| *level);
                (Level::Unknown, known.or(of.known.map(Level::At)).unwrap_or(Level::Unknown))
            }
            _ => continue,
        };
        if turns.is_empty() {
            turns.push((day.from, before));
        }
        turns.push((row.at, after));
    }
    turns
}

fn joined(turns: &[(WallTime, Level)], end: WallTime, foreseen: bool) -> Vec<Piece> {
    let mut pieces: Vec<Piece> = Vec::new();
    for (place, (from, level)) in turns.iter().enumerate() {
        let to = turns.get(place + 1).map_or(end, |(next, _)| *next);
        match pieces.last_mut() {
            Some(last) if last.level == *level => last.to = to,
            _ if to > *from => pieces.push(Piece { from: *from, to, level: *level, foreseen }),
            _ => {}
        }
    }
    pieces
}

/// The figure.
pub fn figure(of: &Of<'_>, pieces: &[Piece], day: &Day) -> Markup {
    let now = percent(day.x(day.now));
    let [on, off] = [State::On, State::Off].map(|state| of.words.word(state));
    html! {
        div.timing {
            div.levels aria-hidden="true" { span { (on) } span { (off) } }
            svg role="img" aria-label=(told(of, pieces, day)) height="48" {
                (ground(day, FOOT, CLOCK))
                (line(pieces, day))
                line.now x1=(now) x2=(now) y1="0" y2=(FOOT + 4.0) {}
            }
        }
    }
}

fn line(pieces: &[Piece], day: &Day) -> Markup {
    html! {
        @for (place, piece) in pieces.iter().enumerate() {
            @let (x1, x2) = (day.x(piece.from), day.x(piece.to));
            @let class = match (piece.level, piece.foreseen) {
                (Level::Unknown, _) => "unknown",
                (_, true) => "trace foreseen",
                (_, false) => "trace",
            };
            @if piece.level == Level::At(State::On) {
                rect.on.foreseen[piece.foreseen] x=(percent(x1)) y=(ON) width=(percent(x2 - x1)) height=(OFF - ON) {}
            }
            line class=(class) x1=(percent(x1)) x2=(percent(x2)) y1=(entry(piece.level)) y2=(exit(piece.level)) {}
            @if let Some(next) = pieces.get(place + 1) {
                @if exit(piece.level) != entry(next.level) {
                    line class=(if next.foreseen { "trace foreseen" } else { "trace" })
                        x1=(percent(x2)) x2=(percent(x2)) y1=(exit(piece.level)) y2=(entry(next.level)) {}
                }
            }
        }
    }
}

const fn height(state: State) -> f64 {
    match state {
        State::On => ON,
        State::Off => OFF,
    }
}

fn entry(level: Level) -> f64 {
    match level {
        Level::At(state) => height(state),
        Level::Towards(state) => height(state.opposite()),
        Level::Unknown => (ON + OFF) / 2.0,
    }
}

fn exit(level: Level) -> f64 {
    match level {
        Level::Towards(state) => height(state),
        other => entry(other),
    }
}

/// What the figure shows, in words: the last changes and the next.
pub fn told(of: &Of<'_>, pieces: &[Piece], day: &Day) -> String {
    let word = |level: Level| match level {
        Level::At(state) => of.words.word(state).to_owned(),
        Level::Towards(state) => format!("on its way to {}", of.words.word(state)),
        Level::Unknown => "not known".to_owned(),
    };
    let (ahead, behind): (Vec<&Piece>, Vec<&Piece>) = pieces.iter().partition(|piece| piece.foreseen);
    let skipped = behind.len().saturating_sub(TOLD);
    let mut parts: Vec<String> = Vec::new();
    if skipped > 0 {
        parts.push(format!("{skipped} changes before that"));
    }
    for piece in behind.iter().skip(skipped) {
        let since = if piece.from <= day.from { "at the beginning".to_owned() } else { day.clock(piece.from) };
        parts.push(format!("{since} {}", word(piece.level)));
    }
    // What it does now is said already.
    for piece in ahead.iter().skip(1).take(TOLD) {
        parts.push(format!("foreseen {} {}", day.clock(piece.from), word(piece.level)));
    }
    if ahead.len() <= 1 {
        parts.push("no change foreseen".to_owned());
    }
    let (from, to) = (day.clock(day.from), day.clock(day.to));
    format!("Timing of {} from {from} to {to}: {}", of.name, parts.join("; "))
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::super::day::tests::{site, time};
    use super::*;
    use crate::engine::{Cause, Foreseen};

    const OF: Of<'_> =
        Of { id: LoadId(0), name: "fan", members: &[], boards: &[], words: Words::OnOff, known: Some(State::On) };

    fn row(at: &str, entry: serde_json::Value) -> JournalLine {
        JournalLine { at: time(at), trusted: true, revision: "r".to_owned(), entry }
    }

    fn changed(at: &str, load: &str, state: &str) -> JournalLine {
        let cause = json!({ "cause": "resting" });
        row(at, json!({ "entry": "changed", "load": load, "relay": "yard/1", "state": state, "cause": cause }))
    }

    fn forecast(day: &Day, changes: &[(&str, Option<State>)]) -> Forecast {
        let change = |(at, state): &(&str, Option<State>)| Foreseen {
            at: time(at),
            load: LoadId(0),
            state: *state,
            why: Cause::Resting,
        };
        Forecast { from: day.now, until: day.to, changes: changes.iter().map(change).collect() }
    }

    fn day() -> Day {
        Day::around(time("2026-11-25T12:00:00Z"), &site(54.60))
    }

    fn check(of: &Of<'_>, rows: &[JournalLine], coming: &[(&str, Option<State>)], expected: &str) {
        let day = day();
        let pieces = pieces(of, rows, &forecast(&day, coming), &day);
        assert_eq!(told(of, &pieces, &day), format!("Timing of {} from 00:00 to Thu 00:00: {expected}", of.name));
        for pair in pieces.windows(2) {
            assert_eq!(pair[0].to, pair[1].from, "nothing is left out: {pieces:?}");
        }
        let svg = figure(of, &pieces, &day).into_string();
        assert!(!svg.contains("style="), "the page allows no style in place");
        assert!(svg.contains("foreseen"), "what is to come is dashed: {svg}");
    }

    #[test]
    fn what_was_and_what_is_to_come() {
        let rows = [
            changed("2026-11-25T06:00:00Z", "fan", "on"),
            changed("2026-11-25T07:00:00Z", "lamp", "on"),
            changed("2026-11-25T08:00:00Z", "fan", "off"),
            changed("2026-11-25T11:00:00Z", "fan", "on"),
        ];
        check(
            &OF,
            &rows,
            &[("2026-11-25T20:00:00Z", Some(State::Off))],
            "at the beginning off; 06:00 on; 08:00 off; 11:00 on; foreseen 20:00 off",
        );
    }

    #[test]
    fn a_load_that_never_changed_was_as_it_is() {
        check(&OF, &[], &[], "at the beginning on; no change foreseen");
    }

    #[test]
    fn while_its_board_was_lost_nobody_knows() {
        let boards = ["yard".to_owned()];
        let of = Of { boards: &boards, ..OF };
        let rows = [
            row("2026-11-25T03:00:00Z", json!({ "entry": "board-lost", "board": "hall" })),
            row("2026-11-25T04:00:00Z", json!({ "entry": "board-lost", "board": "yard" })),
            row("2026-11-25T05:00:00Z", json!({ "entry": "board-found", "board": "yard" })),
        ];
        check(&of, &rows, &[], "at the beginning on; 04:00 not known; 05:00 on; no change foreseen");
    }

    #[test]
    fn a_rotation_is_on_while_a_member_is() {
        let members = ["a".to_owned(), "b".to_owned()];
        let of = Of { members: &members, name: "sump", known: Some(State::Off), ..OF };
        let rows = [
            changed("2026-11-25T06:00:00Z", "a", "on"),
            changed("2026-11-25T07:00:00Z", "b", "on"),
            changed("2026-11-25T07:01:00Z", "a", "off"),
            changed("2026-11-25T08:00:00Z", "b", "off"),
        ];
        check(&of, &rows, &[], "at the beginning off; 06:00 on; 08:00 off; no change foreseen");
        check(&of, &rows[3..], &[], "at the beginning on; 08:00 off; no change foreseen");
    }

    #[test]
    fn an_actuator_is_on_its_way() {
        let of = Of { words: Words::OpenClosed, name: "door", ..OF };
        let driven = |at: &str, energised: bool| {
            let cause = json!({ "cause": "resting" });
            let entry = json!({ "entry": "driven", "actuator": "door", "relay": "yard/1", "to": "on", "energised": energised, "cause": cause });
            row(at, entry)
        };
        check(
            &of,
            &[driven("2026-11-25T08:00:00Z", true), driven("2026-11-25T08:10:00Z", false)],
            &[("2026-11-25T16:00:00Z", None), ("2026-11-25T16:01:00Z", Some(State::Off))],
            "at the beginning closed; 08:00 on its way to open; 08:10 open; foreseen 16:00 on its way to closed; \
             foreseen 16:01 closed",
        );
    }
}
