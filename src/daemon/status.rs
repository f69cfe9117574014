//! How everything is, in sentences for people and as data. It never changes anything.

use std::time::Duration;

use super::keeper::Keeper;
use super::modes;
use super::protocol::Response;
use super::source::Source;
use crate::engine::{Engine, Presence, rfc3339};
use crate::house::{Board, BoardId, Foreign, LoadId, Sensor, SensorId};

/// Git is waited for this long.
const GIT: Duration = Duration::from_secs(2);

/// What a status rests on: the engine that runs, or a copy of it.
#[derive(Clone, Copy)]
pub struct Standing<'a> {
    /// The engine.
    pub engine: &'a Engine,
    /// The revision of its house.
    pub revision: &'a str,
    /// Whether the broker is connected.
    pub linked: bool,
    /// Whether all that must survive is on disk.
    pub stored: bool,
}

impl<'a> Standing<'a> {
    /// That of what runs, with its engine as it was looked at.
    pub fn of(keeper: &'a Keeper, engine: &'a Engine) -> Standing<'a> {
        let (linked, stored) = (keeper.is_linked(), keeper.is_stored());
        Standing { engine, revision: keeper.revision(), linked, stored }
    }
}

/// Adds to how everything is whether files of the house are saved and not committed, where only what is committed runs.
/// Not from the loop: git takes its time.
pub async fn with_saved(mut status: Response, source: Source) -> Response {
    let asked = tokio::task::spawn_blocking(move || source.leaves_out_saved());
    // A git that hangs leaves the question open.
    let left_out = tokio::time::timeout(GIT, asked).await.ok().and_then(Result::ok).flatten();
    if left_out == Some(true) {
        let (first, rest) = status.text.split_once('\n').unwrap_or((&status.text, ""));
        status.text = format!("{first}\nhouse: what is saved and not committed is not in it\n{rest}");
    }
    if let Some(serde_json::Value::Object(data)) = &mut status.status {
        data.insert("saved_not_committed".to_owned(), left_out.into());
    }
    status
}

/// How everything is: sentences for people, and the same as data.
pub fn status(standing: &Standing<'_>) -> Response {
    let Standing { engine, revision, linked, stored } = *standing;
    let house = engine.house();
    let trusted = engine.now().trusted;
    let mut lines = vec![format!(
        "standfast {}, house {}; {}; the clock is {}",
        env!("CARGO_PKG_VERSION"),
        revision,
        if linked { "connected to the broker" } else { "no broker" },
        if trusted { "trusted" } else { "not trusted" }
    )];
    for (id, alarm) in engine.alarms() {
        let seen = if alarm.acknowledged { ", acknowledged" } else { "" };
        lines.push(format!("alarm {id}{seen}: {}", alarm.text));
    }
    let boards = house.boards.iter().enumerate().map(|(number, board)| {
        (board.name.clone(), presence_words(board, engine.presence(BoardId(number as u32)), linked))
    });
    let boards: Vec<(String, &str)> = boards.collect();
    lines.extend(boards.iter().map(|(name, presence)| format!("board {name}: {presence}")));
    let ids = (0..house.loads.len()).map(|number| LoadId(number as u32));
    let mut loads = Vec::new();
    for load in ids {
        lines.push(engine.account(load));
        let json = engine.load_status(load, stored, revision);
        loads.push(serde_json::from_str::<serde_json::Value>(&json).unwrap_or_default());
    }
    let (words, modes) = modes::status(engine, stored);
    lines.extend(words);
    let alarms = engine.alarms().iter().map(|(id, alarm)| engine.alarm_status(id, alarm));
    let alarms: Vec<serde_json::Value> = alarms.map(|json| serde_json::from_str(&json).unwrap_or_default()).collect();
    let boards: Vec<serde_json::Value> =
        boards.iter().map(|(name, presence)| serde_json::json!({ "board": name, "presence": presence })).collect();
    let status = serde_json::json!({
        "version": env!("CARGO_PKG_VERSION"),
        "revision": revision,
        "broker": linked,
        "clock_trusted": trusted,
        "alarms": alarms,
        "boards": boards,
        "sensors": sensors(engine),
        "loads": loads,
        "selectors": modes.selectors,
        "setpoints": modes.setpoints,
    });
    Response { status: Some(status), ..Response::done(lines.join("\n")) }
}

/// Whether a board is heard, in words. While there is no broker none is, whatever it said last.
pub fn presence_words(board: &Board, presence: Presence, linked: bool) -> &'static str {
    let is_heard = board.foreign.as_ref().is_none_or(Foreign::is_heard);
    match presence {
        Presence::Present if !is_heard => "never heard, assumed to obey",
        Presence::Present if !linked => "not heard while there is no broker",
        Presence::Present => "heard",
        Presence::Unheard => "not heard yet",
        Presence::Lost => "lost",
    }
}

/// What sensors say: no value while one is unknown.
fn sensors(engine: &Engine) -> Vec<serde_json::Value> {
    let (house, now) = (engine.house(), engine.now());
    let sensor = |(number, sensor): (usize, &Sensor)| {
        let reading = engine.reading(SensorId(number as u32));
        let age = reading.map(|(_, at)| at.age(now.boot));
        serde_json::json!({
            "sensor": sensor.name,
            "value": reading.map(|(value, _)| sensor.shown(value.get())),
            "unit": sensor.unit,
            "at": age.map(|age| rfc3339(now.wall - age, &house.site.zone)),
            "age_s": age.map(|age| age.0 as f64 / 1000.0),
            "stale_after_s": sensor.stale_after.0 as f64 / 1000.0,
        })
    };
    house.sensors.iter().enumerate().map(sensor).collect()
}
