//! The example house in `rules/`: it decodes without any finding, shows every kind of rule, and the simulated world knows
//! all of its names. It needs no broker.

#[path = "support/example_house.rs"]
mod rules;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use jiff::tz::TimeZoneDatabase;
use rules::files;
use standfast::calendar::WindowEnd;
use standfast::check;
use standfast::house::{
    Action, Atom, Condition, Contact, Conversion, House, OnUnknown, Rotation, Sensor, Source, State, ThresholdSide,
};
use standfast::sensing::calibrated;
use standfast::units::{Span, WallTime};
use standfast::world::World;

fn house() -> House {
    let files = files();
    let examined = check::examine(&files, &TimeZoneDatabase::bundled());
    let said: Vec<String> = examined.diagnostics.iter().map(|diagnostic| format!("{diagnostic:?}")).collect();
    assert!(said.is_empty(), "{}", said.join("\n"));
    examined.house.expect("without errors there is a house")
}

#[test]
fn it_is_a_house_of_some_size_without_findings() {
    let house = house();
    let boards: Vec<&str> = house.boards.iter().map(|board| board.name.as_str()).collect();
    assert_eq!(boards, ["cellar", "hall", "socket", "yard"]);
    assert!(house.loads.len() >= 10, "{} loads", house.loads.len());
    let rooms: BTreeSet<&str> = house.loads.iter().filter_map(|load| load.room.as_deref()).collect();
    assert!(rooms.len() >= 5, "{rooms:?}");
    for load in &house.loads {
        // To what takes turns rules speak by the name of its rotation.
        let takes_turns =
            |rotation: &Rotation| rotation.loads.map(|member| &house.load(member).name).contains(&&load.name);
        if house.rotations.iter().any(takes_turns) {
            continue;
        }
        let rules = house.rules.iter().filter(|rule| house.load(rule.load).name == load.name).count();
        assert!(rules > 0, "no rule speaks to {}", load.name);
    }
}

#[test]
fn every_rule_says_what_it_is_for() {
    for (name, text) in files() {
        assert!(text.starts_with("# "), "{name} does not open with what it is about");
        let lines: Vec<&str> = text.lines().collect();
        for (at, line) in lines.iter().enumerate().filter(|(_, line)| line.starts_with("[rule.")) {
            let commented = at > 0 && lines[at - 1].starts_with("# ");
            assert!(commented, "{name}: {line} does not say what it is for");
        }
    }
    assert!(files().iter().any(|(_, text)| text.contains("invented")), "it is marked as invented");
}

/// What the example is to show.
const ALL: [&str; 56] = [
    "high",
    "low",
    "minus",
    "unknown",
    "interlock",
    "circuit",
    "rotation",
    "proof",
    "max_on",
    "max_starts",
    "actuator",
    "other firmware",
    "pulse",
    "reset",
    "derived",
    "days",
    "dates",
    "whole days",
    "clamp",
    "alarm",
    "cycle",
    "rise",
    "load",
    "elevation",
    "clock",
    "sun",
    "input",
    "all",
    "any",
    "not",
    "named",
    "on_delay",
    "off_delay",
    "otherwise",
    "trip",
    "priority",
    "on_unknown",
    "demand off",
    "NC",
    "safe on",
    "min_on",
    "min_off",
    "key",
    "toggles",
    "holds",
    "releases",
    "selects",
    "selector",
    "setpoint",
    "topic",
    "part",
    "scale",
    "offset",
    "photoresistor",
    "thermistor",
    "max_rate",
];

#[test]
fn it_shows_every_kind_of_rule() {
    let house = house();
    let mut shown = BTreeSet::new();
    show_atoms(&house, &mut shown);
    show_rules(&house, &mut shown);
    show_loads_and_inputs(&house, &mut shown);
    shown.extend(house.boards.iter().find(|board| board.foreign.is_some()).map(|_| "other firmware"));
    shown.extend(house.actuators.first().map(|_| "actuator"));
    shown.extend(house.loads.iter().filter_map(|load| load.pulse).map(|_| "pulse"));
    shown.extend(house.interlocks.first().map(|_| "interlock"));
    shown.extend(house.rules.iter().find(|rule| rule.latches).map(|_| "reset"));
    shown.extend(house.sensors.iter().find(|one| matches!(one.source, Source::Derived(_))).map(|_| "derived"));
    shown.extend(house.circuits.first().map(|_| "circuit"));
    shown.extend(house.rotations.first().map(|_| "rotation"));
    shown.extend(house.loads.iter().find_map(|load| load.proof).map(|_| "proof"));
    shown.extend(house.loads.iter().filter_map(|load| load.max_on).map(|_| "max_on"));
    shown.extend(house.loads.iter().filter_map(|load| load.max_starts).map(|_| "max_starts"));
    house.sensors.iter().for_each(|sensor| show_sensor(sensor, &mut shown));
    let missing: Vec<&&str> = ALL.iter().filter(|kind| !shown.contains(**kind)).collect();
    assert!(missing.is_empty(), "the example house does not show {missing:?}");
}

fn show_atoms(house: &House, shown: &mut BTreeSet<&str>) {
    for atom in &house.atoms {
        match atom {
            Atom::Threshold(threshold) => {
                shown.insert(if threshold.side == ThresholdSide::High { "high" } else { "low" });
                shown.extend(threshold.minus.map(|_| "minus"));
                shown.extend(threshold.setpoints().next().map(|_| "setpoint"));
            }
            Atom::Window { window, .. } => {
                shown.extend(window.days.map(|_| "days"));
                shown.extend(window.dates.map(|_| "dates"));
                shown.extend(window.not_before.or(window.not_after).map(|_| "clamp"));
                let Some((from, to)) = window.ends else {
                    shown.insert("whole days");
                    continue;
                };
                for end in [from, to] {
                    shown.insert(if matches!(end, WindowEnd::Clock(..)) { "clock" } else { "sun" });
                }
            }
            Atom::Rise(..) => {
                shown.insert("rise");
            }
            Atom::Alarm { .. } => {
                shown.insert("alarm");
            }
            Atom::Load { .. } => {
                shown.insert("load");
            }
            Atom::Cycle { .. } => {
                shown.insert("cycle");
            }
            Atom::Sun { .. } => {
                shown.insert("elevation");
            }
            Atom::Unknown { .. } => {
                shown.insert("unknown");
            }
            Atom::Selector { .. } => {
                shown.insert("selector");
            }
            Atom::Input { is, .. } => {
                shown.insert(if *is == State::On { "input" } else { "input off" });
            }
        }
    }
}

fn show_sensor(sensor: &Sensor, shown: &mut BTreeSet<&str>) {
    shown.extend(sensor.grade.part.map(|_| "part"));
    shown.extend(sensor.max_rate.map(|_| "max_rate"));
    shown.extend((sensor.calibration.scale != 1.0).then_some("scale"));
    shown.extend((sensor.calibration.offset != 0.0).then_some("offset"));
    shown.extend(sensor.calibration.conversion.as_ref().map(|conversion| match conversion {
        Conversion::Photoresistor { .. } => "photoresistor",
        Conversion::Thermistor { .. } => "thermistor",
    }));
}

fn show_rules(house: &House, shown: &mut BTreeSet<&str>) {
    for rule in &house.rules {
        kinds(&rule.condition, shown);
        shown.extend((!rule.on_delay.is_zero()).then_some("on_delay"));
        shown.extend((!rule.off_delay.is_zero()).then_some("off_delay"));
        shown.extend(rule.otherwise.map(|_| "otherwise"));
        shown.extend((rule.priority == 2).then_some("trip"));
        shown.extend((9..16).contains(&rule.priority).then_some("priority"));
        shown.extend((rule.on_unknown == OnUnknown::Release).then_some("on_unknown"));
        shown.extend((rule.demand == State::Off).then_some("demand off"));
    }
}

fn show_loads_and_inputs(house: &House, shown: &mut BTreeSet<&str>) {
    for load in &house.loads {
        shown.extend((load.contact == Contact::Nc).then_some("NC"));
        shown.extend((load.safe == State::On).then_some("safe on"));
        shown.extend((!load.min_on.is_zero()).then_some("min_on"));
        shown.extend((!load.min_off.is_zero()).then_some("min_off"));
    }
    for input in &house.inputs {
        shown.extend(input.code.as_ref().map(|_| "key"));
        shown.extend(input.action.map(|action| match action {
            Action::Toggles(..) => "toggles",
            Action::Holds(..) => "holds",
            Action::Releases(..) => "releases",
            Action::Selects(..) | Action::Steps(..) => "selects",
        }));
    }
    shown.extend(house.sensors.iter().filter(|sensor| matches!(sensor.source, Source::Topic { .. })).map(|_| "topic"));
}

fn kinds(condition: &Condition, shown: &mut BTreeSet<&str>) {
    match condition {
        Condition::Atom(_) => {}
        Condition::Named(_) => {
            shown.insert("named");
        }
        Condition::All(parts) | Condition::Any(parts) => {
            shown.insert(if matches!(condition, Condition::All(_)) { "all" } else { "any" });
            parts.iter().for_each(|part| kinds(part, shown));
        }
        Condition::Not(part) => {
            shown.insert("not");
            kinds(part, shown);
        }
    }
}

/// The sensors that are not computed from others.
fn measured(house: &House) -> impl Iterator<Item = &Sensor> {
    house.sensors.iter().filter(|sensor| !matches!(sensor.source, Source::Derived(_)))
}

#[test]
fn the_world_knows_its_names() {
    let house = house();
    // 2026-11-24T12:00Z.
    let noon = WallTime(1_795_521_600_000);
    let mut world = World::rowan_cottage(house.site.latitude, house.site.longitude, noon, 1);
    let sensors: Vec<&str> = measured(&house).map(|sensor| sensor.name.as_str()).collect();
    assert_eq!(world.readings().map(|(name, _)| name).collect::<Vec<_>>(), sensors);
    let mut contacts: Vec<&str> = world.contacts().map(|(name, _)| name).collect();
    contacts.sort_unstable();
    let inputs: Vec<&str> =
        house.inputs.iter().filter(|input| input.action.is_none()).map(|input| input.name.as_str()).collect();
    assert_eq!(contacts, inputs);
    // Every load that the world asks about is one of the house.
    let asked = std::cell::RefCell::new(BTreeSet::new());
    world.advance(noon + Span::from_min(1), |load| {
        asked.borrow_mut().insert(load.to_owned());
        false
    });
    assert!(!asked.borrow().is_empty());
    for load in asked.borrow().iter() {
        assert!(house.load_named(load).is_some(), "the world moves {load}, which is no load of the house");
    }
}

#[test]
fn the_world_stays_within_the_sensors_ranges() {
    let house = house();
    let start = WallTime(1_767_225_600_000);
    let mut world = World::rowan_cottage(house.site.latitude, house.site.longitude, start, 1);
    for hour in 1..365 * 24 {
        world.advance(start + Span::from_h(hour), |load| (load.len() as u64 + hour).is_multiple_of(3));
        let sent = world.readings().zip(world.quantities());
        for (sensor, ((_, raw), (_, truth))) in measured(&house).zip(sent) {
            let (low, high) = sensor.range.expect("each measured sensor of the example has a range");
            let value = calibrated(&sensor.calibration, raw).expect("what the world sends stands for something");
            assert!((low..=high).contains(&value), "{} reads {value}", sensor.name);
            // The world and the house reckon apart: one from the quantity to what is sent, the other back.
            let within = match sensor.unit.as_str() {
                // A count of the input is most at both ends: in the sun a tenth, and below 0.1 lx it is merely dark.
                "lx" => 0.1 * truth + 0.05,
                "m/s" => 0.15,
                _ => 0.06,
            };
            assert!((value - truth).abs() <= within, "{} reads {value}, it is {truth}", sensor.name);
        }
    }
}

/// The first house of the README is one: what stands between its TOML fences.
#[test]
fn the_first_house_of_the_readme_is_sound() {
    let readme =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).expect("README.md is there");
    let (_, rest) = readme.split_once("```toml\n").expect("the README has a house");
    let (house, _) = rest.split_once("```").expect("the fence is closed");
    assert!(house.lines().count() <= 10, "it is to be short");
    let files = [("first.toml".to_owned(), house.to_owned())];
    let examined = check::examine(&files, &TimeZoneDatabase::bundled());
    assert!(examined.diagnostics.is_empty(), "{:?}", examined.diagnostics);
    assert_eq!(examined.house.map(|house| house.rules.len()), Some(1));
}
