//! The page that teaches the language, `rules/README.md`: whoever types it along is right at every step. It never judges the
//! prose.

use std::path::Path;

use jiff::tz::TimeZoneDatabase;
use standfast::check::examine;
use standfast::diagnostic::Severity;
use standfast::diagnostic::render::{Style, text};
use standfast::syntax::{KINDS, SECTIONS};

fn page() -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("rules/README.md")).unwrap()
}

/// The parts in TOML, each as a file of the house, in the order of the page.
fn parts(page: &str) -> Vec<(String, String)> {
    let blocks = page.split("```toml\n").skip(1).map(|rest| rest.split("```").next().unwrap_or_default());
    blocks.enumerate().map(|(index, block)| (format!("part-{:02}.toml", index + 1), block.to_owned())).collect()
}

#[test]
fn each_step_of_the_page_is_right_and_the_whole_is_without_findings() {
    let parts = parts(&page());
    assert!(parts.len() >= 10, "{} parts", parts.len());
    let zones = TimeZoneDatabase::bundled();
    for step in 1..=parts.len() {
        let files = &parts[..step];
        let mut found = examine(files, &zones).diagnostics;
        // What a later step uses is not used yet.
        found.retain(|one| step == parts.len() || one.severity == Severity::Error);
        assert!(found.is_empty(), "step {step}:\n{}", text(&found, files, Style::Plain));
    }
}

/// The table of further conditions: each is written behind a `while` of its own beside the house of the page.
#[test]
fn each_condition_in_the_table_is_right() {
    let page = page();
    let mut files = parts(&page);
    let rows = page.lines().filter(|line| line.starts_with("| `{"));
    let conditions: Vec<&str> =
        rows.flat_map(|row| row.split('`').skip(1).step_by(2)).filter(|code| code.starts_with('{')).collect();
    assert!(conditions.len() >= 7, "{conditions:?}");
    let rules = conditions.iter().enumerate().map(|(index, condition)| {
        format!("[rule.of-the-table-{index}]\nload = \"porch-lamps\"\ndemand = \"on\"\nwhile = {condition}\n")
    });
    files.push(("table.toml".to_owned(), rules.collect()));
    let found = examine(&files, &TimeZoneDatabase::bundled()).diagnostics;
    assert!(found.is_empty(), "{}", text(&found, &files, Style::Plain));
}
/// What there is to learn is on the page: every section, and every kind of condition by one of its keys.
#[test]
fn every_section_and_kind_of_condition_is_taught() {
    let page = page();
    for section in SECTIONS {
        let header =
            if section.named.is_some() { format!("[{}.", section.word) } else { format!("[{}]", section.word) };
        assert!(page.contains(&header), "{header} is not on the page");
    }
    for kind in KINDS {
        let taught = kind.lead.iter().any(|lead| page.contains(&format!("{lead} = ")));
        assert!(taught, "{} is not on the page", kind.a);
    }
}
