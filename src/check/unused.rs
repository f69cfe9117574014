//! Boards, sensors, inputs, conditions, selectors and setpoints that nothing uses: forgotten, or named wrongly elsewhere.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Atom, Condition, House, ProofBy, Source};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let house = subject.house;
    let mut used = Used {
        boards: vec![false; house.boards.len()],
        sensors: vec![false; house.sensors.len()],
        ports: vec![false; house.ports.len()],
        conditions: vec![false; house.conditions.len()],
        selectors: vec![false; house.selectors.len()],
        setpoints: vec![false; house.setpoints.len()],
    };
    used.mark(house);
    let unused = |section, name: &String, what: &str, help: &str| {
        let message = format!("{section} \"{name}\" is {what}");
        let diagnostic = Diagnostic::warning("unused", message).help(help);
        subject.at_spot(diagnostic, subject.spots.name(section, name), "")
    };
    let mut found = Vec::new();
    for (board, used) in house.boards.iter().zip(&used.boards) {
        if !used {
            let help = "give it a load, a sensor or an input, or leave it out";
            found.push(unused("board", &board.name, "used by nothing", help));
        }
    }
    for (sensor, used) in house.sensors.iter().zip(&used.sensors) {
        if !used {
            found.push(unused(
                "sensor",
                &sensor.name,
                "read by no condition",
                "use it in a condition, or leave it out",
            ));
        }
    }
    for (selector, _) in house.selectors.iter().zip(&used.selectors).filter(|(_, used)| !**used) {
        let help = "use it in a condition, or leave it out";
        found.push(unused("selector", &selector.name, "read by no condition", help));
    }
    for (setpoint, _) in house.setpoints.iter().zip(&used.setpoints).filter(|(_, used)| !**used) {
        let help = "let a threshold name it, as in cut_in = \">= NAME\", or leave it out";
        let help = help.replace("NAME", &setpoint.name);
        found.push(unused("setpoint", &setpoint.name, "used by no threshold", &help));
    }
    for input in &house.inputs {
        if input.action.is_none() && (input.code.is_some() || !used.ports[input.port.index()]) {
            let help = "say what a press does with toggles, holds, releases or selects, use a contact in a condition, or leave it out";
            found.push(unused("input", &input.name, "without effect", help));
        }
    }
    for (condition, used) in house.conditions.iter().zip(&used.conditions) {
        if !used {
            found.push(unused(
                "condition",
                &condition.name,
                "used by no rule",
                "use its name in a rule, or leave it out",
            ));
        }
    }
    found
}

/// What is used, by index.
struct Used {
    boards: Vec<bool>,
    sensors: Vec<bool>,
    ports: Vec<bool>,
    conditions: Vec<bool>,
    selectors: Vec<bool>,
    setpoints: Vec<bool>,
}

impl Used {
    fn mark(&mut self, house: &House) {
        for relay in house.loads.iter().flat_map(|load| house.relays_of(load)) {
            self.boards[relay.board.index()] = true;
        }
        let ends = house.actuators.iter().flat_map(|one| [one.open_end, one.close_end]).flatten();
        let feedbacks = house.loads.iter().filter_map(|load| load.pulse?.feedback);
        ends.chain(feedbacks).for_each(|port| self.ports[port.index()] = true);
        for sensor in &house.sensors {
            if let Source::Board { board, .. } = sensor.source {
                self.boards[board.index()] = true;
            }
        }
        for port in &house.ports {
            self.boards[port.board.index()] = true;
        }
        for atom in &house.atoms {
            match atom {
                Atom::Threshold(threshold) => {
                    threshold.sensors().for_each(|sensor| self.sensors[sensor.index()] = true);
                    threshold.setpoints().for_each(|setpoint| self.setpoints[setpoint.index()] = true);
                }
                Atom::Rise(rise) => self.sensors[rise.sensor.index()] = true,
                Atom::Unknown { sensor, .. } => self.sensors[sensor.index()] = true,
                Atom::Input { port, .. } => self.ports[port.index()] = true,
                Atom::Selector { selector, .. } => self.selectors[selector.index()] = true,
                Atom::Window { .. }
                | Atom::Cycle { .. }
                | Atom::Sun { .. }
                | Atom::Load { .. }
                | Atom::Alarm { .. } => {}
            }
        }
        for sensor in &house.sensors {
            if let Source::Derived(derived) = &sensor.source {
                derived.ingredients().iter().for_each(|sensor| self.sensors[sensor.index()] = true);
            }
        }
        for proof in house.loads.iter().filter_map(|load| load.proof) {
            match proof.by {
                ProofBy::Reading { sensor, .. } => self.sensors[sensor.index()] = true,
                ProofBy::Contact { port, .. } => self.ports[port.index()] = true,
            }
        }
        for rule in &house.rules {
            self.mark_condition(&rule.condition, house);
        }
    }

    /// Marks the names that a condition uses, and the names that those use.
    fn mark_condition(&mut self, condition: &Condition, house: &House) {
        match condition {
            Condition::Atom(_) => {}
            Condition::Named(id) => {
                // Each name is followed once; decoding has made sure that they go in no circle.
                if !std::mem::replace(&mut self.conditions[id.index()], true) {
                    self.mark_condition(&house.conditions[id.index()].condition, house);
                }
            }
            Condition::All(members) | Condition::Any(members) => {
                members.iter().for_each(|member| self.mark_condition(member, house));
            }
            Condition::Not(inner) => self.mark_condition(inner, house),
        }
    }
}
