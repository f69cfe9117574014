//! The engine: `step(now, event)` to effects. It never reads a clock, touches a disk, uses chance or fails.
//!
//! Call [`Engine::step`] for everything that happens and whenever [`Engine::next_deadline`] is reached; boot time must not
//! go back. Same house, same events, same times: same effects, bit for bit (I8). What must survive is in
//! [`Engine::snapshot`]; [`Engine::reload`] takes another house while running. An engine is `Clone`, so that a forecast can
//! run ahead on a copy.
//!
//! A step clamps time, fires what is due in a fixed order, takes the event, and then carries what changed from atoms to
//! rules, from rules to loads, and from loads to orders. Its work is bounded by what the event touches.

mod account;
mod alarms;
mod answer;
mod boards;
mod causes;
mod circuit;
mod clocked;
mod contact;
mod decide;
mod dropped;
mod drove;
mod effect;
mod event;
mod explain;
mod follows;
mod forecast;
mod foreign;
mod foreign_asked;
mod held_back;
mod hold;
mod hours;
mod index;
mod inputs;
mod intake;
mod interlock;
mod invariant;
mod lapse;
mod limits;
mod memory;
mod modes;
mod modes_view;
mod narrate;
mod news;
mod numbers;
mod obstacle;
mod older;
mod orders;
mod peers;
mod presence;
mod preview;
mod proof;
mod publish;
mod pulse;
mod pulses;
mod readdress;
mod reasons;
mod relays;
mod reload;
mod render;
mod rises;
mod rotation;
mod rules;
mod runs;
mod sensors;
mod service;
mod slots;
mod snapshot;
mod status;
mod step;
mod timers;
mod travel;
mod trips;
mod turning;
mod turns;
mod unrest;
mod view;
mod watch;
mod wear;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

pub use answer::Answer;
pub use boards::Presence;
pub use contact::Possible;
pub use effect::{Alarm, DropReason, Dropped, Effect, JournalEntry, JournalRow, Retained, ReturnReason};
pub use event::{By, Deadline, Event, Hand, HandOrder, Now, Settings};
pub use explain::{Cause, Evidence, Explanation, ProofSeen, ProofView, RuleCause, RunView, Since};
pub use forecast::{Forecast, Foreseen};
pub use hold::{HoldEndReason, HoldView};
pub use intake::{Taken, take};
pub use modes_view::{SelectorView, SetView, SetpointView};
pub use obstacle::Obstacle;
pub use older::MEMORY_ALARM;
pub use orders::NUMBERS_WITHIN;
pub use preview::Turned;
pub use proof::Unproved;
pub use reasons::{Coming, Reasons, RuleView, SlotView, truth_word};
pub use render::near;
pub use rotation::{RotationView, Unfit};
pub use service::Former;
pub use slots::{SLOT_DWELL, SLOT_HOLD, SLOT_LIMIT, SLOT_RULES, SLOT_TRIP, SLOT_WITHDRAWN, SLOTS};
pub use snapshot::Snapshot;
pub use status::rfc3339;
pub use wear::Wear;

use crate::house::{BoardId, House, LoadId, RuleId, SensorId};
use crate::units::BootTime;
use boards::BoardState;
use decide::LoadState;
use index::Index;
use inputs::PortState;
use modes::{Adjusted, Chosen};
use rules::{AtomState, RuleState};
use sensors::SensorState;
use timers::{BootTimers, WallTimers};
use travel::Travel;

/// What decides, for one house.
#[derive(Clone, Debug)]
pub struct Engine {
    house: Arc<House>,
    index: Arc<Index>,
    settings: Settings,
    now: Now,
    /// Whether the broker is there.
    link: bool,
    /// When the broker was there first; settling counts from then.
    linked_first: Option<BootTime>,
    boards: Vec<BoardState>,
    sensors: Vec<SensorState>,
    ports: Vec<PortState>,
    atoms: Vec<AtomState>,
    rules: Vec<RuleState>,
    loads: Vec<LoadState>,
    /// By selector, what it was set to.
    selectors: Vec<Option<Chosen<String>>>,
    /// By setpoint, what it was set to.
    setpoints: Vec<Option<Adjusted>>,
    /// What a change of the house or a restart ended, for the journal.
    unsaid: Vec<JournalEntry>,
    /// By rotation.
    duties: Vec<rotation::Duty>,
    travels: Vec<Travel>,
    alarms: BTreeMap<String, Alarm>,
    boot_timers: BootTimers,
    wall_timers: WallTimers,
    dirty_rules: BTreeSet<RuleId>,
    dirty_loads: BTreeSet<LoadId>,
    /// Safety trips that latched in this step.
    tripped: BTreeSet<RuleId>,
    /// Boards to which orders go out at the end of the step.
    due_boards: BTreeSet<BoardId>,
    /// Loads that may have to be published at the end of the step.
    due_loads: BTreeSet<LoadId>,
    /// By name, the next order number of boards that the house does not name: one that comes back goes on above.
    numbers: BTreeMap<String, u32>,
    /// Order numbers may have to be reserved before orders go out.
    reserve: bool,
    /// Something was decided that no copy of the memory from before may hide.
    wants_block: bool,
    /// The same of something that may be hidden for a while.
    owes_block: bool,
    /// When a new block of numbers was begun last for either.
    block_at: Option<BootTime>,
    /// Retained topics to empty once the broker is there again.
    stale_topics: BTreeSet<Retained>,
    /// Before this no further contact closes after a start or a reconnect.
    next_closing: BootTime,
    /// The same for each circuit, at all times.
    next_in_circuit: Vec<BootTime>,
    /// Loads that took their turn in this step.
    took_turns: Vec<LoadId>,
    /// When this engine began; what it was never told may be older than that.
    began: BootTime,
    /// It began without any memory, and no board has shown since that there was one.
    knows_nothing: bool,
    /// Something changed that must survive a crash.
    save: bool,
}

impl Engine {
    /// An engine for a house that it knows nothing of yet.
    pub fn new(house: Arc<House>, settings: Settings, now: Now) -> Engine {
        let index = Arc::new(Index::new(&house));
        let mut engine = Engine {
            boards: house.boards.iter().map(BoardState::new).collect(),
            sensors: (0..house.sensors.len() as u32)
                .map(|sensor| SensorState { basis: Engine::basis(&house, SensorId(sensor)), ..SensorState::default() })
                .collect(),
            ports: vec![PortState::default(); house.ports.len()],
            atoms: vec![AtomState::default(); house.atoms.len()],
            rules: vec![RuleState::default(); house.rules.len()],
            loads: vec![LoadState::default(); house.loads.len()],
            selectors: vec![None; house.selectors.len()],
            setpoints: vec![None; house.setpoints.len()],
            unsaid: Vec::new(),
            duties: vec![rotation::Duty::default(); house.rotations.len()],
            travels: vec![Travel::default(); house.actuators.len()],
            alarms: BTreeMap::new(),
            boot_timers: BootTimers::default(),
            wall_timers: WallTimers::default(),
            dirty_rules: BTreeSet::new(),
            dirty_loads: BTreeSet::new(),
            tripped: BTreeSet::new(),
            due_boards: BTreeSet::new(),
            due_loads: BTreeSet::new(),
            numbers: BTreeMap::new(),
            reserve: true,
            wants_block: false,
            owes_block: false,
            block_at: None,
            stale_topics: BTreeSet::new(),
            next_closing: BootTime(0),
            took_turns: Vec::new(),
            next_in_circuit: vec![BootTime(0); house.circuits.len()],
            began: now.boot,
            knows_nothing: true,
            save: false,
            link: false,
            linked_first: None,
            settings,
            now,
            index,
            house,
        };
        engine.begin();
        engine
    }

    /// The house that it runs. After a reload it may hold boards that the text does not name any more: those whose relays
    /// have not been confirmed open yet.
    pub fn house(&self) -> &Arc<House> {
        &self.house
    }

    /// Whether it was told last that the broker is there.
    pub fn is_linked(&self) -> bool {
        self.link
    }

    /// The time of the last step.
    pub fn now(&self) -> Now {
        self.now
    }

    /// A copy of it at a moment that may be later than its last step, to be looked at: what is left of anything counts from
    /// then. Nothing is decided by that, and what came due meanwhile is left to the next step.
    pub fn seen_at(&self, now: Now) -> Engine {
        let now = Now { boot: now.boot.max(self.now.boot), ..now };
        Engine { now, ..self.clone() }
    }

    /// The alarms that stand, by id.
    pub fn alarms(&self) -> &BTreeMap<String, Alarm> {
        &self.alarms
    }

    /// Place and zone, for the calendar.
    fn setting(&self) -> crate::calendar::Setting<'_> {
        self.house.site.setting()
    }
}
