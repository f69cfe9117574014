//! The example house in `rules/`: it decodes with no finding but one, uses all of the language, and the simulated world knows all
//! of its names. It needs no broker.

#[path = "example_house/language.rs"]
mod language;
#[path = "support/example_house.rs"]
mod rules;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use jiff::tz::TimeZoneDatabase;
use rules::files;
use standfast::calendar::WindowEnd;
use standfast::check;
use standfast::house::{Atom, House, Rotation, Sensor, Source, State, ThresholdSide};
use standfast::sensing::calibrated;
use standfast::units::{Span, WallTime};
use standfast::world::World;

/// What `check` has to say. The cheapest socket is there to show what such a one can do and what not, and is warned of.
const FINDINGS: [(&str, &str); 1] = [("no-lease", "board \"beacon\" has no lease")];

fn house() -> House {
    let files = files();
    let examined = check::examine(&files, &TimeZoneDatabase::bundled());
    let said: Vec<(&str, &str)> =
        examined.diagnostics.iter().map(|one| (one.code.as_str(), one.message.as_str())).collect();
    assert_eq!(said, FINDINGS);
    examined.house.expect("without errors there is a house")
}

#[test]
fn it_is_a_house_of_some_size() {
    let house = house();
    let boards: Vec<&str> = house.boards.iter().map(|board| board.name.as_str()).collect();
    assert_eq!(boards, ["beacon", "cellar", "hall", "socket", "yard"]);
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

/// Keys that no file of the example uses, each with the reason.
const EXCUSED: [(&str, &str); 15] = [
    ("actuator.resting", "door and vent rest shut, as they do where nothing is said"),
    ("rotation.resting", "pumps rest, as they do where nothing is said"),
    ("board.active_low", "both boards of other firmware know their relays"),
    ("board.first", "neither of the two puts a number into its topics"),
    ("board.lost_after", "the socket's last will says when it is gone"),
    ("board.alive.field", "it says so in a bare word"),
    ("board.order.retain", "the last order, however old it is, is for no board that may do without"),
    ("sensor.photoresistor.r10", "two points by a light meter are far better"),
    ("sensor.photoresistor.gamma", "as above"),
    ("sensor.photoresistor.supply", "supply and reference of the board's inputs are the same"),
    ("sensor.photoresistor.reference", "as above"),
    ("sensor.thermistor.supply", "as above"),
    ("sensor.thermistor.reference", "as above"),
    ("sensor.thermistor.points", "β does, so near to freezing"),
    ("sensor.thermistor.coefficients", "as above"),
];

#[test]
fn it_uses_every_key_of_the_language() {
    let used: BTreeSet<String> = files().iter().flat_map(|(_, text)| language::used(text)).collect();
    let excused: BTreeSet<String> = EXCUSED.iter().map(|(key, _)| (*key).to_owned()).collect();
    let words = language::words();
    let missing: Vec<&String> = words.iter().filter(|word| !used.contains(*word) && !excused.contains(*word)).collect();
    assert!(missing.is_empty(), "no file of rules/ uses {missing:#?}");
    let needless: Vec<&String> = excused.iter().filter(|word| used.contains(*word) || !words.contains(*word)).collect();
    assert!(needless.is_empty(), "nothing to excuse: {needless:#?}");
    // Of the values of some keys it is one that makes the key worth having.
    for word in TELLING {
        assert!(used.contains(word), "no file of rules/ has {word}");
    }
}

/// Values that a reader should find an example of.
const TELLING: [&str; 8] = [
    "load.contact = \"NC\"",
    "load.safe = \"on\"",
    "load.resting = \"on\"",
    "load.pulse_at = \"change\"",
    "rule.demand = \"off\"",
    "rule.reset = \"manual\"",
    "rule.on_unknown = \"release\"",
    "alarm-condition.is = \"standing\"",
];

/// What the names of keys do not show.
#[test]
fn it_shows_what_one_key_may_say_in_more_than_one_way() {
    let house = house();
    let mut shown = BTreeSet::new();
    for atom in &house.atoms {
        match atom {
            Atom::Threshold(threshold) => {
                shown.insert(if threshold.side == ThresholdSide::High { "rising" } else { "falling" });
                shown.extend(threshold.setpoints().next().map(|_| "a setpoint for a number"));
            }
            Atom::Window { window, .. } => match window.ends {
                None => drop(shown.insert("whole days")),
                Some((from, to)) => shown.extend([from, to].map(|end| match end {
                    WindowEnd::Clock(..) => "an hour",
                    WindowEnd::Sun(..) => "an event of the sun",
                })),
            },
            _ => {}
        }
    }
    shown.extend(house.rules.iter().map(|rule| match rule.priority {
        2 => "a safety trip",
        16 => "the weakest",
        _ => "a stronger one",
    }));
    shown.extend(house.boards.iter().filter_map(|board| board.foreign.as_ref()).map(|other| match other.reports() {
        true => "other firmware that reports",
        false => "other firmware that is silent",
    }));
    let codes = house.inputs.iter().filter(|input| input.code.is_some()).count();
    assert!(codes >= 2 && house.inputs.iter().any(|input| input.code.is_none()), "keys of a remote, and buttons");
    assert_eq!(shown.len(), 11, "{shown:?}");
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
fn the_world_moves_what_contacts_tell_of_relays() {
    let house = house();
    let noon = WallTime(1_795_521_600_000);
    let still = World::rowan_cottage(house.site.latitude, house.site.longitude, noon, 1);
    let on = |world: &World| -> BTreeSet<&str> {
        world.contacts().filter(|(_, state)| *state == State::On).map(|(name, _)| name).collect()
    };
    let input = |port| house.inputs.iter().find(|input| input.port == port).expect("it has a name").name.as_str();
    // A pulse of a load with a feedback shows at once.
    let told = house.loads.iter().filter_map(|load| Some((load.relay()?, load.pulse?.feedback?)));
    for (relay, feedback) in told {
        let mut world = still.clone();
        for expected in [true, false] {
            world.relay_moved(noon, &house, relay, true);
            world.relay_moved(noon, &house, relay, false);
            assert_eq!(on(&world).contains(input(feedback)), expected);
        }
    }
    // An actuator leaves one end and is at the other within the time that a run has.
    for actuator in house.actuators.iter().filter(|actuator| actuator.open_end.is_some()) {
        let (mut world, mut now) = (still.clone(), noon);
        let ends = [State::On, State::Off].map(|end| (end, input(actuator.end(end).expect("a contact at both ends"))));
        assert!(on(&world).contains(ends[1].1) && world.arrives().is_none(), "it begins shut");
        for (end, name) in ends {
            world.relay_moved(now, &house, actuator.relay(end), true);
            world.advance(now + Span::from_s(10), |_| false);
            assert!(ends.iter().all(|(_, name)| !on(&world).contains(name)), "between the two");
            let arrives = world.arrives().expect("it moves");
            assert!(arrives < now + actuator.length(end), "a run is too short for it");
            world.advance(arrives, |_| false);
            assert!(on(&world).contains(name) && world.arrives().is_none());
            world.relay_moved(arrives, &house, actuator.relay(end), false);
            now = arrives;
        }
    }
    let shown = house.actuators.iter().any(|actuator| actuator.open_end.is_some());
    assert!(shown && house.loads.iter().any(|load| load.pulse.is_some_and(|pulse| pulse.feedback.is_some())));
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
