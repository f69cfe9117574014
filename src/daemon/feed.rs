//! Changes as they come, for whoever watches live. It never waits for a watcher: one that reads too slowly loses its place.

use std::sync::Arc;

use serde::Serialize;
use tokio::sync::broadcast;

use crate::engine::{Engine, JournalEntry, rfc3339};
use crate::house::SensorId;
use crate::units::{BootTime, Finite, Span};

/// So many changes wait for a watcher before it loses its place.
const BACKLOG: usize = 512;
/// A sensor that says more than this often is told of at this pace.
const PACE: Span = Span(500);

/// Something changed.
#[derive(Debug)]
pub struct Change {
    /// What.
    pub kind: ChangeKind,
    /// The same as JSON.
    pub json: String,
}

/// What kind of thing changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChangeKind {
    /// A load: state, orders, hold or reason.
    Load,
    /// What a sensor says.
    Sensor,
    /// An alarm: raised, changed, acknowledged, cleared.
    Alarm,
    /// A selector's position.
    Selector,
    /// A setpoint's value.
    Setpoint,
    /// Whether a board is heard.
    Board,
    /// Whether the broker is connected.
    Broker,
    /// Another house runs: everything may have changed.
    House,
}

impl ChangeKind {
    /// Its name, as the event of a stream.
    pub fn word(self) -> &'static str {
        match self {
            ChangeKind::Load => "load",
            ChangeKind::Sensor => "sensor",
            ChangeKind::Alarm => "alarm",
            ChangeKind::Selector => "selector",
            ChangeKind::Setpoint => "setpoint",
            ChangeKind::Board => "board",
            ChangeKind::Broker => "broker",
            ChangeKind::House => "house",
        }
    }
}

/// One watcher's place.
pub type Watcher = broadcast::Receiver<Arc<Change>>;

/// Where watchers take their place.
#[derive(Clone, Debug)]
pub struct Feed(broadcast::Sender<Arc<Change>>);

impl Feed {
    /// A place from now on.
    pub fn watch(&self) -> Watcher {
        self.0.subscribe()
    }
}

/// What a watcher knows of a sensor.
#[derive(Clone, Copy, Debug, Default)]
struct Told {
    value: Option<Finite>,
    at: BootTime,
}

/// The keeper's end.
#[derive(Debug)]
pub struct Teller {
    feed: Feed,
    /// By sensor, what was told last, or was so when nobody watched.
    told: Vec<Told>,
}

#[derive(Serialize)]
struct SensorChange<'s> {
    sensor: &'s str,
    value: Option<f64>,
    unit: &'s str,
    at: Option<String>,
}

impl Default for Teller {
    fn default() -> Teller {
        Teller { feed: Feed(broadcast::channel(BACKLOG).0), told: Vec::new() }
    }
}

impl Teller {
    /// Where watchers take their place.
    pub fn feed(&self) -> Feed {
        self.feed.clone()
    }

    /// Whether anybody watches: without, nothing need be put into words.
    pub fn is_watched(&self) -> bool {
        self.feed.0.receiver_count() > 0
    }

    /// Tells of a change.
    pub fn tell(&self, kind: ChangeKind, json: String) {
        // Nobody may watch.
        let _ = self.feed.0.send(Arc::new(Change { kind, json }));
    }

    /// Tells of what a row of the journal changes beside loads and alarms, which are told of by themselves.
    pub fn record(&self, entry: &JournalEntry) {
        if !self.is_watched() {
            return;
        }
        let (kind, json) = match entry {
            JournalEntry::Selected { selector, position, .. }
            | JournalEntry::SelectorReturned { selector, position, .. } => {
                (ChangeKind::Selector, serde_json::json!({ "selector": selector, "position": position }))
            }
            JournalEntry::SetpointSet { setpoint, value, .. }
            | JournalEntry::SetpointReturned { setpoint, value, .. } => {
                (ChangeKind::Setpoint, serde_json::json!({ "setpoint": setpoint, "value": value.get() }))
            }
            JournalEntry::BoardFound { board } => {
                (ChangeKind::Board, serde_json::json!({ "board": board, "presence": "heard" }))
            }
            JournalEntry::BoardLost { board } => {
                (ChangeKind::Board, serde_json::json!({ "board": board, "presence": "lost" }))
            }
            JournalEntry::HouseTaken { revision } => (ChangeKind::House, serde_json::json!({ "revision": revision })),
            _ => return,
        };
        self.tell(kind, json.to_string());
    }

    /// Tells of what a row changes of loads and alarms. While there is no broker nothing else does.
    pub fn record_unpublished(&self, entry: &JournalEntry, engine: &Engine, stored: bool, revision: &str) {
        match entry {
            JournalEntry::AlarmRaised { alarm: id, .. } => {
                if let Some(alarm) = engine.alarms().get(id) {
                    self.tell(ChangeKind::Alarm, engine.alarm_status(id, alarm));
                }
            }
            JournalEntry::AlarmCleared { alarm } => self.tell_cleared(alarm),
            JournalEntry::Held { load, .. }
            | JournalEntry::HoldEnded { load, .. }
            | JournalEntry::Withdrawn { load, .. }
            | JournalEntry::Restored { load, .. }
            | JournalEntry::Tripped { load, .. }
            | JournalEntry::Reset { load, .. } => {
                if let Some(load) = engine.house().load_named(load) {
                    self.tell(ChangeKind::Load, engine.load_status(load, stored, revision));
                }
            }
            _ => {}
        }
    }

    /// Tells that an alarm is over.
    pub fn tell_cleared(&self, id: &str) {
        self.tell(ChangeKind::Alarm, serde_json::json!({ "alarm": id, "cleared": true }).to_string());
    }

    /// Another house runs: its sensors are others.
    pub fn forget_sensors(&mut self) {
        self.told.clear();
    }

    /// Tells of one sensor at once, if it says something else than before and was not told of a moment ago.
    pub fn look_at(&mut self, engine: &Engine, sensor: SensorId) {
        if !self.is_watched() {
            return;
        }
        self.learn(engine);
        let (value, now) = (engine.reading(sensor).map(|(value, _)| value), engine.now().boot);
        let told = self.told[sensor.index()];
        if told.value != value && now.since(told.at) >= PACE {
            self.tell_sensor(engine, sensor);
        }
    }

    /// Tells of all sensors that say something else than before. For once in a second.
    pub fn look_at_all(&mut self, engine: &Engine) {
        self.learn(engine);
        for number in 0..self.told.len() {
            let sensor = SensorId(number as u32);
            if self.told[number].value != engine.reading(sensor).map(|(value, _)| value) {
                self.tell_sensor(engine, sensor);
            }
        }
    }

    /// What is so now need not be told.
    fn learn(&mut self, engine: &Engine) {
        if self.told.is_empty() {
            let sensors = (0..engine.house().sensors.len()).map(|number| SensorId(number as u32));
            let value = |sensor| engine.reading(sensor).map(|(value, _)| value);
            self.told = sensors.map(|sensor| Told { value: value(sensor), at: BootTime(0) }).collect();
        }
    }

    fn tell_sensor(&mut self, engine: &Engine, sensor: SensorId) {
        let (reading, now) = (engine.reading(sensor), engine.now());
        self.told[sensor.index()] = Told { value: reading.map(|(value, _)| value), at: now.boot };
        if self.is_watched() {
            self.tell(ChangeKind::Sensor, sensor_json(engine, sensor));
        }
    }
}

/// What a sensor says now, as JSON: no value while it is unknown.
fn sensor_json(engine: &Engine, sensor: SensorId) -> String {
    let (house, reading, now) = (engine.house(), engine.reading(sensor), engine.now());
    let change = SensorChange {
        sensor: &house.sensor(sensor).name,
        value: reading.map(|(value, _)| value.get()),
        unit: &house.sensor(sensor).unit,
        at: reading.map(|(_, at)| rfc3339(now.wall - at.age(now.boot), &house.site.zone)),
    };
    serde_json::to_string(&change).unwrap_or_default()
}
