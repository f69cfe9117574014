//! The tables of all files by section and name. It never looks into a table.

use std::collections::BTreeMap;

use super::context::{Context, Item, article};
use super::fields::{Fields, list};
use super::keys::Section;
use super::name;
use super::near::nearest;
use super::section::SECTIONS;
use super::tree::{Entry, Node, Spot, Table, Value};

/// A table without keys, for what failed to be one.
static NOTHING: Table = Table { entries: Vec::new() };

/// Sorts what stands in the files into `context.items`, and reports what belongs nowhere.
pub(super) fn collect<'t>(context: &mut Context<'t>, roots: &'t [Table]) {
    let mut found: BTreeMap<&'static str, BTreeMap<&'t str, Item<'t>>> = BTreeMap::new();
    for entry in roots.iter().flat_map(|root| &root.entries) {
        let Some(section) = SECTIONS.into_iter().find(|section| section.word == entry.key) else {
            report_section(context, entry);
            continue;
        };
        let items = found.entry(section.word).or_default();
        match section.named {
            None => {
                if let Some(node) = as_table(context, section, entry) {
                    add(context, section, items, Item { name: "", name_spot: entry.key_spot, node });
                }
            }
            Some(most) => {
                let Some(Node { value: Value::Table(table), .. }) = as_table(context, section, entry) else { continue };
                for inner in &table.entries {
                    if let Some(item) = named(context, section, inner, most) {
                        add(context, section, items, item);
                    }
                }
            }
        }
    }
    context.items = found.into_iter().map(|(word, items)| (word, items.into_values().collect())).collect();
    context.gather_targets();
    if context.index("site", "").is_none() && !roots.is_empty() {
        let diagnostic = crate::diagnostic::Diagnostic::error("missing-section", "the house has no [site]")
            .because("the sun and the clock need to know where the house stands")
            .help(
                "add to one of its files: [site], and below it position = [54.60, -3.14] and zone = \"Europe/London\"",
            );
        context.push(diagnostic);
    }
}

/// A table of its own in a section.
fn add<'t>(context: &mut Context<'t>, section: &Section, items: &mut BTreeMap<&'t str, Item<'t>>, item: Item<'t>) {
    let Some(first) = items.get(item.name).copied() else {
        items.insert(item.name, item);
        return;
    };
    let what =
        if section.named.is_some() { format!("{} \"{}\"", section.word, item.name) } else { section.a.to_owned() };
    let diagnostic = context
        .error("defined-twice", item.name_spot, format!("{what} is defined twice"), "the second time")
        .also(context.file(first.name_spot), first.name_spot.range(), "the first time")
        .help(match section.named {
            Some(_) => "keep one of them, or give one another name",
            None => "a house has one: write all of it in one place",
        });
    context.push(diagnostic);
}

/// A named table, if its name is one.
fn named<'t>(context: &mut Context<'t>, section: &Section, entry: &'t Entry, most: usize) -> Option<Item<'t>> {
    let Value::Table(_) = entry.node.value else {
        report_nameless(context, section, entry);
        return None;
    };
    if let Some(fault) = name::fault(&entry.key, most) {
        let diagnostic = context
            .error(
                "bad-name",
                entry.key_spot,
                format!("{} {} cannot be called this", article(section.word), section.word),
                &fault.cause,
            )
            .help(fault.help);
        context.push(diagnostic);
        // Its table is read all the same: its keys may be wrong too, and others may name it.
    }
    Some(Item { name: &entry.key, name_spot: entry.key_spot, node: &entry.node })
}

/// `relay = "yard/2"` directly below `[load]`.
fn report_nameless(context: &mut Context<'_>, section: &Section, entry: &Entry) {
    let word = section.word;
    let message = format!("each {word} needs a name");
    let help = format!("put the name into the header: [{word}.some-name]");
    let diagnostic = context.error("missing-name", entry.key_spot, message, "").help(help);
    let known = context.diagnostics.iter().any(|other| {
        let near = |label: &crate::diagnostic::Label| label.file == context.file(entry.key_spot);
        other.code == "missing-name" && other.message == diagnostic.message && other.at.as_ref().is_some_and(near)
    });
    if !known {
        context.push(diagnostic);
    }
}

/// The table behind a section's word.
fn as_table<'t>(context: &mut Context<'t>, section: &Section, entry: &'t Entry) -> Option<&'t Node> {
    if let Value::Table(_) = entry.node.value {
        return Some(&entry.node);
    }
    let header = match section.named {
        Some(_) => format!("[{}.some-name]", section.word),
        None => format!("[{}]", section.word),
    };
    let help = match &entry.node.value {
        Value::List(_) => format!("write {header} with single brackets, a name for each"),
        _ => format!("write it as a table with the header {header}"),
    };
    let message = format!("`{}` is not written like this", section.word);
    let diagnostic = context.error("wrong-type", entry.key_spot, message, "").help(help);
    context.push(diagnostic);
    None
}

fn report_section(context: &mut Context<'_>, entry: &Entry) {
    let words = || SECTIONS.into_iter().map(|section| section.word);
    let is_table = matches!(entry.node.value, Value::Table(_) | Value::List(_));
    let owner = SECTIONS.into_iter().find(|section| section.keys.iter().any(|key| key.name == entry.key));
    let help = match (nearest(&entry.key, words()), owner) {
        (Some(near), _) if is_table => format!("did you mean [{near}]?"),
        (_, Some(owner)) if !is_table => {
            let header =
                if owner.named.is_some() { format!("[{}.some-name]", owner.word) } else { format!("[{}]", owner.word) };
            format!("`{}` is a key of {}; write it below a header {header}", entry.key, owner.a)
        }
        _ => format!("the sections of a house are {}", list(words())),
    };
    let message = match is_table {
        true => format!("there is no section [{}]", entry.key),
        false => format!("`{}` stands in no section", entry.key),
    };
    let diagnostic = context.error("unknown-section", entry.key_spot, message, "not known here").help(help);
    context.push(diagnostic);
}

/// Decodes one table of a section into the draft.
pub(super) fn decode_item<'t>(context: &mut Context<'t>, section: &'static Section, item: &Item<'t>) {
    let title = match item.name {
        "" => section.a.to_owned(),
        name => format!("{} \"{name}\"", section.word),
    };
    let table = if let Value::Table(table) = &item.node.value { table } else { &NOTHING };
    let spot = header_spot(item);
    let fields = if section.is_condition {
        Fields::bare(title, spot)
    } else {
        Fields::open(context, title, section.a, spot, table, section.keys)
    };
    (section.decode)(context, item, &fields);
}

/// The header of a table; the name alone where the table is written inline, so that not all of it is underlined.
fn header_spot(item: &Item<'_>) -> Spot {
    let (whole, name) = (item.node.spot, item.name_spot);
    if whole.start <= name.start && name.end <= whole.end { whole } else { name }
}
