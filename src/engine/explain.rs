//! Why a load is as it is, as data: one explanation for page, command, message and journal. It never renders.

use serde::{Deserialize, Serialize};

use super::Obstacle;
use super::hold::HoldView;
use super::proof::Unproved;
use super::rotation::RotationView;
use crate::house::{State, ThresholdSide, Trend, Truth, Words};
use crate::units::{Finite, Span, WallTime};

/// What decided a state, or turned a contact.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "cause")]
pub enum Cause {
    /// The load is withdrawn.
    Withdrawn {
        /// Why, as the person said it.
        why: String,
    },
    /// A rule demands it.
    Rule(RuleCause),
    /// Min on or min off keeps it.
    Dwell {
        /// The state that it is kept in.
        state: State,
        /// For how much longer; `None` while a change is on its way and not confirmed yet.
        left: Option<Span>,
    },
    /// A hold.
    Hold(HoldView),
    /// After a start it stays as reported until its sensors are known.
    Settling {
        /// The sensors and inputs that are waited for.
        waits_for: Vec<String>,
    },
    /// It waits for its turn to close.
    Stagger,
    /// It has run for as long as it may, and rests.
    MaxOn {
        /// For how much longer; `None` until it is confirmed off.
        left: Option<Span>,
    },
    /// It has started as often as it may.
    MaxStarts {
        /// For how much longer.
        left: Option<Span>,
    },
    /// There is no room for it on its circuit.
    Circuit {
        /// The circuit.
        circuit: String,
        /// What may be on together, in W.
        limit_w: f64,
        /// What else may be on now.
        others: Vec<String>,
    },
    /// Another member of its interlock is on, may be on, or goes first.
    Interlock {
        /// The interlock.
        interlock: String,
        /// The members that stand in the way; none while the dead time runs.
        waits_for: Vec<String>,
        /// Those of them that are off by their contacts and are shown to run all the same.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        shown: Vec<ProofView>,
    },
    /// Its rotation has it or the other do the job.
    Rotation {
        /// How they share it.
        duty: RotationView,
        /// Why the rotation is wanted on or off.
        why: Box<Cause>,
    },
    /// The board timed it, and its time is over.
    RunOver,
    /// Nothing is demanded.
    Resting,
    /// A hand at the board switched it.
    HandAtBoard,
    /// The board restarted, which releases its relays.
    BoardRestarted,
    /// The board's lease ran out and its fallback took over.
    LeaseRanOut,
    /// The relay's load was taken out of the house.
    NoLoad,
    /// Its board has taken orders that this memory does not know of.
    OrderedByOthers,
    /// Its board was not heard then, so nobody here knows.
    Unheard,
    /// Nobody ordered it.
    Unordered,
}

/// A rule that speaks, with what it saw.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RuleCause {
    /// The rule's name.
    pub rule: String,
    /// Where it is written, `porch.toml:12`.
    pub place: String,
    /// Its slot.
    pub priority: u8,
    /// What it demands.
    pub state: State,
    /// The truth of its condition, delays included.
    pub truth: Truth,
    /// A safety trip that stays until a person resets it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub latched: bool,
    /// While a delay keeps the truth from following the condition, for how much longer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub delay_left: Option<Span>,
    /// What its condition rests on.
    pub evidence: Vec<Evidence>,
    /// The place in `evidence` of what turned its condition last; `None` where nobody saw it turn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub turned: Option<usize>,
}

/// One atom of a condition, with what it saw.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum Evidence {
    /// A threshold.
    Threshold {
        /// The sensor.
        sensor: String,
        /// Its unit.
        unit: String,
        /// Its reading; `None` while unknown.
        value: Option<Finite>,
        /// Which side is true.
        side: ThresholdSide,
        /// Where it becomes true.
        cut_in: f64,
        /// Where it becomes false.
        cut_out: f64,
        /// The setpoint that `cut_in` rests on, `sunroom`; `None` for a number.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        cut_in_by: Option<String>,
        /// The setpoint that `cut_out` rests on, `sunroom − 1.5`; `None` for a number.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        cut_out_by: Option<String>,
        /// Its truth.
        truth: Truth,
    },
    /// A window.
    Window {
        /// The window as it is written.
        window: String,
        /// When it opens or closes next.
        next: Option<WallTime>,
        /// Its truth.
        truth: Truth,
    },
    /// A cycle of on and off.
    Cycle {
        /// The cycle in words.
        cycle: String,
        /// When it turns next.
        next: Option<WallTime>,
        /// Its truth.
        truth: Truth,
    },
    /// The sun's elevation.
    Sun {
        /// The bound as it is written.
        bound: String,
        /// Where the sun stands, in degrees; `None` while the clock is not trusted.
        degrees: Option<Finite>,
        /// When it passes the bound next.
        next: Option<WallTime>,
        /// Its truth.
        truth: Truth,
    },
    /// A rise or a fall.
    Rise {
        /// The sensor.
        sensor: String,
        /// Its unit.
        unit: String,
        /// Its reading; `None` while unknown.
        value: Option<Finite>,
        /// Which way it is to go.
        trend: Trend,
        /// How far it has gone that way: while true from where it began, else within the span; `None` while unknown.
        moved: Option<Finite>,
        /// How far it has to go.
        by: f64,
        /// Within this span.
        within: Span,
        /// While true, the reading that ends it.
        back_at: Option<Finite>,
        /// Its truth.
        truth: Truth,
    },
    /// A selector.
    Selector {
        /// The selector.
        selector: String,
        /// The position that it is in.
        position: String,
        /// The position that makes it true.
        is: String,
        /// When the position that it is in ends, where an end was said.
        until: Option<WallTime>,
        /// Its truth.
        truth: Truth,
    },
    /// A sensor that is asked whether it is unknown.
    Unknown {
        /// The sensor.
        sensor: String,
        /// Its truth.
        truth: Truth,
    },
    /// An on/off contact.
    Input {
        /// The endpoint, `hall/door`.
        input: String,
        /// Its state; `None` while unknown.
        state: Option<State>,
        /// Its truth.
        truth: Truth,
    },
    /// Alarms.
    Alarm {
        /// The alarm's id; `None` for any.
        alarm: Option<String>,
        /// Whether only those count that nobody has acknowledged.
        unacknowledged: bool,
        /// Ids of those that count, or that stand where none counts; a few at most.
        standing: Vec<String>,
        /// Its truth.
        truth: Truth,
    },
    /// What another load does.
    Load {
        /// The other load.
        load: String,
        /// Its state as reported; `None` while unknown.
        state: Option<State>,
        /// What its states are called.
        #[serde(default, skip_serializing_if = "Words::are_usual")]
        words: Words,
        /// Its truth.
        truth: Truth,
    },
}

impl Evidence {
    /// The truth of the atom.
    pub fn truth(&self) -> Truth {
        match self {
            Evidence::Threshold { truth, .. }
            | Evidence::Window { truth, .. }
            | Evidence::Rise { truth, .. }
            | Evidence::Cycle { truth, .. }
            | Evidence::Sun { truth, .. }
            | Evidence::Selector { truth, .. }
            | Evidence::Unknown { truth, .. }
            | Evidence::Input { truth, .. }
            | Evidence::Alarm { truth, .. }
            | Evidence::Load { truth, .. } => *truth,
        }
    }
}

/// What is shown of a load that has not proved, or that is shown to run with its contact open.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProofView {
    /// The load.
    pub load: String,
    /// What its proof rests on now.
    pub seen: ProofSeen,
    /// How it has failed to prove; `None` while its time is not up.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fault: Option<Unproved>,
}

/// What a proof rests on, as it is now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "by")]
pub enum ProofSeen {
    /// A reading.
    Reading {
        /// The sensor.
        sensor: String,
        /// Its unit.
        unit: String,
        /// What it reads; `None` while unknown.
        value: Option<Finite>,
        /// What proves on.
        at_least: f64,
    },
    /// An on/off contact.
    Contact {
        /// The endpoint, `yard/flow`.
        input: String,
        /// Its state; `None` while unknown.
        state: Option<State>,
        /// The state that proves on.
        is: State,
    },
}

/// A run of an actuator.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "run")]
pub enum RunView {
    /// It is under way.
    Runs {
        /// To which end: on is open, off is closed.
        to: State,
        /// Since when.
        since: WallTime,
        /// For how long so far.
        ran: Span,
        /// For how long in all, at most.
        length: Span,
    },
    /// It is owed and cannot begin yet.
    Waits {
        /// For what, as in "until yard/5 is surely released".
        why: String,
    },
}

/// When a load came to be as it is.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Since {
    /// When, at the latest.
    pub at: WallTime,
    /// Why, with the numbers of then; `None` where nobody saw it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<Cause>,
}

/// Everything about a load at one moment.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Explanation {
    /// The load.
    pub load: String,
    /// What a person calls it.
    pub label: String,
    /// What its array of slots says.
    pub wanted: State,
    /// What its states are called.
    #[serde(skip_serializing_if = "Words::are_usual")]
    pub words: Words,
    /// What its board was last told; `None` while nothing was ordered.
    pub ordered: Option<State>,
    /// What its board last reported; `None` while the board is not heard.
    pub known: Option<State>,
    /// The board that is not heard, where that is why nothing is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unheard: Option<String>,
    /// Why what is wanted is not so yet, where what decides does not say.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub obstacle: Option<Obstacle>,
    /// Nothing measures it: what is known is what its last order should have come to.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub assumed: bool,
    /// Of an actuator, the run that is under way or owed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run: Option<RunView>,
    /// Since when it is as it is known, and why it came to be so; `None` where no contact of its own tells.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<Since>,
    /// The slot that decides; `None` where the resting state or no slot does.
    pub slot: Option<u8>,
    /// Why it is wanted so.
    pub cause: Cause,
    /// The hold in force, also while a lower slot decides.
    pub hold: Option<HoldView>,
    /// Rules that demand something and do not decide.
    pub others: Vec<RuleCause>,
    /// What is to be said of its proof, where it failed or the load is shown to run with its contact open.
    pub proof: Option<ProofView>,
    /// Of a rotation, how its members share the job.
    pub rotation: Option<RotationView>,
}
