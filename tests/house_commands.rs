//! `standfast check` and `standfast new` as a person runs them: what they print, and their exit codes.
#![cfg(feature = "daemon")]

mod support;

use std::path::Path;

use support::{Standfast, git};

/// Whoever commits.
const ROWAN: [(&str, &str); 4] = [
    ("GIT_AUTHOR_NAME", "Rowan"),
    ("GIT_AUTHOR_EMAIL", "rowan@example.org"),
    ("GIT_COMMITTER_NAME", "Rowan"),
    ("GIT_COMMITTER_EMAIL", "rowan@example.org"),
];

/// Exit code, standard output and standard error of a command that has nobody to ask.
fn standfast(dir: &Path, arguments: &[&str]) -> (i32, String, String) {
    let output = Standfast::run_in(dir, arguments, &ROWAN);
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

const NEW: [&str; 12] = [
    "new",
    "home",
    "--latitude",
    "54.60",
    "--longitude",
    "-3.14",
    "--zone",
    "Europe/London",
    "--board",
    "hall",
    "--relays",
    "8",
];

#[test]
fn a_new_house_checks_is_committed_and_is_not_written_over() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    let (code, said, error) = standfast(dir, &NEW);
    assert_eq!((code, error.as_str()), (0, ""), "{said}");
    assert!(said.contains("standfast check home"), "{said}");
    for file in ["standfast.toml", "rules/site.toml", "rules/lamp.toml", ".gitignore", ".git"] {
        assert!(dir.join("home").join(file).exists(), "{file}");
    }
    assert_eq!(git(&dir.join("home"), &["log", "--format=%s"]), "Begin the house\n");

    let right = "2 files, 1 board, 1 load, 1 rule: no errors, no warnings\n";
    for (from, arguments) in
        [(dir, &["check", "home"][..]), (&dir.join("home"), &["check"]), (&dir.join("home/rules"), &["check"])]
    {
        let (code, said, error) = standfast(from, arguments);
        assert_eq!((code, error.as_str()), (0, ""), "{said}");
        assert!(said.ends_with(right), "{said}");
    }
    let (code, _, error) = standfast(dir, &NEW);
    assert_eq!(code, 2);
    assert!(error.contains("home is not empty"), "{error}");
}

#[test]
fn errors_are_shown_with_a_path_that_can_be_opened() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    assert_eq!(standfast(dir, &NEW).0, 0);
    let lamp = dir.join("home/rules/lamp.toml");
    let text = std::fs::read_to_string(&lamp).unwrap();
    std::fs::write(&lamp, text.replace("kind = \"led\"", "kind = \"lede\"")).unwrap();
    let (code, said, error) = standfast(dir, &["check", "home"]);
    assert_eq!((code, error.as_str()), (1, ""), "{said}");
    assert!(said.contains("error[unknown-word]"), "{said}");
    assert!(said.contains("--> home/rules/lamp.toml:7:8"), "{said}");
    assert!(said.contains("did you mean \"led\"?") && said.contains(": 1 error\n"), "{said}");
    assert!(said.contains("These files differ from commit"), "{said}");
    assert!(!said.contains('\u{1b}'), "colours without a terminal: {said}");

    let (code, said, _) = standfast(dir, &["check", "--json", "home"]);
    let said: serde_json::Value = serde_json::from_str(&said).unwrap();
    assert_eq!((code, &said["errors"], &said["warnings"], &said["dirty"]), (1, &1.into(), &0.into(), &true.into()));
    let label = &said["diagnostics"][0]["labels"][0];
    assert_eq!((&label["file"], &label["line"], &label["column"]), (&"lamp.toml".into(), &7.into(), &8.into()));
}

#[test]
fn what_cannot_run_says_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    let check = |arguments: &[&str], part: &str| {
        let (code, said, error) = standfast(dir, arguments);
        assert_eq!((code, said.as_str()), (2, ""), "{arguments:?}: {error}");
        assert!(error.contains(part), "{arguments:?}: {error}");
    };
    check(&["check", "nowhere"], "cannot read the house in nowhere");
    check(&["new", "home"], "give --latitude, --longitude, --zone, --board, --relays too");
    check(&["new", "home", "--latitude", "x"], "--latitude");
    let mut wrong = NEW;
    wrong[9] = "The Hall";
    check(&wrong, "\"the-hall\"");
    assert!(!dir.join("home").exists());
    std::fs::write(dir.join("a.txt"), "").unwrap();
    check(&["check", "a.txt"], "is a file");
    if !Path::new("/etc/standfast/standfast.toml").exists() {
        check(&["check"], "standfast new DIR");
    }
    // A folder without a house is a house with an error, not a failure to look.
    let (code, said, _) = standfast(dir, &["check", "."]);
    assert_eq!(code, 1);
    assert!(said.contains("no file ends in .toml") && said.contains("standfast new DIR"), "{said}");
}
