//! Tests of decoding: a whole house with every key, and that no text makes it panic.

mod modes;
mod sensors;
mod spoilt;

use std::fmt::Write;

use super::*;
use crate::house::{Action, Atom, Bound, Condition, Contact, Kind, OnUnknown, Source, State, Term, ThresholdSide};
use crate::units::{Amperes, Span, Watts};

/// Two files that use every key and every kind of condition.
const SITE: &str = include_str!("tests/site.toml");
const ROOMS: &str = include_str!("tests/rooms.toml");

fn files(texts: &[&str]) -> Vec<(String, String)> {
    texts.iter().enumerate().map(|(index, text)| (format!("{index}.toml"), (*text).to_owned())).collect()
}

fn zones() -> &'static TimeZoneDatabase {
    static ZONES: std::sync::OnceLock<TimeZoneDatabase> = std::sync::OnceLock::new();
    ZONES.get_or_init(TimeZoneDatabase::bundled)
}

/// The house of some texts that are right.
fn house(texts: &[&str]) -> House {
    let files = files(texts);
    let (house, diagnostics) = read(&files, zones());
    let said: Vec<String> = diagnostics.iter().map(|one| crate::diagnostic::render::line(one, &files)).collect();
    house.unwrap_or_else(|| panic!("{}", said.join("\n")))
}

/// The codes of what is wrong with a text added to a house that is right.
fn codes(text: &str) -> Vec<String> {
    let (house, diagnostics) = read(&files(&[SITE, ROOMS, text]), zones());
    assert_eq!(house.is_none(), errors(&diagnostics) > 0);
    diagnostics.into_iter().map(|diagnostic| diagnostic.code).collect()
}

fn check(text: &str, expected: &[&str]) {
    assert_eq!(codes(text), expected, "{text}");
}

#[test]
fn every_key_arrives_in_the_house() {
    let house = house(&[SITE, ROOMS]);
    assert_eq!((house.site.latitude, house.site.longitude), (54.60, -3.14));
    assert_eq!((house.site.zone_name.as_str(), house.site.stagger), ("Europe/London", Span(500)));
    let yard = &house.boards[house.board_named("yard").unwrap().index()];
    assert_eq!((yard.relays, yard.lease), (8, Some(Span::from_s(120))));
    assert_eq!((yard.coil, yard.supply), (Some(Amperes(0.072)), Some(Amperes(1.0))));
    let hall = &house.boards[house.board_named("hall").unwrap().index()];
    assert_eq!((hall.lease, hall.coil), (None, None));

    let air = house.sensor(house.sensor_named("sunroom-air").unwrap());
    assert_eq!(air.source, Source::Board { board: house.board_named("yard").unwrap(), reading: "t1".into() });
    assert_eq!((air.unit.as_str(), air.range, air.stale_after), ("°C", Some((-20.0, 60.0)), Span::from_min(3)));
    let roof = house.sensor(house.sensor_named("roof").unwrap());
    assert_eq!(roof.source, Source::Topic { topic: "roof".into(), field: Some("/outdoor/t".into()) });
    assert_eq!((roof.unit.as_str(), roof.range, roof.stale_after), ("°C", None, Span::from_min(5)));

    let fan = house.load(house.load_named("sunroom-fan").unwrap());
    assert_eq!((fan.label.as_str(), fan.room.as_deref()), ("Sun-room fan", Some("sun room")));
    assert_eq!(
        (house.relay_name(fan.relay().unwrap()).as_str(), fan.contact, fan.kind),
        ("yard/2", Contact::Nc, Kind::Motor)
    );
    assert_eq!((fan.power, fan.safe, fan.resting), (Some(Watts(45.0)), State::On, State::On));
    assert_eq!((fan.min_on, fan.min_off), (Span::from_min(2), Span::from_min(3)));
    assert_eq!(fan.hold_for, Term::For(Span::from_h(2)));
    let lamp = house.load(house.load_named("hall-lamp").unwrap());
    assert_eq!((lamp.label.as_str(), lamp.hold_for.clone()), ("hall-lamp", Term::NextChange));
    assert_eq!((lamp.safe, lamp.resting, lamp.contact), (State::Off, State::Off, Contact::No));

    let names: Vec<&str> = house.inputs.iter().map(|input| input.name.as_str()).collect();
    assert_eq!(names, ["door", "hall-2", "red", "yellow"]);
    let lamp = house.load_named("hall-lamp").unwrap();
    assert_eq!(house.inputs[1].action, Some(Action::Toggles(lamp)));
    assert_eq!(house.inputs[1].hold_for, Some(Term::For(Span::from_h(1))));
    assert_eq!(house.inputs[2].action, Some(Action::Holds(lamp, State::Off)));
    assert_eq!(house.inputs[3].action, Some(Action::Releases(lamp)));
    assert_eq!(house.inputs[2].port, house.inputs[3].port);
    assert_eq!(house.ports[house.inputs[2].port.index()].name, "ir");
}

#[test]
fn rules_and_conditions_arrive_in_the_house() {
    let house = house(&[SITE, ROOMS]);
    let rule = house.rule(house.rule_named("vents").unwrap());
    assert_eq!((rule.demand, rule.otherwise, rule.priority), (State::On, Some(State::Off), 12));
    assert_eq!((rule.on_delay, rule.off_delay, rule.on_unknown), (Span(60_000), Span(300_000), OnUnknown::Release));
    assert_eq!(house.place_name(rule.place), "1.toml:1");
    let Condition::All(members) = &rule.condition else { panic!("{:?}", rule.condition) };
    let [Condition::Named(_), Condition::Any(inner), Condition::Not(not)] = &members[..] else { panic!("{members:?}") };
    let [Condition::Atom(high), Condition::Atom(window)] = inner[..] else { panic!("{inner:?}") };
    let Atom::Threshold(high) = house.atom(high) else { panic!("a threshold") };
    assert_eq!((high.side, high.cut_in, high.cut_out), (ThresholdSide::High, Bound::Number(28.0), Bound::Number(26.5)));
    let Atom::Window { window, place } = house.atom(window) else { panic!("a window") };
    assert_eq!(window.to_string(), "from sunset - 20m to 23:15, sun..thu, 10-01..04-15");
    assert_eq!(house.place_name(*place), "1.toml:12");
    let Condition::Atom(door) = **not else { panic!("{not:?}") };
    assert!(matches!(house.atom(door), Atom::Input { is: State::On, .. }));

    let plain = house.rule(house.rule_named("plain").unwrap());
    assert_eq!((plain.priority, plain.otherwise, plain.on_unknown), (16, None, OnUnknown::Safe));
    // Leaves are numbered by first use in order of names, conditions before rules, whatever file they stand in.
    let swapped = super::read(&files(&[ROOMS, SITE]), zones()).0.unwrap();
    let kinds = |house: &House| -> Vec<_> { house.atoms.iter().map(std::mem::discriminant).collect() };
    assert_eq!(kinds(&house), kinds(&swapped));
}

#[test]
fn names_that_do_not_resolve_are_reported_with_the_nearest() {
    check("[load.x]\nrelay = \"yrd/1\"\nkind = \"lamp\"", &["unknown-name"]);
    check("[input.x]\nat = \"hall/x\"\nreleases = \"\"", &["unknown-name"]);
    check("[input.x]\nat = \"hall/x\"\nreleases = \"hall\"", &["unknown-name"]);
    check("[load.x]\nrelay = \"yard/9\"\nkind = \"lamp\"", &["unknown-relay"]);
    check("[load.x]\nrelay = 3\nkind = \"lampe\"", &["wrong-type", "unknown-word"]);
    check("[rule.x]\nload = \"hall-lamb\"\ndemand = \"on\"\nwhile = \"dark\"", &["unknown-name"]);
    check("[rule.x]\nload = \"hall-lamp\"\ndemand = \"on\"\nwhile = \"door\"", &["unknown-name"]);
}

#[test]
fn keys_are_checked_against_their_table() {
    check("[load.x]\nrealy = \"yard/1\"\nkind = \"lamp\"", &["unknown-key"]);
    check("[load.x]\nkind = \"lamp\"", &["missing-key"]);
    check("[lod.x]\nrelay = \"yard/1\"", &["unknown-section"]);
    check("[[load]]\nrelay = \"yard/1\"", &["wrong-type"]);
    check("[load]\nrelay = \"yard/1\"\nkind = \"lamp\"", &["missing-name"]);
    check("[load.Porch_Lamps]\nrelay = \"yard/1\"\nkind = \"lamp\"", &["bad-name"]);
    check("[load.hall-lamp]\nrelay = \"yard/1\"\nkind = \"lamp\"", &["defined-twice"]);
    check("[site]\nzone = \"UTC\"\nposition = [0, 0]", &["defined-twice"]);
    check("relay = \"yard/1\"", &["unknown-section"]);
    check("[sensor.x]\nunit = \"°C\"", &["missing-key"]);
    check("[sensor.x]\nreading = \"yard/a\"\ntopic = \"b\"", &["contradiction"]);
    check("[sensor.x]\ntopic = \"b/#\"\nfield = \"a.b\"\nrange = [5, 1]", &["bad-topic", "bad-pointer", "bad-value"]);
    check("[input.x]\nat = \"hall/x\"\nhold_for = \"1h\"", &["contradiction"]);
    check("[input.x]\nat = \"hall/x\"\ntoggles = \"hall-lamp\"\nreleases = \"hall-lamp\"", &["contradiction"]);
    check("[input.x]\nat = \"hall/x\"\nholds = \"hall-lamp\"\ncode = \"on\"", &["bad-load-state", "bad-value"]);
    check("[board.x]\nrelays = 17\nlease = \"4s\"", &["out-of-bounds", "bad-duration"]);
}

#[test]
fn conditions_are_checked() {
    let rule = |condition: &str| {
        codes(&format!("[rule.x]\nload = \"hall-lamp\"\ndemand = \"on\"\nwhile = {condition}\n")).join(" ")
    };
    let threshold = |ends: &str| rule(&format!("{{ sensor = \"sunroom-air\", {ends} }}"));
    assert_eq!(threshold("cut_in = \">= 28\", cut_out = \"<= 27\""), "");
    assert_eq!(threshold("cut_in = \"<= 2 Cel\", cut_out = \">= 3 °C\""), "");
    assert_eq!(threshold("cut_in = \">= 28\""), "no-deadband");
    assert_eq!(threshold("cut_out = \">= 28\""), "no-deadband");
    assert_eq!(threshold("cut_in = \">= 28\", cut_out = \"<= 28\""), "no-deadband");
    assert_eq!(threshold("cut_in = \">= 28\", cut_out = \"<= 30\""), "no-deadband");
    assert_eq!(threshold("cut_in = \">= 28\", cut_out = \">= 30\""), "comparators-do-not-fit");
    assert_eq!(threshold("cut_in = \"> 28\", cut_out = 26"), "bad-comparison wrong-type");
    assert_eq!(threshold("cut_in = \">= 28 lx\", cut_out = \"<= 26\""), "wrong-unit");
    assert_eq!(threshold("cut_in = \">= 28\", cut_out = \"<= 26\", from = \"22:00\""), "mixed-condition");
    assert_eq!(threshold("cutin = \">= 28\", cut_out = \"<= 26\""), "unknown-key");
    assert_eq!(threshold("minus = \"porch-lux\", cut_in = \">= 8\", cut_out = \"<= 4\""), "wrong-unit");
    assert_eq!(threshold("minus = \"sunroom-air\", cut_in = \">= 8\", cut_out = \"<= 4\""), "wrong-unit");
    assert_eq!(threshold("minus = \"sunrom-air\", cut_in = \">= 8\", cut_out = \"<= 4\""), "unknown-name");
    assert_eq!(threshold("is = \"unknown\""), "");
    assert_eq!(threshold("is = \"stale\""), "unknown-word");
    assert_eq!(threshold("is = \"unknown\", cut_in = \">= 8\""), "mixed-condition");
    assert_eq!(rule("{ from = \"22:00\" }"), "missing-key");
    assert_eq!(rule("{ from = \"22:00\", to = \"22:00\" }"), "bad-window-end");
    assert_eq!(rule("{ from = \"25:00\", to = \"sunup\" }"), "bad-window-end bad-window-end");
    assert_eq!(rule("{ days = \"mon..fri\" }"), "");
    assert_eq!(rule("{ from = \"06:30\", to = \"sunrise\", not_after = \"08:00\" }"), "");
    assert_eq!(rule("{ from = \"06:30\", to = \"sunrise\", not_before = \"08:00\" }"), "bad-clock");
    assert_eq!(rule("{ from = \"06:30\", to = \"sunrise\", not_after = \"8 am\" }"), "bad-clock");
    assert_eq!(rule("{ on_for = \"10m\", off_for = \"2h\" }"), "");
    assert_eq!(rule("{ on_for = \"10m\" }"), "missing-key");
    assert_eq!(rule("{ on_for = \"0s\", off_for = \"25h\" }"), "bad-duration bad-duration");
    assert_eq!(rule("{ on_for = \"10m\", off_for = \"23h51m\" }"), "bad-duration");
    assert_eq!(rule("{ on_for = \"10m\", off_for = \"2h\", days = \"sat\" }"), "mixed-condition");
    assert_eq!(rule("{ sun = \"<= -3\" }"), "");
    assert_eq!(rule("{ sun = -3 }"), "wrong-type");
    let rise = |keys: &str| rule(&format!("{{ sensor = \"sunroom-air\", {keys} }}"));
    assert_eq!(rise("rises = 5, within = \"3m\", until_back_by = 3"), "");
    assert_eq!(rise("falls = 0.5, within = \"24h\", until_back_by = 0.5"), "");
    assert_eq!(rise("rises = 5, falls = 5, within = \"3m\", until_back_by = 3"), "contradiction");
    assert_eq!(rise("within = \"3m\", until_back_by = 3"), "missing-key");
    assert_eq!(rise("rises = 5, within = \"3m\""), "missing-key");
    assert_eq!(rise("rises = 5, within = \"3m\", until_back_by = 6"), "out-of-bounds");
    assert_eq!(rise("rises = -5, within = \"3m\", until_back_by = 0"), "out-of-bounds out-of-bounds");
    assert_eq!(rise("rises = \"5 °C\", within = \"5s\", until_back_by = 3"), "wrong-type bad-duration");
    assert_eq!(rise("rises = 5, within = \"3m\", until_back_by = 3, cut_in = \">= 8\""), "mixed-condition");
    assert_eq!(rule("{ alarm = \"any\" }"), "");
    assert_eq!(rule("{ alarm = \"board-yard\", is = \"standing\" }"), "");
    assert_eq!(rule("{ alarm = \"house-waits\" }"), "");
    assert_eq!(rule("{ alarm = \"trip-x\" }"), "");
    assert_eq!(rule("{ alarm = \"board-yrad\" }"), "unknown-alarm");
    assert_eq!(rule("{ alarm = \"any\", is = \"on\" }"), "unknown-word");
    assert_eq!(rule("{ load = \"sunroom-fan\", is = \"on\" }"), "");
    assert_eq!(rule("{ load = \"sunroom-fan\", is = \"unknown\" }"), "unknown-word");
    assert_eq!(rule("{ load = \"sunrom-fan\", is = \"on\" }"), "unknown-name");
    assert_eq!(rule("\"sunroom-fan\""), "unknown-name");
    assert_eq!(rule("{ sun = \"below -3\" }"), "bad-comparison");
    assert_eq!(rule("{ not_after = \"08:00\" }"), "bad-clock");
    assert_eq!(rule("{ days = \"mo\", dates = \"13-01\" }"), "bad-days bad-dates");
    assert_eq!(rule("{ input = \"red\", is = \"on\" }"), "wrong-input");
    assert_eq!(rule("{ input = \"door\" }"), "missing-key");
    assert_eq!(rule("{ }"), "empty-condition");
    assert_eq!(rule("{ colour = 1 }"), "unknown-key");
    assert_eq!(rule("[\"dark\"]"), "wrong-type");
    assert_eq!(rule("true"), "wrong-type");
    assert_eq!(rule("{ all = [] }"), "bad-list");
    assert_eq!(rule("{ all = \"dark\" }"), "wrong-type");
    assert_eq!(rule("{ not = [\"dark\"] }"), "wrong-type");
    assert_eq!(rule("{ all = [\"dark\"], any = [\"dark\"] }"), "mixed-condition");
    assert_eq!(rule(&format!("{}\"dark\"{}", "{ not = ".repeat(20), " }".repeat(20))), "too-deep");
}

#[test]
fn alarms_are_named_by_their_ids() {
    let help = |alarm: &str| {
        let text = format!("[rule.x]\nload = \"hall-lamp\"\ndemand = \"on\"\nwhile = {{ alarm = \"{alarm}\" }}\n");
        let files = files(&[SITE, ROOMS, &text]);
        read(&files, zones()).1.into_iter().map(|one| one.help).collect::<Vec<_>>().join("; ")
    };
    assert_eq!(help("board-yrad"), "did you mean \"board-yard\"?");
    assert_eq!(
        help("hall-lamp"),
        "write \"obey-hall-lamp\", \"proof-hall-lamp\", \"reach-hall-lamp\", \"switching-hall-lamp\" or \"fault-hall-lamp\""
    );
    assert_eq!(help("clok"), "did you mean \"clock\"?");
    assert!(help("everything!").starts_with("write \"any\", or one of \"board-<board>\""), "{}", help("everything!"));
}

#[test]
fn priorities_are_explained() {
    for slot in ["1", "3", "5", "6", "8", "17", "-2", "1.5"] {
        let text = format!("[rule.x]\nload = \"hall-lamp\"\ndemand = \"on\"\nwhile = \"dark\"\npriority = {slot}");
        check(&text, &["bad-priority"]);
    }
}

#[test]
fn derived_sensors_are_checked() {
    let air = "[sensor.rh]\nreading = \"yard/h1\"\nunit = \"%\"\n";
    let dew = |inner: &str| codes(&format!("{air}[sensor.x]\n{inner}\n")).join(" ");
    assert_eq!(dew("dew_point = { temperature = \"sunroom-air\", humidity = \"rh\" }"), "");
    assert_eq!(dew("absolute_humidity = { temperature = \"sunroom-air\", humidity = \"rh\" }"), "");
    assert_eq!(dew("dew_point = { temperature = \"rh\", humidity = \"sunroom-air\" }"), "wrong-ingredient");
    assert_eq!(dew("dew_point = { temperature = \"sunroom-air\" }"), "missing-key");
    assert_eq!(dew("dew_point = { temperature = \"sunrom-air\", humidity = \"rh\" }"), "unknown-name");
    assert_eq!(dew("dew_point = \"sunroom-air\""), "wrong-type");
    assert_eq!(dew("mean = [\"sunroom-air\", \"rh\"]"), "wrong-ingredient");
    assert_eq!(dew("mean = [\"sunroom-air\"]"), "too-few");
    assert_eq!(dew("mean = [\"sunroom-air\", \"x\"]"), "wrong-ingredient");
    assert_eq!(dew("mean = [\"sunroom-air\", \"rh\"]\nrange = [0, 1]"), "contradiction");
    assert_eq!(dew("mean = [\"sunroom-air\", \"rh\"]\nreading = \"yard/t1\""), "contradiction");
    assert_eq!(dew("median = [\"sunroom-air\", \"rh\"]\nquorum = 3"), "out-of-bounds");
    assert_eq!(dew("reading = \"yard/t9\"\nmedian_of = 99"), "out-of-bounds");
    assert_eq!(dew("reading = \"yard/t9\"\nquorum = 2"), "contradiction");
    assert_eq!(dew("mean = [\"sunroom-air\", \"roof\"]\nfield = \"/a\""), "contradiction");
}

#[test]
fn only_trips_are_reset_by_hand() {
    let rule = "[rule.x]\nload = \"hall-lamp\"\ndemand = \"off\"\nwhile = \"dark\"\nreset = \"manual\"\n";
    check(rule, &["contradiction"]);
    check(&format!("{rule}priority = 2\n"), &[]);
    check(&format!("{}priority = 2\n", rule.replace("manual", "hand")), &["unknown-word"]);
}

#[test]
fn circles_are_found_once() {
    check("[condition.a]\nnot = \"a\"", &["circle"]);
    check(
        "[condition.a]\nall = [\"b\", \"dark\"]\n[condition.b]\nany = [\"c\"]\n[condition.c]\nnot = \"a\"",
        &["circle"],
    );
    let chain: String = (0..3000).map(|n| format!("[condition.n{n}]\nnot = \"n{}\"\n", n + 1)).collect();
    check(&format!("{chain}[condition.n3000]\nnot = \"dark\""), &["too-deep"]);
}

#[test]
fn faults_of_form_do_not_echo() {
    check("[load.x]\nrelay \"yard/1\"\nkind = \"lamp\"", &["not-toml"]);
    check("[load.x]\nrelay = yard/1\nkind = \"lamp\"", &["not-toml"]);
    check("[load.x]\nrelay = \"yard/1\nkind = \"lamp\"", &["not-toml"]);
    check("[load.x\nrelay = \"yard/1\"\nkind = \"lamp\"\n[board.z]\nrelays = 99", &["not-toml", "out-of-bounds"]);
    let twice = "[load.x]\nrelay = \"yard/1\"\nkind = \"lamp\"\n";
    check(&format!("{twice}{twice}"), &["defined-twice"]);
    check(&format!("{twice}kind = \"led\""), &["defined-twice"]);
}

#[test]
fn a_house_needs_a_site_and_files() {
    let said = |files: &[(String, String)]| read(files, zones()).1.into_iter().map(|one| one.code).collect::<Vec<_>>();
    assert_eq!(said(&[]), ["empty-house"]);
    assert_eq!(said(&files(&["# nothing"])), ["missing-section"]);
    assert_eq!(said(&files(&[&"#".repeat(FILE_BYTES_MAX + 1)])), ["too-large"]);
}

#[test]
fn examples_and_defaults_of_the_key_tables_are_right() {
    let mut text = String::new();
    for section in SECTIONS.into_iter().filter(|section| section.word != "site") {
        assert!(!section.meaning.is_empty() && section.example.starts_with(&format!("[{}", section.word)));
        for key in section.keys {
            assert!(key.meaning.ends_with('.'), "{}", key.name);
            let line = format!("x = {}", key.example);
            assert!(toml::de::DeTable::parse(&line).is_ok(), "{line}");
        }
        text.push_str(section.example);
    }
    text.push_str("[sensor.porch-lux]\nreading = \"yard/lux\"\nunit = \"lx\"\n[board.hall]\nrelays = 5\n");
    text.push_str("[load.hall-lamp]\nrelay = \"hall/1\"\nkind = \"led\"\n");
    for (load, relay) in [("towel-rail", 2), ("immersion", 3), ("sump-pump-a", 4), ("sump-pump-b", 5)] {
        let _ = writeln!(text, "[load.{load}]\nrelay = \"hall/{relay}\"\nkind = \"resistive\"");
    }
    let site = "[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\n";
    let house = house(&[site, &text]);
    assert_eq!((house.rules.len(), house.inputs.len()), (1, 1));
    for kind in KINDS {
        assert!(kind.lead.iter().all(|lead| kind.keys.iter().any(|key| key.name == *lead)));
    }
}

#[test]
fn a_text_cut_anywhere_is_answered() {
    for cut in (0..ROOMS.len()).filter(|cut| ROOMS.is_char_boundary(*cut)) {
        let _ = read(&files(&[SITE, &ROOMS[..cut]]), zones());
    }
}

/// The helps of what is wrong with a text added to a house that is right.
fn helps(text: &str) -> String {
    let (_, diagnostics) = read(&files(&[SITE, ROOMS, text]), zones());
    diagnostics.into_iter().map(|diagnostic| diagnostic.help).collect::<Vec<_>>().join("; ")
}

#[test]
fn what_there_is_one_of_is_not_to_be_given_another_name() {
    let site = "[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\n";
    assert_eq!(helps(site), "a house has one: write all of it in one place");
    assert!(helps(&format!("{site}{site}")).starts_with("write all of it below one of them"));
    assert!(helps("[load.x]\n[load.x]\n").contains("give one another name"));
}

#[test]
fn an_end_contact_by_another_word_is_found() {
    for (word, key) in [("open_at", "open_end"), ("closed_at", "close_end")] {
        let text = format!("[actuator.x]\nopen = \"yard/7\"\nclose = \"yard/8\"\ntravel = \"18s\"\n{word} = \"y\"\n");
        assert!(helps(&text).contains(&format!("did you mean `{key}`?")), "{}", helps(&text));
    }
}
