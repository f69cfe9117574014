//! Tests of the findings: each is found where it is, and not in a house that is right.

mod outputs;

use super::*;

const HOUSE: &str = r#"
[site]
position = [54.60, -3.14]
zone = "Europe/London"

[board.yard]
relays = 4

[sensor.air]
reading = "yard/t1"
unit = "°C"
range = [-20, 60]

[load.fan]
relay = "yard/1"
kind = "motor"

[input.button]
at = "yard/b1"
toggles = "fan"

[input.door]
at = "yard/door"

[condition.warm]
sensor = "air"
cut_in = ">= 28"
cut_out = "<= 26.5"

[rule.vents]
load = "fan"
demand = "on"
while.all = ["warm", { from = "06:00", to = "22:00" }, { input = "door", is = "off" }]
"#;

const HEATERS: &str = r#"
[load.rail]
relay = "yard/2"
kind = "resistive"
power = "600 W"
[load.immersion]
relay = "yard/3"
kind = "resistive"
power = "2 kW"
[input.rail]
at = "yard/b2"
toggles = "rail"
[input.immersion]
at = "yard/b3"
toggles = "immersion"
"#;

/// What is found in the house with one text replaced and another added.
fn found(replaced: (&str, &str), added: &str) -> Vec<Diagnostic> {
    assert!(HOUSE.contains(replaced.0), "{}", replaced.0);
    let text = HOUSE.replacen(replaced.0, replaced.1, 1) + added;
    let examined = examine(&[("house.toml".to_owned(), text)], &TimeZoneDatabase::bundled());
    assert_eq!(examined.house.is_none(), errors(&examined.diagnostics) > 0);
    examined.diagnostics
}

fn check(replaced: (&str, &str), added: &str, expected: &[&str]) {
    let found = found(replaced, added);
    let codes: Vec<&str> = found.iter().map(|one| one.code.as_str()).collect();
    assert_eq!(codes, expected, "{found:#?}");
    // Every finding points at something and says what to do.
    assert!(found.iter().all(|one| one.at.as_ref().is_some_and(|at| at.span.start > 0) && !one.help.is_empty()));
}

#[test]
fn a_house_that_is_right_has_no_findings() {
    check(("", ""), "", &[]);
}

#[test]
fn things_that_are_shared() {
    check(("", ""), "[load.x]\nrelay = \"yard/1\"\nkind = \"lamp\"\n", &["shared-relay"]);
    let twin = "[sensor.x]\nreading = \"yard/t1\"\nunit = \"°C\"\n[condition.y]\nsensor = \"x\"\ncut_in = \">= 5\"\n\
                cut_out = \"<= 4\"\n[rule.z]\nload = \"fan\"\ndemand = \"on\"\nwhile = \"y\"\n";
    check(("", ""), twin, &["shared-source"]);
    check(("", ""), "[input.x]\nat = \"yard/b1\"\nreleases = \"fan\"\n", &["shared-input"]);
    check(("", ""), "[input.x]\nat = \"yard/b1\"\ncode = \"0F\"\nreleases = \"fan\"\n", &[]);
}

#[test]
fn rules_that_disagree() {
    let rule = |more: &str| format!("[rule.x]\nload = \"fan\"\nwhile = \"warm\"\n{more}\n");
    check(("", ""), &rule("demand = \"off\""), &["disagreement"]);
    check(("", ""), &rule("demand = \"on\"\notherwise = \"off\""), &["disagreement"]);
    let both = ("demand = \"on\"", "demand = \"on\"\notherwise = \"off\"");
    check(both, &rule("demand = \"on\"\notherwise = \"off\""), &["disagreement"]);
    check(("", ""), &rule("demand = \"off\"\npriority = 12"), &[]);
    check(("", ""), &rule("demand = \"on\""), &[]);
    let found = found(("kind = \"motor\"", "kind = \"motor\"\nsafe = \"off\""), &rule("demand = \"off\""));
    assert!(found[0].cause.contains("slot 16") && found[0].cause.contains("off, wins"), "{}", found[0].cause);
}

/// Beyond the polar circle, where the sun stays up in summer and down in winter.
#[test]
fn windows_are_empty_for_the_reason_that_there_is() {
    let why = |position: &str, window: &str| {
        let house = HOUSE.replace("[54.60, -3.14]", position).replace("from = \"06:00\", to = \"22:00\"", window);
        let examined = examine(&[("house.toml".to_owned(), house)], &TimeZoneDatabase::bundled());
        let [one] = &examined.diagnostics[..] else { panic!("{window}: {:?}", examined.diagnostics) };
        assert_eq!(one.code.as_str(), "empty-window");
        one.cause.clone()
    };
    let (here, north) = ("[54.60, -3.14]", "[69.65, -3.14]");
    assert_eq!(why(north, "from = \"sunset\", to = \"sunrise\""), "on these days there is no sunset");
    assert_eq!(why(north, "from = \"dusk\", to = \"dawn\""), "on these days there is no dusk");
    let ends_first = "on these days it would end before it begins";
    assert_eq!(why(here, "from = \"06:00\", to = \"sunrise\""), ends_first);
    assert_eq!(
        why(north, "from = \"06:00\", to = \"sunrise\""),
        format!("{} or it would end before it begins", "on these days there is no sunrise,")
    );
    assert_eq!(why(here, "from = \"sunset\", to = \"12:30\""), "on every day it would end before it begins");
}

#[test]
fn rules_that_leave_nothing_to_others() {
    let rule = |more: &str| format!("[rule.x]\nload = \"fan\"\nwhile = \"warm\"\ndemand = \"off\"\n{more}\n");
    check(("", ""), &rule("priority = 2"), &[]);
    check(("", ""), &rule("priority = 2\notherwise = \"on\""), &["endless-trip"]);
    check(("", ""), &rule("priority = 2\notherwise = \"off\""), &["same-otherwise"]);
    check(("", ""), &rule("priority = 12\notherwise = \"off\""), &["same-otherwise"]);
    check(("", ""), &rule("priority = 12\notherwise = \"on\""), &[]);
}

#[test]
fn boards_that_do_not_hold_what_they_promise() {
    check(("relays = 4", "relays = 4\nlease = \"none\""), "", &["no-lease"]);
    check(("relays = 4", "relays = 4\ncoil = \"72 mA\"\nsupply = \"50 mA\""), "", &["small-supply"]);
    check(("relays = 4", "relays = 4\ncoil = \"72 mA\"\nsupply = \"72 mA\""), "", &[]);
    check(("kind = \"motor\"", "kind = \"motor\"\nsafe = \"on\""), "", &["safe-needs-power"]);
    check(("kind = \"motor\"", "kind = \"motor\"\ncontact = \"NC\""), "", &["safe-needs-power"]);
    check(("kind = \"motor\"", "kind = \"motor\"\nsafe = \"on\"\ncontact = \"NC\""), "", &[]);
}

#[test]
fn thresholds_that_do_not_work() {
    check((">= 28", ">= 61"), "", &["out-of-reach"]);
    check(("<= 26.5", "<= -21"), "", &["out-of-reach"]);
    check((">= 28", ">= 60"), "", &[]);
    check(("<= 26.5", "<= 27.9"), "", &["narrow-deadband"]);
    check(("<= 26.5", "<= 27.8"), "", &[]);
    check(("reading = \"yard/t1\"", "topic = \"standfast/from/yard/reading/t1\""), "", &["own-topic"]);
}

#[test]
fn sensors_that_are_asked_for_more_than_they_can() {
    let air = |more: &str| format!("reading = \"yard/t1\"\n{more}");
    let with = |more: &str, expected: &[&str]| check(("reading = \"yard/t1\"", &air(more)), "", expected);
    with("part = \"DHT22\"", &[]);
    // A DHT11 measures from 0 °C to 50 °C, ±2 °C, in whole degrees.
    with("part = \"DHT11\"", &["beyond-the-part", "narrow-deadband"]);
    with("resolution = 1", &["narrow-deadband"]);
    with("resolution = 0.75", &[]);
    with("accuracy = 1.6", &["narrow-deadband"]);
    with("accuracy = 1.5", &[]);
    with("part = \"DHT11\"\naccuracy = 0.5\nresolution = 0.5", &["beyond-the-part"]);
    with("stale_after = \"5s\"\nsampling_period = \"6s\"", &["stale-too-soon"]);
    with("stale_after = \"6s\"\nsampling_period = \"6s\"", &[]);
    with("part = \"DHT22\"\nmax_rate = \"2 °C per 1min\"", &[]);
    with("part = \"DHT22\"\nmax_rate = \"1 °C per 1h\"", &["rate-too-fine"]);
    // Without a range of its own the part's holds, and a threshold is held against that.
    let no_range = |part: &str| format!("part = \"{part}\"\naccuracy = 0.5\nresolution = 0.5");
    check(("range = [-20, 60]", &no_range("DHT11")), "", &[]);
    let text = HOUSE.replace("range = [-20, 60]", &no_range("DHT11")).replace(">= 28", ">= 51");
    let examined = examine(&[("house.toml".to_owned(), text)], &TimeZoneDatabase::bundled());
    assert_eq!(examined.diagnostics.len(), 1, "{:?}", examined.diagnostics);
    assert_eq!(examined.diagnostics[0].code, "out-of-reach");
    assert!(examined.diagnostics[0].cause.contains("-0.5 to 50.5"), "{:?}", examined.diagnostics[0]);
}

#[test]
fn the_errors_of_both_sensors_of_a_difference_count() {
    let second = |accuracy: f64| {
        format!(
            "[sensor.tank]\nreading = \"yard/t2\"\nunit = \"°C\"\naccuracy = {accuracy}\n[rule.x]\nload = \"fan\"\n\
             demand = \"on\"\nwhile = {{ sensor = \"air\", minus = \"tank\", cut_in = \">= 2\", cut_out = \"<= 1\" }}\n"
        )
    };
    let air = ("reading = \"yard/t1\"", "reading = \"yard/t1\"\naccuracy = 0.5");
    check(air, &second(0.5), &[]);
    check(air, &second(0.6), &["narrow-deadband"]);
}

#[test]
fn windows_that_do_not_open_on_some_days() {
    let window = |from: &str, to: &str| {
        found((r#"from = "06:00", to = "22:00""#, &format!("from = \"{from}\", to = \"{to}\"")), "")
    };
    // At 54.6 N the sun rises before 05:15 from the middle of May, so a window from then to sunrise is empty.
    let summer = window("05:15", "sunrise");
    assert_eq!(summer.len(), 1);
    assert!(summer[0].message.starts_with("this window does not open from 05-1"), "{}", summer[0].message);
    let winter = &window("sunrise", "05:15")[0].message;
    assert!(winter.starts_with("this window does not open from 07-2") && winter.contains(" to 05-1"), "{winter}");
    assert_eq!(window("sunrise", "dawn")[0].message, "this window never opens");
    assert!(window("sunset", "sunrise").is_empty());
    assert!(window("22:00", "06:00").is_empty());
    // A clamp may leave nothing of the shortest days.
    let late = &window("sunset", "17:00\", not_before = \"17:00")[0].message;
    assert!(late.starts_with("this window never opens"), "{late}");
    let early = &window("08:00", "sunrise + 15m\", not_after = \"08:30")[0].message;
    assert!(early.starts_with("this window does not open from 0"), "{early}");
}

#[test]
fn elevations_that_the_sun_never_reaches_or_never_leaves() {
    let sun = |bound: &str| found((r#"{ from = "06:00", to = "22:00" }"#, &format!("{{ sun = \"{bound}\" }}")), "");
    assert!(sun(">= 58").is_empty() && sun("<= -58").is_empty());
    // At 54.60 N the sun stands at most 90 - 54.60 + 23.44 degrees high.
    let never = &sun(">= 59")[0];
    assert_eq!((never.code.as_str(), never.message.as_str()), ("out-of-reach", "the sun never stands so here"));
    assert!(never.cause.contains("-58.8° to 58.8°") && never.help.contains("between -58 and 58"), "{never:?}");
    assert_eq!(sun("<= 59")[0].message, "the sun always stands so here");
    assert_eq!(sun(">= -59")[0].message, "the sun always stands so here");
    assert_eq!(sun("<= -59")[0].message, "the sun never stands so here");
}

#[test]
fn loads_that_go_round_in_a_circle() {
    let added = |first: &str, second: &str| {
        format!(
            "{HEATERS}[condition.rail-runs]\nload = \"rail\"\nis = \"on\"\n\
             [rule.a]\nload = \"rail\"\ndemand = \"on\"\nwhile.any = [\"warm\", {first}]\n\
             [rule.b]\nload = \"immersion\"\ndemand = \"off\"\nwhile = {second}\n"
        )
    };
    let asks = |load: &str| format!("{{ load = \"{load}\", is = \"off\" }}");
    check(("", ""), &added(&asks("fan"), "{ not = \"rail-runs\" }"), &[]);
    let circle = found(("", ""), &added(&asks("immersion"), "{ not = \"rail-runs\" }"));
    assert_eq!(circle.len(), 1, "{circle:#?}");
    let message = "loads go round in a circle: \"immersion\" asks about \"rail\" asks about \"immersion\"";
    assert_eq!((circle[0].code.as_str(), circle[0].message.as_str()), ("circle", message));
    assert_eq!(circle[0].also.len(), 1, "it shows both conditions");
    let itself = found(("", ""), &added(&asks("rail"), "\"rail-runs\""));
    assert_eq!(itself.len(), 1, "{itself:#?}");
    assert_eq!(itself[0].message, "a rule of load \"rail\" asks what that load does");
    // A chain as long as the house is none.
    let chain: String = (0..900)
        .map(|n| {
            let (board, relay) = (n / 9, n % 9 + 1);
            let board_table = if relay == 1 { format!("[board.b{board}]\nrelays = 9\n") } else { String::new() };
            format!(
                "{board_table}[load.l{n:03}]\nrelay = \"b{board}/{relay}\"\nkind = \"led\"\n[rule.r{n}]\nload = \"l{n:03}\"\n\
                 demand = \"on\"\nwhile = {}\n",
                if n < 899 { format!("{{ load = \"l{:03}\", is = \"on\" }}", n + 1) } else { "\"warm\"".to_owned() }
            )
        })
        .collect();
    check(("", ""), &chain, &[]);
    let closed = chain.replace("while = \"warm\"", &format!("while = {}", asks("l000")));
    let circle = found(("", ""), &closed);
    assert!(
        circle.len() == 1 && circle[0].message.contains("\"l007\" asks about ... asks about \"l000\""),
        "{circle:?}"
    );
}

#[test]
fn rises_that_no_readings_span() {
    let rise = |keys: &str| {
        let condition = format!("{{ sensor = \"air\", {keys}, within = \"3m\", until_back_by = 3 }}");
        found((r#"{ from = "06:00", to = "22:00" }"#, &condition), "")
    };
    assert!(rise("rises = 80").is_empty() && rise("falls = 80").is_empty());
    let narrow = found(
        (r#"{ from = "06:00", to = "22:00" }"#, r#"{ sensor = "air", rises = 2, within = "3m", until_back_by = 0.1 }"#),
        "",
    );
    assert_eq!((narrow.len(), narrow[0].code.as_str()), (1, "narrow-deadband"), "{narrow:?}");
    assert_eq!(narrow[0].help, "let `until_back_by` be at least 0.2 °C");
    let found = rise("falls = 81");
    assert_eq!((found.len(), found[0].code.as_str()), (1, "out-of-reach"), "{found:?}");
    assert!(found[0].message.contains("`falls` is more than the range of sensor \"air\""), "{found:?}");
}

#[test]
fn alarms_that_are_never_raised() {
    let alarm = |id: &str| found((r#"{ from = "06:00", to = "22:00" }"#, &format!("{{ alarm = \"{id}\" }}")), "");
    for id in ["any", "board-yard", "sensor-air", "obey-fan", "clock"] {
        assert!(alarm(id).is_empty(), "{id}");
    }
    let silent = |id: &str, part: &str| {
        let found = alarm(id);
        assert_eq!(found.len(), 1, "{id}: {found:?}");
        assert!(found[0].code == "out-of-reach" && found[0].cause.contains(part), "{found:?}");
    };
    silent("trip-vents", "does not wait for a reset by hand");
    silent("proof-fan", "load \"fan\" has no `proof`");
    let mean = "[sensor.b]\nreading = \"yard/b\"\nunit = \"°C\"\n[sensor.both]\nmean = [\"air\", \"b\"]\n";
    let found = found((r#"{ from = "06:00", to = "22:00" }"#, "{ alarm = \"sensor-both\" }"), mean);
    assert!(found.iter().any(|one| one.help.contains("\"sensor-air\"")), "{found:?}");
}

#[test]
fn things_that_nothing_uses() {
    check(("", ""), "[board.x]\nrelays = 1\n", &["unused"]);
    check(("", ""), "[sensor.x]\nreading = \"yard/t9\"\n", &["unused"]);
    check(("", ""), "[input.x]\nat = \"yard/9\"\n", &["unused"]);
    check(("", ""), "[condition.x]\nnot = \"warm\"\n", &["unused"]);
    check(("", ""), "[selector.x]\npositions = [\"a\", \"b\"]\n", &["unused"]);
    check(("", ""), "[setpoint.x]\nvalue = 1\nrange = [1, 2]\n", &["unused"]);
    check(("", ""), "[condition.x]\nnot = \"y\"\n[condition.y]\nnot = \"warm\"\n", &["unused", "unused"]);
}

#[test]
fn positions_that_nothing_tells_apart() {
    let door = "{ input = \"door\", is = \"off\" }";
    let with = |positions: &str| {
        let selector = format!("[selector.x]\npositions = [{positions}]\n");
        found((door, &format!("{door}, {{ selector = \"x\", is = \"b\" }}")), &selector)
    };
    assert!(with("\"a\", \"b\"").is_empty(), "what is not b is a");
    let same = &with("\"a\", \"b\", \"c\"")[0];
    assert_eq!(same.code, "unused");
    assert_eq!(same.message, "nothing tells position \"c\" of selector \"x\" from \"a\"");
}

#[test]
fn setpoints_at_the_ends_of_their_range() {
    let with = |least: &str, greatest: &str, offset: &str| {
        let setpoint = format!("[setpoint.x]\nvalue = 28\nrange = [{least}, {greatest}]\n");
        let ends = ("\">= 28\"\ncut_out = \"<= 26.5\"", format!("\">= x\"\ncut_out = \"<= x - {offset}\""));
        found((ends.0, &ends.1), &setpoint).into_iter().map(|one| one.code).collect::<Vec<_>>()
    };
    assert!(with("20", "32", "1.5").is_empty());
    assert!(with("-18.5", "60", "1.5").is_empty(), "just within what the sensor reads, -20 to 60");
    assert_eq!(with("20", "61", "1.5"), ["out-of-reach"]);
    assert_eq!(with("-19", "32", "1.5"), ["out-of-reach"]);
    assert_eq!(with("20", "32", "0.1"), ["narrow-deadband"]);
}

#[test]
fn max_on_that_nothing_could_keep_is_an_error() {
    let kind = "kind = \"motor\"";
    check((kind, "kind = \"motor\"\nmax_on = \"20m\""), "", &[]);
    let with = |more: &str| format!("kind = \"motor\"\nmax_on = \"20m\"\n{more}");
    check((kind, &with("safe = \"on\"")), "", &["unkept-max-on", "safe-needs-power"]);
    check((kind, &with("contact = \"NC\"")), "", &["unkept-max-on", "safe-needs-power"]);
    check((kind, &with("min_on = \"30m\"")), "", &["contradicting-limits"]);
}

#[test]
fn limits_that_leave_nothing_to_one_another() {
    let kind = "kind = \"motor\"";
    let with = |more: &str| format!("{kind}\n{more}");
    let dwell = "min_on = \"3m\"\nmin_off = \"5m\"\n";
    // Eight minutes from start to start: eight starts fit into an hour, the first at its very beginning.
    check((kind, &with(&format!("{dwell}max_starts = \"8 per 1h\""))), "", &["idle-limit"]);
    check((kind, &with(&format!("{dwell}max_starts = \"7 per 1h\""))), "", &[]);
    check((kind, &with("max_starts = \"7 per 1h\"")), "", &[]);
    check((kind, &with(&format!("{dwell}max_on = \"1h\"\nrest = \"4m\""))), "", &["idle-limit"]);
    check((kind, &with(&format!("{dwell}max_on = \"1h\"\nrest = \"6m\""))), "", &[]);
    check((kind, &with("rest = \"6m\"")), "", &["idle-limit"]);
    check((kind, &with("max_on = \"1h\"\nhold_for = \"2h\"")), "", &["hold-is-cut"]);
    check((kind, &with("max_on = \"1h\"\nhold_for = \"1h\"")), "", &[]);
    let limited = with("max_on = \"1h\"");
    let press = |action: &str| format!("[input.long]\nat = \"yard/b9\"\n{action}\nhold_for = \"2h\"\n");
    check((kind, &limited), &press("toggles = \"fan\""), &["hold-is-cut"]);
    check((kind, &limited), &press("holds = \"fan on\""), &["hold-is-cut"]);
    check((kind, &limited), &press("holds = \"fan off\""), &[]);
}

#[test]
fn one_topic_brings_numbers_or_fields() {
    let source = "reading = \"yard/t1\"";
    let gust = "[sensor.gust]\ntopic = \"roof\"\nfield = \"/gust\"\n[rule.storm]\nload = \"fan\"\ndemand = \"on\"\nwhile = \
                { sensor = \"gust\", cut_in = \">= 17\", cut_out = \"<= 12\" }\n";
    check((source, "topic = \"roof\""), gust, &["mixed-topic"]);
    check((source, "topic = \"roof\"\nfield = \"/t\""), gust, &[]);
}
