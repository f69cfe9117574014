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
        "unclosed table" | "unclosed array table" => ("the header is not closed", closed_header(line)),
        "invalid basic string"
        | "invalid literal string"
        | "invalid multi-line basic string"
        | "invalid multi-line literal string" => (
            "the text in quotes is not finished, or has a character that it may not have",
            "put a straight quote before and behind it, on the same line; write \\\\ for a backslash".to_owned(),
        ),
        _ if line.starts_with("//") => ("a comment begins with #", "write # in place of //".to_owned()),
        "invalid unquoted key" if line.ends_with(':') => {
            let name = line.trim_end_matches(':').trim();
            ("a section has a header in brackets", format!("write [{name}]"))
        }
        "invalid unquoted key" if with_colon(line).is_some() => {
            ("between key and value stands =, not :", with_colon(line).unwrap_or_default())
        }
        "unexpected key or value" => ("nothing may stand behind this on the line but a comment", behind(text, at)),
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

/// A header as it was meant: `[board yard]`, `[load.fan`.
fn closed_header(line: &str) -> String {
    let inner = line.trim_start_matches('[').split(['#', ']']).next().unwrap_or("").trim();
    let words: Vec<&str> = inner.split([' ', '\t', '.']).filter(|word| !word.is_empty()).collect();
    let is_name =
        |word: &&str| word.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-');
    match words[..] {
        [_] | [_, _] if words.iter().all(is_name) => format!("write [{}]", words.join(".")),
        _ => "write it as [section.name]".to_owned(),
    }
}

/// `key: value` with an equals sign.
fn with_colon(line: &str) -> Option<String> {
    let (key, value) = line.split_once(':')?;
    let (key, value) = (key.trim(), value.trim());
    let is_key = !key.is_empty() && key.bytes().all(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_'));
    (is_key && value.chars().count() <= 60).then(|| format!("write {key} = {value}"))
}

/// What to do with what stands behind a value or a header.
fn behind(text: &str, at: usize) -> String {
    match text[at.min(text.len())..].chars().next() {
        Some(sign @ (';' | ',' | ']' | ')' | '.')) => format!("take the {sign} away"),
        Some('/') => "write # before the comment".to_owned(),
        _ => "write each key on a line of its own, and # before a comment".to_owned(),
    }
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
