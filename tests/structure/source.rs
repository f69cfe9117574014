//! Reads Rust source as far as the structure test needs: comments and strings out, paths with their groups written out.
//! It is no parser: it knows words, `::`, braces and commas.

use std::fs;
use std::path::Path;

/// A source file.
pub struct Source {
    /// Its path below the crate, with `/`.
    pub name: String,
    /// Its text.
    pub text: String,
    /// Its text without comments and without the insides of strings; the lines are kept.
    pub code: String,
}

impl Source {
    /// Reads a file of the crate.
    pub fn read(name: &str) -> Source {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
        let text = fs::read_to_string(&path).unwrap_or_else(|error| panic!("{name}: {error}"));
        Source { name: name.to_owned(), code: strip(&text), text }
    }

    /// The top module that it belongs to: `engine` for `src/engine/step.rs`; none for the crate's own two roots.
    pub fn module(&self) -> Option<String> {
        let inner = self.name.strip_prefix("src/")?;
        let first = inner.split('/').next()?.trim_end_matches(".rs");
        (!matches!(first, "lib" | "main")).then(|| first.to_owned())
    }

    /// Whether the whole file is test code.
    pub fn is_test(&self) -> bool {
        self.name.starts_with("tests/") || self.name.ends_with("tests.rs") || self.name.contains("/tests/")
    }

    /// The top module of this crate that a path in this file leads to.
    pub fn mentions(&self, path: &str) -> Option<String> {
        let mut words = path.split("::").peekable();
        if let Some(&("crate" | "standfast")) = words.peek() {
            return words.nth(1).map(str::to_owned);
        }
        let mut up = 0;
        while words.next_if_eq(&"super").is_some() {
            up += 1;
        }
        (up > 0 && up == self.depth()).then(|| words.next().map(str::to_owned)).flatten()
    }

    /// How many `super` lead from the file's own module to the crate's root.
    fn depth(&self) -> usize {
        let inner = self.name.strip_prefix("src/").unwrap_or(&self.name);
        inner.split('/').count() - usize::from(inner.ends_with("/mod.rs"))
    }
}

/// All Rust files below a folder of the crate, in path order; none where the folder is not there.
pub fn rust_files(folder: &str) -> Vec<Source> {
    let mut names = Vec::new();
    collect(folder, &mut names);
    names.sort();
    names.iter().map(|name| Source::read(name)).collect()
}

fn collect(folder: &str, names: &mut Vec<String>) {
    let Ok(entries) = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(folder)) else { return };
    for entry in entries {
        let entry = entry.expect("the crate's own folder is readable");
        let name = format!("{folder}/{}", entry.file_name().to_string_lossy());
        if entry.path().is_dir() {
            collect(&name, names);
        } else if name.ends_with(".rs") {
            names.push(name);
        }
    }
}

/// The code above the tests at the bottom of a file; nothing of a file that is all tests.
pub fn without_tests(source: &Source) -> &str {
    if source.is_test() {
        return "";
    }
    let mut start = 0;
    while let Some(at) = source.code[start..].find("#[cfg(test)]") {
        let rest = &source.code[start + at..];
        // `mod tests;` only names another file.
        if rest.lines().nth(1).is_some_and(|line| line.starts_with("mod ") && line.ends_with('{')) {
            return &source.code[..start + at];
        }
        start += at + 1;
    }
    &source.code
}

/// All paths of some code, with their groups written out: `use a::{b, c::d}` gives `a::b` and `a::c::d`.
pub fn paths(code: &str) -> Vec<String> {
    let tokens = tokens(code);
    let mut found = Vec::new();
    let mut at = 0;
    while at < tokens.len() {
        if is_word(tokens[at]) {
            at = path(&tokens, at, "", &mut found);
        } else {
            at += 1;
        }
    }
    found
}

/// Reads one path that starts at a word; returns where it ended.
fn path(tokens: &[&str], mut at: usize, before: &str, found: &mut Vec<String>) -> usize {
    let mut whole = before.to_owned();
    loop {
        whole += tokens[at];
        at += 1;
        match (tokens.get(at), tokens.get(at + 1)) {
            (Some(&"::"), Some(next)) if is_word(next) => {
                whole += "::";
                at += 1;
            }
            (Some(&"::"), Some(&"{")) => {
                whole += "::";
                at += 2;
                while at < tokens.len() && tokens[at] != "}" {
                    at = if is_word(tokens[at]) { path(tokens, at, &whole, found) } else { at + 1 };
                }
                return at + 1;
            }
            _ => {
                found.push(whole);
                return at;
            }
        }
    }
}

fn is_word(token: &str) -> bool {
    token.starts_with(|c: char| c.is_alphabetic() || c == '_')
}

fn tokens(code: &str) -> Vec<&str> {
    let mut tokens = Vec::new();
    let mut rest = code.trim_start();
    while let Some(first) = rest.chars().next() {
        let length = if first.is_alphanumeric() || first == '_' {
            rest.find(|c: char| !(c.is_alphanumeric() || c == '_')).unwrap_or(rest.len())
        } else if rest.starts_with("::") {
            2
        } else {
            first.len_utf8()
        };
        tokens.push(&rest[..length]);
        rest = rest[length..].trim_start();
    }
    tokens
}

/// Takes comments and the insides of strings out, keeping every line break.
fn strip(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let skipped = if rest.starts_with("//") {
            rest.find('\n').unwrap_or(rest.len())
        } else if rest.starts_with("/*") {
            rest.find("*/").map_or(rest.len(), |end| end + 2)
        } else if first == '"' {
            string_end(rest)
        } else if rest.starts_with("r\"") || rest.starts_with("r#") {
            raw_string_end(rest)
        } else if rest.starts_with("'\"'") || rest.starts_with("'\\\"'") {
            rest[1..].find('\'').map_or(1, |end| end + 2)
        } else {
            0
        };
        if skipped == 0 {
            out.push(first);
            rest = &rest[first.len_utf8()..];
        } else {
            out.extend(rest[..skipped].chars().filter(|c| *c == '\n'));
            rest = &rest[skipped..];
        }
    }
    out
}

/// The length of a string literal, quotes included.
fn string_end(text: &str) -> usize {
    let mut escaped = false;
    for (at, c) in text.char_indices().skip(1) {
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            '"' => return at + 1,
            _ => {}
        }
    }
    text.len()
}

/// The length of a raw string literal, or of `r` alone where it begins a name or a raw identifier.
fn raw_string_end(text: &str) -> usize {
    let hashes = text[1..].chars().take_while(|c| *c == '#').count();
    if !text[1 + hashes..].starts_with('"') {
        return 0;
    }
    let close = format!("\"{}", "#".repeat(hashes));
    text[2 + hashes..].find(&close).map_or(text.len(), |at| 2 + hashes + at + close.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(code: &str, expected: &[&str]) {
        assert_eq!(paths(&strip(code)), expected, "{code}");
    }

    #[test]
    fn groups_are_written_out() {
        check("use std::{fs, io::{self, Read}};", &["use", "std::fs", "std::io::self", "std::io::Read"]);
        check("let x = crate::units::Span(3);", &["let", "x", "crate::units::Span"]);
        check("use super::super::daemon::clock;", &["use", "super::super::daemon::clock"]);
    }

    #[test]
    fn comments_and_strings_are_no_code() {
        check("// std::fs\n/* tokio::net */ \"std::io \\\" x\" r#\"a::b \" c\"# '\"' d::e", &["d::e"]);
    }

    #[test]
    fn supers_are_followed_to_the_root() {
        let source = |name: &str| Source { name: name.to_owned(), text: String::new(), code: String::new() };
        assert_eq!(source("src/sun.rs").mentions("super::daemon::clock").as_deref(), Some("daemon"));
        assert_eq!(source("src/engine/mod.rs").mentions("super::store").as_deref(), Some("store"));
        assert_eq!(source("src/engine/step.rs").mentions("super::store"), None);
        assert_eq!(source("src/engine/step.rs").mentions("super::super::store").as_deref(), Some("store"));
        assert_eq!(source("src/engine/step.rs").mentions("crate::mqtt").as_deref(), Some("mqtt"));
    }
}
