//! Faults of form: what is not TOML at all, said so that a newcomer knows what to type. It never gives the text a meaning.

use super::context::Context;
use super::tree::{self, Spot, Table};
use super::{FILE_BYTES_MAX, HOUSE_BYTES_MAX};
use crate::diagnostic::{Diagnostic, Label, line_column};

/// The codes of faults that may only be echoes of a fault of form nearby.
const ECHOES: [&str; 2] = ["missing-key", "unknown-name"];

/// The code of a fault of form.
const FORM: &str = "not-toml";

/// Parses all files; what cannot be read of one is reported and left out.
pub(super) fn parse_all(context: &mut Context<'_>) -> Vec<Table> {
    let mut roots = Vec::new();
    let mut total = 0_usize;
    for (index, (path, text)) in context.files.iter().enumerate() {
        total = total.saturating_add(text.len());
        if text.len() > FILE_BYTES_MAX || total > HOUSE_BYTES_MAX {
            let message = match text.len() > FILE_BYTES_MAX {
                true => format!("the file is larger than {} KiB", FILE_BYTES_MAX / 1024),
                false => {
                    format!("the files of the house are larger than {} MiB together", HOUSE_BYTES_MAX / 1024 / 1024)
                }
            };
            let diagnostic = Diagnostic::error("too-large", message)
                .at(path, 0..0, "")
                .help("split it, or move what is no part of the house out of its directory");
            context.push(diagnostic);
            continue;
        }
        let (root, errors) = tree::parse(index as u32, text);
        for diagnostic in faults(index as u32, path, text, &errors) {
            context.push(diagnostic);
        }
        roots.push(root);
    }
    if context.files.is_empty() {
        let diagnostic = Diagnostic::error("empty-house", "there are no rules here: no file ends in .toml")
            .help("`standfast new DIR` writes a small house to begin with");
        context.push(diagnostic);
    }
    roots
}

/// The faults of one file, the first of each line: what follows on a line is mostly its echo.
fn faults(file: u32, path: &str, text: &str, errors: &[toml::de::Error]) -> Vec<Diagnostic> {
    let mut seen_lines: Vec<usize> = Vec::new();
    let mut twice_in: Option<usize> = None;
    let mut faults = Vec::new();
    for error in errors {
        let span = error.span().unwrap_or(text.len()..text.len());
        let (line, _) = line_column(text, span.start);
        if seen_lines.contains(&line) {
            continue;
        }
        if error.message().starts_with("duplicate key") {
            let spot = Spot { file, start: span.start as u32, end: span.end as u32 };
            let header = header_of(text, spot.range().start);
            // All keys of a table that is there twice are there twice: the header says it.
            if twice_in == Some(header) && line_of(text, header) != line {
                continue;
            }
            if line_of(text, header) == line {
                twice_in = Some(header);
            }
            faults.push(duplicate(path, text, spot));
        } else {
            let (cause, help) = explained(error.message(), text, span.start);
            faults.push(Diagnostic::error(FORM, cause).at(path, span, "").help(help));
        }
        seen_lines.push(line);
    }
    faults
}

fn line_of(text: &str, byte: usize) -> usize {
    line_column(text, byte).0
}

/// The start of the last header at or before a byte; 0 where there is none.
fn header_of(text: &str, byte: usize) -> usize {
    let line_end = text[byte..].find('\n').map_or(text.len(), |at| byte + at);
    let mut start = 0;
    let mut header = 0;
    for line in text[..line_end].split_inclusive('\n') {
        if line.trim_start().starts_with('[') && !line.trim_start().starts_with("[ {") {
            header = start;
        }
        start += line.len();
    }
    header
}

/// A key or a header that is there twice, with the place of the first.
fn duplicate(path: &str, text: &str, second: Spot) -> Diagnostic {
    let range = second.range();
    let key = text.get(range.clone()).unwrap_or_default().to_owned();
    let line_start = text[..range.start].rfind('\n').map_or(0, |at| at + 1);
    let line_end = text[range.start..].find('\n').map_or(text.len(), |at| range.start + at);
    let line = text[line_start..line_end].trim();
    let is_header = line.starts_with('[');
    let first = if is_header { first_header(text, line_start, line, &key) } else { first_key(text, range.start, &key) };
    let what = if is_header { header_name(line) } else { format!("`{key}`") };
    let help = match is_header {
        true => "keep one of them, or give one another name",
        false => "keep one of the two lines",
    };
    let diagnostic = Diagnostic::error("defined-twice", format!("{what} is there twice"))
        .at(path, range, "the second time")
        .help(help);
    match first {
        Some(start) => diagnostic.also(path, start..start + key.len(), "the first time"),
        None => diagnostic,
    }
}

/// `[load.fan]` of a header's line, without what stands behind it.
fn header_name(line: &str) -> String {
    line.split_inclusive(']').next().unwrap_or(line).to_owned()
}

fn first_header(text: &str, before: usize, line: &str, key: &str) -> Option<usize> {
    let wanted: String = header_name(line).chars().filter(|c| !c.is_whitespace()).collect();
    let mut start = 0;
    for other in text[..before].split_inclusive('\n') {
        let name: String = header_name(other.trim()).chars().filter(|c| !c.is_whitespace()).collect();
        if name == wanted {
            return other.find(key).map(|at| start + at);
        }
        start += other.len();
    }
    None
}

/// The nearest earlier place below the same header where the key stands before a `=`.
fn first_key(text: &str, before: usize, key: &str) -> Option<usize> {
    let from = header_of(text, before);
    let part = text.get(from..before)?;
    let is_key = |at: &usize| {
        let ends = part[at + key.len()..].trim_start_matches([' ', '\t']).starts_with(['=', '.']);
        let begins = part[..*at].chars().next_back().is_none_or(|c| matches!(c, ' ' | '\t' | '\n' | '{' | ',' | '.'));
        ends && begins
    };
    if key.is_empty() {
        return None;
    }
    part.match_indices(key).map(|(at, _)| at).filter(is_key).last().map(|at| from + at)
}

/// What a fault of form means and what to type instead.
fn explained(message: &str, text: &str, at: usize) -> (String, String) {
    let first = message.split(", expected").next().unwrap_or(message);
    let line_start = text[..at.min(text.len())].rfind('\n').map_or(0, |at| at + 1);
    let line = text[line_start..].lines().next().unwrap_or("").trim();
    let (cause, help) = match first {
        "string values must be quoted" => ("a text must stand in quotes", quoted_line(line)),
        "key with no value" | "missing value for key" | "missing value" => {
            ("there is nothing behind the key", "write key = value, such as power = \"45 W\"".to_owned())
        }
        "missing assignment between key-value pairs" | "missing key for inline table element" => {
            ("there is no `=` between key and value", "write key = value, such as power = \"45 W\"".to_owned())
        }
        "unclosed array" | "missing comma between array elements" => {
            ("the list is not finished here", "put a comma between its parts and a ] behind the last".to_owned())
        }
        "unclosed inline table" | "missing comma between key-value pairs" => {
            ("the braces are not finished here", "put a comma between the keys and a } behind the last".to_owned())
        }
        "unclosed table" | "unclosed array table" => {
            ("the header is not closed", "write it as [section.name]".to_owned())
        }
        "invalid basic string"
        | "invalid literal string"
        | "invalid multi-line basic string"
        | "invalid multi-line literal string" => (
            "the text in quotes is not finished, or has a character that it may not have",
            "put a straight quote before and behind it, on the same line; write \\\\ for a backslash".to_owned(),
        ),
        "invalid unquoted key" | "unquoted keys cannot be empty" => (
            "a key or name has a character that it may not have",
            "keep to lower-case letters, digits and hyphens".to_owned(),
        ),
        "recursion limit" | "cannot recurse further; max recursion depth met" => {
            ("this is nested too deep", "nest less deep".to_owned())
        }
        _ => ("", String::new()),
    };
    if !cause.is_empty() {
        return (cause.to_owned(), help);
    }
    let help = "the house is written in TOML: [section.name] headers, and below each lines of key = value";
    (format!("this is not TOML: {message}"), help.to_owned())
}

/// The line with its value in quotes.
fn quoted_line(line: &str) -> String {
    let Some((key, value)) = line.split_once('=') else { return "put it in quotes".to_owned() };
    let value = value.split('#').next().unwrap_or("").trim();
    if value.is_empty() || value.contains(['"', '\'', '[', '{']) || value.chars().count() > 60 {
        return "put it in quotes".to_owned();
    }
    format!("write {} = \"{value}\"", key.trim())
}

/// Leaves out what only follows from a fault of form: any other fault on its line, a key that is missing from its table,
/// and a name whose table it may have swallowed.
pub(super) fn without_echoes(files: &[(String, String)], diagnostics: Vec<Diagnostic>) -> Vec<Diagnostic> {
    let text_of = |path: &str| files.iter().find(|(name, _)| name == path).map(|(_, text)| text.as_str());
    let place = |label: &Label| {
        let text = text_of(&label.file)?;
        Some((line_of(text, label.span.start), header_of(text, label.span.start.min(text.len()))))
    };
    // File, line and header of each fault of form.
    let faults: Vec<(String, usize, usize)> = diagnostics
        .iter()
        .filter(|diagnostic| diagnostic.code == FORM)
        .filter_map(|diagnostic| diagnostic.at.as_ref())
        .filter_map(|label| place(label).map(|(line, header)| (label.file.clone(), line, header)))
        .collect();
    if faults.is_empty() {
        return diagnostics;
    }
    let is_echo = |diagnostic: &Diagnostic| {
        if diagnostic.code == FORM {
            return false;
        }
        if diagnostic.code == "unknown-name" {
            return swallowed(files, &faults, diagnostic);
        }
        let Some(label) = &diagnostic.at else { return false };
        let Some((line, header)) = place(label) else { return false };
        faults.iter().any(|(file, other_line, other_header)| {
            *file == label.file
                && (*other_line == line || (ECHOES.contains(&diagnostic.code.as_str()) && *other_header == header))
        })
    };
    diagnostics.into_iter().filter(|diagnostic| !is_echo(diagnostic)).collect()
}

/// Whether the table that is missed stands in a file with a fault of form.
fn swallowed(files: &[(String, String)], faults: &[(String, usize, usize)], diagnostic: &Diagnostic) -> bool {
    // The message reads: there is no <section> "<name>".
    let Some((section, name)) =
        diagnostic.message.strip_prefix("there is no ").and_then(|rest| rest.strip_suffix('"')?.split_once(" \""))
    else {
        return false;
    };
    let header = format!("{section}.{name}]");
    let broken = |path: &str| faults.iter().any(|(file, _, _)| file == path);
    files.iter().any(|(path, text)| broken(path) && text.contains(&header))
}
