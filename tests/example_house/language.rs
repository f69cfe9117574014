//! Which words of the language some text of a house uses, by the key tables that drive the decoder: every key, those of inner
//! tables too, every kind of condition, and each word that may stand for a value. It never judges whether a house makes sense.

use std::collections::BTreeSet;

use standfast::syntax::{COMBINATORS, Form, KINDS, Key, SECTIONS};
use toml::de::{DeTable, DeValue};

/// All that may be written: `rule.priority`, `load.proof.within`, `window.dates`, `all`, `board.report = "none"`.
pub fn words() -> BTreeSet<String> {
    let mut all: BTreeSet<String> = COMBINATORS.into_iter().map(str::to_owned).collect();
    all.insert(NAMED.to_owned());
    for section in SECTIONS {
        all.insert(section.word.to_owned());
        of_table(section.word, section.keys, &mut all);
    }
    for kind in KINDS {
        of_table(&dashed(kind.word), kind.keys, &mut all);
    }
    all
}

/// A condition that has a name, used by it.
const NAMED: &str = "a condition by its name";

fn dashed(word: &str) -> String {
    word.replace(' ', "-")
}

fn of_table(place: &str, keys: &[Key], all: &mut BTreeSet<String>) {
    for key in keys {
        let path = format!("{place}.{}", key.name);
        all.extend(key.words.iter().map(|word| format!("{path} = \"{word}\"")));
        if let Form::Keys(inner) = key.form {
            of_table(&path, inner, all);
        }
        all.insert(path);
    }
}

/// Those that a file of a house uses, and behind each key whose value is a text that text too.
pub fn used(text: &str) -> BTreeSet<String> {
    let mut used = BTreeSet::new();
    let root = DeTable::parse(text).expect("a file of the house is TOML");
    for (word, value) in root.get_ref() {
        let section = SECTIONS.into_iter().find(|section| section.word == word.get_ref().as_ref());
        let section = section.unwrap_or_else(|| panic!("there is no section {}", word.get_ref()));
        used.insert(section.word.to_owned());
        let DeValue::Table(table) = value.get_ref() else { panic!("{} is no table", section.word) };
        let named = table.values().map(|one| one.get_ref());
        let tables: Vec<&DeValue<'_>> = if section.named.is_some() { named.collect() } else { vec![value.get_ref()] };
        for one in tables {
            if section.is_condition {
                of_condition(one, &mut used);
            } else {
                of_value(section.word, Form::Keys(section.keys), one, &mut used);
            }
        }
    }
    used
}

fn of_value(path: &str, form: Form, value: &DeValue<'_>, used: &mut BTreeSet<String>) {
    if let DeValue::String(text) = value {
        used.insert(format!("{path} = \"{text}\""));
    }
    match (form, value) {
        (Form::Condition, _) => of_condition(value, used),
        (Form::Keys(keys), DeValue::Table(table)) => {
            for (name, inner) in table {
                let key = keys.iter().find(|key| key.name == name.get_ref().as_ref());
                let key = key.unwrap_or_else(|| panic!("{path} has no key {}", name.get_ref()));
                let path = format!("{path}.{}", key.name);
                of_value(&path, key.form, inner.get_ref(), used);
                used.insert(path);
            }
        }
        _ => {}
    }
}

fn of_condition(value: &DeValue<'_>, used: &mut BTreeSet<String>) {
    let DeValue::Table(table) = value else {
        used.insert(NAMED.to_owned());
        return;
    };
    if let Some((word, parts)) = table.iter().find(|(key, _)| COMBINATORS.contains(&key.get_ref().as_ref())) {
        used.insert(word.get_ref().to_string());
        match parts.get_ref() {
            DeValue::Array(parts) => parts.iter().for_each(|part| of_condition(part.get_ref(), used)),
            part => of_condition(part, used),
        }
        return;
    }
    let has = |lead: &&str| table.keys().any(|key| key.get_ref().as_ref() == *lead);
    let kind = KINDS.into_iter().find(|kind| kind.lead.iter().any(has)).expect("it is of some kind");
    of_value(&dashed(kind.word), Form::Keys(kind.keys), value, used);
}
