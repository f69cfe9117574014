//! The language as a text: every section, kind of condition and key with type, default, unit, meaning and an example, out of
//! the same tables that drive decoding. It never says anything that they do not.

use std::fmt::Write;

use serde_json::{Value, json};

use super::condition::{COMBINATORS, KINDS};
use super::context::article;
use super::fields::quoted_list;
use super::keys::{Form, Key, Need};
use super::section::SECTIONS;
use super::server::SERVER_KEYS;

/// How wide the text is at most, in characters.
const WIDTH: usize = 100;

/// The whole reference as Markdown.
pub fn reference() -> String {
    let mut text = String::from("# Sections\n");
    for section in SECTIONS {
        let header =
            if section.named.is_some() { format!("[{}.<name>]", section.word) } else { format!("[{}]", section.word) };
        let _ = write!(text, "\n## `{header}`\n\n");
        paragraph(&mut text, section.meaning, "");
        if section.is_condition {
            paragraph(&mut text, "It is written like the table behind `while`; see below.", "");
        }
        describe(&mut text, section.keys, "");
        let _ = write!(text, "\n```toml\n{}```\n", section.example);
    }
    text.push_str("\n# Conditions\n\n");
    let combinators: Vec<String> = COMBINATORS.iter().map(|word| format!("`{word}`")).collect();
    let meaning = format!(
        "A condition is the name of a `[condition.<name>]`, one of the tables below, or a table with one of {} over others.",
        combinators.join(", ")
    );
    paragraph(&mut text, &meaning, "");
    for kind in KINDS {
        let _ = write!(text, "\n## {}\n\n", capital(kind.a));
        paragraph(&mut text, kind.meaning, "");
        describe(&mut text, kind.keys, "");
        let _ = write!(text, "\n```toml\nwhile = {}\n```\n", kind.example);
    }
    text.push_str("\n# The server's own file, `standfast.toml`\n\n");
    describe(&mut text, SERVER_KEYS, "");
    text
}

/// The same as data, for programs; `standfast schema` says in the terms of JSON Schema what a file may hold.
pub fn reference_json() -> Value {
    let sections = SECTIONS.into_iter().map(|section| {
        json!({
            "section": section.word,
            "named": section.named.is_some(),
            "meaning": section.meaning,
            "is_condition": section.is_condition,
            "keys": keys_json(section.keys),
            "example": section.example,
        })
    });
    let conditions = KINDS.into_iter().map(|kind| {
        let example = format!("while = {}", kind.example);
        json!({ "condition": kind.word, "meaning": kind.meaning, "keys": keys_json(kind.keys), "example": example })
    });
    json!({
        "sections": sections.collect::<Vec<_>>(),
        "conditions": conditions.collect::<Vec<_>>(),
        "combinators": COMBINATORS,
        "server": keys_json(SERVER_KEYS),
    })
}

fn keys_json(keys: &[Key]) -> Vec<Value> {
    let json = |key: &Key| {
        let default = if let Need::Default(default) = key.need { Some(default) } else { None };
        let mut json = json!({
            "key": key.name,
            "form": form(key),
            "required": key.need == Need::Required,
            "default": default,
            "unit": Some(key.unit).filter(|unit| !unit.is_empty()),
            "meaning": key.meaning,
            "example": format!("{} = {}", key.name, key.example),
        });
        if let Form::Keys(inner) = key.form {
            json["keys"] = keys_json(inner).into();
        }
        json
    };
    keys.iter().map(json).collect()
}

/// What stands behind a key, in words.
fn form(key: &Key) -> String {
    let form = match key.form {
        Form::OneOf(words) => format!("{} in quotes", quoted_list(words.iter().copied())),
        Form::Name(section) => format!("the name of {} {section} in quotes", article(section)),
        Form::Names(section) => format!("a list of names of {section}s in quotes"),
        form => form.described().to_owned(),
    };
    match key.words {
        [] => form,
        words => format!("{form}, or {}", quoted_list(words.iter().copied())),
    }
}

fn describe(text: &mut String, keys: &[Key], indent: &str) {
    for key in keys {
        let need = match key.need {
            Need::Required => "required".to_owned(),
            Need::Optional => "may be left out".to_owned(),
            Need::Default(default) => format!("default {default}"),
        };
        let unit = if key.unit.is_empty() { String::new() } else { format!(", unit {}", key.unit) };
        let form = form(key);
        let (name, meaning, example) = (key.name, key.meaning, key.example);
        let inner = format!("{indent}  ");
        text.push_str(indent);
        let entry = format!("- `{name}`: {form}; {need}{unit}. {meaning} Example: `{name} = {example}`");
        paragraph(text, &entry, &inner);
        if let Form::Keys(keys) = key.form {
            describe(text, keys, &inner);
        }
    }
}

/// Breaks a text into lines, the further ones indented.
fn paragraph(text: &mut String, words: &str, indent: &str) {
    let mut line = 0;
    for word in words.split(' ') {
        let length = word.chars().count();
        if line > 0 && line + 1 + length > WIDTH {
            let _ = write!(text, "\n{indent}");
            line = indent.len();
        } else if line > 0 {
            text.push(' ');
            line += 1;
        }
        text.push_str(word);
        line += length;
    }
    text.push('\n');
}

/// With a capital letter, as a heading or a legend plate has it.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().collect::<String>()).unwrap_or_default() + letters.as_str()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_is_in_it_with_its_meaning() {
        let text = reference();
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let mut keys: Vec<&Key> = SECTIONS.into_iter().flat_map(|section| section.keys).collect();
        keys.extend(KINDS.into_iter().flat_map(|kind| kind.keys).chain(SERVER_KEYS));
        while let Some(key) = keys.pop() {
            let meaning = key.meaning.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(flat.contains(&format!("- `{}`: ", key.name)) && flat.contains(&meaning), "{}", key.name);
            if let Form::Keys(inner) = key.form {
                keys.extend(inner);
            }
        }
        assert!(text.lines().all(|line| line.chars().count() <= 140), "lines fit a screen");
    }

    #[test]
    fn as_data_it_has_the_same_keys() {
        fn count(keys: &[Key]) -> usize {
            let inner = |key: &Key| if let Form::Keys(inner) = key.form { count(inner) } else { 0 };
            keys.iter().map(|key| 1 + inner(key)).sum()
        }
        let tables = SECTIONS.into_iter().map(|section| section.keys).chain(KINDS.into_iter().map(|kind| kind.keys));
        let expected: usize = tables.chain([SERVER_KEYS]).map(count).sum();
        let text = reference_json().to_string();
        assert_eq!(text.matches("\"key\":").count(), expected);
        let lease = &reference_json()["sections"]
            .as_array()
            .expect("sections")
            .iter()
            .find(|one| one["section"] == "board")
            .expect("boards")["keys"]
            .as_array()
            .expect("keys")
            .iter()
            .find(|key| key["key"] == "lease")
            .expect("a lease")
            .clone();
        assert_eq!((&lease["required"], &lease["default"]), (&json!(false), &json!("90s")));
    }
}
