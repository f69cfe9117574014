//! What the engine wants done, in order. It never says how: topics, disks and sockets are the shell's.

use serde::{Deserialize, Serialize};

use crate::house::{BoardId, LoadId, PortId, SensorId, State, Words};
use crate::units::{Finite, WallTime};
use crate::wire::{Fallback, ForeignMessage, Orders};

use super::answer::Answer;
use super::explain::Cause;

/// One thing to do.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// Publish orders to a board, not retained, to expire with the lease. Never waits for disk.
    SendOrders {
        /// To which board.
        board: BoardId,
        /// The orders.
        orders: Orders,
    },
    /// Publish orders or a question to a board of other firmware, in its words; what is not to be kept expires soon. Never
    /// waits for disk.
    SendForeign {
        /// To which board.
        board: BoardId,
        /// The messages, in order.
        messages: Vec<ForeignMessage>,
    },
    /// Publish a board's fallback, retained.
    SetFallback {
        /// To which board.
        board: BoardId,
        /// The fallback.
        fallback: Fallback,
    },
    /// A load's state, orders, hold or reason changed: publish `Engine::explain` of it, retained.
    PublishLoad {
        /// Which load.
        load: LoadId,
    },
    /// An alarm was raised, changed or acknowledged: publish it, retained.
    PublishAlarm {
        /// Its id.
        id: String,
        /// The alarm.
        alarm: Alarm,
    },
    /// Empty a retained topic whose subject is gone.
    ClearRetained(Retained),
    /// Reserve order numbers on disk, so that a restart goes on above them.
    ReserveOrders {
        /// The board's name.
        board: String,
        /// All numbers up to this one.
        through: u32,
    },
    /// Write a row of the journal.
    Record(JournalRow),
    /// Something that must survive a crash changed: store a snapshot at once.
    Save,
    /// Answer a person's order; one that says `Held` once the snapshot that follows is stored.
    Answer {
        /// The token of the order.
        token: u64,
        /// What became of it.
        answer: Answer,
        /// What follows of it for the load, in words without a full stop: why it is not as was ordered, or what it does now.
        then: Option<String>,
    },
    /// A reading was dropped; to be logged, sparingly.
    ReadingDropped {
        /// Of which sensor.
        sensor: SensorId,
        /// Its value in the sensor's unit; as it was sent where that stands for nothing.
        value: Finite,
        /// Why.
        why: DropReason,
    },
    /// Another message was dropped; to be logged, sparingly.
    MessageDropped(Dropped),
}

/// A message that reads well and was dropped for what it says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dropped {
    /// A report of orders that were never given.
    Report {
        /// The board that is said to speak.
        board: BoardId,
        /// The number of the last orders that it says it took.
        taken: u32,
        /// The last number that was given to it here; 0 for none.
        given: u32,
    },
    /// A press or a code that was counted before.
    Press {
        /// Where it was pressed.
        port: PortId,
        /// What it was counted.
        count: u32,
        /// What the last one was counted that was taken.
        last: u32,
    },
}

/// A retained topic, by its subject.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Retained {
    /// An alarm, by its id.
    Alarm(String),
    /// A load, by its name.
    Load(String),
    /// A board's fallback, by the board's name.
    Board(String),
}

/// Why a reading was dropped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DropReason {
    /// The raw value stands for nothing that the sensor measures: its wire is broken or shorted.
    NoQuantity,
    /// Outside the sensor's range.
    OutOfRange,
    /// It moved faster than the sensor's greatest rate.
    TooFast,
}

/// Something a person must see.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Alarm {
    /// What is wrong and what to do.
    pub text: String,
    /// When it was raised, by the wall clock of then.
    pub raised: WallTime,
    /// Whether a person has seen it.
    pub acknowledged: bool,
    /// Who.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub acknowledged_by: Option<super::By>,
}

/// One row of the journal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct JournalRow {
    /// When, by the wall clock; for a change of a contact, when it changed.
    pub at: WallTime,
    /// Whether the wall clock was trusted then.
    pub trusted: bool,
    /// What happened.
    #[serde(flatten)]
    pub entry: JournalEntry,
}

/// What a row of the journal tells.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "entry")]
pub enum JournalEntry {
    /// A contact was reported in another state than before.
    Changed {
        /// The load behind it, if one is named.
        load: Option<String>,
        /// The relay, `yard/3`.
        relay: String,
        /// What the load does now; for a relay without a load, whether it is energised.
        state: State,
        /// Why.
        cause: Cause,
    },
    /// A relay of an actuator was reported in another state than before.
    Driven {
        /// The actuator.
        actuator: String,
        /// The relay, `yard/5`.
        relay: String,
        /// Where the relay drives it: on is open, off is closed.
        to: State,
        /// Whether the relay is energised now.
        energised: bool,
        /// Why.
        cause: Cause,
    },
    /// A relay was ordered over whose board cannot report; that it obeyed is assumed.
    Assumed {
        /// The load behind it, if one is named.
        load: Option<String>,
        /// The relay.
        relay: String,
        /// What the load is assumed to do now; for a relay without a load, whether it is energised.
        state: State,
        /// Why.
        cause: Cause,
    },
    /// The relay of a pulsed load was reported in another state than before: of the load itself it says nothing.
    Pulsed {
        /// The load.
        load: String,
        /// The relay, `yard/5`.
        relay: String,
        /// Whether the relay is energised now.
        energised: bool,
        /// Why.
        cause: Cause,
    },
    /// Contacts changed without a report of each change.
    Unseen {
        /// The relay.
        relay: String,
        /// How many changes nobody saw.
        changes: u32,
    },
    /// A hold began.
    Held {
        /// The load.
        load: String,
        /// The state it is held in.
        state: State,
        /// What its states are called.
        #[serde(default, skip_serializing_if = "Words::are_usual")]
        words: Words,
        /// By whom.
        by: super::By,
    },
    /// A hold ended.
    HoldEnded {
        /// The load.
        load: String,
        /// What ended it.
        why: super::HoldEndReason,
    },
    /// A selector was turned.
    Selected {
        /// The selector.
        selector: String,
        /// The position.
        position: String,
        /// By whom.
        by: super::By,
        /// Until when, where an end was said.
        until: Option<WallTime>,
    },
    /// A selector went back to its first position.
    SelectorReturned {
        /// The selector.
        selector: String,
        /// That position.
        position: String,
        /// Why.
        why: ReturnReason,
    },
    /// A setpoint was set.
    SetpointSet {
        /// The setpoint.
        setpoint: String,
        /// The value.
        value: Finite,
        /// Its unit; empty where it says none.
        unit: String,
        /// By whom.
        by: super::By,
        /// Until when, where an end was said.
        until: Option<WallTime>,
    },
    /// A setpoint went back to the file's value.
    SetpointReturned {
        /// The setpoint.
        setpoint: String,
        /// That value.
        value: Finite,
        /// Its unit; empty where it says none.
        unit: String,
        /// Why.
        why: ReturnReason,
    },
    /// A load was taken out of service.
    Withdrawn {
        /// The load.
        load: String,
        /// Why.
        why: String,
        /// Who; nobody where a proof failed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<super::By>,
        /// Whether it was withdrawn before, and only the reason is another.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        stays: bool,
        /// Where a change of the house brought it on the relay of a load that was withdrawn.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        after: Option<super::Former>,
    },
    /// A change of the house took a withdrawn load away, and nothing came in its place.
    WithdrawalEnded {
        /// The load.
        load: String,
        /// Why it was withdrawn.
        why: String,
    },
    /// A load was put back into service.
    Restored {
        /// The load.
        load: String,
        /// Why; empty where nobody said.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        why: String,
        /// Who.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<super::By>,
    },
    /// A safety trip latched.
    Tripped {
        /// The load.
        load: String,
        /// The rule.
        rule: String,
    },
    /// A person reset a safety trip.
    Reset {
        /// The load.
        load: String,
        /// The rule.
        rule: String,
    },
    /// A change of the house let a safety trip go that had latched.
    TripLetGo {
        /// The rule.
        rule: String,
        /// The load, where it is known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        load: Option<String>,
    },
    /// The broker is there again, after it was lost.
    BrokerFound,
    /// The broker is out of reach.
    BrokerLost {
        /// Why, as far as the link tells.
        why: String,
    },
    /// A board was heard again.
    BoardFound {
        /// The board.
        board: String,
    },
    /// A board is not heard any more.
    BoardLost {
        /// The board.
        board: String,
    },
    /// Another house, or another version of it, runs from here on.
    HouseTaken {
        /// Its revision.
        revision: String,
    },
    /// An alarm was raised.
    AlarmRaised {
        /// Its id.
        alarm: String,
        /// Its text.
        text: String,
    },
    /// A person has seen an alarm.
    AlarmAcknowledged {
        /// Its id.
        alarm: String,
        /// Who.
        by: super::By,
    },
    /// An alarm was cleared.
    AlarmCleared {
        /// Its id.
        alarm: String,
    },
}

/// Why a selector or a setpoint went back to what it is while nobody has set it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReturnReason {
    /// Its time was up.
    TimeUp,
    /// A person released it.
    Released,
    /// The file says something else than when it was set.
    FileChanged,
    /// The file allows no such value any more.
    OutOfRange,
    /// The file names no such position any more.
    PositionGone,
}
