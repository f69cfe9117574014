//! What happened on the stage, in order: all that checkers and a person who looks for a fault get to see. It never holds
//! what somebody merely believes, but where it says so.

use std::fmt;

pub use super::charge::{Charge, Why};
use super::link::Client;
use crate::board::RelayFault;
use crate::engine::{Answer, By, Effect, Event, HandOrder, JournalRow, Now};
use crate::house::{State, Term};
use crate::units::{BootTime, Span, WallTime};
use crate::wire::{Fallback, Orders};

/// Something that happened.
#[derive(Clone, Debug)]
pub struct Happening {
    /// When, by true time.
    pub at: BootTime,
    /// Its place in the order of all that happened.
    pub place: u64,
    /// What.
    pub what: What,
}

/// What moved a contact.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mover {
    /// Orders with this number.
    Orders(u32),
    /// A lease that ran out.
    Lapse,
    /// Another fallback for a relay whose lease has run out.
    Fallback,
    /// A reset or the loss of power.
    Power,
    /// A hand at the board.
    Hand,
    /// A relay that welded, died or was mended.
    Fault,
}

/// What happened.
#[derive(Clone, Debug)]
pub enum What {
    /// The NO contact of a relay moved.
    Contact {
        /// The board's place.
        board: usize,
        /// The relay, from 1.
        relay: u8,
        /// Whether it is closed now.
        energised: bool,
        /// What moved it.
        mover: Mover,
    },
    /// The coil of a relay was switched, and its contact, which is welded or dead, did not follow.
    Unfollowed {
        /// The board's place.
        board: usize,
        /// The relay, from 1.
        relay: u8,
        /// Whether its coil is energised now.
        energised: bool,
        /// What switched it.
        mover: Mover,
    },
    /// A hand at a board switched a relay, whether or not its contact followed.
    Switched {
        /// The board's place.
        board: usize,
        /// The relay, from 1.
        relay: u8,
    },
    /// A board sent a report.
    Beat {
        /// The board's place.
        board: usize,
        /// Its boot.
        boot: u32,
        /// The beat.
        beat: u32,
    },
    /// A board took orders.
    Obeyed {
        /// The board's place.
        board: usize,
        /// The boot that runs there.
        boot: u32,
        /// The orders.
        orders: Orders,
    },
    /// A board did not obey a message.
    Ignored {
        /// The board's place.
        board: usize,
        /// Why.
        why: String,
    },
    /// A board took a fallback into its flash.
    FallbackKept {
        /// The board's place.
        board: usize,
        /// The fallback.
        fallback: Fallback,
    },
    /// A board started.
    BoardUp {
        /// The board's place.
        board: usize,
        /// Its boot.
        boot: u32,
        /// Whether its flash is new, too.
        is_new: bool,
    },
    /// A board lost its power.
    BoardDown {
        /// The board's place.
        board: usize,
    },
    /// A relay broke, or was mended.
    RelayFault {
        /// The board's place.
        board: usize,
        /// The relay, from 1.
        relay: u8,
        /// What is wrong with it now.
        fault: Option<RelayFault>,
    },
    /// The engine sent orders.
    Sent {
        /// The board's place.
        board: usize,
        /// The orders.
        orders: Orders,
        /// What the house says of each relay; `None` for one without a load.
        charges: Vec<Option<Charge>>,
    },
    /// The engine was told a reading.
    Read {
        /// The sensor.
        sensor: String,
        /// The reading.
        value: f64,
    },
    /// The engine was told the state of a contact that conditions read.
    PortHeard {
        /// `board/name`.
        port: String,
        /// Its state.
        state: State,
    },
    /// The engine was told a birth.
    BirthHeard {
        /// The board's place.
        board: usize,
        /// The boot that it tells of.
        boot: u32,
    },
    /// The engine was told a report.
    ReportHeard {
        /// The board's place.
        board: usize,
        /// The report's boot.
        boot: u32,
        /// Its beat.
        beat: u32,
        /// By relay, whether it is energised.
        states: Vec<bool>,
        /// By relay, its count of changes, where the board tells.
        changes: Vec<Option<u32>>,
    },
    /// The engine told what it wants of a load that is pulsed.
    Wanted {
        /// The load.
        load: String,
        /// What.
        state: State,
    },
    /// The engine began a hold.
    Held(HoldBegun),
    /// The engine wrote a row.
    Journal(JournalRow),
    /// A person gave an order.
    Asked {
        /// What was asked.
        order: HandOrder,
    },
    /// The engine was told of a message for a sensor that is no usable reading.
    Refused {
        /// The sensor.
        sensor: String,
    },
    /// The engine answered a person.
    Answer {
        /// What was asked.
        token: u64,
        /// The answer.
        answer: Answer,
    },
    /// The controller started.
    Started {
        /// Whether it had a snapshot.
        restored: bool,
        /// Whether the machine had not restarted since that was taken.
        same_boot: bool,
        /// How far the wall clock was ahead of a right one, in ms, where it was trusted.
        ahead: Option<i64>,
    },
    /// The controller ended without a word.
    Stopped {
        /// Whether something that was to be stored was not yet.
        unsaved: bool,
        /// How far the wall clock was ahead of a right one, in ms, as the controller had read it last.
        ahead: i64,
    },
    /// The engine's memory is on disk as it was at this place in the order of all that happened.
    Stored {
        /// The place.
        of: u64,
    },
    /// The controller's subscriptions are acknowledged, or its link is gone.
    Linked {
        /// Whether it is there.
        up: bool,
    },
    /// A house was read.
    House {
        /// Whether it was taken.
        taken: bool,
    },
    /// A message was lost.
    Lost {
        /// On whose link.
        client: Client,
        /// Its topic.
        topic: String,
    },
    /// A selector was turned or a setpoint set.
    Set(ModeSet),
    /// Something that the script did, in words.
    Act(String),
    /// The engine took a step; only where steps are recorded.
    Step(Box<Step>),
}

/// A step of the engine, to be taken again elsewhere.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// When.
    pub now: Now,
    /// What it was told; `None` where it took another house.
    pub event: Option<Event>,
    /// What it wanted done.
    pub effects: Vec<Effect>,
}

/// A hold as it began.
#[derive(Clone, Debug, PartialEq)]
pub struct HoldBegun {
    /// The load.
    pub load: String,
    /// The state it is held in.
    pub state: State,
    /// By whom.
    pub by: By,
    /// How long was said.
    pub term: Term,
    /// What that comes to by the wall clock of then.
    pub span: Span,
    /// Which act of the world it came from.
    pub stamp: u64,
}

/// A selector or a setpoint as somebody set it.
#[derive(Clone, Debug, PartialEq)]
pub struct ModeSet {
    /// Its name.
    pub name: String,
    /// The position, or the value.
    pub value: String,
    /// How long was said, by the wall clock of then; `None` where no end was said.
    pub span: Option<Span>,
    /// The wall time until which it was to last, where that was said.
    pub end: Option<WallTime>,
}

impl fmt::Display for Happening {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ms = self.at.0;
        let (h, m, s) = (ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60);
        write!(f, "{h}:{m:02}:{s:02}.{:03}  {}", ms % 1000, self.what)
    }
}

impl fmt::Display for What {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let on = |energised: &bool| if *energised { "closes" } else { "opens" };
        match self {
            What::Contact { board, relay, energised, mover } => {
                write!(f, "b{board}/{relay} NO contact {} ({mover:?})", on(energised))
            }
            What::Unfollowed { board, relay, energised, mover } => {
                let does = if *energised { "energises" } else { "releases" };
                write!(f, "b{board}/{relay} coil {does} and its contact does not follow ({mover:?})")
            }
            What::Switched { board, relay } => write!(f, "b{board}/{relay} is switched by hand"),
            What::Beat { board, boot, beat } => write!(f, "b{board} reports, boot {boot} beat {beat}"),
            What::Obeyed { board, orders, .. } => write!(f, "b{board} takes orders {orders}"),
            What::Ignored { board, why } => write!(f, "b{board} ignores: {why}"),
            What::FallbackKept { board, fallback } => write!(f, "b{board} keeps fallback {fallback}"),
            What::BoardUp { board, boot, is_new } => {
                write!(f, "b{board} starts, boot {boot}{}", if *is_new { ", with new flash" } else { "" })
            }
            What::BoardDown { board } => write!(f, "b{board} loses power"),
            What::RelayFault { board, relay, fault: Some(fault) } => write!(f, "b{board}/{relay} is {fault:?}"),
            What::RelayFault { board, relay, fault: None } => write!(f, "b{board}/{relay} is mended"),
            What::Sent { board, orders, charges } => {
                write!(f, "controller orders b{board}: {orders} (")?;
                for charge in charges {
                    match charge {
                        Some(charge) => write!(f, " {}:{:?}", charge.load, charge.why)?,
                        None => f.write_str(" -")?,
                    }
                }
                f.write_str(" )")
            }
            What::Read { sensor, value } => write!(f, "controller reads {sensor} = {value}"),
            What::BirthHeard { board, boot } => write!(f, "controller hears of the birth of b{board}, boot {boot}"),
            What::PortHeard { port, state } => write!(f, "controller hears contact {port} {state}"),
            What::ReportHeard { board, boot, beat, states, .. } => {
                write!(f, "controller hears b{board}, boot {boot} beat {beat}:")?;
                states.iter().try_for_each(|energised| f.write_str(if *energised { " on" } else { " off" }))
            }
            What::Wanted { load, state } => write!(f, "controller wants {load} {state}"),
            What::Held(hold) => {
                write!(
                    f,
                    "hold: {} {} for \"{}\" ({}) by {}",
                    hold.load,
                    hold.state,
                    hold.term,
                    hold.span,
                    hold.by.words()
                )
            }
            What::Set(set) => write!(f, "set: {} to {} ({:?})", set.name, set.value, set.span),
            What::Journal(row) => write!(f, "journal: {:?}", row.entry),
            What::Asked { order } => write!(f, "asked: {order:?}"),
            What::Refused { sensor } => write!(f, "controller cannot read {sensor}"),
            What::Answer { token, answer } => write!(f, "answer {token}: {answer:?}"),
            What::Started { restored, same_boot, .. } => {
                write!(f, "controller starts (snapshot: {restored}, same boot: {same_boot})")
            }
            What::Stopped { unsaved, .. } => write!(f, "controller crashes (unsaved: {unsaved})"),
            What::Stored { of } => write!(f, "the memory of place {of} is stored"),
            What::Linked { up } => write!(f, "controller's link is {}", if *up { "up" } else { "gone" }),
            What::House { taken } => write!(f, "house {}", if *taken { "taken" } else { "refused" }),
            What::Lost { client, topic } => write!(f, "lost on the link of {client:?}: {topic}"),
            What::Act(act) => f.write_str(act),
            What::Step(step) => write!(f, "step {:?} {:?}", step.now, step.event),
        }
    }
}
