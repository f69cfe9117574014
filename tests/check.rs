//! Houses as people write them: the example house is right, and what is wrong in the others is said so that a newcomer knows
//! what to do. It never changes a house.

use std::path::Path;

use jiff::tz::TimeZoneDatabase;
use standfast::diagnostic::render::{Style, text};

/// The files of a house in path order.
fn files_of(dir: &Path) -> Vec<(String, String)> {
    let mut files: Vec<(String, String)> = std::fs::read_dir(dir)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ext| ext == "toml"))
        .map(|path| {
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            (name, std::fs::read_to_string(path).unwrap())
        })
        .collect();
    files.sort();
    files
}

#[test]
fn the_example_house_is_right() {
    let files = files_of(&Path::new(env!("CARGO_MANIFEST_DIR")).join("rules"));
    let standfast::check::Examined { house, diagnostics } =
        standfast::check::examine(&files, &TimeZoneDatabase::bundled());
    assert_eq!(text(&diagnostics, &files, Style::Plain), "");
    let house = house.unwrap();
    assert!(house.boards.len() >= 3 && house.loads.len() >= 10);
}
