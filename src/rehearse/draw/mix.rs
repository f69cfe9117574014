//! Which faults and hands a trial has, and how often: drawn once for each seed, so that some trials are rough in one way and
//! quiet in all others. It never does anything itself.

use super::super::rng::Rng;
use crate::units::Span;

/// What can happen again and again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// A connection dies without a word.
    Cut,
    /// Bytes wait on one way of a link.
    Stall,
    /// A board's watchdog bites.
    Reset,
    /// A board loses power for a while.
    PowerCut,
    /// A board is replaced by a new one.
    Exchange,
    /// The broker goes away for a while.
    Broker,
    /// The broker writes what it retains to disk.
    BrokerWrite,
    /// The controller crashes and starts again.
    Crash,
    /// The controller's machine restarts.
    Machine,
    /// The controller does not get to run for a while.
    Freeze,
    /// The wall clock is stepped.
    ClockStep,
    /// The wall clock loses trust for a while.
    Distrust,
    /// Somebody presses a button.
    Button,
    /// Somebody uses a remote.
    Key,
    /// A door opens or closes.
    Door,
    /// A hold by message.
    HoldMessage,
    /// A hold, a release, a withdrawal or a restoration by command.
    Command,
    /// A relay welds or dies for a while.
    Relay,
    /// Somebody resets the safety trips.
    TripReset,
    /// Somebody changes the house.
    Reload,
    /// Somebody saves a house with errors in it.
    BadHouse,
    /// A message that nobody should send.
    Junk,
    /// Somebody turns a selector or sets a setpoint.
    Mode,
    /// Something is done to the board of other firmware.
    Foreign,
}

/// Those that any trial may have.
pub const KINDS: [Kind; 21] = [
    Kind::Cut,
    Kind::Stall,
    Kind::Reset,
    Kind::PowerCut,
    Kind::Exchange,
    Kind::Broker,
    Kind::BrokerWrite,
    Kind::Crash,
    Kind::Machine,
    Kind::Freeze,
    Kind::ClockStep,
    Kind::Distrust,
    Kind::Button,
    Kind::Key,
    Kind::Door,
    Kind::HoldMessage,
    Kind::Command,
    Kind::Relay,
    Kind::Reload,
    Kind::BadHouse,
    Kind::Junk,
];

/// How rough a trial is.
#[derive(Clone, Debug)]
pub struct Mix {
    /// Lost messages in ten thousand.
    pub lost: u64,
    /// Late messages in ten thousand.
    pub late: u64,
    /// Doubled messages in ten thousand.
    pub doubled: u64,
    /// How late at most.
    pub late_max: Span,
    /// How long a message takes at most when nothing is wrong.
    pub delay_max: Span,
    /// What happens again and again, and how long between on average.
    pub every: Vec<(Kind, Span)>,
    /// How long a write to the store takes.
    pub write: Span,
    /// How long the rough phase is.
    pub length: Span,
}

impl Mix {
    /// Lets somebody reset safety trips now and then.
    pub fn reset_trips(&mut self, rng: &mut Rng) {
        self.every.push((Kind::TripReset, Span::from_s(rng.between(60, 600))));
    }

    /// Draws a mix.
    pub fn draw(rng: &mut Rng) -> Mix {
        let mut every = Vec::new();
        for kind in KINDS {
            if rng.percent(50) {
                let mean = match kind {
                    Kind::Button | Kind::Door | Kind::Command | Kind::HoldMessage => Span::from_s(rng.between(40, 400)),
                    Kind::Exchange | Kind::Machine => Span::from_s(rng.between(1500, 6000)),
                    _ => Span::from_s(rng.between(120, 1800)),
                };
                every.push((kind, mean));
            }
        }
        Mix {
            lost: rng.one_of(&[0, 0, 50, 300, 1500]),
            late: rng.one_of(&[0, 0, 50, 300, 1500]),
            doubled: rng.one_of(&[0, 0, 50, 300, 1500]),
            late_max: Span::from_s(rng.one_of(&[1, 10, 60, 200])),
            delay_max: Span(rng.one_of(&[3, 50, 900])),
            every,
            write: Span(rng.one_of(&[0, 20, 20, 400, 2000])),
            length: Span::from_min(rng.between(40, 120)),
        }
    }
}
