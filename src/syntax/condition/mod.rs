//! Conditions as they are written: names, tables of one kind, and `all`, `any`, `not` over them. It never evaluates one.
//! To add a kind of condition, write its file and name its table in [`KINDS`].

mod alarm;
mod circle;
mod cycle;
mod end;
mod input;
mod load;
mod rise;
mod selector;
mod sun;
mod threshold;
mod unknown;
mod window;

pub(super) use circle::report_circles;

use super::advice;
use super::context::{Context, article};
use super::fields::{Fields, list};
use super::keys::ConditionKind;
use super::near::nearest;
use super::tree::{Entry, Node, Spot, Table, Value};
use crate::house::{AtomId, Condition, ConditionId, State};

/// The kinds of condition. The first whose leading key stands in a table is taken.
pub static KINDS: [&ConditionKind; 10] = [
    &selector::SELECTED,
    &input::INPUT,
    &load::LOAD,
    &alarm::ALARM,
    &unknown::UNKNOWN,
    &rise::RISE,
    &threshold::THRESHOLD,
    &window::WINDOW,
    &cycle::CYCLE,
    &sun::SUN,
];

/// The words that combine conditions.
pub const COMBINATORS: [&str; 3] = ["all", "any", "not"];

/// How deep conditions may be nested in one another.
const DEPTH_MAX: usize = 16;

/// How many conditions one `all` or `any` may hold.
const LIST_MAX: usize = 64;

/// Reads a condition; `None` where that failed and was reported.
pub(super) fn decode(context: &mut Context<'_>, node: &Node) -> Option<Condition> {
    decode_at(context, node, 0)
}

fn decode_at(context: &mut Context<'_>, node: &Node, depth: usize) -> Option<Condition> {
    if depth > DEPTH_MAX {
        let message = format!("conditions are nested more than {DEPTH_MAX} deep");
        let diagnostic = context
            .error("too-deep", node.spot, message, "")
            .help("give inner conditions names with [condition.<name>] and use the names");
        context.push(diagnostic);
        return None;
    }
    match &node.value {
        Value::Text(name) => named(context, name, node.spot),
        Value::Table(table) => match table.entries.iter().find(|entry| COMBINATORS.contains(&entry.key.as_str())) {
            Some(entry) => combined(context, table, entry, depth),
            None => atom(context, table, node.spot),
        },
        Value::List(_) => {
            let diagnostic = context
                .error(
                    "wrong-type",
                    node.spot,
                    "a list alone does not say how its conditions combine",
                    "this is a list",
                )
                .help("write `while.all = [...]` if all must be true, `while.any = [...]` if one is enough");
            context.push(diagnostic);
            None
        }
        _ => {
            let message = format!("a condition cannot be {}", node.described());
            let help = "write a condition's name in quotes, or a table such as { sensor = \"sunroom-air\", cut_in = \">= \
                        28\", cut_out = \"<= 26.5\" }";
            let diagnostic = context.error("wrong-type", node.spot, message, "").help(help);
            context.push(diagnostic);
            None
        }
    }
}

/// A condition by its name.
fn named(context: &mut Context<'_>, name: &str, spot: Spot) -> Option<Condition> {
    if let Some(index) = context.index("condition", name) {
        return Some(Condition::Named(ConditionId(index)));
    }
    // A name that something else has: say how that becomes a condition.
    let help = if context.index("input", name).is_some() {
        Some(format!("an input becomes a condition so: {{ input = \"{name}\", is = \"on\" }}"))
    } else if let Some(load) = context.index("load", name) {
        let on = context.words_of(load).word(State::On);
        Some(format!("a load becomes a condition so: {{ load = \"{name}\", is = \"{on}\" }}"))
    } else if context.index("selector", name).is_some() {
        Some(format!("a selector becomes a condition so: {{ selector = \"{name}\", is = \"...\" }}"))
    } else if context.index("sensor", name).is_some() {
        let form = "cut_in = \">= ...\", cut_out = \"<= ...\"";
        Some(format!("a sensor becomes a condition by where it cuts in and out: {{ sensor = \"{name}\", {form} }}"))
    } else {
        advice::spoken(name)
    };
    let Some(help) = help else {
        context.resolve("condition", name, spot);
        return None;
    };
    let message = format!("there is no condition \"{name}\"");
    let diagnostic = context.error("unknown-name", spot, message, "").help(help);
    context.push(diagnostic);
    None
}

/// A table with `all`, `any` or `not`.
fn combined(context: &mut Context<'_>, table: &Table, entry: &Entry, depth: usize) -> Option<Condition> {
    let mut sound = true;
    for other in table.entries.iter().filter(|other| other.key != entry.key) {
        let message = format!("`{}` and `{}` cannot stand in one table", entry.key, other.key);
        let help = format!("put one into the other: {} = [ ..., {{ {} = ... }} ]", inner(&entry.key), other.key);
        let diagnostic = context
            .error("mixed-condition", other.key_spot, message, "this says another thing")
            .also(context.file(entry.key_spot), entry.key_spot.range(), "this stands alone in its table")
            .help(help);
        context.push(diagnostic);
        sound = false;
    }
    let word = entry.key.as_str();
    if word == "not" {
        if matches!(entry.node.value, Value::List(_)) {
            let diagnostic = context
                .error("wrong-type", entry.node.spot, "`not` takes one condition", "this is a list")
                .help("write `not = { any = [...] }` for none of them, `not = { all = [...] }` for not all of them");
            context.push(diagnostic);
            return None;
        }
        let inner = decode_at(context, &entry.node, depth + 1)?;
        return sound.then(|| Condition::Not(Box::new(inner)));
    }
    let members = members(context, entry, depth)?;
    match (sound, word) {
        (false, _) => None,
        (true, "all") => Some(Condition::All(members)),
        (true, _) => Some(Condition::Any(members)),
    }
}

/// What another combinator may be put into: `not` takes no list.
fn inner(word: &str) -> &str {
    if word == "not" { "all" } else { word }
}

/// The conditions in the list behind `all` or `any`.
fn members(context: &mut Context<'_>, entry: &Entry, depth: usize) -> Option<Vec<Condition>> {
    let word = entry.key.as_str();
    let Value::List(items) = &entry.node.value else {
        let message = format!("`{word}` takes a list of conditions");
        let label = format!("this is {}", entry.node.described());
        let written = context.text(entry.node.spot);
        let help = format!("put it in brackets: {word} = [{}]", super::fields::clip(written));
        let diagnostic = context.error("wrong-type", entry.node.spot, message, &label).help(help);
        context.push(diagnostic);
        return None;
    };
    if items.is_empty() || items.len() > LIST_MAX {
        let message = match items.is_empty() {
            true => format!("`{word}` of no conditions says nothing"),
            false => format!("`{word}` has more than {LIST_MAX} conditions"),
        };
        let help = match items.is_empty() {
            true => "write at least one condition into the list",
            false => "give groups of them names with [condition.<name>] and use the names",
        };
        let diagnostic = context.error("bad-list", entry.node.spot, message, "").help(help);
        context.push(diagnostic);
        return None;
    }
    let decoded: Vec<Option<Condition>> = items.iter().map(|item| decode_at(context, item, depth + 1)).collect();
    decoded.into_iter().collect()
}

/// A table that says one thing.
fn atom(context: &mut Context<'_>, table: &Table, spot: Spot) -> Option<Condition> {
    let Some(kind) = kind_of(table) else {
        report_kindless(context, table, spot);
        return None;
    };
    if let Some((stranger, other)) = stranger(table, kind) {
        let message = format!("`{}` belongs to {}, and this table is {}", stranger.key, other.a, kind.a);
        let diagnostic = context
            .error("mixed-condition", stranger.key_spot, message, "this says another thing")
            .help("write two tables, one for each: all = [ { ... }, { ... } ]");
        context.push(diagnostic);
        return None;
    }
    let fields = Fields::open(context, kind.a.to_owned(), kind.a, spot, table, kind.keys);
    let atom = (kind.decode)(context, &fields)?;
    let id = AtomId(context.draft.atoms.len() as u32);
    context.draft.atoms.push(atom);
    context.draft.atom_spots.push(spot);
    Some(Condition::Atom(id))
}

fn kind_of(table: &Table) -> Option<&'static ConditionKind> {
    KINDS.into_iter().find(|kind| kind.lead.iter().any(|lead| table.get(lead).is_some()))
}

/// A key that leads another kind of condition.
fn stranger<'t>(table: &'t Table, kind: &ConditionKind) -> Option<(&'t Entry, &'static ConditionKind)> {
    table.entries.iter().filter(|entry| kind.keys.iter().all(|key| key.name != entry.key)).find_map(|entry| {
        let other = KINDS.into_iter().find(|other| other.lead.contains(&entry.key.as_str()));
        other.map(|other| (entry, other))
    })
}

/// Says that a table is of no kind, and which kind was probably meant.
fn report_kindless(context: &mut Context<'_>, table: &Table, spot: Spot) {
    let leads = || KINDS.into_iter().flat_map(|kind| kind.lead.iter().copied()).chain(COMBINATORS);
    let near = |entry: &Entry| {
        let keys = || KINDS.into_iter().flat_map(|kind| kind.keys);
        let guessed = keys().find(|key| key.guesses.contains(&entry.key.as_str())).map(|key| key.name);
        guessed.or_else(|| nearest(&entry.key, leads()))
    };
    let has_near = |entry: &&Entry| near(entry).is_some();
    // The first key is enough where none of them resembles anything.
    let none_near = !table.entries.iter().any(|entry| has_near(&entry));
    for entry in table.entries.iter().filter(has_near).chain(table.entries.first().filter(|_| none_near)) {
        let help = match near(entry) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("what a condition can say begins with one of {}", list(leads())),
        };
        let message = format!("a condition has no key `{}`", entry.key);
        let diagnostic = context.error("unknown-key", entry.key_spot, message, "not known here").help(help);
        context.push(diagnostic);
    }
    if table.entries.is_empty() {
        let examples: Vec<String> =
            KINDS.into_iter().map(|kind| format!("{} {}: {}", article(kind.word), kind.word, kind.example)).collect();
        let diagnostic = context
            .error("empty-condition", spot, "this condition says nothing", "")
            .help(format!("write one of these: {}", examples.join("; ")));
        context.push(diagnostic);
    }
}
