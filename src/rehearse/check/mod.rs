//! Invariants, each judged by a file of its own from what happened: what contacts did, what went over the wire, what a person
//! was told. They never draw anything and never trust what the engine believes, but where they say so.
//!
//! | id | file | |
//! | --- | --- | --- |
//! | I1 | [`interlock`] | interlocks and their dead time |
//! | I1 | [`drive`] | both directions of an actuator, and the end of its runs |
//! | I2 | [`dwell`] | min on, min off |
//! | I3 | [`limits`] | max on, its rest, max starts |
//! | I4 | [`fallback`] | the fallback after the lease |
//! | I5 | [`hold`] | a hold's running time |
//! | I6 | [`lease`] | no orders after their lease, none for another boot, none twice |
//! | I7 | [`deadband`] | noise inside the deadband |
//! | I8 | [`twin`] | same events, same effects |
//! | I9 | [`twin`] | the same house again changes nothing; one with errors is not taken |
//! | I10 | [`journal`] | one row for each change that was reported, one for those that nobody saw |
//! | I11 | [`circuit`] | a circuit's limit |
//! | I12 | [`converge`] | once faults are over each load is what its array says |
//! | start | [`start`] | after a start nothing changes before its inputs are known |
//! | press | [`press`] | a press makes one hold, and so does a hand at a board |
//! | stagger | [`stagger`] | closings after a start, and on a circuit, one after the other |
//! | proof | [`proof`] | a load that does not prove is told, and its mate takes over |
//! | stray | [`stray`] | a single reading far off changes nothing |
//! | pulse | [`pulse`] | no pulse is repeated |
//! | trip | [`trip`] | a safety trip stays until it is reset |
//! | mode | [`modes`] | what a selector or a setpoint is set to never lasts longer than was said |
//! | stale | [`stale`] | a silent sensor leads to the safe state in time |

mod bound;
pub mod circuit;
pub mod converge;
pub mod deadband;
mod delays;
pub mod drive;
pub mod dwell;
pub mod fallback;
mod gates;
pub mod hold;
pub mod interlock;
pub mod journal;
mod known;
pub mod lease;
mod ledger;
pub mod limits;
pub mod modes;
mod oracle;
pub mod press;
pub mod proof;
pub mod pulse;
pub mod stagger;
pub mod stale;
pub mod start;
pub mod stray;
mod terms;
pub mod trip;
pub mod twin;

use std::collections::BTreeMap;

pub use ledger::{Change, Ledger, Sent, Spot, Track};

use super::happening::Happening;
use super::stage::Stage;
use crate::engine::Presence;
use crate::house::{Atom, Condition, House, LoadId, OnUnknown, Threshold};
use crate::units::Span;
use crate::wire::Fallback;

/// How often each state was reached, so that a trial in which nothing happens does not pass for a good one.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tally(BTreeMap<String, u64>);

impl Tally {
    /// Counts one.
    pub fn count(&mut self, what: &str) {
        self.add(what, 1);
    }

    /// Counts some.
    pub fn add(&mut self, what: &str, times: u64) {
        match self.0.get_mut(what) {
            Some(count) => *count += times,
            None => {
                self.0.insert(what.to_owned(), times);
            }
        }
    }

    /// How often something was counted.
    pub fn of(&self, what: &str) -> u64 {
        self.0.get(what).copied().unwrap_or(0)
    }

    /// Adds another tally.
    pub fn merge(&mut self, other: &Tally) {
        other.0.iter().for_each(|(what, times)| self.add(what, *times));
    }

    /// Everything that was counted, by name.
    pub fn iter(&self) -> impl Iterator<Item = (&str, u64)> {
        self.0.iter().map(|(what, times)| (what.as_str(), *times))
    }
}

/// What a checker looks at.
pub struct Scene<'a> {
    /// The stage as it is now.
    pub stage: &'a Stage,
    /// Orders and beats that were sent.
    pub ledger: &'a Ledger,
}

impl Scene<'_> {
    /// Whether a board that the controller takes for lost would put a relay elsewhere than the controller has told it to, for
    /// what it was told has not come.
    pub fn falls_back_otherwise(&self, spot: Spot) -> bool {
        let engine = self.stage.engine().zip(self.stage.running_board(spot.0));
        engine.is_some_and(|(engine, board)| engine.presence(board) != Presence::Present)
            && self.keeps_another_fallback(spot)
    }

    /// Whether a relay's board still has another word for its fallback than it was told.
    pub fn keeps_another_fallback(&self, (place, number): Spot) -> bool {
        let panel = &self.stage.panels()[place];
        let Some(engine) = self.stage.engine() else { return false };
        let Some(board) = self.stage.running_board(place) else { return false };
        let word = |fallback: &Fallback| fallback.relays.get(usize::from(number) - 1).map(|relay| relay.word);
        let kept = panel.board().flash().fallback.as_ref().and_then(word);
        kept != word(&engine.told_fallback(board))
    }
}

/// Something that judges.
pub trait Checker: std::fmt::Debug {
    /// Which invariant.
    fn id(&self) -> &'static str;

    /// Time is about to pass to `scene.stage`'s next event: whatever had to happen up to now has happened.
    ///
    /// # Errors
    /// What is broken, in words.
    fn time_passes(&mut self, _: &Scene<'_>, _: &mut Tally) -> Result<(), String> {
        Ok(())
    }

    /// Something happened.
    ///
    /// # Errors
    /// What is broken, in words.
    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String>;
}

/// All checkers.
pub fn all() -> Vec<Box<dyn Checker>> {
    vec![
        Box::new(dwell::Dwell::default()),
        Box::new(fallback::FallbackInTime::default()),
        Box::new(hold::HoldEnds::default()),
        Box::new(lease::Lease::default()),
        Box::new(deadband::Deadband::default()),
        Box::new(twin::Twins::default()),
        Box::new(start::Start::default()),
        Box::new(press::Presses::default()),
        Box::new(stale::Stale::default()),
        Box::new(interlock::Interlocks::default()),
        Box::new(limits::RunLimits::default()),
        Box::new(circuit::Circuits::default()),
        Box::new(stagger::Staggers::default()),
        Box::new(trip::Trips::default()),
        Box::new(drive::Drives::default()),
        Box::new(pulse::Pulses::default()),
        Box::new(proof::Proofs::default()),
        Box::new(stray::Strays::default()),
        Box::new(modes::Modes::default()),
        Box::new(journal::Journal::default()),
    ]
}

/// Whether a sensor that was heard so long ago has fallen silent since.
fn is_stale(scene: &Scene<'_>, sensor: &str, age: Span) -> bool {
    let house = scene.stage.house();
    house.sensor_named(sensor).is_some_and(|sensor| age >= house.sensor(sensor).stale_after)
}

/// The threshold of a load that follows one threshold, says so at once, and nothing else, no limit and no other load: what
/// its orders show is what the threshold is.
fn plain(house: &House, load: LoadId) -> Option<&Threshold> {
    let mut rules = house.rules.iter().filter(|rule| rule.load == load);
    let (rule, None) = (rules.next()?, rules.next()) else { return None };
    let definition = house.load(load);
    let spans = [rule.on_delay, rule.off_delay, definition.min_on, definition.min_off];
    let is_free = house.circuits.iter().all(|circuit| !circuit.loads.contains(&load))
        && house.interlocks.iter().all(|interlock| !interlock.loads.contains(&load))
        && definition.relay().is_some()
        && definition.pulse.is_none()
        && definition.max_on.is_none()
        && definition.max_starts.is_none();
    let is_plain = is_free && spans.iter().all(|span| span.is_zero()) && rule.on_unknown == OnUnknown::Safe;
    let Condition::Atom(atom) = &rule.condition else { return None };
    let Atom::Threshold(threshold) = house.atom(*atom) else { return None };
    is_plain.then_some(threshold)
}
