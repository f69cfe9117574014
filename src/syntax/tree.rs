//! TOML text to a tree of our own in which everything knows its place. It never gives the text a meaning.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A stretch of one of the house's files: its index in path order, and bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Spot {
    /// Index of the file.
    pub file: u32,
    /// First byte.
    pub start: u32,
    /// The byte after the last.
    pub end: u32,
}

impl Spot {
    fn new(file: u32, range: &Range<usize>) -> Spot {
        // Files are bounded far below 4 GiB before they get here.
        Spot { file, start: range.start as u32, end: range.end as u32 }
    }

    /// The bytes as a range.
    pub fn range(self) -> Range<usize> {
        self.start as usize..self.end as usize
    }
}

/// A value and where it stands. Of a table with a header of its own, the header.
#[derive(Clone, Debug)]
pub(super) struct Node {
    pub(super) spot: Spot,
    pub(super) value: Value,
}

/// What a value is.
#[derive(Clone, Debug)]
pub(super) enum Value {
    Text(String),
    Whole(i64),
    Decimal(f64),
    Truth(bool),
    Date,
    List(Vec<Node>),
    Table(Table),
}

/// Keys and values in the order in which they were written.
#[derive(Clone, Debug, Default)]
pub(super) struct Table {
    pub(super) entries: Vec<Entry>,
}

/// A key with its value.
#[derive(Clone, Debug)]
pub(super) struct Entry {
    pub(super) key: String,
    pub(super) key_spot: Spot,
    pub(super) node: Node,
}

impl Table {
    pub(super) fn get(&self, key: &str) -> Option<&Entry> {
        self.entries.iter().find(|entry| entry.key == key)
    }
}

impl Node {
    /// What a person calls such a value, with its article.
    pub(super) fn described(&self) -> &'static str {
        match &self.value {
            Value::Text(_) => "a text",
            // TOML writes `nan` and `inf` where it writes numbers.
            Value::Decimal(value) if !value.is_finite() => "not finite",
            Value::Whole(_) | Value::Decimal(_) => "a number",
            Value::Truth(_) => "true or false",
            Value::Date => "a date or time",
            Value::List(_) => "a list",
            Value::Table(_) => "a table",
        }
    }
}

/// Parses one file: what could be read of it, and all that was wrong with its form.
pub(super) fn parse(file: u32, text: &str) -> (Table, Vec<toml::de::Error>) {
    let (table, errors) = DeTable::parse_recoverable(text);
    (convert_table(file, table.get_ref()), errors)
}

fn convert_table(file: u32, table: &DeTable<'_>) -> Table {
    let entries = table.iter().map(|(key, value)| Entry {
        key: key.get_ref().to_string(),
        key_spot: Spot::new(file, &key.span()),
        node: convert(file, value),
    });
    Table { entries: entries.collect() }
}

fn convert(file: u32, node: &Spanned<DeValue<'_>>) -> Node {
    let value = match node.get_ref() {
        DeValue::String(text) => Value::Text(text.to_string()),
        DeValue::Integer(whole) => match i64::from_str_radix(whole.as_str(), whole.radix()) {
            Ok(value) => Value::Whole(value),
            // Beyond 64 bits it is still a number, and out of every range.
            Err(_) => Value::Decimal(if whole.as_str().starts_with('-') { f64::MIN } else { f64::MAX }),
        },
        DeValue::Float(decimal) => Value::Decimal(decimal.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(truth) => Value::Truth(*truth),
        DeValue::Datetime(_) => Value::Date,
        DeValue::Array(list) => Value::List(list.iter().map(|item| convert(file, item)).collect()),
        DeValue::Table(table) => Value::Table(convert_table(file, table)),
    };
    Node { spot: Spot::new(file, &node.span()), value }
}
