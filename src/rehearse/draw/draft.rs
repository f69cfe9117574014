//! A house as it is drawn. Its TOML text stands in [`super::text`]. It never checks anything: the text goes through the same
//! reader as any other.

/// A whole house.
#[derive(Clone, Debug, Default)]
pub struct Draft {
    /// Degrees north and east.
    pub position: (f64, f64),
    /// IANA zone.
    pub zone: &'static str,
    /// Stagger in ms.
    pub stagger_ms: u64,
    /// Boards.
    pub boards: Vec<DraftBoard>,
    /// Sensors.
    pub sensors: Vec<DraftSensor>,
    /// Loads.
    pub loads: Vec<DraftLoad>,
    /// Inputs.
    pub inputs: Vec<DraftInput>,
    /// Named conditions.
    pub conditions: Vec<(String, DraftCondition)>,
    /// Rules.
    pub rules: Vec<DraftRule>,
    /// Sensors that are computed from others.
    pub derived: Vec<DraftDerived>,
    /// Interlocks.
    pub interlocks: Vec<DraftInterlock>,
    /// Circuits.
    pub circuits: Vec<DraftCircuit>,
    /// Actuators.
    pub actuators: Vec<DraftActuator>,
    /// Its rules ask for the selector and the setpoint that a house has.
    pub has_modes: bool,
    /// Rotations: the name, and the two loads.
    pub rotations: Vec<(String, [String; 2])>,
    /// The board of other firmware, if there is one.
    pub foreign: Option<DraftForeign>,
}

/// An actuator.
#[derive(Clone, Debug)]
pub struct DraftActuator {
    /// Its name.
    pub name: String,
    /// The board of both relays.
    pub board: String,
    /// The relay that drives it open.
    pub open: u8,
    /// The relay that drives it closed.
    pub close: u8,
    /// How long a run lasts, in ms.
    pub travel_ms: u64,
    /// Its dead time in ms.
    pub dead_time_ms: u64,
    /// It is safe open.
    pub safe_open: bool,
    /// It has a contact at its open end, and at its closed one.
    pub ends: [bool; 2],
}

/// A board of other firmware, and how it speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DraftForeign {
    /// It cannot report, and is told again and again.
    Mute,
    /// It reports by relay in JSON and says that it is there; its words stand the wrong way round.
    Telling,
    /// Its orders carry a lease, and it answers a question.
    Leased,
}

/// A sensor that is computed from others.
#[derive(Clone, Debug)]
pub struct DraftDerived {
    /// Its name.
    pub name: String,
    /// How.
    pub how: Compute,
}

/// How a sensor is computed.
#[derive(Clone, Debug)]
pub enum Compute {
    /// The dew point of a temperature and a relative humidity.
    DewPoint(String, String),
    /// The mean of several, of which so many must be known.
    Mean(Vec<String>, u64),
    /// The median of several, of which so many must be known.
    Median(Vec<String>, u64),
}

/// An interlock.
#[derive(Clone, Debug)]
pub struct DraftInterlock {
    /// Its name.
    pub name: String,
    /// Its members.
    pub loads: Vec<String>,
    /// Its dead time in ms.
    pub dead_time_ms: u64,
}

/// A circuit.
#[derive(Clone, Debug)]
pub struct DraftCircuit {
    /// Its name.
    pub name: String,
    /// Its loads.
    pub loads: Vec<String>,
    /// Its limit in W.
    pub limit_w: u64,
    /// Its stagger in ms.
    pub stagger_ms: u64,
    /// The order of shedding.
    pub shed: Vec<String>,
}

/// A board.
#[derive(Clone, Debug)]
pub struct DraftBoard {
    /// Its name.
    pub name: String,
    /// How many relays it has.
    pub relays: u8,
    /// Its lease in seconds; 0 for none.
    pub lease_s: u64,
}

/// A sensor with the range 0 to 100.
#[derive(Clone, Debug)]
pub struct DraftSensor {
    /// Its name.
    pub name: String,
    /// The board that measures; `None` for a topic of its own with JSON in it.
    pub board: Option<String>,
    /// After how many seconds it is stale.
    pub stale_s: u64,
    /// Its unit; none for a bare number.
    pub unit: &'static str,
    /// A reading counts as the median of so many.
    pub median_of: u8,
    /// Its greatest change in a second.
    pub max_rate: Option<u64>,
    /// One reading in ten is far off.
    pub strays: bool,
    /// It measures the current of this load, about 5 while it is on.
    pub follows: Option<String>,
    /// Scale and offset of what it sends.
    pub calibration: Option<(f64, f64)>,
}

/// A load.
#[derive(Clone, Debug)]
pub struct DraftLoad {
    /// Its name.
    pub name: String,
    /// Its board.
    pub board: String,
    /// Its relay.
    pub relay: u8,
    /// Wired to the NC contact.
    pub is_nc: bool,
    /// Its safe state is on.
    pub safe_on: bool,
    /// Its resting state is on.
    pub resting_on: bool,
    /// Min on in seconds.
    pub min_on_s: u64,
    /// Min off in seconds.
    pub min_off_s: u64,
    /// How long a hold lasts.
    pub hold_for: Option<String>,
    /// Max on in seconds.
    pub max_on_s: Option<u64>,
    /// Rest in seconds.
    pub rest_s: Option<u64>,
    /// Max starts: how many within how many seconds.
    pub max_starts: Option<(u64, u64)>,
    /// Power in W.
    pub power_w: Option<u64>,
    /// It is pulsed: for how many ms.
    pub pulse_ms: Option<u64>,
    /// The sensor that proves what it does, and within how many seconds.
    pub proof: Option<(String, u64)>,
    /// It is pulsed at each change, as a latching relay is, and not only when it is to be on.
    pub pulse_at_change: bool,
}

/// What an input does.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Press {
    /// Toggles a load.
    Toggles(String),
    /// Holds a load on or off.
    Holds(String, bool),
    /// Releases a load.
    Releases(String),
    /// Nothing: a contact.
    Nothing,
}

/// An input.
#[derive(Clone, Debug)]
pub struct DraftInput {
    /// Its name.
    pub name: String,
    /// Its board.
    pub board: String,
    /// Its name on the wire.
    pub port: String,
    /// The code of a key.
    pub code: Option<String>,
    /// What it does.
    pub press: Press,
    /// How long its holds last.
    pub hold_for: Option<String>,
}

/// A condition.
#[derive(Clone, Debug)]
pub enum DraftCondition {
    /// A threshold.
    Threshold {
        /// The sensor.
        sensor: String,
        /// The sensor whose reading is taken off first.
        minus: Option<String>,
        /// True at high readings.
        is_high: bool,
        /// Where it becomes true.
        cut_in: f64,
        /// Where it becomes false.
        cut_out: f64,
    },
    /// The keys of a window, or of another condition that no checker looks into.
    Window(String),
    /// A contact in a state.
    Contact(String, bool),
    /// A sensor of which nothing is known.
    Unknown(String),
    /// A named condition.
    Named(String),
    /// All of them.
    All(Vec<DraftCondition>),
    /// Any of them.
    Any(Vec<DraftCondition>),
    /// The contrary.
    Not(Box<DraftCondition>),
}

/// A rule.
#[derive(Clone, Debug)]
pub struct DraftRule {
    /// Its name.
    pub name: String,
    /// Its load.
    pub load: String,
    /// What it demands.
    pub demand_on: bool,
    /// What it demands otherwise.
    pub otherwise_on: Option<bool>,
    /// Its slot.
    pub priority: u8,
    /// On delay in seconds.
    pub on_delay_s: u64,
    /// Off delay in seconds.
    pub off_delay_s: u64,
    /// It gives way while unknown.
    pub releases: bool,
    /// A safety trip that latches.
    pub latches: bool,
    /// Its condition.
    pub condition: DraftCondition,
}

impl Draft {
    /// The text, as one file.
    pub fn files(&self) -> Vec<(String, String)> {
        vec![("house.toml".to_owned(), self.to_string())]
    }

    /// Takes a load out, with the rules and inputs that speak to it.
    pub fn remove_load(&mut self, load: &str) {
        self.loads.retain(|one| one.name != load);
        // One alone does not take turns.
        let (broken, whole) = self.rotations.drain(..).partition(|(_, loads)| loads.iter().any(|one| one == load));
        let broken: Vec<(String, [String; 2])> = broken;
        self.rotations = whole;
        self.rules.retain(|rule| !broken.iter().any(|(name, _)| *name == rule.load));
        self.rules.retain(|rule| rule.load != load);
        self.inputs.retain(|input| match &input.press {
            Press::Toggles(of) | Press::Holds(of, _) | Press::Releases(of) => of != load,
            Press::Nothing => true,
        });
        for interlock in &mut self.interlocks {
            interlock.loads.retain(|one| one != load);
        }
        self.interlocks.retain(|interlock| interlock.loads.len() > 1);
        for circuit in &mut self.circuits {
            circuit.loads.retain(|one| one != load);
            circuit.shed.retain(|one| one != load);
        }
        self.circuits.retain(|circuit| !circuit.loads.is_empty());
    }

    /// Whether a load must be off when nothing is heard: it has a max on, or is a member of an interlock.
    pub fn must_fall_off(&self, load: &DraftLoad) -> bool {
        load.max_on_s.is_some() || self.interlocks.iter().any(|interlock| interlock.loads.contains(&load.name))
    }

    /// Whether a load is off once its board is not heard any more: it is safe off, on the NO contact of a board with a lease.
    pub fn falls_off(&self, load: &DraftLoad) -> bool {
        let is_leased = |board: &DraftBoard| board.name == load.board && board.lease_s > 0;
        !load.safe_on && !load.is_nc && load.pulse_ms.is_none() && self.boards.iter().any(is_leased)
    }

    /// Whether a relay of a board is free.
    pub fn is_free(&self, board: &str, relay: u8) -> bool {
        let drives =
            |actuator: &DraftActuator| actuator.board == board && [actuator.open, actuator.close].contains(&relay);
        !self.loads.iter().any(|load| load.board == board && load.relay == relay) && !self.actuators.iter().any(drives)
    }

    /// Every threshold, those in named conditions too.
    pub fn thresholds(&mut self, visit: &mut impl FnMut(&str, bool, &mut f64, &mut f64)) {
        let named = self.conditions.iter_mut().map(|(_, condition)| condition);
        let ruled = self.rules.iter_mut().map(|rule| &mut rule.condition);
        named.chain(ruled).for_each(|condition| condition.thresholds(visit));
    }
}

impl DraftCondition {
    fn thresholds(&mut self, visit: &mut impl FnMut(&str, bool, &mut f64, &mut f64)) {
        match self {
            DraftCondition::Threshold { sensor, minus: None, is_high, cut_in, cut_out } => {
                visit(sensor, *is_high, cut_in, cut_out);
            }
            DraftCondition::All(parts) | DraftCondition::Any(parts) => {
                parts.iter_mut().for_each(|part| part.thresholds(visit));
            }
            DraftCondition::Not(part) => part.thresholds(visit),
            // A difference is in doubt or not whatever one of its sensors reads.
            DraftCondition::Threshold { .. }
            | DraftCondition::Window(_)
            | DraftCondition::Contact(..)
            | DraftCondition::Unknown(_)
            | DraftCondition::Named(_) => {}
        }
    }
}
