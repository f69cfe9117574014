//! A house as it is drawn, and its TOML text. It never checks anything: the text goes through the same reader as any other.

use std::fmt::{self, Write};

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
        /// True at high readings.
        is_high: bool,
        /// Where it becomes true.
        cut_in: f64,
        /// Where it becomes false.
        cut_out: f64,
    },
    /// The keys of a window.
    Window(String),
    /// A contact in a state.
    Contact(String, bool),
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
        self.rules.retain(|rule| rule.load != load);
        self.inputs.retain(|input| match &input.press {
            Press::Toggles(of) | Press::Holds(of, _) | Press::Releases(of) => of != load,
            Press::Nothing => true,
        });
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
            DraftCondition::Threshold { sensor, is_high, cut_in, cut_out } => visit(sensor, *is_high, cut_in, cut_out),
            DraftCondition::All(parts) | DraftCondition::Any(parts) => {
                parts.iter_mut().for_each(|part| part.thresholds(visit));
            }
            DraftCondition::Not(part) => part.thresholds(visit),
            DraftCondition::Window(_) | DraftCondition::Contact(..) | DraftCondition::Named(_) => {}
        }
    }

    /// The condition as the keys of a table.
    fn keys(&self) -> String {
        let list =
            |parts: &[DraftCondition]| parts.iter().map(DraftCondition::to_string).collect::<Vec<String>>().join(", ");
        match self {
            DraftCondition::Threshold { sensor, is_high, cut_in, cut_out } => {
                let (into, out) = if *is_high { (">=", "<=") } else { ("<=", ">=") };
                format!("sensor = \"{sensor}\", cut_in = \"{into} {cut_in}\", cut_out = \"{out} {cut_out}\"")
            }
            DraftCondition::Window(keys) => keys.clone(),
            DraftCondition::Contact(input, on) => format!("input = \"{input}\", is = \"{}\"", word(*on)),
            DraftCondition::Named(name) => format!("all = [\"{name}\"]"),
            DraftCondition::All(parts) => format!("all = [{}]", list(parts)),
            DraftCondition::Any(parts) => format!("any = [{}]", list(parts)),
            DraftCondition::Not(part) => format!("not = {part}"),
        }
    }
}

impl fmt::Display for DraftCondition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            DraftCondition::Named(name) => write!(f, "\"{name}\""),
            other => write!(f, "{{ {} }}", other.keys()),
        }
    }
}

impl fmt::Display for Draft {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (north, east) = self.position;
        writeln!(f, "[site]\nposition = [{north:?}, {east:?}]\nzone = \"{}\"", self.zone)?;
        writeln!(f, "stagger = \"{}ms\"\n", self.stagger_ms)?;
        for board in &self.boards {
            let lease = if board.lease_s == 0 { "none".to_owned() } else { format!("{}s", board.lease_s) };
            writeln!(f, "[board.{}]\nrelays = {}\nlease = \"{lease}\"\n", board.name, board.relays)?;
        }
        for sensor in &self.sensors {
            let source = match &sensor.board {
                Some(board) => format!("reading = \"{board}/{}\"", sensor.name),
                None => format!("topic = \"roof/{0}\"\nfield = \"/{0}\"", sensor.name),
            };
            writeln!(
                f,
                "[sensor.{}]\n{source}\nrange = [0, 100]\nstale_after = \"{}s\"\n",
                sensor.name, sensor.stale_s
            )?;
        }
        self.loads.iter().try_for_each(|load| write_load(f, load))?;
        self.inputs.iter().try_for_each(|input| write_input(f, input))?;
        for (name, condition) in &self.conditions {
            writeln!(f, "[condition.{name}]")?;
            write_keys(f, &condition.keys())?;
        }
        self.rules.iter().try_for_each(|rule| write_rule(f, rule))
    }
}

/// Writes the keys of an inline table as those of a table, one a line.
fn write_keys(f: &mut fmt::Formatter<'_>, keys: &str) -> fmt::Result {
    let (mut depth, mut quoted) = (0, false);
    for c in keys.chars() {
        match c {
            '"' => quoted = !quoted,
            '[' | '{' => depth += 1,
            ']' | '}' => depth -= 1,
            ',' if depth == 0 && !quoted => {
                f.write_char('\n')?;
                continue;
            }
            _ => {}
        }
        f.write_char(c)?;
    }
    f.write_str("\n\n")
}

fn write_load(f: &mut fmt::Formatter<'_>, load: &DraftLoad) -> fmt::Result {
    writeln!(f, "[load.{}]\nrelay = \"{}/{}\"\nkind = \"motor\"", load.name, load.board, load.relay)?;
    writeln!(f, "contact = \"{}\"", if load.is_nc { "NC" } else { "NO" })?;
    writeln!(f, "safe = \"{}\"\nresting = \"{}\"", word(load.safe_on), word(load.resting_on))?;
    writeln!(f, "min_on = \"{}s\"\nmin_off = \"{}s\"", load.min_on_s, load.min_off_s)?;
    write_hold_for(f, load.hold_for.as_deref())
}

fn write_input(f: &mut fmt::Formatter<'_>, input: &DraftInput) -> fmt::Result {
    writeln!(f, "[input.{}]\nat = \"{}/{}\"", input.name, input.board, input.port)?;
    if let Some(code) = &input.code {
        writeln!(f, "code = \"{code}\"")?;
    }
    match &input.press {
        Press::Toggles(load) => writeln!(f, "toggles = \"{load}\"")?,
        Press::Holds(load, on) => writeln!(f, "holds = \"{load} {}\"", word(*on))?,
        Press::Releases(load) => writeln!(f, "releases = \"{load}\"")?,
        Press::Nothing => {}
    }
    write_hold_for(f, input.hold_for.as_deref())
}

fn write_hold_for(f: &mut fmt::Formatter<'_>, hold_for: Option<&str>) -> fmt::Result {
    if let Some(hold_for) = hold_for {
        writeln!(f, "hold_for = \"{hold_for}\"")?;
    }
    f.write_char('\n')
}

fn write_rule(f: &mut fmt::Formatter<'_>, rule: &DraftRule) -> fmt::Result {
    writeln!(f, "[rule.{}]\nload = \"{}\"\ndemand = \"{}\"", rule.name, rule.load, word(rule.demand_on))?;
    if let Some(otherwise) = rule.otherwise_on {
        writeln!(f, "otherwise = \"{}\"", word(otherwise))?;
    }
    writeln!(f, "priority = {}\nwhile = {}", rule.priority, rule.condition)?;
    writeln!(f, "on_delay = \"{}s\"\noff_delay = \"{}s\"", rule.on_delay_s, rule.off_delay_s)?;
    writeln!(f, "on_unknown = \"{}\"\n", if rule.releases { "release" } else { "safe" })
}

fn word(on: bool) -> &'static str {
    if on { "on" } else { "off" }
}
