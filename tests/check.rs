//! Houses as people write them: the example house is right, and what is wrong in the others is said so that a newcomer knows
//! what to do. It never changes a house.

use std::path::Path;

use jiff::tz::TimeZoneDatabase;
use standfast::diagnostic::count_line;
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
    let codes: Vec<&str> = diagnostics.iter().map(|diagnostic| diagnostic.code.as_str()).collect();
    // One socket is there to show what has no lease.
    assert_eq!(codes, ["no-lease"], "{}", text(&diagnostics, &files, Style::Plain));
    let house = house.unwrap();
    assert!(house.boards.len() >= 3 && house.loads.len() >= 10);
}

/// Each folder below `tests/houses` is a house that somebody got wrong; `said.txt` in it is what is said about it. With
/// `STANDFAST_ACCEPT=1` the texts are written anew, to be read before they are committed.
#[test]
fn what_is_said_about_wrong_houses_is_as_it_was_read() {
    let houses = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/houses");
    let accept = std::env::var_os("STANDFAST_ACCEPT").is_some();
    let zones = TimeZoneDatabase::bundled();
    let mut cases: Vec<_> = std::fs::read_dir(&houses).unwrap().map(|entry| entry.unwrap().path()).collect();
    cases.sort();
    assert!(cases.len() >= 10);
    let mut changed = Vec::new();
    for case in cases {
        let files = files_of(&case);
        let examined = standfast::check::examine(&files, &zones);
        assert!(examined.house.is_none(), "{} is right", case.display());
        for diagnostic in &examined.diagnostics {
            assert!(!diagnostic.help.is_empty(), "{}: {} says not what to do", case.display(), diagnostic.message);
        }
        let said =
            format!("{}\n\n{}\n", text(&examined.diagnostics, &files, Style::Plain), count_line(&examined.diagnostics));
        let path = case.join("said.txt");
        if accept {
            std::fs::write(&path, said).unwrap();
        } else if std::fs::read_to_string(&path).ok().as_deref() != Some(said.as_str()) {
            changed.push(format!("{}:\n{said}", path.display()));
        }
    }
    assert!(changed.is_empty(), "said otherwise than before:\n{}", changed.join("\n"));
}
