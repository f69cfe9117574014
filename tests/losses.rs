//! What can be lost, and the tests that prove that it is survived: a map that cannot go out of date unnoticed. It looks for
//! the tests by their names in the source and runs none of them.

use std::collections::BTreeSet;
use std::path::Path;

#[path = "losses/map.rs"]
mod map;

use map::{ALL, Row};

/// Why a test does not count, if it does not: a function of that name must stand right below an attribute that makes it one.
fn fault(test: &str) -> Option<String> {
    let (file, name) = test.split_once("::")?;
    let path = if file.starts_with("src/") { file.to_owned() } else { format!("tests/{file}") };
    let text = match std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(&path)) {
        Ok(text) => text,
        Err(error) => return Some(format!("{path}: {error}")),
    };
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    let Some(at) = lines
        .iter()
        .position(|line| line.split("fn ").nth(1).is_some_and(|rest| rest.starts_with(&format!("{name}("))))
    else {
        return Some(format!("{path} has no test {name}"));
    };
    let attributes: Vec<&&str> = lines[..at].iter().rev().take_while(|line| line.starts_with("#[")).collect();
    let is_test = attributes.iter().any(|line| **line == "#[test]" || line.starts_with("#[tokio::test"));
    let is_test = is_test || is_inside(file, name);
    (!is_test).then(|| format!("{path}: {name} is no test"))
}

/// Whether it is one of the tests of a daemon from inside, which are called from a list.
fn is_inside(file: &str, name: &str) -> bool {
    let module = file.strip_prefix("inside/").and_then(|file| file.strip_suffix(".rs"));
    module.is_some_and(|module| include_str!("inside.rs").contains(&format!("    {module}::{name},\n")))
}

#[test]
fn every_loss_has_tests_and_they_are_there() {
    let rows: Vec<&Row> = ALL.iter().copied().flatten().collect();
    let losses: BTreeSet<&str> = rows.iter().map(|(loss, _)| *loss).collect();
    assert_eq!(losses.len(), rows.len(), "each loss once");
    let unproven: Vec<&str> = rows.iter().filter(|(_, tests)| tests.is_empty()).map(|(loss, _)| *loss).collect();
    assert_eq!(unproven, [""; 0], "each loss has a test");
    let faults: Vec<String> = rows.iter().flat_map(|(_, tests)| tests.iter()).filter_map(|test| fault(test)).collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn a_test_that_is_not_there_or_is_none_is_found() {
    let check = |test: &str, part: &str| {
        let fault = fault(test).unwrap_or_else(|| panic!("{test} counts"));
        assert!(fault.contains(part), "{fault}");
    };
    check("engine/nowhere.rs::a_name", "engine/nowhere.rs: ");
    check("engine/clock.rs::a_window_follows", "has no test");
    check("losses.rs::fault", "is no test");
    check("inside/clocks.rs::inside", "is no test");
}
