//! What the parser's faults mean and what to type instead. It never looks at more than the line of the fault.

/// What a fault of form means and what to type instead.
pub(super) fn explained(message: &str, text: &str, at: usize) -> (String, String) {
    let first = message.split(", expected").next().unwrap_or(message);
    let line_start = text[..at.min(text.len())].rfind('\n').map_or(0, |at| at + 1);
    let line = text[line_start..].lines().next().unwrap_or("").trim();
    let (cause, help) = match first {
        "string values must be quoted" if line.ends_with('=') => nothing_behind(line),
        "string values must be quoted" if line.contains(CURLY) => {
            ("the quotes are not straight ones", quoted_line(line))
        }
        "string values must be quoted" => ("a text must stand in quotes", quoted_line(line)),
        "key with no value" if !line.contains('=') => ("there is no `=` between key and value", with_equals(line)),
        "key with no value" | "missing value for key" | "missing value" => nothing_behind(line),
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
        _ if first.starts_with("invalid time") || first.starts_with("invalid date") => {
            let help = "put it in quotes, such as \"07:30\" or \"10-01..04-15\"";
            ("a clock time or a date must stand in quotes", help.to_owned())
        }
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

/// Quotes as a word processor sets them.
const CURLY: [char; 8] = ['“', '”', '„', '‟', '‘', '’', '`', '´'];

fn nothing_behind(line: &str) -> (&'static str, String) {
    let key = line.split('=').next().unwrap_or("").trim();
    let key = if key.is_empty() { "key" } else { key };
    ("there is nothing behind the key", format!("write {key} = and its value, or leave the line out"))
}

/// The line with an equals sign behind its first word.
fn with_equals(line: &str) -> String {
    match line.split_once(char::is_whitespace) {
        Some((key, value)) if value.chars().count() <= 60 => format!("write {key} = {}", value.trim()),
        _ => "write key = value, such as power = \"45 W\"".to_owned(),
    }
}

/// The line with its value in quotes.
fn quoted_line(line: &str) -> String {
    let Some((key, value)) = line.split_once('=') else { return "put it in quotes".to_owned() };
    let value = value.split('#').next().unwrap_or("").trim().trim_matches(CURLY);
    if value.is_empty() || value.contains(['"', '\'', '[', '{']) || value.chars().count() > 60 {
        return "put it in quotes".to_owned();
    }
    format!("write {} = \"{value}\"", key.trim())
}
