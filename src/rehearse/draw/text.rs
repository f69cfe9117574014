//! The TOML text of a house that was drawn. It never decides what is in it.

use std::fmt::{self, Write};

use super::draft::{
    Compute, Draft, DraftActuator, DraftCircuit, DraftCondition, DraftDerived, DraftForeign, DraftInput,
    DraftInterlock, DraftLoad, DraftRule, Press,
};

impl DraftCondition {
    /// The condition as the keys of a table.
    fn keys(&self) -> String {
        let list =
            |parts: &[DraftCondition]| parts.iter().map(DraftCondition::to_string).collect::<Vec<String>>().join(", ");
        match self {
            DraftCondition::Threshold { sensor, minus, is_high, cut_in, cut_out } => {
                let (into, out) = if *is_high { (">=", "<=") } else { ("<=", ">=") };
                let minus = minus.as_ref().map_or(String::new(), |minus| format!(", minus = \"{minus}\""));
                format!("sensor = \"{sensor}\"{minus}, cut_in = \"{into} {cut_in}\", cut_out = \"{out} {cut_out}\"")
            }
            DraftCondition::Unknown(sensor) => format!("sensor = \"{sensor}\", is = \"unknown\""),
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
        if let Some(foreign) = self.foreign {
            writeln!(f, "[board.{FOREIGN}]\n{}\n", habits(foreign))?;
        }
        for sensor in &self.sensors {
            let source = match &sensor.board {
                Some(board) => format!("reading = \"{board}/{}\"", sensor.name),
                None => format!("topic = \"roof/{0}\"\nfield = \"/{0}\"", sensor.name),
            };
            writeln!(f, "[sensor.{}]\n{source}\nrange = [0, 100]\nstale_after = \"{}s\"", sensor.name, sensor.stale_s)?;
            if !sensor.unit.is_empty() {
                writeln!(f, "unit = \"{}\"", sensor.unit)?;
            }
            if let Some((scale, offset)) = sensor.calibration {
                writeln!(f, "scale = {scale:?}\noffset = {offset:?}")?;
            }
            if let Some(rate) = sensor.max_rate {
                writeln!(f, "max_rate = \"{rate} per 1s\"")?;
            }
            writeln!(f, "median_of = {}\n", sensor.median_of)?;
        }
        if self.has_modes {
            writeln!(f, "[selector.house]\npositions = [\"lived-in\", \"away\"]\n")?;
            writeln!(f, "[setpoint.warm]\nvalue = 40.0\nrange = [20, 60]\n")?;
        }
        self.derived.iter().try_for_each(|sensor| write_derived(f, sensor))?;
        self.loads.iter().try_for_each(|load| write_load(f, load))?;
        self.actuators.iter().try_for_each(|actuator| write_actuator(f, actuator))?;
        for (name, [one, other]) in &self.rotations {
            writeln!(f, "[rotation.{name}]\nloads = [\"{one}\", \"{other}\"]\nchange_after = \"2m\"\n")?;
        }
        self.inputs.iter().try_for_each(|input| write_input(f, input))?;
        for (name, condition) in &self.conditions {
            writeln!(f, "[condition.{name}]")?;
            write_keys(f, &condition.keys())?;
        }
        let drives = |rule: &DraftRule| self.actuators.iter().any(|actuator| actuator.name == rule.load);
        self.rules.iter().try_for_each(|rule| write_rule(f, rule, drives(rule)))?;
        self.interlocks.iter().try_for_each(|interlock| write_interlock(f, interlock))?;
        self.circuits.iter().try_for_each(|circuit| write_circuit(f, circuit))
    }
}

/// The name of the board of other firmware: behind all others in the order of names.
pub const FOREIGN: &str = "zinc-shed";

fn habits(foreign: DraftForeign) -> &'static str {
    match foreign {
        DraftForeign::Mute => {
            "relays = 2\nlease = \"none\"\nreport = \"none\"\n\
             order = { topic = \"shed/coils\", energised = '{\"coil\":{relay},\"pull\":1}', \
             released = '{\"coil\":{relay},\"pull\":0}' }"
        }
        DraftForeign::Telling => {
            "relays = 2\nlease = \"none\"\nfirst = 0\nactive_low = true\n\
             order = { topic = \"shed/put/{relay}\", energised = \"set\", released = \"clear\", qos = 0 }\n\
             report = { topic = \"shed/got/{relay}\", field = \"/pin\", energised = \"set\", released = \"clear\" }\n\
             alive = { topic = \"shed/link\", there = \"up\", gone = \"down\" }"
        }
        DraftForeign::Leased => {
            "relays = 2\nlease = \"80s\"\n\
             order = { topic = \"shed/do/{relay}\", energised = \"pull for {lease_s}\", released = \"let go\" }\n\
             report = { topic = \"shed/is/{relay}\", energised = \"pulled\", released = \"free\" }\n\
             ask = { topic = \"shed/tell\", payload = \"all\", every = \"1m\" }\nlost_after = \"3m\""
        }
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
    if let Some(pulse) = load.pulse_ms {
        let at = if load.pulse_at_change { "change" } else { "on" };
        writeln!(f, "[load.{}]\nrelay = \"{}/{}\"\nkind = \"solenoid\"", load.name, load.board, load.relay)?;
        writeln!(f, "pulse = \"{pulse}ms\"\npulse_at = \"{at}\"")?;
        return write_hold_for(f, load.hold_for.as_deref());
    }
    writeln!(f, "[load.{}]\nrelay = \"{}/{}\"\nkind = \"motor\"", load.name, load.board, load.relay)?;
    writeln!(f, "contact = \"{}\"", if load.is_nc { "NC" } else { "NO" })?;
    writeln!(f, "safe = \"{}\"\nresting = \"{}\"", word(load.safe_on), word(load.resting_on))?;
    writeln!(f, "min_on = \"{}s\"\nmin_off = \"{}s\"", load.min_on_s, load.min_off_s)?;
    if let Some(max_on) = load.max_on_s {
        writeln!(f, "max_on = \"{max_on}s\"")?;
    }
    if let Some(rest) = load.rest_s {
        writeln!(f, "rest = \"{rest}s\"")?;
    }
    if let Some((most, within)) = load.max_starts {
        writeln!(f, "max_starts = \"{most} per {within}s\"")?;
    }
    if let Some((sensor, within)) = &load.proof {
        writeln!(f, "proof = {{ sensor = \"{sensor}\", at_least = 1, within = \"{within}s\" }}")?;
    }
    if let Some(power) = load.power_w {
        writeln!(f, "power = \"{power} W\"")?;
    }
    write_hold_for(f, load.hold_for.as_deref())
}

fn write_actuator(f: &mut fmt::Formatter<'_>, actuator: &DraftActuator) -> fmt::Result {
    let DraftActuator { name, board, open, close, travel_ms, dead_time_ms, safe_open, ends } = actuator;
    for (end, _) in ["open", "closed"].iter().zip(ends).filter(|(_, has)| **has) {
        writeln!(f, "[input.{name}-{end}]\nat = \"{board}/{name}-{end}\"\n")?;
    }
    writeln!(f, "[actuator.{name}]\nopen = \"{board}/{open}\"\nclose = \"{board}/{close}\"")?;
    writeln!(f, "travel = \"{travel_ms}ms\"\ndead_time = \"{dead_time_ms}ms\"")?;
    for (end, at) in
        [("open", "open"), ("close", "closed")].iter().zip(ends).filter(|(_, has)| **has).map(|(end, _)| end)
    {
        writeln!(f, "{end}_end = \"{name}-{at}\"")?;
    }
    writeln!(f, "safe = \"{}\"\n", if *safe_open { "open" } else { "closed" })
}

fn names(names: &[String]) -> String {
    names.iter().map(|name| format!("\"{name}\"")).collect::<Vec<String>>().join(", ")
}

fn write_derived(f: &mut fmt::Formatter<'_>, sensor: &DraftDerived) -> fmt::Result {
    writeln!(f, "[sensor.{}]", sensor.name)?;
    match &sensor.how {
        Compute::DewPoint(air, damp) => {
            writeln!(f, "dew_point = {{ temperature = \"{air}\", humidity = \"{damp}\" }}\n")
        }
        Compute::Mean(of, quorum) => writeln!(f, "mean = [{}]\nquorum = {quorum}\n", names(of)),
        Compute::Median(of, quorum) => writeln!(f, "median = [{}]\nquorum = {quorum}\n", names(of)),
    }
}

fn write_interlock(f: &mut fmt::Formatter<'_>, interlock: &DraftInterlock) -> fmt::Result {
    writeln!(f, "[interlock.{}]\nloads = [{}]", interlock.name, names(&interlock.loads))?;
    writeln!(f, "dead_time = \"{}ms\"\n", interlock.dead_time_ms)
}

fn write_circuit(f: &mut fmt::Formatter<'_>, circuit: &DraftCircuit) -> fmt::Result {
    writeln!(f, "[circuit.{}]\nloads = [{}]", circuit.name, names(&circuit.loads))?;
    writeln!(f, "limit = \"{} W\"\nstagger = \"{}ms\"", circuit.limit_w, circuit.stagger_ms)?;
    if !circuit.shed.is_empty() {
        writeln!(f, "shed = [{}]", names(&circuit.shed))?;
    }
    f.write_char('\n')
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

/// `drives` says that it speaks to an actuator.
fn write_rule(f: &mut fmt::Formatter<'_>, rule: &DraftRule, drives: bool) -> fmt::Result {
    let word = |on: bool| match (drives, on) {
        (false, on) => word(on),
        (true, true) => "open",
        (true, false) => "closed",
    };
    writeln!(f, "[rule.{}]\nload = \"{}\"\ndemand = \"{}\"", rule.name, rule.load, word(rule.demand_on))?;
    if let Some(otherwise) = rule.otherwise_on {
        writeln!(f, "otherwise = \"{}\"", word(otherwise))?;
    }
    writeln!(f, "priority = {}\nwhile = {}", rule.priority, rule.condition)?;
    writeln!(f, "on_delay = \"{}s\"\noff_delay = \"{}s\"", rule.on_delay_s, rule.off_delay_s)?;
    if rule.latches {
        writeln!(f, "reset = \"manual\"")?;
    }
    writeln!(f, "on_unknown = \"{}\"\n", if rule.releases { "release" } else { "safe" })
}

fn word(on: bool) -> &'static str {
    if on { "on" } else { "off" }
}
