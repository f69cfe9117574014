//! What the decoder and what an independent validator say of a file. It never knows how either comes to it.

use std::sync::OnceLock;

use jiff::tz::TimeZoneDatabase;
use jsonschema::Validator;
use serde_json::{Map, Value};
use standfast::diagnostic::{Diagnostic, Severity};
use standfast::syntax::{Form, KINDS, Key, SECTIONS, house_schema, read};
use toml::de::{DeTable, DeValue};

use crate::tables::Table;

/// A house in which that is defined which the key tables name in their examples and which matters.
const HOUSE: &str = include_str!("house.toml");

/// Its site, left out where a file has one.
const SITE: &str = "[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\n";

/// Who takes a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Judged {
    /// The decoder does, as a file of the house.
    pub decoder: bool,
    /// The schema does.
    pub schema: bool,
}

/// What both say of the file of a table.
pub fn judge(table: &Table) -> Judged {
    let text = table.text();
    let decoder = accepts(&text);
    match json(&text) {
        Some(instance) => Judged { decoder, schema: validator().is_valid(&instance) },
        None => Judged { decoder, schema: false },
    }
}

/// Whether the decoder takes a file beside the house.
pub fn accepts(text: &str) -> bool {
    complaints(text).is_empty()
}

/// The errors that the decoder has about a file beside the house.
pub fn complaints(text: &str) -> Vec<Diagnostic> {
    static ZONES: OnceLock<TimeZoneDatabase> = OnceLock::new();
    let site = if text.contains("[site]") { "" } else { SITE };
    // What the house defines is not defined twice where a section's example defines it too.
    let house = without_what(text);
    let files = [("house.toml", house.as_str()), ("site.toml", site), ("drawn.toml", text)];
    let files = files.map(|(path, text)| (path.to_owned(), text.to_owned()));
    let (_, diagnostics) = read(&files, ZONES.get_or_init(TimeZoneDatabase::bundled));
    diagnostics.into_iter().filter(|one| one.severity == Severity::Error).collect()
}

/// The house, and what the key tables name besides, defined as the example of its section is.
fn house() -> &'static str {
    static ALL: OnceLock<String> = OnceLock::new();
    ALL.get_or_init(|| {
        let mut text = HOUSE.to_owned();
        let mut keys: Vec<&Key> = SECTIONS.into_iter().flat_map(|section| section.keys).collect();
        keys.extend(KINDS.into_iter().flat_map(|kind| kind.keys));
        while let Some(key) = keys.pop() {
            let section = match key.form {
                Form::Name(section) | Form::Names(section) => section,
                Form::Keys(inner) => {
                    keys.extend(inner);
                    continue;
                }
                _ => continue,
            };
            let example = SECTIONS.into_iter().find(|known| known.word == section).map_or("", |known| known.example);
            for name in key.example.split('"').skip(1).step_by(2) {
                let header = format!("[{section}.{name}]");
                if !text.contains(&header) {
                    let body = example.lines().skip(1).take_while(|line| !line.starts_with('['));
                    let lines: Vec<&str> = std::iter::once(header.as_str()).chain(body).collect();
                    text.push_str(&format!("{}\n\n", lines.join("\n")));
                }
            }
        }
        text
    })
}

/// The house without the tables that a text defines.
fn without_what(text: &str) -> String {
    let headers: Vec<&str> = text.lines().filter(|line| line.starts_with('[')).collect();
    let tables = house().split_inclusive("\n\n");
    tables.filter(|table| !headers.iter().any(|header| table.lines().any(|line| line == *header))).collect()
}

/// What the schema has against a file.
pub fn faults(text: &str) -> Vec<String> {
    let instance = json(text).unwrap_or_default();
    validator().iter_errors(&instance).map(|error| format!("{}: {error}", error.instance_path())).collect()
}

/// The validator of the house's files.
pub fn validator() -> &'static Validator {
    static VALIDATOR: OnceLock<Validator> = OnceLock::new();
    VALIDATOR.get_or_init(|| jsonschema::draft202012::new(&house_schema()).unwrap())
}

/// TOML as the data of JSON; `None` where it is no TOML. Dates are texts, and numbers without a JSON form too.
pub fn json(text: &str) -> Option<Value> {
    let table = DeTable::parse(text).ok()?;
    Some(of_table(table.get_ref()))
}

fn of_table(table: &DeTable<'_>) -> Value {
    let pairs = table.iter().map(|(key, value)| (key.get_ref().to_string(), of_value(value.get_ref())));
    Value::Object(pairs.collect::<Map<String, Value>>())
}

fn of_value(value: &DeValue<'_>) -> Value {
    match value {
        DeValue::String(text) => Value::from(text.as_ref()),
        DeValue::Integer(whole) => i64::from_str_radix(whole.as_str(), whole.radix()).map_or(Value::Null, Value::from),
        DeValue::Float(decimal) => decimal.as_str().parse::<f64>().map_or(Value::Null, Value::from),
        DeValue::Boolean(truth) => Value::from(*truth),
        DeValue::Datetime(date) => Value::from(date.to_string()),
        DeValue::Array(list) => list.iter().map(|item| of_value(item.get_ref())).collect(),
        DeValue::Table(table) => of_table(table),
    }
}
