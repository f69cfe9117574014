//! What is wrong, where, and what to do about it, as data; rendering stands apart. It never prints.
//!
//! A code is one or more words (`unknown-key`). It stays the same when a message is worded anew, so scripts and
//! searches can rely on it.

pub mod render;

use std::ops::Range;

use serde::{Deserialize, Serialize};

use crate::units::counted;

/// How bad it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// The house does not run like this.
    Error,
    /// It runs, and probably does something else than was meant.
    Warning,
}

impl Severity {
    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Severity::Error => "error",
            Severity::Warning => "warning",
        }
    }
}

/// A stretch of a file with a remark.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Label {
    /// The file, as a path below the house's directory.
    pub file: String,
    /// The bytes that are meant. May be empty or beyond the text where the text is not known; rendering copes.
    pub span: Range<usize>,
    /// What to say of it; may be empty.
    pub text: String,
}

/// One thing that is wrong.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Diagnostic {
    /// Words joined by hyphens that name the kind of fault; stable.
    pub code: String,
    /// How bad it is.
    pub severity: Severity,
    /// What is wrong, in one sentence without a full stop.
    pub message: String,
    /// Where it is wrong; `None` where no file is to blame.
    pub at: Option<Label>,
    /// Other places that belong to it.
    pub also: Vec<Label>,
    /// Why it matters; may be empty.
    pub cause: String,
    /// What to write instead; may be empty.
    pub help: String,
}

impl Diagnostic {
    /// An error without a place yet.
    pub fn error(code: &str, message: impl Into<String>) -> Diagnostic {
        Diagnostic::new(Severity::Error, code, message.into())
    }

    /// A warning without a place yet.
    pub fn warning(code: &str, message: impl Into<String>) -> Diagnostic {
        Diagnostic::new(Severity::Warning, code, message.into())
    }

    fn new(severity: Severity, code: &str, message: String) -> Diagnostic {
        Diagnostic {
            code: code.to_owned(),
            severity,
            message,
            at: None,
            also: Vec::new(),
            cause: String::new(),
            help: String::new(),
        }
    }

    /// The same, at a place.
    #[must_use]
    pub fn at(mut self, file: &str, span: Range<usize>, text: impl Into<String>) -> Diagnostic {
        self.at = Some(Label { file: file.to_owned(), span, text: text.into() });
        self
    }

    /// The same, with another place that belongs to it.
    #[must_use]
    pub fn also(mut self, file: &str, span: Range<usize>, text: impl Into<String>) -> Diagnostic {
        self.also.push(Label { file: file.to_owned(), span, text: text.into() });
        self
    }

    /// The same, with the reason why it matters.
    #[must_use]
    pub fn because(mut self, cause: impl Into<String>) -> Diagnostic {
        self.cause = cause.into();
        self
    }

    /// The same, with what to write instead.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Diagnostic {
        self.help = help.into();
        self
    }

    /// Whether it keeps the house from running.
    pub fn is_error(&self) -> bool {
        self.severity == Severity::Error
    }
}

/// How many of the diagnostics are errors.
pub fn errors(diagnostics: &[Diagnostic]) -> usize {
    diagnostics.iter().filter(|diagnostic| diagnostic.is_error()).count()
}

/// `2 errors and 1 warning`, `no errors`.
pub fn count_line(diagnostics: &[Diagnostic]) -> String {
    let errors = errors(diagnostics);
    let warnings = diagnostics.len() - errors;
    match (errors, warnings) {
        (0, 0) => "no errors, no warnings".to_owned(),
        (0, _) => format!("no errors and {}", counted(warnings, "warning")),
        (_, 0) => counted(errors, "error"),
        _ => format!("{} and {}", counted(errors, "error"), counted(warnings, "warning")),
    }
}

/// Line and column of a byte in a text, both from 1, the column in characters. A byte beyond the end counts as the end.
pub fn line_column(text: &str, byte: usize) -> (usize, usize) {
    let byte = floor_boundary(text, byte);
    let before = &text[..byte];
    let line_start = before.rfind('\n').map_or(0, |at| at + 1);
    (before.matches('\n').count() + 1, before[line_start..].chars().count() + 1)
}

/// The greatest character boundary that is not above `byte`.
fn floor_boundary(text: &str, byte: usize) -> usize {
    let mut byte = byte.min(text.len());
    while !text.is_char_boundary(byte) {
        byte -= 1;
    }
    byte
}
