//! Selectors and setpoints as they are written: what is taken and what is refused, with the advice.

use super::*;
use crate::house::{SelectorId, SetpointId};

const MODES: &str = "[selector.house]\npositions = [\"lived-in\", \"away\"]\n\
                     [setpoint.sunroom]\nvalue = 28.0\nrange = [20, 32]\n\
                     [setpoint.warm]\nvalue = 24\nrange = [22, 30]\nunit = \"Cel\"\nlabel = \"Warm\"\n\
                     [setpoint.night]\nvalue = 12\nrange = [5, 19]\n\
                     [setpoint.bright]\nvalue = 40\nrange = [10, 60]\nunit = \"lx\"\n";

/// Codes and advice of what is wrong with a text beside the selectors and setpoints above.
fn said(text: &str) -> (String, String) {
    let (house, diagnostics) = read(&files(&[SITE, ROOMS, &format!("{MODES}{text}\n")]), zones());
    assert_eq!(house.is_none(), errors(&diagnostics) > 0);
    let words = |part: fn(Diagnostic) -> String| diagnostics.iter().cloned().map(part).collect::<Vec<_>>().join(" ");
    (words(|one| one.code), words(|one| format!("{} {} {}", one.message, one.cause, one.help)))
}

/// The codes, and a part of what is said.
#[track_caller]
fn check(text: &str, codes: &str, part: &str) {
    let (found, words) = said(text);
    assert_eq!(found, codes, "{text}: {words}");
    assert!(words.contains(part), "{text}: {words}");
}

/// The same of a rule's threshold on an air sensor in °C.
#[track_caller]
fn threshold(ends: &str, codes: &str, part: &str) {
    let rule = "[rule.x]\nload = \"hall-lamp\"\ndemand = \"on\"\nwhile = { sensor = \"sunroom-air\", ";
    check(&format!("{rule}{ends} }}"), codes, part);
}

#[test]
fn every_key_arrives() {
    let text = "[rule.x]\nload = \"hall-lamp\"\ndemand = \"on\"\nwhile.all = [{ selector = \"house\", is = \"away\" }, \
                { sensor = \"sunroom-air\", cut_in = \">= warm + 2 °C\", cut_out = \"<= warm - 0.5\" }]\n\
                [input.away]\nat = \"yard/b1\"\nselects = \"house away\"\nhold_for = \"3d\"\n\
                [input.knob]\nat = \"yard/b2\"\nselects = \"house\"\n";
    let house = house(&[SITE, ROOMS, &format!("{MODES}{text}")]);
    let selector = house.selector(SelectorId(0));
    assert_eq!((selector.name.as_str(), selector.label.as_str()), ("house", "house"));
    assert_eq!(selector.positions, ["lived-in", "away"]);
    let warm = house.setpoint_named("warm").unwrap();
    let setpoint = house.setpoint(warm);
    assert_eq!((setpoint.label.as_str(), setpoint.unit.as_str()), ("Warm", "°C"));
    assert_eq!((setpoint.value, setpoint.range), (24.0, (22.0, 30.0)));
    assert!(house.atoms.iter().any(|atom| matches!(atom, Atom::Selector { selector: SelectorId(0), is: 1, .. })));
    let on = |offset| Bound::Setpoint { setpoint: warm, offset };
    let ends = house.atoms.iter().find_map(|atom| match atom {
        Atom::Threshold(threshold) if threshold.cut_in == on(2.0) => Some(threshold.cut_out),
        _ => None,
    });
    assert_eq!(ends, Some(on(-0.5)));
    let input = |name: &str| house.inputs.iter().find(|input| input.name == name).unwrap().clone();
    assert_eq!(input("away").action, Some(Action::Selects(SelectorId(0), 1)));
    assert_eq!(input("away").hold_for, Some(Term::For(Span::from_h(72))));
    assert_eq!(input("knob").action, Some(Action::Steps(SelectorId(0))));
    assert_eq!(house.setpoint_named("sunroom"), Some(SetpointId(2)));
}

#[test]
fn positions_are_names_at_least_two_and_none_twice() {
    let positions =
        |list: &str, codes: &str, part: &str| check(&format!("[selector.x]\npositions = {list}"), codes, part);
    positions("[\"a\", \"b\"]", "", "");
    positions("[]", "bad-list", "no position");
    positions("[\"a\"]", "bad-list", "nothing to choose");
    positions("\"a\"", "wrong-type", "must be a list of texts");
    positions("[\"a\", 2]", "wrong-type", "");
    positions("[\"a\", \"At Home\"]", "bad-name", "\"at-home\"");
    positions("[\"a\", \"a\"]", "bad-name", "twice");
    positions("[\"a\", \"release\"]", "bad-name", "back to its first position");
    let many: Vec<String> = (0..17).map(|number| format!("\"p{number}\"")).collect();
    positions(&format!("[{}]", many.join(", ")), "bad-list", "17 positions");
    check("[selector.x]\noptions = [\"a\", \"b\"]", "unknown-key", "did you mean `positions`?");
}

#[test]
fn a_condition_names_a_position_that_is_there() {
    let rule = |condition: &str, codes: &str, part: &str| {
        check(&format!("[rule.x]\nload = \"hall-lamp\"\ndemand = \"on\"\nwhile = {condition}"), codes, part);
    };
    rule("{ selector = \"house\", is = \"away\" }", "", "");
    rule("{ selector = \"house\", is = \"awya\" }", "bad-value", "did you mean \"away\"?");
    rule("{ selector = \"house\", is = \"winter\" }", "bad-value", "write one of \"lived-in\" or \"away\"");
    rule("{ selector = \"hoose\", is = \"away\" }", "unknown-name", "did you mean \"house\"?");
    rule("{ selector = \"house\" }", "missing-key", "is = \"away\"");
    rule("{ selector = \"house\", is = true }", "wrong-type", "");
    rule("\"house\"", "unknown-name", "{ selector = \"house\", is = \"...\" }");
    rule("{ selector = \"house\", is = \"away\", cut_in = \">= 1\" }", "mixed-condition", "");
}

#[test]
fn an_input_turns_a_selector_that_is_there() {
    let input =
        |keys: &str, codes: &str, part: &str| check(&format!("[input.x]\nat = \"yard/b1\"\n{keys}"), codes, part);
    input("selects = \"house\"", "", "");
    input("selects = \"house gone\"", "bad-value", "\"lived-in\" or \"away\"");
    input("selects = \"hoose away\"", "unknown-name", "did you mean \"house\"?");
    input("selects = \"house away 3d\"", "bad-value", "selects = \"house away\"");
    input("selects = \"house away\"\nholds = \"hall-lamp on\"", "contradiction", "`selects`");
    input("selects = \"house away\"\nhold_for = \"next change\"", "contradiction", "leave `hold_for` out");
}

#[test]
fn a_setpoint_has_a_value_within_a_range() {
    let setpoint = |keys: &str, codes: &str, part: &str| check(&format!("[setpoint.x]\n{keys}"), codes, part);
    setpoint("value = 1\nrange = [1, 2]", "", "");
    setpoint("value = 1", "missing-key", "range = [20, 32]");
    setpoint("range = [1, 2]", "missing-key", "value = 28.0");
    setpoint("value = 3\nrange = [1, 2]", "out-of-bounds", "from 1 to 2");
    setpoint("value = 1\nrange = [2, 1]", "bad-range", "range = [1, 2]");
    setpoint("value = 1\nrange = [1, 1]", "bad-range", "that differ");
    setpoint("value = \"1\"\nrange = [1, 2]", "wrong-type", "must be a number");
    setpoint("value = nan\nrange = [1, 2]", "wrong-type", "");
    setpoint("value = 1\nrange = [1, inf]", "wrong-type", "");
    setpoint("value = 1\nrange = [1, 2]\nunit = \"celsius\"", "bad-unit", "°C");
    check("[setpoint.2]\nvalue = 1\nrange = [1, 2]", "bad-name", "begin with a letter");
}

#[test]
fn ends_name_setpoints_that_are_there_in_the_sensors_unit() {
    threshold("cut_in = \">= sunroom\", cut_out = \"<= sunroom - 1.5 °C\"", "", "");
    threshold("cut_in = \">= sunrom\", cut_out = \"<= 5\"", "unknown-name", "did you mean \"sunroom\"?");
    threshold("cut_in = \">= porch-lux\", cut_out = \"<= 5\"", "unknown-name", "minus = \"porch-lux\"");
    threshold("cut_in = \">= sunroom\", cut_out = \"<= sunroom-2\"", "unknown-name", "\"sunroom - 2\"");
    threshold("cut_in = \">= sunroom\", cut_out = \"<= sunroom-1.5\"", "bad-comparison", "\"<= sunroom - 1.5\"");
    threshold("cut_in = \">= bright\", cut_out = \"<= bright - 5\"", "wrong-unit wrong-unit", "in °C");
    threshold("cut_in = \">= sunroom + 1 lx\", cut_out = \"<= sunroom\"", "wrong-unit", "in °C");
    threshold("cut_in = \">= sunroom\"", "no-deadband", "cut_out = \"<= sunroom - 1\"");
    threshold(
        "cut_in = \">= sunroom\", cut_out = \">= sunroom - 1\"",
        "comparators-do-not-fit",
        "cut_out = \"<= sunroom - 1\"",
    );
}

#[test]
fn a_deadband_must_be_left_whatever_is_set() {
    let overlap = "can be set so that they overlap";
    // One end moves, the other stays.
    threshold("cut_in = \">= sunroom\", cut_out = \"<= 19.5\"", "", "");
    threshold("cut_in = \">= sunroom\", cut_out = \"<= 20\"", "no-deadband", overlap);
    threshold("cut_in = \">= sunroom\", cut_out = \"<= 26.5\"", "no-deadband", "`cut_in` is 20 and `cut_out` is 26.5");
    threshold(
        "cut_in = \">= sunroom\", cut_out = \"<= 26.5\"",
        "no-deadband",
        "cut_out = \"<= sunroom - 1\"; or narrow",
    );
    threshold("cut_in = \">= 30\", cut_out = \"<= sunroom\"", "no-deadband", "cut_in = \">= sunroom + 1\"; or narrow");
    threshold("cut_in = \">= 33\", cut_out = \"<= sunroom\"", "", "");
    // Two that move apart from one another.
    threshold("cut_in = \">= sunroom\", cut_out = \"<= night\"", "", "");
    threshold("cut_in = \">= sunroom\", cut_out = \"<= night + 1\"", "no-deadband", overlap);
    threshold("cut_in = \">= sunroom\", cut_out = \"<= warm\"", "no-deadband", overlap);
    threshold("cut_in = \"<= night\", cut_out = \">= sunroom\"", "", "");
    // Both on one: what is added alone counts.
    threshold("cut_in = \">= sunroom\", cut_out = \"<= sunroom\"", "no-deadband", "leave no deadband");
    threshold("cut_in = \">= sunroom\", cut_out = \"<= sunroom + 1\"", "no-deadband", "move them apart");
    threshold("cut_in = \"<= sunroom\", cut_out = \">= sunroom + 1.5\"", "", "");
    threshold("cut_in = \"<= sunroom\", cut_out = \">= sunroom - 1.5\"", "no-deadband", "cut_out = \">= sunroom + 1\"");
    threshold("minus = \"roof\", cut_in = \">= sunroom\", cut_out = \"<= sunroom - 1\"", "", "");
}
