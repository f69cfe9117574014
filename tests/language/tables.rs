//! Tables out of the key tables that decode in the house beside this file: each key with its example, in company of others
//! where it does not stand alone. It never takes a value from anywhere else than the key tables and `draw.rs`.

use std::sync::OnceLock;

use standfast::syntax::{ConditionKind, KINDS, Key, Need, SECTIONS, Section};

use crate::draw::values;
use crate::judge::accepts;

/// Where a table stands.
#[derive(Clone, Copy)]
pub enum Place {
    /// In a section.
    Section(&'static Section),
    /// Behind `while` of a rule.
    Kind(&'static ConditionKind),
}

impl std::fmt::Debug for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}

impl Place {
    /// Its keys.
    pub fn keys(self) -> &'static [Key] {
        match self {
            Place::Section(section) => section.keys,
            Place::Kind(kind) => kind.keys,
        }
    }

    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Place::Section(section) => section.word,
            Place::Kind(kind) => kind.word,
        }
    }
}

/// Keys with the text of their values.
#[derive(Clone, Debug)]
pub struct Table {
    /// Where it stands.
    pub place: Place,
    /// Keys and values, in order.
    pub keys: Vec<(String, String)>,
}

impl Table {
    /// The file that holds it.
    pub fn text(&self) -> String {
        let pairs = |separator: &str| -> String {
            self.keys.iter().map(|(key, value)| format!("{key} = {value}")).collect::<Vec<_>>().join(separator)
        };
        match self.place {
            Place::Section(section) => {
                let name = if section.named.is_some() { ".drawn" } else { "" };
                format!("[{}{name}]\n{}\n", section.word, pairs("\n"))
            }
            Place::Kind(_) => {
                format!(
                    "[rule.drawn]\nload = \"sunroom-fan\"\ndemand = \"on\"\nwhile = {{ any = [{{ {} }}] }}\n",
                    pairs(", ")
                )
            }
        }
    }
}

/// For each key of each table one that decodes and has the key with its example.
pub fn working_tables() -> Vec<Table> {
    static TABLES: OnceLock<Vec<Table>> = OnceLock::new();
    TABLES.get_or_init(search).clone()
}

fn search() -> Vec<Table> {
    let sections = SECTIONS.into_iter().filter(|section| !section.is_condition).map(Place::Section);
    let places: Vec<Place> = sections.chain(KINDS.into_iter().map(Place::Kind)).collect();
    let mut found = Vec::new();
    for place in places {
        for key in place.keys() {
            let table = in_company(place, key);
            found.push(table.unwrap_or_else(|| {
                let alone = with(place, key, &[]);
                panic!(
                    "the example of `{}` in {} decodes in no company; is what it names in tests/language/house.toml?\n{}\n{:#?}",
                    key.name,
                    place.word(),
                    alone.text(),
                    crate::judge::complaints(&alone.text())
                )
            }));
        }
    }
    found
}

/// The key with its example, what must be there, and as few others as it takes.
fn in_company(place: Place, key: &Key) -> Option<Table> {
    let others: Vec<(&str, String)> = place
        .keys()
        .iter()
        .filter(|other| other.name != key.name && other.need != Need::Required)
        .flat_map(|other| {
            let more = values(other.form).into_iter().filter(|value| value != other.example);
            let words = other.words.iter().map(|word| format!("\"{word}\""));
            std::iter::once(other.example.to_owned()).chain(more).chain(words).map(|value| (other.name, value))
        })
        .collect();
    let fits = |company: &[&(&str, String)]| Some(with(place, key, company)).filter(|table| accepts(&table.text()));
    let alone = fits(&[]);
    let one = || others.iter().find_map(|first| fits(&[first]));
    let two = || {
        let pairs = others
            .iter()
            .enumerate()
            .flat_map(|(at, first)| others[at + 1..].iter().map(move |second| (first, second)));
        pairs.filter(|(first, second)| first.0 != second.0).find_map(|(first, second)| fits(&[first, second]))
    };
    // What goes together in threes is looked for among examples and words only.
    let plain: Vec<&(&str, String)> = others
        .iter()
        .filter(|(name, value)| {
            let other = place.keys().iter().find(|other| other.name == *name).expect("it is one of them");
            other.example == value || other.words.iter().any(|word| format!("\"{word}\"") == *value)
        })
        .collect();
    let three = || {
        (0..plain.len()).find_map(|first| {
            (first + 1..plain.len()).find_map(|second| {
                (second + 1..plain.len()).find_map(|third| fits(&[plain[first], plain[second], plain[third]]))
            })
        })
    };
    alone.or_else(one).or_else(two).or_else(three)
}

fn with(place: Place, key: &Key, company: &[&(&str, String)]) -> Table {
    let pair = |key: &Key| (key.name.to_owned(), key.example.to_owned());
    let required = place.keys().iter().filter(|other| other.need == Need::Required && other.name != key.name);
    let mut keys: Vec<(String, String)> = required.map(pair).collect();
    keys.push(pair(key));
    keys.extend(company.iter().map(|(name, value)| ((*name).to_owned(), value.clone())));
    Table { place, keys }
}
