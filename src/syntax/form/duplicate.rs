//! Keys and headers that are in one file twice, with both places. The parser names the second alone.

use super::{header_of, line_of};
use crate::diagnostic::Diagnostic;
use crate::syntax::tree::Spot;

/// What is there twice. All keys of a table that is there twice may be there twice too: the header says it.
pub(super) fn duplicates(file: u32, path: &str, text: &str, errors: &[toml::de::Error]) -> Vec<Diagnostic> {
    let mut twice_in: Option<usize> = None;
    let mut found = Vec::new();
    for error in errors.iter().filter(|error| error.message().starts_with("duplicate key")) {
        let Some(span) = error.span() else { continue };
        let spot = Spot { file, start: span.start as u32, end: span.end as u32 };
        let header = header_of(text, span.start);
        let is_header = line_of(text, header) == line_of(text, span.start);
        if is_header {
            twice_in = Some(header);
        } else if twice_in == Some(header) {
            continue;
        }
        found.push(duplicate(path, text, spot));
    }
    found
}

/// A key or a header that is there twice, with the place of the first.
fn duplicate(path: &str, text: &str, second: Spot) -> Diagnostic {
    let range = second.range();
    let key = text.get(range.clone()).unwrap_or_default().to_owned();
    let line_start = text[..range.start].rfind('\n').map_or(0, |at| at + 1);
    let line_end = text[range.start..].find('\n').map_or(text.len(), |at| range.start + at);
    let line = text[line_start..line_end].trim();
    let is_header = line.starts_with('[');
    if line.starts_with("[[") {
        let message = format!("`{key}` is not written like this");
        let help = format!("write [{key}.some-name] with single brackets, a name for each");
        return Diagnostic::error("wrong-type", message).at(path, range, "").help(help);
    }
    let first = if is_header { first_header(text, line_start, line, &key) } else { first_key(text, range.start, &key) };
    let what = if is_header { header_name(line) } else { format!("`{key}`") };
    let help = match is_header {
        true if line.contains('.') => "keep one of them, or give one another name",
        true => "write all of it below one of them",
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
