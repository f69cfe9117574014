//! Faults that only follow from a fault of form nearby, and would hide it in a crowd.

use super::{FORM, header_of, line_of};
use crate::diagnostic::{Diagnostic, Label};

/// The codes of faults that may only be echoes of a fault of form in their table.
const ECHOES: [&str; 3] = ["missing-key", "no-deadband", "empty-condition"];

/// Leaves out what only follows from a fault of form: any other fault on its line, a key that is missing from its table,
/// and a name whose table it may have swallowed.
pub(in crate::syntax) fn without_echoes(files: &[(String, String)], diagnostics: Vec<Diagnostic>) -> Vec<Diagnostic> {
    let text_of = |path: &str| files.iter().find(|(name, _)| name == path).map(|(_, text)| text.as_str());
    let place = |label: &Label| {
        let text = text_of(&label.file)?;
        Some((line_of(text, label.span.start), header_of(text, label.span.start.min(text.len()))))
    };
    // File, line and header of each fault of form.
    let faults: Vec<(String, usize, usize)> = diagnostics
        .iter()
        .filter(|diagnostic| diagnostic.code == FORM)
        .flat_map(|diagnostic| diagnostic.at.iter().chain(&diagnostic.also))
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
        let Some(label) = &diagnostic.at else {
            return diagnostic.code == "missing-section" && files.iter().any(|(_, text)| text.contains("[site]"));
        };
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
    let header = format!("{section}.{name}");
    let broken = |path: &str| faults.iter().any(|(file, _, _)| file == path);
    let is_end = |rest: &str| !rest.starts_with(|c: char| c.is_ascii_alphanumeric() || c == '-');
    let has = |text: &str| text.match_indices(&header).any(|(at, _)| is_end(&text[at + header.len()..]));
    files.iter().any(|(path, text)| broken(path) && has(text))
}
