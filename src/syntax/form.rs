//! Faults of form: what is not TOML at all, said so that a newcomer knows what to type. It never gives the text a meaning.

mod duplicate;
mod echo;
mod explain;

pub(super) use echo::without_echoes;

use super::context::Context;
use super::tree::{self, Table};
use super::{FILE_BYTES_MAX, HOUSE_BYTES_MAX};
use crate::diagnostic::{Diagnostic, line_column};

/// How many faults of one file are looked for.
const FAULTS_MAX: usize = 100;

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
        let (root, faults) = parse(index as u32, path, text);
        faults.into_iter().for_each(|diagnostic| context.push(diagnostic));
        roots.push(root);
    }
    if context.files.is_empty() {
        let diagnostic = Diagnostic::error("empty-house", "there are no rules here: no file ends in .toml")
            .help("`standfast new DIR` writes a small house to begin with");
        context.push(diagnostic);
    }
    roots
}

/// Parses one file, with all of its faults.
///
/// The parser gives up at some faults, so that all that follows would be lost. Therefore the place of the first fault is
/// blanked out and the rest parsed anew, until it has no fault or too many. Blanks keep every byte where it was.
fn parse(file: u32, path: &str, text: &str) -> (Table, Vec<Diagnostic>) {
    let mut mended = text.to_owned();
    let mut faults = Vec::new();
    loop {
        let (root, errors) = tree::parse(file, &mended);
        let is_twice = |error: &toml::de::Error| error.message().starts_with("duplicate key");
        let first = errors.iter().filter(|error| !is_twice(error)).min_by_key(|error| start_of(error, text));
        let blanked = first.filter(|_| faults.len() < FAULTS_MAX).map(|error| {
            faults.push(fault(path, text, error));
            mend(&mended, start_of(error, text), error.message())
        });
        match blanked {
            Some(blanked) if blanked != mended => mended = blanked,
            _ => {
                faults.extend(duplicate::duplicates(file, path, text, &errors));
                return (root, faults);
            }
        }
    }
}

fn start_of(error: &toml::de::Error, text: &str) -> usize {
    error.span().map_or(text.len(), |span| span.start.min(text.len()))
}

/// What one error of the parser says to a person.
fn fault(path: &str, text: &str, error: &toml::de::Error) -> Diagnostic {
    let span = error.span().unwrap_or(text.len()..text.len());
    let (cause, help) = explain::explained(error.message(), text, span.start);
    let fault = Diagnostic::error(FORM, cause).at(path, span.clone(), "").help(help);
    match opened(text, span.start, error.message()) {
        Some(open) => fault.also(path, open..open + 1, "it begins here"),
        None => fault,
    }
}

/// The text with the place of a fault made harmless, and everything else where it was.
fn mend(text: &str, at: usize, message: &str) -> String {
    let line_start = text[..at].rfind('\n').map_or(0, |before| before + 1);
    let line_end = text[at..].find('\n').map_or(text.len(), |after| at + after);
    let line = &text[line_start..line_end];
    let header = line.trim_start().starts_with('[') && message.starts_with("unclosed");
    if header && opened(text, at, message).is_none() {
        return closed_header(text, line_start, line);
    }
    // A list that is not closed has swallowed what stands before the fault, not the line of the fault itself.
    let region = match opened(text, at, message) {
        Some(open) if open < line_start => text[..open].rfind('\n').map_or(0, |before| before + 1)..line_start,
        _ => line_start..line_end,
    };
    blank(text, region)
}

/// Blanks in place of a region, line ends kept.
fn blank(text: &str, region: std::ops::Range<usize>) -> String {
    let blanked: String = text[region.clone()]
        .bytes()
        .map(|byte| if matches!(byte, b'\n' | b'\r') { byte as char } else { ' ' })
        .collect();
    format!("{}{blanked}{}", &text[..region.start], &text[region.end..])
}

/// A header that lacks its bracket, with one: behind the name if there is a blank; else in place of the name's last letter,
/// or of the point before a name of one letter. Losing the header would give its keys to the table before.
fn closed_header(text: &str, line_start: usize, line: &str) -> String {
    let indent = line.len() - line.trim_start().len();
    let header = line.trim_start().split([' ', '\t', '#', '\r']).next().unwrap_or("");
    let line_end = line_start + line.len();
    let name = header.rsplit('.').next().unwrap_or("");
    if !header.is_ascii() || header.len() < 3 {
        return blank(text, line_start..line_end);
    }
    let blanked = blank(text, line_start..line_end);
    let closed = if indent + header.len() < line.len() {
        format!("{header}]")
    } else if name.len() > 1 {
        format!("{}]", &header[..header.len() - 1])
    } else {
        format!("{}]", header.replacen('.', "", 1))
    };
    let start = line_start + indent;
    let end = start + closed.len();
    if end > line_end { blanked } else { format!("{}{closed}{}", &blanked[..start], &blanked[end..]) }
}

/// Where the list or the braces begin that an error says are not closed.
fn opened(text: &str, at: usize, message: &str) -> Option<usize> {
    let list = message.contains("array") && !message.contains("array table");
    let braces = message.contains("inline table") || message.contains("between key-value pairs");
    if !list && !braces {
        return None;
    }
    // The last value before the fault that begins so behind a key.
    let before = text.get(..at.min(text.len()))?;
    let sign = if list { '[' } else { '{' };
    before.rmatch_indices(sign).map(|(open, _)| open).find(|open| before[..*open].trim_end().ends_with('='))
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
