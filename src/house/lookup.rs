//! Finding things in a house by id and by name, and how places and relays are called. It never changes what a rule says.

use super::condition::Atom;
use super::drive::{Actuator, Drive, Rotation};
use super::model::{
    ActuatorId, AtomId, Board, BoardId, House, Load, LoadId, Place, Relay, RotationId, Rule, RuleId, SensorId,
};
use super::sensor::{Sensor, Source};

impl House {
    /// The board behind an id.
    pub fn board(&self, id: BoardId) -> &Board {
        &self.boards[id.index()]
    }

    /// The sensor behind an id.
    pub fn sensor(&self, id: SensorId) -> &Sensor {
        &self.sensors[id.index()]
    }

    /// The load behind an id.
    pub fn load(&self, id: LoadId) -> &Load {
        &self.loads[id.index()]
    }

    /// The actuator behind an id.
    pub fn actuator(&self, id: ActuatorId) -> &Actuator {
        &self.actuators[id.index()]
    }

    /// The rotation behind an id.
    pub fn rotation(&self, id: RotationId) -> &Rotation {
        &self.rotations[id.index()]
    }

    /// The rule behind an id.
    pub fn rule(&self, id: RuleId) -> &Rule {
        &self.rules[id.index()]
    }

    /// The atom behind an id.
    pub fn atom(&self, id: AtomId) -> &Atom {
        &self.atoms[id.index()]
    }

    /// The id of a board by name.
    pub fn board_named(&self, name: &str) -> Option<BoardId> {
        find(&self.boards, name, |board| &board.name).map(BoardId)
    }

    /// The id of a sensor by name.
    pub fn sensor_named(&self, name: &str) -> Option<SensorId> {
        find(&self.sensors, name, |sensor| &sensor.name).map(SensorId)
    }

    /// The id of a load, an actuator or a rotation by name.
    pub fn load_named(&self, name: &str) -> Option<LoadId> {
        find(&self.loads, name, |load| &load.name).map(LoadId)
    }

    /// The id of a rule by name.
    pub fn rule_named(&self, name: &str) -> Option<RuleId> {
        find(&self.rules, name, |rule| &rule.name).map(RuleId)
    }

    /// The same house with further boards, which must have names of their own.
    pub fn with_boards(mut self, more: Vec<Board>) -> House {
        for board in more {
            let place = self.boards.partition_point(|known| known.name < board.name);
            self.boards.insert(place, board);
            // Ids are indices of sorted names, so those behind the new one move up.
            let moved = |id: BoardId| if id.index() >= place { BoardId(id.0 + 1) } else { id };
            for load in &mut self.loads {
                if let Drive::Relay(relay) = &mut load.drive {
                    relay.board = moved(relay.board);
                }
            }
            for actuator in &mut self.actuators {
                actuator.open.board = moved(actuator.open.board);
                actuator.close.board = moved(actuator.close.board);
            }
            for port in &mut self.ports {
                port.board = moved(port.board);
            }
            for sensor in &mut self.sensors {
                if let Source::Board { board, .. } = &mut sensor.source {
                    *board = moved(*board);
                }
            }
        }
        self
    }

    /// The load that hangs on a relay: the member of a rotation, not the rotation.
    pub fn load_on(&self, relay: Relay) -> Option<&Load> {
        let has_own = |load: &&Load| !matches!(load.drive, Drive::Rotation(_));
        self.loads.iter().filter(has_own).find(|load| self.relays_of(load).contains(&relay))
    }

    /// The relays that carry out what is wanted of a load: one, or the opening and the closing one of an actuator, or those
    /// of the two loads of a rotation.
    pub fn relays_of(&self, load: &Load) -> Vec<Relay> {
        match load.drive {
            Drive::Relay(relay) => vec![relay],
            Drive::Actuator(id) => self.actuator(id).relays().to_vec(),
            // Its members have relays of their own, so this goes no deeper.
            Drive::Rotation(id) => self.rotation(id).loads.iter().filter_map(|load| self.load(*load).relay()).collect(),
        }
    }

    /// `yard/3` for a relay.
    pub fn relay_name(&self, relay: Relay) -> String {
        format!("{}/{}", self.board(relay.board).name, relay.number)
    }

    /// `porch.toml:12` for a place.
    pub fn place_name(&self, place: Place) -> String {
        let file = self.files.get(place.file as usize).map_or("", String::as_str);
        format!("{file}:{}", place.line)
    }
}

fn find<T>(sorted: &[T], name: &str, key: impl Fn(&T) -> &String) -> Option<u32> {
    sorted.binary_search_by(|item| key(item).as_str().cmp(name)).ok().map(|index| index as u32)
}
