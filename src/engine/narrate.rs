//! Sentences for rows of the journal. It never decides and never looks at the engine.

use jiff::tz::TimeZone;

use super::modes_view::quantity;
use super::render::{going, until};
use super::{By, Former, HoldEndReason, JournalEntry, ReturnReason};
use crate::house::State;

impl JournalEntry {
    /// What happened and why, in words without a full stop: "sunroom-fan on (yard/2): rule sunroom-vents: …".
    pub fn sentence(&self, zone: &TimeZone) -> String {
        match self {
            JournalEntry::Changed { load: Some(load), relay, state, cause } => {
                format!("{load} {state} ({relay}): {}", cause.sentence(zone))
            }
            JournalEntry::Changed { load: None, relay, state, cause } => {
                let coil = if *state == State::On { "energised" } else { "not energised" };
                format!("relay {relay} {coil}: {}", cause.sentence(zone))
            }
            JournalEntry::Assumed { load: Some(load), relay, state, cause } => {
                format!("{load} ordered {state} ({relay}), which is not confirmed: {}", cause.sentence(zone))
            }
            JournalEntry::Assumed { load: None, relay, state, cause } => {
                let coil = if *state == State::On { "energised" } else { "released" };
                format!("relay {relay} ordered {coil}, which is not confirmed: {}", cause.sentence(zone))
            }
            JournalEntry::Unseen { relay, changes } => {
                let times = if *changes == 1 { "once".to_owned() } else { format!("{changes} times") };
                format!("relay {relay} changed {times} without being seen")
            }
            JournalEntry::Held { load, state, words, by } => {
                format!("{load} held {} by {}", words.word(*state), by.words())
            }
            JournalEntry::Driven { actuator, relay, to, energised: true, cause } => {
                format!("{actuator} {} ({relay}): {}", going(*to), cause.sentence(zone))
            }
            JournalEntry::Driven { actuator, relay, to, energised: false, cause } => {
                format!("{actuator} no longer {} ({relay}): {}", going(*to), cause.sentence(zone))
            }
            JournalEntry::Pulsed { load, relay, energised: true, cause } => {
                format!("{load} pulsed ({relay}): {}", cause.sentence(zone))
            }
            JournalEntry::Pulsed { load, relay, energised: false, cause } => {
                format!("the pulse of {load} is over ({relay}): {}", cause.sentence(zone))
            }
            JournalEntry::HoldEnded { load, why } => format!("the hold of {load} ended: {}", why.words()),
            JournalEntry::Selected { selector, position, by, until: end } => {
                format!("selector {selector} turned to {position} by {}{}", by.words(), until(*end, zone))
            }
            JournalEntry::SelectorReturned { selector, position, why } => {
                format!("selector {selector} is back at {position}: {}", why.words())
            }
            JournalEntry::SetpointSet { setpoint, value, unit, by, until: end } => {
                let value = quantity(value.get(), unit);
                format!("setpoint {setpoint} set to {value} by {}{}", by.words(), until(*end, zone))
            }
            JournalEntry::SetpointReturned { setpoint, value, unit, why } => {
                format!("setpoint {setpoint} is back at {}: {}", quantity(value.get(), unit), why.words())
            }
            JournalEntry::Withdrawn { load, why, after: Some(former), .. } => passed(load, why, former),
            JournalEntry::Withdrawn { load, why, by, stays, after: None } => withdrawn(load, why, by.as_ref(), *stays),
            JournalEntry::WithdrawalEnded { load, why } => gone(load, why),
            JournalEntry::Restored { load, why, by } => {
                format!("{load} restored to service{}{}", said(why), who(by.as_ref()))
            }
            JournalEntry::AlarmAcknowledged { alarm, by } => format!("alarm {alarm} acknowledged by {}", by.words()),
            JournalEntry::Tripped { load, rule } => format!("safety trip {rule} has tripped and holds {load}"),
            JournalEntry::Reset { load, rule } => format!("safety trip {rule} of {load} reset by hand"),
            JournalEntry::TripLetGo { rule, load } => {
                let of = load.as_ref().map_or_else(String::new, |load| format!(" of {load}"));
                format!("safety trip {rule}{of} had tripped and let go: a change of the house took it away")
            }
            JournalEntry::BrokerFound => "the broker is there again".to_owned(),
            JournalEntry::BrokerLost { why } => format!("the broker is lost: {why}"),
            JournalEntry::BoardFound { board } => format!("board {board} is heard"),
            JournalEntry::BoardLost { board } => format!("board {board} is not heard any more"),
            JournalEntry::HouseTaken { revision } => format!("house {revision} runs now"),
            JournalEntry::AlarmRaised { alarm, text } => format!("alarm {alarm}: {text}"),
            JournalEntry::AlarmCleared { alarm } => format!("alarm {alarm} cleared"),
        }
    }
}

/// That a load was withdrawn by hand, or for want of a proof.
fn withdrawn(load: &str, why: &str, by: Option<&By>, stays: bool) -> String {
    let stays = if stays { "stays " } else { "" };
    format!("{load} {stays}withdrawn{}{}; this is no isolation", said(why), who(by))
}

/// That a load was withdrawn because that of before on its relay was.
fn passed(load: &str, why: &str, former: &Former) -> String {
    let (why, Former { load: before, relay }) = (said(why), former);
    format!(
        "{load} withdrawn{why}: it has come on {relay}, and {before}, which hung there, was withdrawn; this is no isolation"
    )
}

/// That a withdrawal ended with its load.
fn gone(load: &str, why: &str) -> String {
    format!("the withdrawal of {load}{} ended: a change of the house took the load away", said(why))
}

/// ` (bearing squeals)`, or nothing.
pub(super) fn said(why: &str) -> String {
    if why.is_empty() { String::new() } else { format!(" ({why})") }
}

/// ` by ann on the page`, or nothing.
fn who(by: Option<&By>) -> String {
    by.map_or_else(String::new, |by| format!(" by {}", by.words()))
}

impl HoldEndReason {
    /// The reason in words.
    pub const fn words(self) -> &'static str {
        match self {
            HoldEndReason::TimeUp => "its time was up",
            HoldEndReason::RulesChanged => "the rules changed",
            HoldEndReason::Released => "released by hand",
            HoldEndReason::Replaced => "another hold took its place",
            HoldEndReason::Withdrawn => "the load was withdrawn",
            HoldEndReason::Pulsed => "its pulse is over",
            HoldEndReason::BoardLost => "its board is not heard, and it opens at once or not at all",
        }
    }
}

impl ReturnReason {
    /// The reason in words.
    pub const fn words(self) -> &'static str {
        match self {
            ReturnReason::TimeUp => "its time was up",
            ReturnReason::Released => "released by hand",
            ReturnReason::FileChanged => "the house's file says something else than when it was set",
            ReturnReason::OutOfRange => "its range does not allow what it was set to any more",
            ReturnReason::PositionGone => "it has no longer the position that it was turned to",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::{By, Cause};
    use crate::house::Words;

    fn check(entry: &JournalEntry, expected: &str) {
        assert_eq!(entry.sentence(&TimeZone::UTC), expected);
    }

    #[test]
    fn rows_say_what_happened_and_why() {
        let (load, relay) = (Some("fan".to_owned()), "yard/2".to_owned());
        let cause = Cause::HandAtBoard;
        let changed = JournalEntry::Changed { load, relay: relay.clone(), state: State::On, cause: cause.clone() };
        check(&changed, "fan on (yard/2): switched by hand at the board");
        let bare = JournalEntry::Changed { load: None, relay: relay.clone(), state: State::Off, cause };
        check(&bare, "relay yard/2 not energised: switched by hand at the board");
        check(
            &JournalEntry::Unseen { relay: relay.clone(), changes: 1 },
            "relay yard/2 changed once without being seen",
        );
        check(&JournalEntry::Unseen { relay, changes: 3 }, "relay yard/2 changed 3 times without being seen");
        let by = By::Command("ann".to_owned());
        let held = JournalEntry::Held { load: "fan".to_owned(), state: State::Off, words: Words::OnOff, by };
        check(&held, "fan held off by a command of ann");
        let actuator = "hen-door".to_owned();
        let by = By::Message;
        let held = JournalEntry::Held { load: actuator.clone(), state: State::On, words: Words::OpenClosed, by };
        check(&held, "hen-door held open by a message");
        let (relay, cause) = ("yard/5".to_owned(), Cause::RunOver);
        let driven = JournalEntry::Driven { actuator, relay, to: State::On, energised: false, cause };
        check(&driven, "hen-door no longer opening (yard/5): its time is over");
        let (load, relay) = ("stairs".to_owned(), "yard/4".to_owned());
        let pulsed = JournalEntry::Pulsed { load, relay, energised: false, cause: Cause::RunOver };
        check(&pulsed, "the pulse of stairs is over (yard/4): its time is over");
        let ended = JournalEntry::HoldEnded { load: "fan".to_owned(), why: HoldEndReason::TimeUp };
        check(&ended, "the hold of fan ended: its time was up");
        let withdrawn = |by, stays| JournalEntry::Withdrawn {
            load: "fan".to_owned(),
            why: "bearing".to_owned(),
            by,
            stays,
            after: None,
        };
        check(&withdrawn(None, false), "fan withdrawn (bearing); this is no isolation");
        let stays = withdrawn(Some(By::Command("ann".to_owned())), true);
        check(&stays, "fan stays withdrawn (bearing) by a command of ann; this is no isolation");
    }
}
