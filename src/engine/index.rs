//! Who is touched by what: from sensors, endpoints and relays to atoms, rules and loads. Built once for a house and never
//! changed, so that the cost of an event grows with what it touches and not with the house.

use std::collections::BTreeMap;

use super::memory::Memory;
use crate::condition::for_each_atom;
use crate::house::{
    Atom, AtomId, BoardId, CircuitId, Drive, House, InputId, InterlockId, LoadId, Port, PortId, ProofBy, Relay,
    RotationId, RuleId, SensorId, Source,
};

/// The reverse of every reference in a house; all lists ascending.
#[derive(Clone, Debug)]
pub(super) struct Index {
    pub atoms_of_sensor: Vec<Vec<AtomId>>,
    /// Derived sensors by what they are computed from.
    pub derived_of_sensor: Vec<Vec<SensorId>>,
    pub atoms_of_port: Vec<Vec<AtomId>>,
    pub atoms_of_selector: Vec<Vec<AtomId>>,
    pub atoms_of_setpoint: Vec<Vec<AtomId>>,
    /// By port, `board/name`.
    pub port_names: Vec<String>,
    /// Atoms of wall time: windows, cycles, the sun.
    pub clocked: Vec<AtomId>,
    /// Atoms about what a load does, and those about its rotation.
    pub atoms_of_load: Vec<Vec<AtomId>>,
    /// Atoms about one alarm, by its id.
    pub atoms_of_alarm: BTreeMap<String, Vec<AtomId>>,
    /// Atoms about any alarm.
    pub atoms_of_any_alarm: Vec<AtomId>,
    pub rules_of_atom: Vec<Vec<RuleId>>,
    pub rules_of_load: Vec<Vec<RuleId>>,
    pub sensors_of_load: Vec<Vec<SensorId>>,
    pub ports_of_load: Vec<Vec<PortId>>,
    /// The loads that a load's rules ask about.
    pub watched_of_load: Vec<Vec<LoadId>>,
    /// Loads whose rules ask for the wall clock.
    pub asks_clock: Vec<bool>,
    pub loads_of_sensor: Vec<Vec<LoadId>>,
    pub loads_of_port: Vec<Vec<LoadId>>,
    pub inputs_of_port: Vec<Vec<InputId>>,
    /// Loads of which a contact tells how they stand: end contacts, feedback.
    pub told_by_port: Vec<Vec<LoadId>>,
    pub sensors_of_board: Vec<Vec<SensorId>>,
    pub ports_of_board: Vec<Vec<PortId>>,
    pub interlocks_of_load: Vec<Vec<InterlockId>>,
    pub circuits_of_load: Vec<Vec<CircuitId>>,
    /// Loads that share an interlock or a circuit with a load, without itself.
    pub peers_of_load: Vec<Vec<LoadId>>,
    /// Loads that a sensor proves.
    pub proofs_of_sensor: Vec<Vec<LoadId>>,
    /// Loads that a contact proves.
    pub proofs_of_port: Vec<Vec<LoadId>>,
    /// Loads that share what proves a load, without itself.
    pub provers_beside: Vec<Vec<LoadId>>,
    /// The rotation that a load is a member of.
    pub rotation_of_load: Vec<Option<RotationId>>,
    /// Thresholds and rises that remember.
    pub memories: Vec<Memory>,
    /// By board, then relay number less one.
    load_of_relay: Vec<Vec<Option<LoadId>>>,
}

impl Index {
    pub fn new(house: &House) -> Index {
        let mut index = Index {
            atoms_of_sensor: vec![Vec::new(); house.sensors.len()],
            derived_of_sensor: vec![Vec::new(); house.sensors.len()],
            atoms_of_port: vec![Vec::new(); house.ports.len()],
            atoms_of_selector: vec![Vec::new(); house.selectors.len()],
            atoms_of_setpoint: vec![Vec::new(); house.setpoints.len()],
            port_names: house.ports.iter().map(|port| port_name(house, port)).collect(),
            clocked: Vec::new(),
            atoms_of_load: vec![Vec::new(); house.loads.len()],
            atoms_of_alarm: BTreeMap::new(),
            atoms_of_any_alarm: Vec::new(),
            rules_of_atom: vec![Vec::new(); house.atoms.len()],
            rules_of_load: vec![Vec::new(); house.loads.len()],
            sensors_of_load: vec![Vec::new(); house.loads.len()],
            ports_of_load: vec![Vec::new(); house.loads.len()],
            watched_of_load: vec![Vec::new(); house.loads.len()],
            asks_clock: vec![false; house.loads.len()],
            loads_of_sensor: vec![Vec::new(); house.sensors.len()],
            loads_of_port: vec![Vec::new(); house.ports.len()],
            inputs_of_port: vec![Vec::new(); house.ports.len()],
            told_by_port: vec![Vec::new(); house.ports.len()],
            sensors_of_board: vec![Vec::new(); house.boards.len()],
            ports_of_board: vec![Vec::new(); house.boards.len()],
            interlocks_of_load: vec![Vec::new(); house.loads.len()],
            circuits_of_load: vec![Vec::new(); house.loads.len()],
            peers_of_load: vec![Vec::new(); house.loads.len()],
            proofs_of_sensor: vec![Vec::new(); house.sensors.len()],
            proofs_of_port: vec![Vec::new(); house.ports.len()],
            provers_beside: vec![Vec::new(); house.loads.len()],
            memories: Memory::all(house),
            rotation_of_load: vec![None; house.loads.len()],
            load_of_relay: house.boards.iter().map(|board| vec![None; usize::from(board.relays)]).collect(),
        };
        index.read_atoms(house);
        index.read_rules(house);
        index.read_wiring(house);
        index.read_groups(house);
        index.read_proofs(house);
        index.read_rotations(house);
        index
    }

    fn read_atoms(&mut self, house: &House) {
        for (number, atom) in house.atoms.iter().enumerate() {
            let id = AtomId(number as u32);
            match atom {
                Atom::Threshold(threshold) => {
                    for sensor in threshold.sensors() {
                        add(&mut self.atoms_of_sensor[sensor.index()], id);
                    }
                    for setpoint in threshold.setpoints() {
                        add(&mut self.atoms_of_setpoint[setpoint.index()], id);
                    }
                }
                Atom::Rise(rise) => self.atoms_of_sensor[rise.sensor.index()].push(id),
                Atom::Unknown { sensor, .. } => self.atoms_of_sensor[sensor.index()].push(id),
                Atom::Input { port, .. } => self.atoms_of_port[port.index()].push(id),
                Atom::Alarm { alarm: Some(alarm), .. } => {
                    self.atoms_of_alarm.entry(alarm.clone()).or_default().push(id);
                }
                Atom::Alarm { alarm: None, .. } => self.atoms_of_any_alarm.push(id),
                Atom::Load { load, .. } => {
                    self.atoms_of_load[load.index()].push(id);
                    if let Drive::Rotation(rotation) = house.load(*load).drive {
                        for member in house.rotation(rotation).loads {
                            self.atoms_of_load[member.index()].push(id);
                        }
                    }
                }
                Atom::Selector { selector, .. } => self.atoms_of_selector[selector.index()].push(id),
                Atom::Window { .. } | Atom::Cycle { .. } | Atom::Sun { .. } => self.clocked.push(id),
            }
        }
    }

    fn read_rules(&mut self, house: &House) {
        for (number, rule) in house.rules.iter().enumerate() {
            let id = RuleId(number as u32);
            self.rules_of_load[rule.load.index()].push(id);
            for_each_atom(house, &rule.condition, &mut |atom| {
                add(&mut self.rules_of_atom[atom.index()], id);
                match house.atom(atom) {
                    Atom::Threshold(threshold) => {
                        threshold.sensors().for_each(|sensor| self.asks_sensor(rule.load, sensor));
                    }
                    Atom::Rise(rise) => self.asks_sensor(rule.load, rise.sensor),
                    Atom::Unknown { sensor, .. } => self.asks_sensor(rule.load, *sensor),
                    Atom::Input { port, .. } => {
                        add(&mut self.ports_of_load[rule.load.index()], *port);
                        add(&mut self.loads_of_port[port.index()], rule.load);
                    }
                    Atom::Load { load, .. } => add(&mut self.watched_of_load[rule.load.index()], *load),
                    // What alarms there are is known at any time.
                    Atom::Alarm { .. } => {}
                    // How a selector stands is known at any time.
                    Atom::Selector { .. } => {}
                    Atom::Window { .. } | Atom::Cycle { .. } | Atom::Sun { .. } => {
                        self.asks_clock[rule.load.index()] = true;
                    }
                }
            });
        }
    }

    fn asks_sensor(&mut self, load: LoadId, sensor: SensorId) {
        add(&mut self.sensors_of_load[load.index()], sensor);
        add(&mut self.loads_of_sensor[sensor.index()], load);
    }

    fn read_wiring(&mut self, house: &House) {
        for (number, load) in house.loads.iter().enumerate() {
            let id = LoadId(number as u32);
            if matches!(load.drive, Drive::Rotation(_)) {
                // Its members have relays of their own.
                continue;
            }
            for relay in house.relays_of(load) {
                let relays = &mut self.load_of_relay[relay.board.index()];
                if let Some(place) = relays.get_mut(usize::from(relay.number.saturating_sub(1))) {
                    *place = Some(id);
                }
            }
            let told_by = load.pulse.and_then(|pulse| pulse.feedback);
            told_by.into_iter().for_each(|port| add(&mut self.told_by_port[port.index()], id));
            if let Drive::Actuator(actuator) = load.drive {
                let actuator = house.actuator(actuator);
                for port in [actuator.open_end, actuator.close_end].into_iter().flatten() {
                    add(&mut self.told_by_port[port.index()], id);
                }
            }
        }
        for (number, input) in house.inputs.iter().enumerate() {
            self.inputs_of_port[input.port.index()].push(InputId(number as u32));
        }
        for (number, port) in house.ports.iter().enumerate() {
            self.ports_of_board[port.board.index()].push(PortId(number as u32));
        }
        for (number, sensor) in house.sensors.iter().enumerate() {
            let id = SensorId(number as u32);
            match &sensor.source {
                Source::Board { board, .. } => self.sensors_of_board[board.index()].push(id),
                Source::Derived(derived) => {
                    for ingredient in derived.ingredients() {
                        add(&mut self.derived_of_sensor[ingredient.index()], id);
                    }
                }
                Source::Topic { .. } => {}
            }
        }
    }

    fn read_groups(&mut self, house: &House) {
        for (number, interlock) in house.interlocks.iter().enumerate() {
            for load in &interlock.loads {
                add(&mut self.interlocks_of_load[load.index()], InterlockId(number as u32));
            }
            self.read_peers(&interlock.loads);
        }
        for (number, circuit) in house.circuits.iter().enumerate() {
            for load in &circuit.loads {
                add(&mut self.circuits_of_load[load.index()], CircuitId(number as u32));
            }
            self.read_peers(&circuit.loads);
        }
    }

    fn read_rotations(&mut self, house: &House) {
        for (number, rotation) in house.rotations.iter().enumerate() {
            for member in rotation.loads {
                self.rotation_of_load[member.index()] = Some(RotationId(number as u32));
            }
        }
    }

    fn read_proofs(&mut self, house: &House) {
        for (number, load) in house.loads.iter().enumerate() {
            match load.proof.map(|proof| proof.by) {
                Some(ProofBy::Reading { sensor, .. }) => {
                    self.proofs_of_sensor[sensor.index()].push(LoadId(number as u32));
                }
                Some(ProofBy::Contact { port, .. }) => self.proofs_of_port[port.index()].push(LoadId(number as u32)),
                None => {}
            }
        }
        let shared = self.proofs_of_sensor.iter().chain(&self.proofs_of_port);
        for group in shared.filter(|group| group.len() > 1).cloned().collect::<Vec<_>>() {
            for load in &group {
                self.provers_beside[load.index()] = group.iter().filter(|other| *other != load).copied().collect();
            }
            self.read_peers(&group);
        }
    }

    fn read_peers(&mut self, group: &[LoadId]) {
        for load in group {
            for peer in group.iter().filter(|peer| *peer != load) {
                add(&mut self.peers_of_load[load.index()], *peer);
            }
        }
    }

    /// The relays of a board with the load on each.
    pub fn relays(&self, board: BoardId) -> impl Iterator<Item = (Relay, Option<LoadId>)> + '_ {
        self.load_of_relay[board.index()]
            .iter()
            .enumerate()
            .map(move |(place, load)| (Relay { board, number: place as u8 + 1 }, *load))
    }
}

fn port_name(house: &House, port: &Port) -> String {
    format!("{}/{}", house.board(port.board).name, port.name)
}

/// Adds to an ascending list what is not in it yet.
fn add<T: Ord>(list: &mut Vec<T>, item: T) {
    if let Err(place) = list.binary_search(&item) {
        list.insert(place, item);
    }
}
