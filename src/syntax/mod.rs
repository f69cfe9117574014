//! TOML text to a spanned tree to a house: one key table per section drives decoding and suggestions. It never reads files.
//!
//! All errors of a house come in one go. Tables are first collected by name from all files, then decoded section by
//! section, so that it does not matter in which file or order something is defined.

mod address;
mod advice;
mod collect;
mod condition;
mod context;
mod fields;
mod form;
mod instead;
mod keys;
mod name;
mod near;
mod reference;
mod schema;
mod section;
mod server;
mod state;
mod tree;
mod unit;
mod words;

#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use jiff::tz::TimeZoneDatabase;

pub use condition::{COMBINATORS, KINDS};
pub use context::Context;
pub use fields::Fields;
pub use keys::{ConditionKind, Form, Key, Need, Section};
pub use name::tidied;
pub use near::nearest;
pub use near::nearest_zone;
pub use reference::{capital, reference, reference_json};
pub use schema::{house_schema, server_schema};
pub use section::SECTIONS;
pub use server::{AlarmTable, BrokerTable, PageTable, SERVER_KEYS, ServerFile, Written, read_server};
pub use tree::Spot;

use crate::diagnostic::{Diagnostic, errors};
use crate::house::{AtomId, House, Input};

/// The largest file that is read, in bytes.
pub const FILE_BYTES_MAX: usize = 256 * 1024;

/// The most bytes of all files together.
pub const HOUSE_BYTES_MAX: usize = 4 * 1024 * 1024;

/// The code of a fault that should have been found elsewhere.
const UNEXPLAINED: &str = "unexplained";

/// What decoding came to.
pub struct Decoded {
    /// The house; `None` where there are errors.
    pub house: Option<House>,
    /// Errors and warnings in the order of files and lines.
    pub diagnostics: Vec<Diagnostic>,
    /// Where everything stands that the house was decoded from.
    pub spots: Spots,
}

/// Where the keys of a house stand, for findings about a house that decodes.
#[derive(Clone, Debug, Default)]
pub struct Spots {
    tables: BTreeMap<(&'static str, String), TableSpots>,
    atoms: Vec<Spot>,
}

/// Where a table stands.
#[derive(Clone, Debug)]
struct TableSpots {
    /// The name in its header.
    name: Spot,
    /// By key the value.
    values: BTreeMap<String, Spot>,
}

impl Spots {
    /// The name in the header of a table.
    pub fn name(&self, section: &'static str, name: &str) -> Spot {
        self.tables.get(&(section, name.to_owned())).map(|table| table.name).unwrap_or_default()
    }

    /// The value of a key of a table; the name in the header where the key was not written.
    pub fn value(&self, section: &'static str, name: &str, key: &str) -> Spot {
        let table = self.tables.get(&(section, name.to_owned()));
        table.map(|table| table.values.get(key).copied().unwrap_or(table.name)).unwrap_or_default()
    }

    /// The table of an atom.
    pub fn atom(&self, atom: AtomId) -> Spot {
        self.atoms.get(atom.index()).copied().unwrap_or_default()
    }
}

/// Decodes the files of a house, given as paths below its directory in path order, and their texts.
///
/// Returns the house, or `None` where there are errors, and all errors and warnings.
pub fn read(files: &[(String, String)], zones: &TimeZoneDatabase) -> (Option<House>, Vec<Diagnostic>) {
    let decoded = decode(files, zones);
    (decoded.house, decoded.diagnostics)
}

/// The same as [`read`], with the place of everything.
pub fn decode(files: &[(String, String)], zones: &TimeZoneDatabase) -> Decoded {
    let mut context = Context::new(files, zones);
    let roots = form::parse_all(&mut context);
    collect::collect(&mut context, &roots);
    for section in SECTIONS {
        let items = context.items.get(section.word).cloned().unwrap_or_default();
        for item in &items {
            collect::decode_item(&mut context, section, item);
        }
        if let Some(after) = section.after {
            after(&mut context);
        }
    }
    condition::report_circles(&mut context);
    finish(context)
}

fn finish(context: Context<'_>) -> Decoded {
    let files = context.files;
    let mut diagnostics = form::without_echoes(files, context.diagnostics);
    sort(&mut diagnostics, files);
    let spots = spots(&context.items, &context.draft.atom_spots);
    let house = if errors(&diagnostics) == 0 { house(context.draft, files) } else { None };
    if house.is_none() && errors(&diagnostics) == 0 {
        // Whoever fails to decode something says so; should one forget, a house that does not run is still no right house.
        let diagnostic = Diagnostic::error(UNEXPLAINED, "the house cannot be read, and nothing says why")
            .help("take back the last change; this is a mistake in Standfast, please report it with the house");
        diagnostics.push(diagnostic);
    }
    Decoded { house, diagnostics, spots }
}

/// What is wrong with a name of at most so many bytes and what to write instead, in one sentence; nothing if it is one.
pub fn name_fault(text: &str, most: usize) -> Option<String> {
    name::fault(text, most).map(|refused| format!("{}; {}", refused.cause, refused.help))
}

/// Sorts by file in the order given, then by place.
pub fn sort(diagnostics: &mut [Diagnostic], files: &[(String, String)]) {
    let rank = |diagnostic: &Diagnostic| {
        let at = diagnostic.at.as_ref();
        let file = at.and_then(|label| files.iter().position(|(path, _)| *path == label.file));
        (file.map_or(0, |index| index + 1), at.map_or(0, |label| label.span.start))
    };
    diagnostics.sort_by_cached_key(rank);
}

fn spots(items: &BTreeMap<&'static str, Vec<context::Item<'_>>>, atoms: &[Spot]) -> Spots {
    let mut tables = BTreeMap::new();
    for (section, items) in items {
        for item in items {
            let mut values = BTreeMap::new();
            if let tree::Value::Table(table) = &item.node.value {
                values.extend(table.entries.iter().map(|entry| (entry.key.clone(), entry.node.spot)));
            }
            tables.insert((*section, item.name.to_owned()), TableSpots { name: item.name_spot, values });
        }
    }
    Spots { tables, atoms: atoms.to_vec() }
}

/// The house of a draft in which everything succeeded.
fn house(draft: context::Draft, files: &[(String, String)]) -> Option<House> {
    let inputs: Option<Vec<Input>> = draft.inputs.into_iter().map(|input| input.map(|(input, _)| input)).collect();
    Some(House {
        site: draft.site?,
        boards: draft.boards.into_iter().collect::<Option<_>>()?,
        sensors: draft.sensors.into_iter().collect::<Option<_>>()?,
        loads: draft.loads.into_iter().collect::<Option<_>>()?,
        ports: draft.ports,
        inputs: inputs?,
        rules: draft.rules.into_iter().collect::<Option<_>>()?,
        conditions: draft.conditions.into_iter().collect::<Option<_>>()?,
        atoms: draft.atoms,
        interlocks: draft.interlocks.into_iter().collect::<Option<_>>()?,
        circuits: draft.circuits.into_iter().collect::<Option<_>>()?,
        actuators: draft.actuators.into_iter().collect::<Option<_>>()?,
        selectors: draft.selectors.into_iter().collect::<Option<_>>()?,
        setpoints: draft.setpoints.into_iter().collect::<Option<_>>()?,
        rotations: draft.rotations.into_iter().collect::<Option<_>>()?,
        files: files.iter().map(|(path, _)| path.clone()).collect(),
    })
}
