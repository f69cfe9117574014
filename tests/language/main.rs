//! The language of the house held together: what the decoder takes, what the reference says and what the schema lets through
//! come from the same key tables, and are compared here, with an independent validator for the schema. A key whose example
//! needs more than a table that is there gets it in `house.toml` beside this file. It never judges whether a house makes
//! sense.

mod draw;
mod judge;
mod tables;

use std::path::{Path, PathBuf};

use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use standfast::syntax::{
    Form, KINDS, Key, Need, SECTIONS, SERVER_KEYS, house_schema, read_server, reference, server_schema,
};

use draw::{Edit, edit};
use judge::{Judged, accepts, faults, json, judge, validator};
use tables::{Place, Table, working_tables};

/// All keys with the keys of inner tables, by the name of their definition in the schema.
fn all_keys() -> Vec<(String, &'static [Key])> {
    let sections = SECTIONS.into_iter().filter(|section| !section.is_condition);
    let mut all: Vec<(String, &'static [Key])> =
        sections.map(|section| (section.word.to_owned(), section.keys)).collect();
    all.extend(KINDS.into_iter().map(|kind| (format!("condition-{}", kind.word.replace(' ', "-")), kind.keys)));
    all
}

#[test]
fn the_schemas_are_schemas() {
    for schema in [house_schema(), server_schema()] {
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
        jsonschema::meta::validate(&schema).unwrap();
    }
}

/// Each key in the schema's properties and in the reference, those of inner tables too.
fn check_described(properties: &serde_json::Value, text: &str, keys: &[Key]) {
    assert_eq!(properties.as_object().map(serde_json::Map::len), Some(keys.len()));
    for key in keys {
        let property = &properties[key.name];
        let description = property["description"].as_str().unwrap_or_default();
        assert!(description.starts_with(key.meaning), "{}: {property}", key.name);
        assert_eq!(property["default"].is_null(), !matches!(key.need, Need::Default(_)), "{}", key.name);
        let meaning: Vec<&str> = key.meaning.split_whitespace().collect();
        let entry = text.split(&format!("- `{}`: ", key.name)).skip(1).any(|rest| rest.contains(&meaning.join(" ")));
        assert!(entry, "{} is not in the reference", key.name);
        if let Form::Keys(inner) = key.form {
            // A word may stand for the table.
            let mut forms = property["anyOf"].as_array().into_iter().flatten().chain([property]);
            let properties = forms.find_map(|form| form.get("properties")).expect("a table has properties");
            check_described(properties, text, inner);
        }
    }
}

#[test]
fn every_key_is_in_the_schema_and_in_the_reference() {
    let text = reference().split_whitespace().collect::<Vec<_>>().join(" ");
    let schema = house_schema();
    for (word, keys) in all_keys() {
        check_described(&schema["$defs"][&word]["properties"], &text, keys);
    }
    for section in SECTIONS {
        assert!(schema["properties"].get(section.word).is_some(), "{}", section.word);
    }
    check_described(&server_schema()["properties"], &text, SERVER_KEYS);
}

#[test]
fn every_example_of_the_tables_decodes_and_fits_the_schema() {
    for table in working_tables() {
        let text = table.text();
        assert_eq!(judge(&table), Judged { decoder: true, schema: true }, "{text}\n{:#?}", faults(&text));
    }
    for section in SECTIONS {
        assert!(accepts(section.example), "{}", section.example);
    }
}

#[test]
fn what_is_wrong_in_shape_is_refused_by_both() {
    let refused = Judged { decoder: false, schema: false };
    for table in working_tables() {
        let mut stranger = table.clone();
        stranger.keys.push(("no-such-key".to_owned(), "1".to_owned()));
        assert_eq!(judge(&stranger), refused, "{}", stranger.text());
        for index in 0..table.keys.len() {
            let mut wrong = table.clone();
            let form = table.place.keys().iter().find(|key| key.name == wrong.keys[index].0).map(|key| key.form);
            wrong.keys[index].1 = if form == Some(Form::Truth) { "\"true\"" } else { "true" }.to_owned();
            assert_eq!(judge(&wrong), refused, "{}", wrong.text());
            let mut short = table.clone();
            let (name, _) = short.keys.remove(index);
            let is_required = |key: &&Key| key.name == name && key.need == Need::Required;
            if table.place.keys().iter().any(|key| is_required(&key)) {
                // A condition without it may have the shape of another kind.
                let is_section = matches!(short.place, Place::Section(_));
                let judged = judge(&short);
                assert!(!judged.decoder, "{}", short.text());
                assert!(!is_section || !judged.schema, "{}", short.text());
            }
        }
    }
    for text in ["[lod.x]\nrelay = \"yard/1\"\n", "load = 1\n", "[load.Fan]\nrelay = \"yard/1\"\nkind = \"motor\"\n"] {
        assert!(!accepts(text) && !faults(text).is_empty(), "{text}");
    }
}

/// Below a folder all files of houses.
fn houses(dir: &Path) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = std::fs::read_dir(dir).unwrap().map(|entry| entry.unwrap().path()).collect();
    found.retain(|path| path.extension().is_some_and(|ext| ext == "toml"));
    found.sort();
    found
}

#[test]
fn files_of_houses_that_are_right_fit_the_schema() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = houses(&root.join("rules"));
    files.extend(houses(&root.join("src/syntax/tests")));
    assert!(files.len() >= 9, "{files:?}");
    for path in files {
        let text = std::fs::read_to_string(&path).unwrap();
        let instance = json(&text).expect("it is TOML");
        let said: Vec<String> = validator().iter_errors(&instance).map(|error| error.to_string()).collect();
        assert!(said.is_empty(), "{}: {said:#?}", path.display());
    }
}

#[test]
fn the_servers_file_fits_its_schema() {
    let schema = jsonschema::validator_for(&server_schema()).unwrap();
    let check = |text: &str, expected: bool| {
        let file = ("standfast.toml".to_owned(), text.to_owned());
        assert_eq!(read_server(&file).0.is_some(), expected, "{text}");
        assert_eq!(schema.is_valid(&json(text).unwrap()), expected, "{text}");
    };
    let all: String = SERVER_KEYS.iter().map(|key| format!("{} = {}\n", key.name, key.example)).collect();
    check(&all, true);
    check("", true);
    for key in SERVER_KEYS {
        check(&format!("{} = 7\n", key.name), false);
        if let Form::Keys(inner_keys) = key.form {
            for inner in inner_keys {
                let there = inner_keys.iter().filter(|one| one.need == Need::Required || one.name == inner.name);
                let pairs: Vec<String> = there.map(|one| format!("{} = {}", one.name, one.example)).collect();
                check(&format!("{} = {{ {} }}\n", key.name, pairs.join(", ")), true);
                check(&format!("{} = {{ {} = 7 }}\n", key.name, inner.name), false);
            }
        }
    }
    check("hause = \"rules\"\n", false);
}

/// A working table and what is done to it.
fn edited() -> impl Strategy<Value = (Table, Vec<Edit>)> {
    (prop::sample::select(working_tables()), prop::collection::vec(any::<Edit>(), 0..4))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    /// What the decoder takes the schema takes, so what the schema refuses the decoder refuses.
    #[test]
    fn the_schema_refuses_nothing_that_the_decoder_takes((table, edits) in edited()) {
        let table = edits.iter().fold(table, edit);
        let judged = judge(&table);
        prop_assert!(judged.schema || !judged.decoder, "{}\n{:#?}", table.text(), faults(&table.text()));
    }
}

/// The property above says nothing unless both are often taken and often refused.
#[test]
fn what_is_drawn_is_taken_and_refused() {
    let mut runner = TestRunner::deterministic();
    let (mut taken, mut refused, mut places) = (0, 0, std::collections::BTreeSet::new());
    for _ in 0..1000 {
        let (table, edits) = edited().new_tree(&mut runner).unwrap().current();
        let table = edits.iter().fold(table, edit);
        let judged = judge(&table);
        taken += usize::from(judged.decoder && !edits.is_empty());
        refused += usize::from(!judged.decoder && !judged.schema);
        places.insert(table.place.word());
    }
    assert!(taken >= 150 && refused >= 150, "{taken} taken, {refused} refused");
    let all = SECTIONS.iter().filter(|section| !section.is_condition).count() + KINDS.len();
    assert_eq!(places.len(), all, "{places:?}");
    let is_inner = |table: &Table| matches!(table.place, Place::Kind(_));
    assert!(working_tables().iter().any(is_inner));
}
