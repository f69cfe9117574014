//! What decoding carries along: the texts, the names, what was decoded so far, and what was wrong. It never reads a key.

use std::collections::BTreeMap;

use jiff::tz::TimeZoneDatabase;

use super::name::tidied;
use super::near::nearest;
use super::tree::{Node, Spot, Value};
use crate::diagnostic::Diagnostic;
use crate::house::{
    Actuator, Atom, Board, Circuit, Input, Interlock, Load, NamedCondition, Place, Port, Rotation, Rule, Selector,
    Sensor, Setpoint, Site, Words,
};

/// After this many diagnostics no more are kept: nobody reads on.
const DIAGNOSTICS_MAX: usize = 500;

/// The sections whose tables rules and hands speak to, each name once among all of them. Wherever the name of a `load` is
/// wanted, a name of any of them will do.
pub(super) const TARGETS: [&str; 3] = ["load", "actuator", "rotation"];

/// A table with a name.
#[derive(Clone, Copy)]
pub(super) struct Item<'t> {
    pub(super) name: &'t str,
    /// The name in the header.
    pub(super) name_spot: Spot,
    /// The table with its header.
    pub(super) node: &'t Node,
}

/// The house while it is being decoded: by section, an entry for each name in order, `None` where it failed.
#[derive(Default)]
pub(super) struct Draft {
    pub(super) site: Option<Site>,
    pub(super) boards: Vec<Option<Board>>,
    pub(super) sensors: Vec<Option<Sensor>>,
    pub(super) selectors: Vec<Option<Selector>>,
    pub(super) setpoints: Vec<Option<Setpoint>>,
    /// By name among all [`TARGETS`].
    pub(super) loads: Vec<Option<Load>>,
    pub(super) actuators: Vec<Option<Actuator>>,
    pub(super) rotations: Vec<Option<Rotation>>,
    pub(super) inputs: Vec<Option<(Input, Port)>>,
    pub(super) ports: Vec<Port>,
    pub(super) conditions: Vec<Option<NamedCondition>>,
    pub(super) rules: Vec<Option<Rule>>,
    pub(super) interlocks: Vec<Option<Interlock>>,
    pub(super) circuits: Vec<Option<Circuit>>,
    pub(super) atoms: Vec<Atom>,
    pub(super) atom_spots: Vec<Spot>,
}

/// What decoding carries along.
pub struct Context<'t> {
    pub(super) files: &'t [(String, String)],
    pub(super) zones: &'t TimeZoneDatabase,
    /// For each file the bytes at which its lines begin.
    lines: Vec<Vec<usize>>,
    /// For each section the tables that it has, sorted by name.
    pub(super) items: BTreeMap<&'static str, Vec<Item<'t>>>,
    /// The tables of all [`TARGETS`] with their sections, sorted by name.
    targets: Vec<(Item<'t>, &'static str)>,
    pub(super) draft: Draft,
    pub(super) diagnostics: Vec<Diagnostic>,
}

impl<'t> Context<'t> {
    pub(super) fn new(files: &'t [(String, String)], zones: &'t TimeZoneDatabase) -> Context<'t> {
        let begins = |text: &str| std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1)).collect();
        let lines = files.iter().map(|(_, text)| begins(text)).collect();
        Context {
            files,
            zones,
            lines,
            items: BTreeMap::new(),
            targets: Vec::new(),
            draft: Draft::default(),
            diagnostics: Vec::new(),
        }
    }

    pub(super) fn file(&self, spot: Spot) -> &'t str {
        self.files.get(spot.file as usize).map_or("", |(path, _)| path.as_str())
    }

    /// The text that stands at a spot.
    pub(super) fn text(&self, spot: Spot) -> &'t str {
        self.files.get(spot.file as usize).and_then(|(_, text)| text.get(spot.range())).unwrap_or("")
    }

    pub(super) fn push(&mut self, diagnostic: Diagnostic) {
        if self.diagnostics.len() < DIAGNOSTICS_MAX {
            self.diagnostics.push(diagnostic);
        }
    }

    /// An error at a spot, to be completed and pushed.
    pub(super) fn error(&self, code: &str, spot: Spot, message: impl Into<String>, label: &str) -> Diagnostic {
        Diagnostic::error(code, message).at(self.file(spot), spot.range(), label)
    }

    /// Where the value of a key of a table stands; the name in its header where that is not to be found.
    pub(super) fn spot_of(&self, section: &str, name: &str, key: &str) -> Spot {
        let item = self.items.get(section).and_then(|items| items.iter().find(|item| item.name == name));
        let value = item.and_then(|item| match &item.node.value {
            Value::Table(table) => table.get(key).map(|entry| entry.node.spot),
            _ => None,
        });
        value.or(item.map(|item| item.name_spot)).unwrap_or_default()
    }

    /// The spot as the house keeps it.
    pub(super) fn place(&self, spot: Spot) -> Place {
        let lines = self.lines.get(spot.file as usize).map_or(&[][..], Vec::as_slice);
        let line = lines.partition_point(|begin| *begin <= spot.start as usize);
        Place { file: spot.file, line: line as u32 }
    }

    /// The index of a name in a section, without a word when it is not there.
    pub(super) fn index(&self, section: &str, name: &str) -> Option<u32> {
        let place = if section == TARGETS[0] {
            self.targets.binary_search_by(|(item, _)| item.name.cmp(name))
        } else {
            self.items.get(section)?.binary_search_by(|item| item.name.cmp(name))
        };
        place.ok().map(|index| index as u32)
    }

    /// The names of a section.
    pub(super) fn names(&self, section: &str) -> Vec<&'t str> {
        if section == TARGETS[0] {
            return self.targets.iter().map(|(item, _)| item.name).collect();
        }
        self.items.get(section).map(|items| items.iter().map(|item| item.name).collect()).unwrap_or_default()
    }

    /// Gathers what rules and hands speak to from its sections, and refuses a name that two of them have.
    pub(super) fn gather_targets(&mut self) {
        for section in TARGETS {
            for item in self.items.get(section).cloned().unwrap_or_default() {
                match self.targets.binary_search_by(|(known, _)| known.name.cmp(item.name)) {
                    Err(place) => self.targets.insert(place, (item, section)),
                    Ok(place) => self.report_namesakes(item, section, place),
                }
            }
        }
        self.draft.loads = vec![None; self.targets.len()];
    }

    fn report_namesakes(&mut self, item: Item<'t>, section: &str, place: usize) {
        let (first, other) = self.targets[place];
        let message = format!(
            "\"{}\" is the name of {} {other} and of {} {section}",
            item.name,
            article(other),
            article(section)
        );
        let diagnostic = self
            .error("defined-twice", item.name_spot, message, "the second time")
            .also(self.file(first.name_spot), first.name_spot.range(), "the first time")
            .because("rules and holds speak to both by their names alone")
            .help("give one of them another name");
        self.push(diagnostic);
    }

    /// Puts what was read of a load, an actuator or the like where its name belongs.
    pub(super) fn put_load(&mut self, name: &str, load: Option<Load>) {
        if let Some(place) = self.index(TARGETS[0], name) {
            self.draft.loads[place as usize] = load;
        }
    }

    /// What the states of a load are called, which its section says.
    pub(super) fn words_of(&self, load: u32) -> Words {
        match self.targets.get(load as usize) {
            Some((_, "actuator")) => Words::OpenClosed,
            _ => Words::OnOff,
        }
    }

    /// The index of a name in a section; when it is not there, an error with the nearest that is.
    pub(super) fn resolve(&mut self, section: &'static str, name: &str, spot: Spot) -> Option<u32> {
        let found = self.index(section, name);
        if found.is_none() && !self.is_misspelt(section, name) {
            let diagnostic = self
                .error("unknown-name", spot, format!("there is no {section} \"{name}\""), "")
                .help(self.instead_of(section, name));
            self.push(diagnostic);
        }
        found
    }

    /// Whether a table of the section would have this name if its own were written rightly, which has been reported there.
    fn is_misspelt(&self, section: &str, name: &str) -> bool {
        !name.is_empty()
            && self.names(section).iter().any(|written| *written != name && tidied(written, usize::MAX) == name)
    }

    /// What to do about a name that a section does not have.
    fn instead_of(&self, section: &str, name: &str) -> String {
        let names = self.names(section);
        if let Some(near) = nearest(name, names.iter().copied()) {
            return format!("did you mean \"{near}\"?");
        }
        let elsewhere = self.items.iter().find(|(word, _)| **word != section && self.index(word, name).is_some());
        if let Some((word, _)) = elsewhere {
            return format!("\"{name}\" is the name of {} {word}; here a {section} is wanted", article(word));
        }
        if super::name::fault(name, usize::MAX).is_some() {
            return match names.len() {
                1..=12 => format!("write the name of a {section}: {}", names.join(", ")),
                _ => format!("write the name that stands in the header of a table [{section}.<name>]"),
            };
        }
        match names.len() {
            0 => format!("define it with a table [{section}.{name}]; there is no {section} yet"),
            1..=12 => format!("define it with a table [{section}.{name}], or use one of: {}", names.join(", ")),
            _ => format!("define it with a table [{section}.{name}]"),
        }
    }
}

/// `a` or `an`.
pub(super) fn article(word: &str) -> &'static str {
    if word.starts_with(['a', 'e', 'i', 'o', 'u']) { "an" } else { "a" }
}
