//! What a load's array says, worked out anew from the house and from what was told, without the engine: no memory, no delays,
//! no timers. It can be asked only while no threshold is in doubt.

use std::collections::{BTreeMap, BTreeSet};

use crate::condition::evaluate;
use crate::engine::{Now, SLOT_HOLD, SLOT_RULES, SLOT_TRIP, SLOT_WITHDRAWN, SLOTS};
use crate::house::{Atom, House, LoadId, OnUnknown, SensorId, SetpointId, Source, State, ThresholdSide, Truth};
use crate::sensing::{decimal, derive};

/// What was told last.
#[derive(Clone, Debug, Default)]
pub struct Told {
    /// By sensor.
    pub readings: BTreeMap<String, f64>,
    /// By `board/name`.
    pub ports: BTreeMap<String, State>,
    /// By selector or setpoint that somebody has set: the position, or the value.
    pub modes: BTreeMap<String, String>,
}

/// What stands above the rules.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Above {
    /// The load is withdrawn.
    pub withdrawn: bool,
    /// It is held.
    pub hold: Option<State>,
    /// Safety trips that have latched.
    pub latched: BTreeSet<String>,
}

impl Told {
    /// What a setpoint is.
    fn setpoint(&self, house: &House, setpoint: SetpointId) -> f64 {
        let definition = house.setpoint(setpoint);
        self.modes.get(&definition.name).and_then(|set| set.parse().ok()).unwrap_or(definition.value)
    }

    /// What a sensor reads, or what is computed for it.
    pub fn reading(&self, house: &House, sensor: SensorId) -> Option<f64> {
        let definition = house.sensor(sensor);
        match &definition.source {
            Source::Derived(derived) => derive(derived, |ingredient| self.reading(house, ingredient)),
            _ => self.readings.get(&definition.name).copied(),
        }
    }
}

/// The state that the array gives, slot 5 and the gates below it left out, and the slot; 17 for the resting state. `None`
/// where a threshold is in doubt.
pub fn wanted(house: &House, load: LoadId, above: &Above, told: &Told, now: Now) -> Option<(State, u8)> {
    if above.withdrawn {
        return Some((State::Off, SLOT_WITHDRAWN));
    }
    let definition = house.load(load);
    let slot = |priority: u8| -> Result<Option<State>, Doubt> {
        let mut demands = Vec::new();
        for rule in house.rules.iter().filter(|rule| rule.load == load && rule.priority == priority) {
            let latched = rule.latches && above.latched.contains(&rule.name);
            let truth = if latched { Truth::True } else { truth(house, &rule.condition, told, now)? };
            demands.extend(match truth {
                Truth::True => Some(rule.demand),
                Truth::False => rule.otherwise,
                Truth::Unknown => (rule.on_unknown == OnUnknown::Safe).then_some(definition.safe),
            });
        }
        // Where rules disagree the safe state wins.
        Ok(demands.iter().find(|demand| **demand == definition.safe).or(demands.first()).copied())
    };
    if let Some(state) = slot(SLOT_TRIP).ok()? {
        return Some((state, SLOT_TRIP));
    }
    if let Some(state) = above.hold {
        return Some((state, SLOT_HOLD));
    }
    for priority in SLOT_RULES..=SLOTS {
        if let Some(state) = slot(priority).ok()? {
            return Some((state, priority));
        }
    }
    Some((definition.resting, SLOTS + 1))
}

/// A threshold whose truth depends on what came before.
struct Doubt;

fn truth(house: &House, condition: &crate::house::Condition, told: &Told, now: Now) -> Result<Truth, Doubt> {
    let mut doubt = false;
    let truth = evaluate(house, condition, &mut |atom| match house.atom(atom) {
        Atom::Threshold(threshold) => {
            let reading = |sensor: SensorId| told.reading(house, sensor);
            let taken_off = threshold.minus.map_or(Some(0.0), reading);
            let (Some(value), Some(taken_off)) = (reading(threshold.sensor), taken_off) else { return Truth::Unknown };
            let value = decimal(value - taken_off);
            let ends = threshold.ends(|setpoint| told.setpoint(house, setpoint));
            let (is_in, is_out) = match ends.side {
                ThresholdSide::High => (value >= ends.cut_in, value <= ends.cut_out),
                ThresholdSide::Low => (value <= ends.cut_in, value >= ends.cut_out),
            };
            doubt |= !is_in && !is_out;
            Truth::from(is_in)
        }
        Atom::Window { window, .. } if now.trusted => {
            Truth::from(window.is_open(now.wall.instant(), house.site.setting()))
        }
        Atom::Cycle { cycle, .. } if now.trusted => Truth::from(cycle.is_on(now.wall.instant(), house.site.setting())),
        Atom::Sun { bound, .. } if now.trusted => {
            bound.is_met(now.wall.instant(), house.site.setting().position).map_or(Truth::Unknown, Truth::from)
        }
        Atom::Window { .. } | Atom::Cycle { .. } | Atom::Sun { .. } => Truth::Unknown,
        // What the others do is not told here, nor what went wrong or came before.
        Atom::Alarm { .. } | Atom::Load { .. } | Atom::Rise(_) => {
            doubt = true;
            Truth::Unknown
        }
        Atom::Selector { selector, is, .. } => {
            let definition = house.selector(*selector);
            let set = told.modes.get(&definition.name).and_then(|set| definition.position(set));
            Truth::from(*is as usize == set.unwrap_or(0))
        }
        Atom::Unknown { sensor, .. } => Truth::from(told.reading(house, *sensor).is_none()),
        Atom::Input { port, is, .. } => {
            let port = &house.ports[port.index()];
            let state = told.ports.get(&format!("{}/{}", house.board(port.board).name, port.name));
            state.map_or(Truth::Unknown, |state| Truth::from(state == is))
        }
    });
    if doubt { Err(Doubt) } else { Ok(truth) }
}
