//! Words put together for messages: lists, clauses. It never decides what is said.

/// A sentence as a clause: without its capital letter and its full stop.
pub(super) fn clause(sentence: &str) -> String {
    let mut letters = sentence.trim_end_matches('.').chars();
    let first = letters.next().map(|first| first.to_lowercase().to_string()).unwrap_or_default();
    first + letters.as_str()
}

/// `a, b and c`.
pub(super) fn list<'w>(words: impl Iterator<Item = &'w str>) -> String {
    joined(words.map(|word| format!("`{word}`")).collect(), "and")
}

/// `"a", "b" or "c"`.
pub(super) fn quoted_list<'w>(words: impl Iterator<Item = &'w str>) -> String {
    joined(words.map(|word| format!("\"{word}\"")).collect(), "or")
}

fn joined(mut words: Vec<String>, last: &str) -> String {
    let Some(end) = words.pop() else { return String::new() };
    if words.is_empty() { end } else { format!("{} {last} {end}", words.join(", ")) }
}
