//! start: after a start no contact is ordered over before what its rules ask for is known, or has been waited for as long as
//! `settle` says. Slots 1–5, min on and min off, and holds are not bound by it.

use std::collections::{BTreeMap, BTreeSet};

use super::super::happening::{Happening, What, Why};
use super::{Checker, Scene, Tally};
use crate::condition::for_each_atom;
use crate::house::{Atom, House, LoadId, SensorId, Source};
use crate::sensing::derive;
use crate::units::BootTime;
use crate::wire::RelayOrder;

/// Watches starts.
#[derive(Debug, Default)]
pub struct Start {
    /// When the controller was linked first since its start.
    linked: Option<BootTime>,
    watching: bool,
    /// What was unknown at the start and has not been heard since.
    unknown: BTreeSet<String>,
    /// By board, boot and beat: what was reported since the start.
    heard: BTreeMap<(usize, u32, u32), Vec<bool>>,
}

impl Checker for Start {
    fn id(&self) -> &'static str {
        "start"
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            What::Started { restored, same_boot, .. } => {
                tally.count(match (restored, same_boot) {
                    (true, true) => "controller restarted",
                    (true, false) => "controller restarted with its machine",
                    (false, _) => "controller started with nothing stored",
                });
                *self = Start { watching: true, unknown: unknown_at_start(scene), ..Start::default() };
            }
            What::Stopped { .. } | What::House { taken: true } => self.watching = false,
            What::Linked { up: true } => self.linked = self.linked.or(Some(seen.at)),
            What::Read { sensor, .. } => {
                self.unknown.remove(&format!("sensor {sensor}"));
            }
            What::PortHeard { port, .. } => {
                self.unknown.remove(&format!("port {port}"));
            }
            What::ReportHeard { board, boot, beat, states, .. } => {
                self.heard.insert((*board, *boot, *beat), states.clone());
            }
            What::Sent { board, orders, charges } if self.watching => {
                let waited = self.linked.is_some_and(|linked| seen.at >= linked + scene.stage.settle());
                if waited {
                    self.watching = false;
                    return Ok(());
                }
                let Some(heard) = self.heard.get(&(*board, orders.boot, orders.beat)) else { return Ok(()) };
                let words = orders.relays.iter().zip(charges).zip(heard);
                for ((word, charge), reported) in words {
                    let (Some(charge), RelayOrder::On | RelayOrder::Off) = (charge, word) else { continue };
                    let bound = matches!(charge.why, Why::Rules | Why::Unknown | Why::Settling);
                    let house = scene.stage.house();
                    // A coil that is pulsed rests released: what keeps it energised is over or was another load's.
                    let is_rest = *word == RelayOrder::Off
                        && house.load_named(&charge.load).is_some_and(|load| house.load(load).pulse.is_some());
                    if is_rest {
                        continue;
                    }
                    let waits = self.waits_for(house, &charge.load);
                    let Some(waits) = waits.filter(|_| bound) else { continue };
                    tally.count("orders looked at while settling");
                    if (*word == RelayOrder::On) != *reported {
                        let load = &charge.load;
                        return Err(format!("load {load:?} is ordered over after a start, before {waits} is known"));
                    }
                }
            }
            _ => {}
        }
        Ok(())
    }
}

impl Start {
    /// Whether too little is known for a sensor to be known. What an ingredient reads hardly matters for that; half way up its
    /// range is as good as any.
    fn is_unknown(&self, house: &House, sensor: SensorId) -> bool {
        match &house.sensor(sensor).source {
            Source::Derived(derived) => {
                let known = |ingredient| (!self.is_unknown(house, ingredient)).then_some(50.0);
                derive(derived, known).is_none()
            }
            _ => self.unknown.contains(&Asked::Sensor(sensor).name(house)),
        }
    }

    /// Something that a load's rules ask for and that is not known yet.
    fn waits_for(&self, house: &House, load: &str) -> Option<String> {
        let load = house.load_named(load)?;
        asked(house, load)
            .into_iter()
            .find(|asked| match asked {
                Asked::Sensor(sensor) => self.is_unknown(house, *sensor),
                Asked::Port(_) => self.unknown.contains(&asked.name(house)),
            })
            .map(|asked| asked.name(house))
    }
}

/// What a rule asks for.
enum Asked {
    Sensor(SensorId),
    Port(usize),
}

impl Asked {
    fn name(&self, house: &House) -> String {
        match self {
            Asked::Sensor(sensor) => format!("sensor {}", house.sensor(*sensor).name),
            Asked::Port(port) => format!("port {}", port_name(house, *port)),
        }
    }
}

/// The sensors and contacts that the rules of a load ask for.
fn asked(house: &House, load: LoadId) -> Vec<Asked> {
    let mut asked = Vec::new();
    for rule in house.rules.iter().filter(|rule| rule.load == load) {
        for_each_atom(house, &rule.condition, &mut |atom| match house.atom(atom) {
            Atom::Threshold(threshold) => {
                asked.extend(threshold.sensors().map(Asked::Sensor));
            }
            Atom::Rise(rise) => asked.push(Asked::Sensor(rise.sensor)),
            // Whether a sensor is unknown is known at any time, but only once it has had the time to be heard.
            Atom::Unknown { sensor, .. } => asked.push(Asked::Sensor(*sensor)),
            Atom::Input { port, .. } => asked.push(Asked::Port(port.index())),
            // Selectors and alarms are known at any time, drawn houses ask about no loads, and their clocks are trusted or not for reasons of their own.
            Atom::Selector { .. }
            | Atom::Alarm { .. }
            | Atom::Load { .. }
            | Atom::Window { .. }
            | Atom::Cycle { .. }
            | Atom::Sun { .. } => {}
        });
    }
    asked
}

fn unknown_at_start(scene: &Scene<'_>) -> BTreeSet<String> {
    let Some(engine) = scene.stage.engine() else { return BTreeSet::new() };
    let house = engine.house();
    let sensors = (0..house.sensors.len() as u32).map(crate::house::SensorId);
    let sensors = sensors.filter(|sensor| engine.reading(*sensor).is_none());
    let sensors = sensors.map(|sensor| format!("sensor {}", house.sensor(sensor).name));
    // Boards repeat their contacts after a start, whatever was known of them before.
    let ports = (0..house.ports.len()).map(|port| format!("port {}", port_name(house, port)));
    sensors.chain(ports).collect()
}

fn port_name(house: &House, port: usize) -> String {
    let port = &house.ports[port];
    format!("{}/{}", house.board(port.board).name, port.name)
}
