//! For how long loads were on, what that took and how often they were switched, counted from the journal. It counts what
//! boards reported and never guesses what happened between reports.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Serialize;

use super::protocol::{HistoryBy, Response};
use crate::engine::{Cause, JournalEntry, Wear, rfc3339};
use crate::house::State;
use crate::store::JournalLine;
use crate::units::WallTime;

/// The rows that it counts.
pub const KINDS: &[&str] = &["changed", "assumed", "driven"];
/// The reason of a load that nobody has switched since it was first heard.
const AS_FOUND: &str = "as it was found";
const MS_PER_HOUR: f64 = 3_600_000.0;

/// A load with what it takes.
#[derive(Clone, Debug, PartialEq)]
pub struct Rated {
    /// Its name.
    pub load: String,
    /// Whose rows count for it: of a rotation its members, else itself.
    pub counts: Vec<Counted>,
    /// Its rated power in W, where the house says one.
    pub watts: Option<f64>,
    /// How worn its contact is, since it is known.
    pub wear: Option<Wear>,
}

/// A load whose rows are counted.
#[derive(Clone, Debug, PartialEq)]
pub struct Counted {
    /// Its name.
    pub load: String,
    /// Since when it is known to be on, where it is now: the journal has no row of what it was when it was first heard.
    pub on_since: Option<WallTime>,
}

/// One row of a history.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tally {
    /// The load.
    pub load: String,
    /// The day, `2026-05-12`, or the reason; `None` over all.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// For how long it was on, in h; of an actuator, driven; of a rotation, its members together.
    pub on_h: f64,
    /// Rated power times that, in kWh; `None` where the house says no power.
    pub energy_kwh: Option<f64>,
    /// How often it was switched on; of an actuator, how often it ran.
    pub closings: u32,
    /// The share of its contact's life that these switchings took, by the endurance of its relay's data sheet; `None` where the
    /// house says none.
    pub life_share: Option<f64>,
    /// The same of all operations since the relay is known; only in a row over all.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub life_used: Option<f64>,
}

/// Counts what rows of the journal, the oldest first, say of the time between two moments.
pub fn tally(
    rows: &[JournalLine],
    rated: &[Rated],
    (since, until): (WallTime, WallTime),
    by: HistoryBy,
    zone: &TimeZone,
) -> Vec<Tally> {
    let mut counted: BTreeMap<(&str, String), (i64, u32)> = BTreeMap::new();
    if by == HistoryBy::Load {
        counted.extend(rated.iter().map(|one| ((one.load.as_str(), String::new()), (0, 0))));
    }
    for (one, of) in rated.iter().flat_map(|one| one.counts.iter().map(move |of| (one, of))) {
        let changes: Vec<_> = rows.iter().filter_map(|row| change(row, &of.load)).collect();
        let found_on = of.on_since.filter(|_| changes.is_empty());
        let mut on: Option<(WallTime, String)> = found_on.map(|at| (at, AS_FOUND.to_owned()));
        let mut run = |from: WallTime, to: WallTime, reason: &str| {
            let (from, to) = (from.max(since), to.min(until));
            for (label, ms) in shares(from, to, reason, by, zone) {
                counted.entry((&one.load, label)).or_default().0 += ms;
            }
        };
        let mut starts = Vec::new();
        for (at, state, reason) in changes {
            if let Some((from, reason)) = on.as_ref().filter(|_| state == State::Off) {
                run(*from, at, reason);
                on = None;
            }
            if state == State::On && on.is_none() {
                if at >= since && at <= until {
                    starts.push((at, reason.clone()));
                }
                on = Some((at, reason));
            }
        }
        if let Some((from, reason)) = on {
            run(from, until, &reason);
        }
        for (at, reason) in starts {
            counted.entry((&one.load, label(at, &reason, by, zone))).or_default().1 += 1;
        }
    }
    let of = |load: &str| rated.iter().find(|one| one.load == load);
    let tally = counted.into_iter().map(|((load, label), (ms, closings))| {
        let on_h = ms as f64 / MS_PER_HOUR;
        let energy_kwh = of(load).and_then(|one| one.watts).map(|watts| watts * on_h / 1000.0);
        let wear = of(load).and_then(|one| one.wear.as_ref());
        let life_share = wear.and_then(|wear| wear.share_of(closings.into()));
        let life_used = wear.filter(|_| by == HistoryBy::Load).and_then(Wear::share);
        let by = (by != HistoryBy::Load).then_some(label);
        Tally { load: load.to_owned(), by, on_h, energy_kwh, closings, life_share, life_used }
    });
    tally.collect()
}

/// What a row says of a load.
fn change(row: &JournalLine, name: &str) -> Option<(WallTime, State, String)> {
    let of = row.entry.get("load").or_else(|| row.entry.get("actuator"))?;
    if of.as_str()? != name {
        return None;
    }
    match serde_json::from_value(row.entry.clone()).ok()? {
        JournalEntry::Changed { state, cause, .. } | JournalEntry::Assumed { state, cause, .. } => {
            Some((row.at, state, reason(&cause)))
        }
        // Only one of its relays is energised at a time.
        JournalEntry::Driven { energised, cause, .. } => {
            Some((row.at, if energised { State::On } else { State::Off }, reason(&cause)))
        }
        _ => None,
    }
}

/// A reason without its numbers, so that equal ones count together.
fn reason(cause: &Cause) -> String {
    match cause {
        Cause::Rule(rule) => format!("rule {}", rule.rule),
        Cause::Hold(hold) => format!("held by {}", hold.by.words()),
        other => {
            let tagged = serde_json::to_value(other).unwrap_or_default();
            tagged["cause"].as_str().unwrap_or("unknown").replace('-', " ")
        }
    }
}

fn label(at: WallTime, reason: &str, by: HistoryBy, zone: &TimeZone) -> String {
    match by {
        HistoryBy::Load => String::new(),
        HistoryBy::Day => at.instant().to_zoned_datetime(zone.clone()).strftime("%Y-%m-%d").to_string(),
        HistoryBy::Reason => reason.to_owned(),
    }
}

/// A run cut where its label changes: at the site's midnights.
fn shares(from: WallTime, to: WallTime, reason: &str, by: HistoryBy, zone: &TimeZone) -> Vec<(String, i64)> {
    let mut shares = Vec::new();
    let mut at = from;
    while at < to {
        let end = if by == HistoryBy::Day { next_midnight(at, zone).map_or(to, |end| end.min(to)) } else { to };
        shares.push((label(at, reason, by, zone), end.0 - at.0));
        at = end;
    }
    shares
}

fn next_midnight(at: WallTime, zone: &TimeZone) -> Option<WallTime> {
    let mut date = zone.to_datetime(at.instant()).date();
    // Twice where summer time begins at midnight and the day after next is meant.
    for _ in 0..3 {
        date = date.tomorrow().ok()?;
        let midnight: Timestamp = zone.to_timestamp(date.at(0, 0, 0, 0)).ok()?;
        if midnight > at.instant() {
            return Some(WallTime::from(midnight));
        }
    }
    None
}

/// The history as an answer.
pub fn response(tally: &[Tally], (since, until): (WallTime, WallTime), zone: &TimeZone) -> Response {
    let data = serde_json::json!({ "since": rfc3339(since, zone), "until": rfc3339(until, zone), "rows": tally });
    Response::found(format!("{} rows from {} to {}", tally.len(), data["since"], data["until"]), data)
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZoneDatabase;
    use serde_json::json;

    use super::*;

    fn row(at: &str, state: &str, cause: &str) -> JournalLine {
        let at = WallTime::from(at.parse::<Timestamp>().unwrap());
        let entry = json!({ "entry": "changed", "load": "fan", "relay": "yard/1", "state": state, "cause": { "cause": cause } });
        JournalLine { at, trusted: true, revision: "r".to_owned(), entry }
    }

    fn counted(load: &str, on_since: Option<WallTime>) -> Counted {
        Counted { load: load.to_owned(), on_since }
    }

    /// A flap on an NC contact, never switched since its board was first heard; and one that was.
    #[test]
    fn what_was_on_when_it_was_first_heard_counts_from_then() {
        let time = |text: &str| WallTime::from(text.parse::<Timestamp>().unwrap());
        let between = (time("2026-05-12T00:00:00Z"), time("2026-05-12T12:00:00Z"));
        let heard = Some(time("2026-05-12T09:00:00Z"));
        let rated = ["flap", "fan"].map(|load| Rated {
            load: load.to_owned(),
            counts: vec![counted(load, heard)],
            watts: None,
            wear: None,
        });
        let rows = [row("2026-05-12T11:00:00Z", "on", "resting")];
        let tally = tally(&rows, &rated, between, HistoryBy::Reason, &TimeZone::UTC);
        let got: Vec<_> =
            tally.iter().map(|one| (one.load.as_str(), one.by.as_deref(), one.on_h, one.closings)).collect();
        assert_eq!(got, [("fan", Some("resting"), 1.0, 1), ("flap", Some("as it was found"), 3.0, 0)]);
    }

    /// Two runs around a midnight of British summer time, of which the first began before the time that is counted.
    fn check(by: HistoryBy, expected: &[(Option<&str>, f64, u32)]) {
        let zone = TimeZoneDatabase::bundled().get("Europe/London").unwrap();
        let rows = [
            row("2026-05-11T10:00:00Z", "on", "resting"),
            row("2026-05-11T13:00:00Z", "off", "resting"),
            row("2026-05-11T22:00:00Z", "on", "hand-at-board"),
            // Said twice: one run.
            row("2026-05-11T22:10:00Z", "on", "hand-at-board"),
            row("2026-05-12T01:00:00Z", "off", "resting"),
        ];
        let time = |text: &str| WallTime::from(text.parse::<Timestamp>().unwrap());
        let between = (time("2026-05-11T12:00:00Z"), time("2026-05-12T12:00:00Z"));
        let wear = Some(Wear { operations: 40, endurance: Some(100), replaced: None });
        let rated = [Rated { load: "fan".to_owned(), counts: vec![counted("fan", None)], watts: Some(500.0), wear }];
        let tally = tally(&rows, &rated, between, by, &zone);
        let got: Vec<_> = tally.iter().map(|one| (one.by.as_deref(), one.on_h, one.closings)).collect();
        assert_eq!(got, expected);
        for one in &tally {
            assert_eq!(one.energy_kwh, Some(one.on_h * 0.5));
            assert_eq!(one.life_share, Some(f64::from(one.closings) / 100.0));
            assert_eq!(one.life_used, (by == HistoryBy::Load).then_some(0.4));
        }
    }

    #[test]
    fn runs_are_counted_within_the_time_and_cut_at_the_sites_midnights() {
        check(HistoryBy::Load, &[(None, 4.0, 1)]);
        check(HistoryBy::Day, &[(Some("2026-05-11"), 2.0, 1), (Some("2026-05-12"), 2.0, 0)]);
        check(HistoryBy::Reason, &[(Some("hand at board"), 3.0, 1), (Some("resting"), 1.0, 0)]);
    }

    #[test]
    fn an_actuator_is_counted_by_its_runs_and_a_rotation_by_its_members() {
        let driven = |at: &str, to: &str, energised: bool| {
            let (at, cause) = (WallTime::from(at.parse::<Timestamp>().unwrap()), json!({ "cause": "run-over" }));
            let entry = json!({
                "entry": "driven", "actuator": "door", "relay": "yard/5", "to": to, "energised": energised, "cause": cause
            });
            JournalLine { at, trusted: true, revision: "r".to_owned(), entry }
        };
        let mut rows = vec![
            driven("2026-05-12T05:00:00Z", "on", true),
            driven("2026-05-12T05:00:18Z", "on", false),
            driven("2026-05-12T06:00:00Z", "off", true),
            driven("2026-05-12T06:00:18Z", "off", false),
        ];
        for (load, from, to) in [("a", "07", "09"), ("b", "09", "10")] {
            for (hour, state) in [(from, "on"), (to, "off")] {
                let mut row = row(&format!("2026-05-12T{hour}:00:00Z"), state, "resting");
                row.entry["load"] = load.into();
                rows.push(row);
            }
        }
        let rated = |load: &str, counts: &[&str]| Rated {
            load: load.to_owned(),
            counts: counts.iter().map(|load| counted(load, None)).collect(),
            watts: None,
            wear: None,
        };
        let rated = [rated("door", &["door"]), rated("sump", &["a", "b"]), rated("b", &["b"])];
        let time = |text: &str| WallTime::from(text.parse::<Timestamp>().unwrap());
        let between = (time("2026-05-12T00:00:00Z"), time("2026-05-12T12:00:00Z"));
        let tally = tally(&rows, &rated, between, HistoryBy::Load, &TimeZone::UTC);
        let got: Vec<_> = tally.iter().map(|one| (one.load.as_str(), one.on_h, one.closings)).collect();
        assert_eq!(got, [("b", 1.0, 1), ("door", 0.01, 2), ("sump", 3.0, 2)]);
    }
}
