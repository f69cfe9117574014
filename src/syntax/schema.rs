//! The shape of one file as a JSON Schema (draft 2020-12), for editors that know TOML: out of the same tables that drive
//! decoding. It says what may stand where and how it is written, and never whether names resolve or values go together: it
//! refuses nothing that the decoder takes.

use serde_json::{Map, Value, json};

use super::condition::{COMBINATORS, KINDS};
use super::context::article;
use super::keys::{ConditionKind, Form, Key, Need, Section};
use super::section::SECTIONS;
use super::server::SERVER_KEYS;
use super::tree;
use crate::house::{BOARD_NAME_MAX, NAME_MAX, WIRE_NAME_MAX};
use crate::sun::SunEvent;

/// Which language a schema is in.
const DRAFT: &str = "https://json-schema.org/draft/2020-12/schema";

/// A duration, blanks around it included.
const DURATION: &str = r"\s*([0-9]+(\.[0-9]+)?\s*(d|h|min|m|s|ms)\s*)+";

/// A clock time.
const CLOCK: &str = "[0-2][0-9]:[0-5][0-9](:[0-5][0-9])?";

/// A comparator.
const COMPARATOR: &str = r"\s*(>=|<=)\s*";

/// The schema of one file of a house.
pub fn house_schema() -> Value {
    let mut definitions = Map::new();
    for section in SECTIONS.into_iter().filter(|section| !section.is_condition) {
        definitions.insert(section.word.to_owned(), table(section.meaning, section.keys));
    }
    conditions(&mut definitions);
    let sections = SECTIONS.into_iter().map(|section| (section.word.to_owned(), of_section(section)));
    json!({
        "$schema": DRAFT,
        "title": "One file of a house",
        "description": "Each file of a house may hold tables of all sections; all files together are the house.",
        "type": "object",
        "properties": sections.collect::<Map<String, Value>>(),
        "additionalProperties": false,
        "$defs": definitions,
    })
}

/// The schema of the server's own file.
pub fn server_schema() -> Value {
    let mut schema = table("The server's own file, standfast.toml.", SERVER_KEYS);
    schema["$schema"] = json!(DRAFT);
    schema["title"] = json!("The server's own file");
    schema
}

/// What may stand behind the word of a section.
fn of_section(section: &Section) -> Value {
    let word = if section.is_condition { CONDITION_TABLE } else { section.word };
    let one = reference(word);
    match section.named {
        None => one,
        Some(most) => json!({
            "description": section.meaning,
            "type": "object",
            "patternProperties": { name(most): one },
            "additionalProperties": false,
        }),
    }
}

/// A table with these keys and no others.
fn table(meaning: &str, keys: &[Key]) -> Value {
    let properties: Map<String, Value> = keys.iter().map(|key| (key.name.to_owned(), of_key(key))).collect();
    let required: Vec<&str> = keys.iter().filter(|key| key.need == Need::Required).map(|key| key.name).collect();
    json!({
        "description": meaning,
        "type": "object",
        "properties": properties,
        "required": required,
        "additionalProperties": false,
    })
}

/// What may stand behind a key, and what it means.
fn of_key(key: &Key) -> Value {
    let mut schema = match key.words {
        [] => of_form(key.form),
        words => json!({ "anyOf": [of_form(key.form), { "enum": words }] }),
    };
    let unit = if key.unit.is_empty() { String::new() } else { format!(" Unit: {}.", key.unit) };
    // A definition says itself what it is; what stands beside a `$ref` adds to it.
    schema["description"] = json!(format!("{}{unit}", key.meaning));
    schema["examples"] = json!([value(key.example)]);
    if let Need::Default(default) = key.need {
        schema["default"] = default_value(key, default);
    }
    schema
}

/// The default of a key, which stands in its table without the quotes that a text has.
fn default_value(key: &Key, default: &str) -> Value {
    if value(key.example).is_string() { json!(default) } else { value(default) }
}

/// The value that a text is in TOML; the text itself where it is none.
fn value(text: &str) -> Value {
    let line = format!("x = {text}");
    let (table, errors) = tree::parse(0, &line);
    match table.get("x").filter(|_| errors.is_empty()) {
        Some(entry) => json_of(&entry.node),
        None => json!(text),
    }
}

fn json_of(node: &tree::Node) -> Value {
    match &node.value {
        tree::Value::Text(text) => json!(text),
        tree::Value::Whole(number) => json!(number),
        tree::Value::Decimal(number) => json!(number),
        tree::Value::Truth(truth) => json!(truth),
        tree::Value::Date => Value::Null,
        tree::Value::List(items) => items.iter().map(json_of).collect(),
        tree::Value::Table(table) => {
            table.entries.iter().map(|entry| (entry.key.clone(), json_of(&entry.node))).collect::<Map<_, _>>().into()
        }
    }
}

/// A definition for any condition.
const CONDITION: &str = "any-condition";

/// A definition for a condition that is written as a table.
const CONDITION_TABLE: &str = "condition-table";

/// Definitions of conditions, which may hold one another.
fn conditions(definitions: &mut Map<String, Value>) {
    let any = reference(CONDITION);
    let mut tables = Vec::new();
    for word in COMBINATORS {
        let (meaning, inner) = match word {
            "all" => ("True while all of these are.", json!({ "type": "array", "items": any, "minItems": 1 })),
            "any" => ("True while one of these is.", json!({ "type": "array", "items": any, "minItems": 1 })),
            _ => ("True while this one is false.", any.clone()),
        };
        tables.push(json!({
            "description": meaning,
            "type": "object",
            "properties": { word: inner },
            "required": [word],
            "additionalProperties": false,
        }));
    }
    for kind in KINDS {
        let word = format!("condition-{}", kind.word.replace(' ', "-"));
        tables.push(reference(&word));
        definitions.insert(word, of_kind(kind));
    }
    let named =
        json!({ "description": "The name of a [condition.<name>].", "type": "string", "pattern": name(NAME_MAX) });
    definitions.insert(CONDITION.to_owned(), json!({ "anyOf": [named, reference(CONDITION_TABLE)] }));
    definitions.insert(CONDITION_TABLE.to_owned(), json!({ "anyOf": tables }));
}

/// A table that says one thing. One of its leading keys must stand there, else it would be of no kind.
fn of_kind(kind: &ConditionKind) -> Value {
    let mut schema = table(kind.meaning, kind.keys);
    schema["title"] = json!(kind.word);
    schema["examples"] = json!([value(kind.example)]);
    schema["anyOf"] = kind.lead.iter().map(|lead| json!({ "required": [lead] })).collect();
    schema
}

fn reference(word: &str) -> Value {
    json!({ "$ref": format!("#/$defs/{word}") })
}

/// How a value of a form is written. Every form has its line here: what the decoder takes must fit it.
fn of_form(form: Form) -> Value {
    let text = |pattern: String| json!({ "type": "string", "pattern": format!("^{pattern}$") });
    match form {
        Form::Text | Form::Unit | Form::Alarm => json!({ "type": "string" }),
        Form::Name(section) => {
            let wanted = format!("the name of {} {section}", article(section));
            json!({ "type": "string", "pattern": name(NAME_MAX), "title": wanted })
        }
        Form::Names(section) => json!({ "type": "array", "items": of_form(Form::Name(section)) }),
        Form::Duration => text(DURATION.to_owned()),
        Form::Power => text(r"\s*[0-9]+(\.[0-9]+)?\s*k?W\s*".to_owned()),
        Form::Current => text(r"\s*[0-9]+(\.[0-9]+)?\s*m?A\s*".to_owned()),
        Form::Resistance => text(r"\s*[0-9]+(\.[0-9]+)?\s*[kM]?(Ω|\u2126|Ohm|ohm)\s*".to_owned()),
        Form::Voltage => text(r"\s*[0-9]+(\.[0-9]+)?\s*m?V\s*".to_owned()),
        Form::Amount => {
            json!({ "anyOf": [{ "type": "number" }, text(r"\s*[-+−]?\s*[0-9.]+\s*\S*\s*".to_owned())] })
        }
        Form::Rate => text(r"\s*\+?[0-9.]+\s*\S*\s* per \s*\S.*".to_owned()),
        Form::OneOf(words) => json!({ "enum": words }),
        Form::Whole => json!({ "type": "integer" }),
        Form::Number => json!({ "type": "number" }),
        Form::Pair => json!({ "type": "array", "items": { "type": "number" }, "minItems": 2, "maxItems": 2 }),
        Form::Triple => json!({ "type": "array", "items": { "type": "number" }, "minItems": 3, "maxItems": 3 }),
        Form::Points => {
            json!({ "type": "array", "items": of_form(Form::Pair), "minItems": 3, "maxItems": 3 })
        }
        Form::Relay => text(format!("{}/[0-9]+", bare_name(BOARD_NAME_MAX))),
        Form::Endpoint => text(format!("{}/{}", bare_name(BOARD_NAME_MAX), bare_name(WIRE_NAME_MAX))),
        Form::Topic => json!({ "type": "string", "pattern": "^[^+#$][^+#]*$", "maxLength": 256 }),
        Form::Topics => {
            let topic = json!({ "type": "string", "pattern": "^[^+#$][^+#]*$" });
            json!({ "anyOf": [topic, { "type": "array", "items": topic }] })
        }
        Form::Truth => json!({ "type": "boolean" }),
        Form::Pointer => json!({ "type": "string", "pattern": "^(/([^~/]|~[01])*)*$", "maxLength": 256 }),
        Form::Term => text(format!(r"\s*((until\s+)?({CLOCK}|next\s+change|{}\s*)|{DURATION})\s*", sun_event())),
        Form::LoadState => text(format!(r"\s*{}\s+[a-z]+\s*", bare_name(NAME_MAX))),
        Form::Comparison => json!({ "type": "string", "pattern": format!(r"^{COMPARATOR}\S") }),
        Form::Elevation => text(format!(r"{COMPARATOR}[-+−]?\s*[0-9.]+\s*\S*\s*")),
        Form::WindowEnd => text(format!(r"\s*({CLOCK}|{})\s*", sun_event())),
        Form::Clock => text(format!(r"\s*{CLOCK}\s*")),
        Form::Days => {
            let day = r"\s*(mon|tue|wed|thu|fri|sat|sun)\s*";
            text(format!(r"{day}((,|\.\.){day})*"))
        }
        Form::Dates => text(r"\s*[0-9]{2}-[0-9]{2}\s*(\.\.\s*[0-9]{2}-[0-9]{2}\s*)?".to_owned()),
        Form::Starts => text(format!(r"\s*\+?[0-9]+\s+per\s{DURATION}")),
        Form::Condition => reference(CONDITION),
        Form::Texts => json!({ "type": "array", "items": { "type": "string" } }),
        Form::Keys(keys) => table("", keys),
    }
}

/// An event of the sun with or without an offset.
fn sun_event() -> String {
    let words: Vec<&str> = SunEvent::ALL.iter().map(|event| event.word()).collect();
    format!(r"({})(\s*[-+−]{DURATION})?", words.join("|"))
}

/// A name of at most so many bytes, as a pattern.
fn name(most: usize) -> String {
    format!("^{}$", bare_name(most))
}

/// The same without its anchors. It looks at nothing ahead: not every engine can.
fn bare_name(most: usize) -> String {
    format!("[a-z0-9]([a-z0-9-]{{0,{}}}[a-z0-9])?", most.saturating_sub(2))
}
