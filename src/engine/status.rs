//! What is published of loads and alarms, as JSON. It never decides and never publishes.
//!
//! Times are RFC 3339 with the site's offset, so that a person can read them off a subscriber's screen.

use jiff::tz::TimeZone;
use serde::Serialize;

use super::explain::RunView;
use super::{Alarm, Cause, Engine, Explanation};
use crate::house::{LoadId, State, Words};
use crate::units::WallTime;

/// The payload of `load/<load>`.
#[derive(Debug, Serialize)]
struct LoadStatus<'a> {
    load: &'a str,
    label: &'a str,
    wanted: &'static str,
    ordered: Option<&'static str>,
    known: Option<&'static str>,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    assumed: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    run: Option<RunStatus>,
    #[serde(skip_serializing_if = "Option::is_none")]
    since: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    slot: Option<u8>,
    why: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    withdrawn: Option<Withdrawn<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    hold: Option<HoldStatus>,
    revision: &'a str,
}

/// A run of an actuator that is under way.
#[derive(Debug, Serialize)]
struct RunStatus {
    to: &'static str,
    since: String,
    /// It lasts so long at most, in seconds.
    lasts_s: f64,
}

#[derive(Debug, Serialize)]
struct Withdrawn<'a> {
    why: &'a str,
    /// Said wherever a withdrawal shows: nobody may take it for a safe disconnection.
    note: &'static str,
}

#[derive(Debug, Serialize)]
struct HoldStatus {
    state: &'static str,
    by: String,
    since: String,
    until: String,
    until_next_change: bool,
    stored: bool,
}

/// The payload of `alarm/<id>`.
#[derive(Debug, Serialize)]
struct AlarmStatus<'a> {
    alarm: &'a str,
    text: &'a str,
    raised: String,
    acknowledged: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    acknowledged_by: Option<String>,
}

impl Engine {
    /// The payload of `load/<load>`: JSON. `stored` says that a hold is safe on disk; `revision` is that of the house.
    pub fn load_status(&self, load: LoadId, stored: bool, revision: &str) -> String {
        let zone = &self.house.site.zone;
        let reasons = self.reasons(load);
        let why = reasons.account(zone, self.now.wall);
        let Explanation { load: name, label, words, wanted, ordered, known, assumed, run, slot, cause, hold, .. } =
            reasons.explanation;
        let word = |state: State| words.word(state);
        // When a pulse was tells nothing of since when the load is so.
        let is_pulsed = self.house.load(load).pulse.is_some();
        let changed = self.contact_of(load).filter(|_| !is_pulsed).map(|contact| contact.changed_latest);
        let status = LoadStatus {
            load: &name,
            label: &label,
            wanted: word(wanted),
            ordered: ordered.map(word),
            known: known.map(word),
            assumed,
            run: run.as_ref().and_then(|run| run_status(run, words, zone)),
            since: known.and(changed).map(|changed| rfc3339(self.now.wall - changed.age(self.now.boot), zone)),
            slot,
            why,
            withdrawn: match &cause {
                Cause::Withdrawn { why } => Some(Withdrawn { why, note: "out of service, not isolated" }),
                _ => None,
            },
            hold: hold.map(|hold| HoldStatus {
                state: word(hold.state),
                by: hold.by.words(),
                since: rfc3339(hold.began, zone),
                until: rfc3339(hold.until, zone),
                until_next_change: hold.until_next_change,
                stored,
            }),
            revision,
        };
        json(&status)
    }

    /// The payload of `alarm/<id>`: JSON.
    pub fn alarm_status(&self, id: &str, alarm: &Alarm) -> String {
        json(&AlarmStatus {
            alarm: id,
            text: &alarm.text,
            raised: rfc3339(alarm.raised, &self.house.site.zone),
            acknowledged: alarm.acknowledged,
            acknowledged_by: alarm.acknowledged_by.as_ref().map(super::By::words),
        })
    }
}

fn run_status(run: &RunView, words: Words, zone: &TimeZone) -> Option<RunStatus> {
    match run {
        RunView::Runs { to, since, length, .. } => {
            Some(RunStatus { to: words.word(*to), since: rfc3339(*since, zone), lasts_s: length.0 as f64 / 1000.0 })
        }
        RunView::Waits { .. } => None,
    }
}

fn json(status: &impl Serialize) -> String {
    serde_json::to_string(status).expect("strings, numbers and options always have a JSON form")
}

/// A wall time as RFC 3339 in a zone, to the second.
pub fn rfc3339(at: WallTime, zone: &TimeZone) -> String {
    at.instant().to_zoned_datetime(zone.clone()).strftime("%Y-%m-%dT%H:%M:%S%:z").to_string()
}
