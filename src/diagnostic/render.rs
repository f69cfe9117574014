//! Diagnostics as text for people, plain or coloured, and as JSON for programs. It never prints and never looks at a
//! terminal: the caller says which.

use std::ops::Range;

use annotate_snippets::{AnnotationKind, Element, Level, Origin, Renderer, Snippet};
use serde_json::{Value, json};

use super::{Diagnostic, Label, Severity, floor_boundary, line_column};

/// How text is rendered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Style {
    /// No control codes.
    Plain,
    /// ANSI colours (ECMA-48) for a terminal.
    Coloured,
}

/// The texts that diagnostics speak of: paths below the house's directory, and what stands in them.
pub type Files = [(String, String)];

/// Every diagnostic with its place underlined, one after the other with a blank line between.
pub fn text(diagnostics: &[Diagnostic], files: &Files, style: Style) -> String {
    let renderer = match style {
        Style::Plain => Renderer::plain(),
        Style::Coloured => Renderer::styled(),
    };
    let parts: Vec<String> = diagnostics.iter().map(|one| render_one(one, files, &renderer)).collect();
    parts.join("\n\n")
}

/// `sun-room.toml:12:9: error: no board has the name "yrd"; did you mean "yard"?`, for logs and alarms.
pub fn line(diagnostic: &Diagnostic, files: &Files) -> String {
    in_a_line(diagnostic, files, &format!("{}: ", diagnostic.severity.word()))
}

/// The same where it has been said already that it is an error.
pub fn error_line(diagnostic: &Diagnostic, files: &Files) -> String {
    in_a_line(diagnostic, files, "")
}

fn in_a_line(diagnostic: &Diagnostic, files: &Files, severity: &str) -> String {
    let place = diagnostic.at.as_ref().map(|label| match find(files, &label.file) {
        Some(text) => {
            let (line, column) = line_column(text, label.span.start);
            format!("{}:{line}:{column}: ", label.file)
        }
        None => format!("{}: ", label.file),
    });
    let help = if diagnostic.help.is_empty() { String::new() } else { format!("; {}", diagnostic.help) };
    format!("{}{severity}{}{help}", place.unwrap_or_default(), diagnostic.message)
}

/// A list of objects: `code`, `severity`, `message`, `cause`, `help`, `labels`; of each label `file`, `line`, `column`
/// (from 1, in characters), `start`, `end` (bytes), `text`, `primary`. Line and column are null where the text is not known.
pub fn json(diagnostics: &[Diagnostic], files: &Files) -> Value {
    let all = diagnostics.iter().map(|diagnostic| {
        let primary = diagnostic.at.iter().map(|label| json_label(label, files, true));
        let labels: Vec<Value> =
            primary.chain(diagnostic.also.iter().map(|label| json_label(label, files, false))).collect();
        json!({
            "code": diagnostic.code,
            "severity": diagnostic.severity,
            "message": diagnostic.message,
            "cause": diagnostic.cause,
            "help": diagnostic.help,
            "labels": labels,
        })
    });
    Value::Array(all.collect())
}

fn json_label(label: &Label, files: &Files, primary: bool) -> Value {
    let place = find(files, &label.file).map(|text| line_column(text, label.span.start));
    json!({
        "file": label.file,
        "line": place.map(|(line, _)| line),
        "column": place.map(|(_, column)| column),
        "start": label.span.start,
        "end": label.span.end,
        "text": label.text,
        "primary": primary,
    })
}

fn render_one(diagnostic: &Diagnostic, files: &Files, renderer: &Renderer) -> String {
    let level = match diagnostic.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
    };
    let mut elements: Vec<Element<'_>> = Vec::new();
    let mut shown: Vec<&str> = Vec::new();
    for label in diagnostic.at.iter().chain(&diagnostic.also) {
        if shown.contains(&label.file.as_str()) {
            continue;
        }
        shown.push(&label.file);
        elements.push(match find(files, &label.file) {
            Some(text) => snippet(diagnostic, &label.file, text).into(),
            None => Origin::path(label.file.as_str()).into(),
        });
    }
    if !diagnostic.cause.is_empty() {
        elements.push(Level::NOTE.with_name("why").message(diagnostic.cause.as_str()).into());
    }
    if !diagnostic.help.is_empty() {
        elements.push(Level::HELP.message(diagnostic.help.as_str()).into());
    }
    let group = level.primary_title(diagnostic.message.as_str()).id(diagnostic.code.as_str()).elements(elements);
    renderer.render(&[group])
}

/// One file's part of a diagnostic, with all labels that lie in it.
fn snippet<'a>(
    diagnostic: &'a Diagnostic,
    file: &'a str,
    text: &'a str,
) -> Snippet<'a, annotate_snippets::Annotation<'a>> {
    let mut snippet = Snippet::source(text).path(file);
    if let Some(label) = diagnostic.at.as_ref().filter(|label| label.file == file) {
        snippet = snippet.annotation(annotation(AnnotationKind::Primary, label, text));
    }
    for label in diagnostic.also.iter().filter(|label| label.file == file) {
        snippet = snippet.annotation(annotation(AnnotationKind::Context, label, text));
    }
    snippet
}

fn annotation<'a>(kind: AnnotationKind, label: &'a Label, text: &str) -> annotate_snippets::Annotation<'a> {
    let annotation = kind.span(one_line(text, &label.span));
    if label.text.is_empty() { annotation } else { annotation.label(label.text.as_str()) }
}

/// The span within the text, on character boundaries, cut at the end of its first line: a table of twenty lines is
/// found by its first.
fn one_line(text: &str, span: &Range<usize>) -> Range<usize> {
    let start = floor_boundary(text, span.start);
    let end = floor_boundary(text, span.end.max(start));
    let line_end = text[start..].find(['\n', '\r']).map_or(text.len(), |at| start + at);
    start..end.min(line_end)
}

fn find<'f>(files: &'f Files, path: &str) -> Option<&'f str> {
    files.iter().find(|(name, _)| name == path).map(|(_, text)| text.as_str())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn files() -> Vec<(String, String)> {
        vec![("yard.toml".to_owned(), "[load.fan]\nrelay = \"yrd/2\"\n".to_owned())]
    }

    fn sample() -> Diagnostic {
        Diagnostic::error("unknown-name", "no board has the name \"yrd\"")
            .at("yard.toml", 19..26, "this board")
            .help("did you mean \"yard\"?")
    }

    #[test]
    fn text_shows_file_line_column_and_underline() {
        let shown = text(&[sample()], &files(), Style::Plain);
        assert_eq!(
            shown,
            "error[unknown-name]: no board has the name \"yrd\"\n --> yard.toml:2:9\n  |\n2 | relay = \"yrd/2\"\n  \
             |         ^^^^^^^ this board\n  |\n  = help: did you mean \"yard\"?"
        );
        assert!(text(&[sample()], &files(), Style::Coloured).contains("\u{1b}["));
    }

    #[test]
    fn one_line_names_the_place() {
        assert_eq!(
            line(&sample(), &files()),
            "yard.toml:2:9: error: no board has the name \"yrd\"; did you mean \"yard\"?"
        );
        assert_eq!(line(&sample(), &[]), "yard.toml: error: no board has the name \"yrd\"; did you mean \"yard\"?");
    }

    #[test]
    fn json_counts_lines_and_columns_from_one() {
        let all = json(&[sample()], &files());
        let label = &all[0]["labels"][0];
        assert_eq!((&label["line"], &label["column"], &label["primary"]), (&json!(2), &json!(9), &json!(true)));
        assert_eq!(all[0]["severity"], json!("error"));
    }

    proptest! {
        #[test]
        fn any_span_in_any_text_is_rendered(body in "(\\PC|\n|\r|\t|é|🐔){0,60}", start in 0usize..80, length in 0usize..80) {
            let files = vec![("a.toml".to_owned(), body)];
            let one = Diagnostic::warning("x", "y").at("a.toml", start..start + length, "z").also("a.toml", 0..3, "w");
            prop_assert!(text(std::slice::from_ref(&one), &files, Style::Plain).contains("warning[x]: y"));
            prop_assert!(!line(&one, &files).is_empty());
        }
    }
}
