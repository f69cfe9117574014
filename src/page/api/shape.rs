//! What answers look like. The loop answers with the same JSON; these are its shapes, as the OpenAPI document shows them. They
//! never compute anything.

use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

/// A problem by RFC 9457, as every refusal and error is.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Problem {
    /// A URI for the kind of problem; `about:blank`, since the status says the kind.
    #[serde(rename = "type")]
    pub kind: String,
    /// The status in words.
    pub title: String,
    /// The status.
    #[schema(minimum = 400, maximum = 599)]
    pub status: u16,
    /// What went wrong, and what to do instead.
    pub detail: String,
}

/// How everything is.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Status {
    /// The version of Standfast.
    pub version: String,
    /// The revision of the house that runs.
    pub revision: String,
    /// Whether the broker is connected.
    pub broker: bool,
    /// Whether the wall clock is trusted.
    pub clock_trusted: bool,
    /// Whether something is saved and not committed, and so does not run; null where what is saved runs.
    pub saved_not_committed: Option<bool>,
    /// The alarms that stand.
    pub alarms: Vec<Alarm>,
    /// The boards.
    pub boards: Vec<Board>,
    /// What sensors say.
    pub sensors: Vec<Sensor>,
    /// What loads do and why.
    pub loads: Vec<Load>,
    /// The selectors.
    pub selectors: Vec<Selector>,
    /// The setpoints.
    pub setpoints: Vec<Setpoint>,
}

/// Something a person must see.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Alarm {
    /// Its id.
    pub alarm: String,
    /// What is wrong and what to do.
    pub text: String,
    /// When it was raised.
    #[schema(format = DateTime)]
    pub raised: String,
    /// Whether a person has noted it.
    pub acknowledged: bool,
    /// Who.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub acknowledged_by: Option<String>,
}

/// Whether a board is heard.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Board {
    /// Its name.
    pub board: String,
    /// `heard`, `not heard while there is no broker`, `not heard yet`, `lost`, or `never heard, assumed to obey`.
    pub presence: String,
}

/// What a sensor says.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Sensor {
    /// Its name.
    pub sensor: String,
    /// Its value in its unit; null while it is unknown.
    pub value: Option<f64>,
    /// Its unit; empty for a bare number.
    pub unit: String,
    /// When that was received.
    #[schema(format = DateTime)]
    pub at: Option<String>,
    /// How long ago that was, in seconds.
    pub age_s: Option<f64>,
    /// Without a reading for so many seconds it is unknown.
    pub stale_after_s: f64,
}

/// What a load does and why.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Load {
    /// Its name.
    pub load: String,
    /// What a person calls it.
    pub label: String,
    /// What is wanted of it: `on` or `off`, of an actuator `open` or `closed`.
    pub wanted: String,
    /// What was ordered last; null before anything was.
    pub ordered: Option<String>,
    /// What is known of it by report; null where nothing is.
    pub known: Option<String>,
    /// Its board cannot report: what is known is assumed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub assumed: bool,
    /// A run of an actuator that is under way.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<Run>,
    /// Since when it is so, where that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(format = DateTime)]
    pub since: Option<String>,
    /// The slot that decides, 1 to 16; none where it rests.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub slot: Option<u8>,
    /// Why, in a sentence with the numbers.
    pub why: String,
    /// It is out of service, which is no isolation.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub withdrawn: Option<Withdrawn>,
    /// Who holds it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hold: Option<Hold>,
    /// The revision of the house.
    pub revision: String,
}

/// A run of an actuator.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Run {
    /// Where to: `open` or `closed`.
    pub to: String,
    /// Since when.
    #[schema(format = DateTime)]
    pub since: String,
    /// How long at most, in seconds.
    pub lasts_s: f64,
}

/// A load that is out of service.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Withdrawn {
    /// Why, as it was said.
    pub why: String,
    /// That it is not isolated.
    pub note: String,
}

/// A hold.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Hold {
    /// The state it is held in.
    pub state: String,
    /// By whom, in words.
    pub by: String,
    /// Since when.
    #[schema(format = DateTime)]
    pub since: String,
    /// Until when at the latest.
    #[schema(format = DateTime)]
    pub until: String,
    /// It ends earlier when its rules say something else.
    pub until_next_change: bool,
    /// It is on disk: a restart does not forget it.
    pub stored: bool,
}

/// A selector.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Selector {
    /// Its name.
    pub selector: String,
    /// What a person calls it.
    pub label: String,
    /// The position that it is in.
    pub position: String,
    /// All of its positions.
    pub positions: Vec<String>,
    /// Who set it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<Set>,
}

/// A setpoint.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Setpoint {
    /// Its name.
    pub setpoint: String,
    /// What a person calls it.
    pub label: String,
    /// Its unit.
    pub unit: String,
    /// What it is.
    pub value: f64,
    /// What it is by the file.
    pub written: f64,
    /// The least and the greatest that it may be set to.
    pub range: [f64; 2],
    /// Who set it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<Set>,
}

/// Who set a selector or a setpoint.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Set {
    /// By whom, in words.
    pub by: String,
    /// Since when.
    #[schema(format = DateTime)]
    pub since: String,
    /// Until when, where an end was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(format = DateTime)]
    pub until: Option<String>,
    /// It is on disk.
    pub stored: bool,
}

/// Everything that speaks to a load now, or what it was at a time behind.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Why {
    /// In words, several lines.
    pub text: String,
    /// Slots, rules, every condition with its values, and what comes by itself; only of now.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Object>)]
    pub reasons: Option<Value>,
    /// The moment that was understood; only of a time behind.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(format = DateTime)]
    pub at: Option<String>,
    /// The last change before that, and what was done to the load after it; only of a time behind.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rows: Option<Vec<JournalRow>>,
}

/// What happened.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Journal {
    /// From when on, as it was understood; null for as far as it goes.
    #[schema(format = DateTime)]
    pub since: Option<String>,
    /// Until when, as it was understood; null for now.
    #[schema(format = DateTime)]
    pub until: Option<String>,
    /// The rows, the oldest first.
    pub rows: Vec<JournalRow>,
}

/// A row of the journal.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct JournalRow {
    /// When.
    #[schema(format = DateTime)]
    pub at: String,
    /// The same in milliseconds since 1970.
    pub at_ms: i64,
    /// Whether the wall clock was trusted then.
    pub trusted: bool,
    /// The revision of the house that ran.
    pub revision: String,
    /// What happened and why, in words.
    pub text: String,
    /// The same as data; its member `entry` names the kind.
    #[schema(value_type = Object)]
    pub entry: Value,
}

/// For how long loads were on, what that took and how often they were switched.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct History {
    /// From when on, as it was understood.
    #[schema(format = DateTime)]
    pub since: String,
    /// Until when, as it was understood.
    #[schema(format = DateTime)]
    pub until: String,
    /// One row for each load, or for each load and day or reason.
    pub rows: Vec<HistoryRow>,
}

/// A row of a history.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct HistoryRow {
    /// The load.
    pub load: String,
    /// The day, such as `2026-05-12`, or the reason.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// For how long it was on, in hours; of an actuator, driven; of a rotation, its members together.
    pub on_h: f64,
    /// Its rated power times that, in kWh; null where the house says no power.
    pub energy_kwh: Option<f64>,
    /// How often it was switched on; of an actuator, how often it ran.
    pub closings: u32,
    /// The share of its contact's life that these switchings took; null where the house says nothing of its endurance.
    pub life_share: Option<f64>,
    /// The same of all operations since the relay is known; only in a row over all the time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub life_used: Option<f64>,
}

/// A page of what sensors said.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Readings {
    /// From when on, as it was understood.
    #[schema(format = DateTime)]
    pub since: String,
    /// Until when, as it was understood; null for now.
    #[schema(format = DateTime)]
    pub until: Option<String>,
    /// The readings, the oldest first.
    pub readings: Vec<Reading>,
    /// What to ask `after` for the next page; null at the end.
    pub next: Option<String>,
}

/// A reading as it came.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Reading {
    /// When.
    #[schema(format = DateTime)]
    pub at: String,
    /// Of which sensor.
    pub sensor: String,
    /// In its unit.
    pub value: f64,
}

/// What boards said lately.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Seen {
    /// What was said, the oldest first.
    pub seen: Vec<SeenOne>,
    /// What to ask `after` for whatever comes next.
    pub next: u64,
}

/// One thing that a board said.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct SeenOne {
    /// Counts up from 1.
    pub number: u64,
    /// When, in milliseconds since 1970.
    #[serde(rename(deserialize = "at"))]
    pub at_ms: i64,
    /// Where: `hall/ir`.
    pub place: String,
    /// `reading`, `press`, `code` or `contact`.
    pub said: String,
    /// Of a reading, its value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// Of a key of a remote, its code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub code: Option<String>,
    /// Of a contact, whether it is closed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on: Option<bool>,
    /// The sections of the house that it belongs to, such as `input "remote-red"`.
    pub named: Vec<String>,
    /// Whether the house has no board of that name.
    #[serde(default)]
    pub strange_board: bool,
}

/// The house that runs.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct House {
    /// Its revision.
    pub revision: String,
    /// Where another version waits for a person, why.
    pub waits: Option<String>,
    /// Where the version on disk has errors, which.
    pub faults: Option<String>,
}

/// What became of a request, in words that say what was understood.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
pub struct Done {
    /// `lamp is held on until 22:30 today`.
    pub text: String,
}
