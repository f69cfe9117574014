//! The structure of the source as a test: which module may mention which, what the pure half may never reach, how files
//! begin and how long they get. It reads source text only; that the pure half compiles alone is proven by
//! `cargo check --no-default-features`.

#[path = "structure/source.rs"]
mod source;

use std::collections::BTreeSet;

use source::{Source, paths, rust_files, without_tests};

/// Each module of the pure half and the modules of this crate that it may mention besides itself.
const PURE: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("diagnostic", &["units"]),
    ("sun", &["units"]),
    ("calendar", &["sun", "units"]),
    ("house", &["calendar", "sun", "units"]),
    ("syntax", &["diagnostic", "sensing", "house", "calendar", "sun", "units"]),
    ("sensing", &["house", "units"]),
    ("condition", &["house", "calendar", "sun", "units"]),
    ("wire", &["house", "sun", "units"]),
    ("board", &["wire", "house", "units"]),
    ("world", &["house", "calendar", "sun", "units"]),
    ("engine", &["condition", "sensing", "wire", "house", "calendar", "sun", "units"]),
    ("check", &["engine", "condition", "wire", "syntax", "diagnostic", "house", "calendar", "sun", "units"]),
    (
        "rehearse",
        &[
            "check",
            "engine",
            "condition",
            "sensing",
            "board",
            "wire",
            "world",
            "syntax",
            "diagnostic",
            "house",
            "calendar",
            "sun",
            "units",
        ],
    ),
];

/// The shell, and which of its own modules each may mention; all of them may mention the pure half.
const SHELL: &[(&str, &[&str])] = &[
    ("store", &["daemon"]),
    ("mqtt", &["daemon"]),
    ("page", &["daemon", "store"]),
    ("daemon", &["mqtt", "page", "store"]),
    ("cli", &["daemon", "mqtt", "page", "store"]),
];

/// What the pure half may not mention of the standard library and of its own dependencies, and why.
const IMPURE: &[(&str, &str)] = &[
    ("std::fs", "text is handed in"),
    ("std::io", "effects are returned"),
    ("std::net", "effects are returned"),
    ("std::env", "settings are handed in"),
    ("std::process", "effects are returned"),
    ("std::thread", "one caller steps it"),
    ("std::time::Instant", "time is handed in, as units::BootTime"),
    ("std::time::SystemTime", "time is handed in, as units::WallTime"),
    ("std::random", "a seed is handed in"),
    ("std::hash::RandomState", "a seed is handed in"),
    ("std::collections::hash_map::RandomState", "a seed is handed in"),
    ("jiff::Timestamp::now", "time is handed in"),
    ("jiff::Zoned::now", "time is handed in"),
    ("jiff::tz::db", "zones are handed in"),
    ("Timestamp::now", "time is handed in"),
    ("Zoned::now", "time is handed in"),
    ("TimeZone::system", "zones are handed in"),
    ("TimeZone::get", "zones are handed in"),
    ("Utc::now", "time is handed in"),
    ("Local::now", "time is handed in"),
    ("Instant::now", "time is handed in"),
    ("SystemTime::now", "time is handed in"),
];

/// Macros that write to a terminal; the shell's commands alone do that.
const PRINTING: &[&str] = &["print!", "println!", "eprint!", "eprintln!"];

/// The one file that may read clocks.
const CLOCK: &str = "src/daemon/clock.rs";

/// How clocks are read; in no other file than [`CLOCK`].
const CLOCK_READERS: &[&str] = &["Instant::now", "SystemTime::now", "Timestamp::now", "Zoned::now", "clock_gettime"];

/// The longest file, tests not counted, and the longest with its tests.
const LINES: (usize, usize) = (400, 800);

#[test]
fn every_module_has_its_place() {
    let known: BTreeSet<&str> = PURE.iter().chain(SHELL).map(|(name, _)| *name).collect();
    let found: BTreeSet<String> = rust_files("src").into_iter().filter_map(|source| source.module()).collect();
    for module in &found {
        assert!(known.contains(module.as_str()), "src/{module}: add it to PURE or SHELL, with what it may mention");
    }
}

#[test]
fn arrows_point_one_way() {
    let mut wrong = Vec::new();
    for source in rust_files("src") {
        let Some(module) = source.module() else { continue };
        let allowed = allowed(&module);
        for path in paths(without_tests(&source)) {
            if let Some(target) = source.mentions(&path)
                && target != module
                && is_module(&target)
                && !allowed.contains(&target.as_str())
            {
                wrong.push(format!("{}: {path}: `{module}` may not mention `{target}`", source.name));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_pure_half_reaches_no_clock_disk_network_or_chance() {
    let shell_crates = shell_crates();
    assert!(shell_crates.contains("tokio") && shell_crates.contains("rusqlite"), "Cargo.toml is not read as expected");
    let mut wrong = Vec::new();
    for source in rust_files("src").iter().filter(|source| source.module().is_some_and(|module| is_pure(&module))) {
        let text = without_tests(source);
        for path in paths(text) {
            let path = path.trim_start_matches("::");
            let first = path.split("::").next().unwrap_or_default();
            if path.contains("::") && shell_crates.contains(first) {
                wrong.push(format!("{}: {path}: the crate belongs to the shell", source.name));
            }
            for (impure, why) in IMPURE {
                if is_below(path, impure) || path.ends_with(&format!("::{impure}")) {
                    wrong.push(format!("{}: {path}: {why}", source.name));
                }
            }
        }
        for word in text.split(|c: char| !(c.is_alphanumeric() || c == '_' || c == '!')) {
            if PRINTING.contains(&word) {
                wrong.push(format!("{}: {word}: effects are returned", source.name));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn one_file_reads_clocks_and_is_unsafe() {
    let mut wrong = Vec::new();
    for source in rust_files("src").iter().filter(|source| source.name != CLOCK) {
        for path in paths(&source.code) {
            if path == "unsafe" {
                wrong.push(format!("{}: unsafe: only {CLOCK} has calls without a safe wrapper", source.name));
            }
            if CLOCK_READERS.iter().any(|reader| path == *reader || path.ends_with(&format!("::{reader}"))) {
                wrong.push(format!("{}: {path}: ask {CLOCK}", source.name));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn files_say_what_they_are_for_and_stay_short() {
    let mut wrong = Vec::new();
    for source in rust_files("src").iter().chain(&rust_files("tests")).chain(&rust_files("benches")) {
        if !source.text.starts_with("//! ") {
            wrong.push(format!("{}: opens with `//!`: what it is for and what it never does", source.name));
        }
        let (own, all) = (without_tests(source).lines().count(), source.code.lines().count());
        if own > LINES.0 && !source.is_test() {
            wrong
                .push(format!("{}: {own} lines without its tests, at most {}: split it by idea", source.name, LINES.0));
        }
        if all > LINES.1 {
            wrong.push(format!("{}: {all} lines, at most {}: split it by idea", source.name, LINES.1));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn nothing_is_left_for_later() {
    // Spelt in halves, so that this file does not find itself.
    let banned = [
        (concat!("to", "do!"), "finish it"),
        (concat!("unimpl", "emented!"), "finish it"),
        (concat!("#[ig", "nore"), "a test runs or goes"),
        (concat!("should_", "panic"), "assert on what is returned"),
    ];
    let mut wrong = Vec::new();
    for source in rust_files("src").iter().chain(&rust_files("tests")).chain(&rust_files("benches")) {
        for (word, instead) in banned {
            if source.code.contains(word) {
                wrong.push(format!("{}: {word}: {instead}", source.name));
            }
        }
        if !source.is_test() && without_tests(source).contains(concat!(".unw", "rap()")) {
            wrong.push(format!("{}: `expect(\"why it cannot fail\")` instead of unwrap", source.name));
        }
        for attribute in source.code.split("allow(").skip(1) {
            let inside = attribute.split(")]").next().unwrap_or_default();
            if source.code.contains(&format!("[allow({inside}")) && !inside.contains("reason") {
                wrong.push(format!("{}: allow({inside}): say the reason, and prefer `expect`", source.name));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

fn allowed(module: &str) -> Vec<&'static str> {
    let own = PURE.iter().chain(SHELL).find(|(name, _)| *name == module).map_or(&[][..], |(_, allowed)| allowed);
    let pure = PURE.iter().map(|(name, _)| *name).filter(|_| !is_pure(module));
    own.iter().copied().chain(pure).collect()
}

fn is_pure(module: &str) -> bool {
    PURE.iter().any(|(name, _)| *name == module)
}

fn is_module(name: &str) -> bool {
    PURE.iter().chain(SHELL).any(|(module, _)| *module == name)
}

fn is_below(path: &str, root: &str) -> bool {
    path.strip_prefix(root).is_some_and(|rest| rest.is_empty() || rest.starts_with("::"))
}

/// The optional dependencies: only the features of the shell bring them.
fn shell_crates() -> BTreeSet<String> {
    Source::read("Cargo.toml")
        .text
        .lines()
        .filter(|line| line.contains("optional = true"))
        .filter_map(|line| line.split([' ', '=']).next())
        .map(|name| name.replace('-', "_"))
        .collect()
}
