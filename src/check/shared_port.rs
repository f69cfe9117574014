//! Two inputs that one press reaches: both act. That may be meant for two lamps, and is a slip otherwise.

use super::Subject;
use crate::diagnostic::Diagnostic;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let inputs = &subject.house.inputs;
    let mut found = Vec::new();
    for (index, input) in inputs.iter().enumerate() {
        let same = |other: &&crate::house::Input| other.port == input.port && other.code == input.code;
        let Some(other) = inputs[..index].iter().find(same) else { continue };
        let message = match &input.code {
            None => format!("inputs \"{}\" and \"{}\" are one and the same", other.name, input.name),
            Some(code) => format!("inputs \"{}\" and \"{}\" have the same code {code}", other.name, input.name),
        };
        let diagnostic = Diagnostic::warning("shared-input", message)
            .because("every press does what both of them say")
            .help("correct `at` or `code` of one of them, or leave one out");
        let key = if input.code.is_some() { "code" } else { "at" };
        let diagnostic = subject.at(diagnostic, "input", &input.name, key, "");
        found.push(subject.also(diagnostic, "input", &other.name, key, "the other"));
    }
    found
}
