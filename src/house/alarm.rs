//! How alarms are called: the ids that stand in `alarm/<id>`, in status and in conditions. It never raises one.

/// Alarms about a thing of the house: the first part of their id, and the section in which the rest is a name.
pub const ALARM_KINDS: [(&str, &str); 11] = [
    // Not heard any more.
    ("board", "board"),
    // There are two of that name.
    ("namesake", "board"),
    // Restarts again and again.
    ("restarts", "board"),
    // Not heard for as long as its readings keep, or sends nothing usable.
    ("sensor", "sensor"),
    // Its reports do not match its orders.
    ("obey", "load"),
    // Does not do what its contact says.
    ("proof", "load"),
    // Neither of its loads can do the job.
    ("rotation", "rotation"),
    // An actuator did not reach the end that its contact tells.
    ("reach", "load"),
    // Switches again and again.
    ("switching", "load"),
    // A fault of Standfast itself was caught at it.
    ("fault", "load"),
    // A safety trip that latched.
    ("trip", "rule"),
];

/// Alarms about Standfast and its machine: whole ids.
pub const OWN_ALARMS: [&str; 9] =
    ["alarm-program", "broker", "clock", "house", "house-waits", "memory", "other-writer", "readings", "store"];

/// Which section an alarm's id names a thing of, and the thing; `None` for an id that no alarm about a thing has.
pub fn alarm_about(id: &str) -> Option<(&'static str, &str)> {
    let (word, name) = id.split_once('-')?;
    ALARM_KINDS.into_iter().find(|(kind, _)| *kind == word).map(|(_, section)| (section, name))
}

/// Which alarms a condition counts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum AlarmState {
    /// Those that stand and that nobody has acknowledged yet: for what calls a person, such as a buzzer.
    #[default]
    Unacknowledged,
    /// All that stand, until their reason is gone: for what shows that something is wrong, such as a lamp.
    Standing,
}
