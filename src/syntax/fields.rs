//! The keys of one table, checked against its key table and read with their types. It never knows what a key is for.

use std::borrow::Cow;

use super::advice;
use super::context::Context;
use super::instead::instead;
use super::keys::{Form, Key, Need};
use super::near::nearest;
use super::tree::{Node, Spot, Table, Value};
use super::words::clause;
pub(super) use super::words::{list, quoted_list};
use crate::calendar::ScheduleError;
use crate::units::{QuantityError, Span};

/// Why a text was refused.
pub(super) struct Refused {
    pub(super) cause: String,
    pub(super) help: String,
}

impl Refused {
    pub(super) fn new(cause: impl Into<String>, help: impl Into<String>) -> Refused {
        Refused { cause: cause.into(), help: help.into() }
    }
}

impl From<ScheduleError> for Refused {
    fn from(error: ScheduleError) -> Refused {
        Refused { cause: error.cause, help: error.help }
    }
}

impl From<QuantityError> for Refused {
    fn from(error: QuantityError) -> Refused {
        Refused { cause: error.cause, help: error.help }
    }
}

/// The keys of one table.
pub struct Fields<'t> {
    /// What the table is, such as `load "fan"` or `a threshold`.
    pub(super) title: String,
    /// Its header, or the whole of it where it is inline.
    pub(super) spot: Spot,
    keys: &'static [Key],
    table: &'t Table,
    /// Keys that were probably meant by others that are not known, which has been reported.
    meant: Vec<&'static str>,
}

impl<'t> Fields<'t> {
    /// Looks through a table: keys that it does not know, keys that it must have. `a` is what such a table is called with
    /// its article, `skip` keys that the caller has dealt with.
    pub(super) fn open(
        context: &mut Context<'_>,
        title: String,
        a: &str,
        spot: Spot,
        table: &'t Table,
        keys: &'static [Key],
    ) -> Fields<'t> {
        let mut fields = Fields { title, spot, keys, table, meant: Vec::new() };
        for entry in &table.entries {
            if keys.iter().any(|key| key.name == entry.key) {
                continue;
            }
            let free = keys.iter().map(|key| key.name).filter(|name| table.get(name).is_none());
            let guessed = keys.iter().find(|key| key.guesses.contains(&entry.key.as_str())).map(|key| key.name);
            let near = guessed
                .or_else(|| nearest(&entry.key, free))
                .or_else(|| nearest(&entry.key, keys.iter().map(|key| key.name)));
            let help = match near {
                Some(near) => format!("did you mean `{near}`?"),
                None => advice::stranger(&entry.key, a, keys),
            };
            fields.meant.extend(near);
            if near.is_none() && advice::is_of_condition(&entry.key) {
                fields.meant.extend(keys.iter().filter(|key| key.form == Form::Condition).map(|key| key.name));
            }
            let message = format!("{a} has no key `{}`", entry.key);
            let diagnostic = context.error("unknown-key", entry.key_spot, message, "not known here").help(help);
            context.push(diagnostic);
        }
        for key in keys.iter().filter(|key| key.need == Need::Required) {
            if table.get(key.name).is_none() && !fields.is_meant(key.name) {
                fields.report_missing(context, key);
            }
        }
        fields
    }

    /// The fields of a table that was looked through before.
    pub(super) fn again(title: String, spot: Spot, table: &'t Table, keys: &'static [Key]) -> Fields<'t> {
        Fields { title, spot, keys, table, meant: Vec::new() }
    }

    /// The fields of a table that is read by other means.
    pub(super) fn bare(title: String, spot: Spot) -> Fields<'t> {
        static NOTHING: Table = Table { entries: Vec::new() };
        Fields { title, spot, keys: &[], table: &NOTHING, meant: Vec::new() }
    }

    fn report_missing(&self, context: &mut Context<'_>, key: &Key) {
        let label = format!("missing: {}", clause(key.meaning));
        let diagnostic = context
            .error("missing-key", self.spot, format!("{} has no `{}`", self.title, key.name), &label)
            .help(format!("add for example: {} = {}", key.name, key.example));
        context.push(diagnostic);
    }

    /// Says that a key is not there that another one makes necessary.
    pub(super) fn report_absent(&self, context: &mut Context<'_>, name: &str) {
        self.report_missing(context, self.key(name));
    }

    fn key(&self, name: &str) -> &'static Key {
        // Only decoders ask, with names from the table that they were written for; a test reads every key of each.
        self.keys.iter().find(|key| key.name == name).expect("decoders ask for keys of their own table only")
    }

    /// The value behind a key, if it was written.
    pub(super) fn node(&self, name: &str) -> Option<&'t Node> {
        debug_assert!(self.keys.iter().any(|key| key.name == name), "{name} is not in the key table");
        self.table.get(name).map(|entry| &entry.node)
    }

    /// Whether a key is missing because it is misspelt, which has been reported.
    pub(super) fn is_meant(&self, name: &str) -> bool {
        self.meant.contains(&name)
    }

    /// Whether a key was written.
    pub(super) fn has(&self, name: &str) -> bool {
        self.node(name).is_some()
    }

    /// Where the value of a key stands; the table where it was not written.
    pub(super) fn spot_of(&self, name: &str) -> Spot {
        self.node(name).map_or(self.spot, |node| node.spot)
    }

    /// Where a key itself stands; the table where it was not written.
    pub(super) fn key_spot_of(&self, name: &str) -> Spot {
        self.table.get(name).map_or(self.spot, |entry| entry.key_spot)
    }

    /// Says that the value behind a key has the wrong type.
    pub(super) fn report_type(&self, context: &mut Context<'_>, name: &str, node: &Node) {
        let key = self.key(name);
        let message = format!("`{name}` must be {}", key.form.described());
        let label = format!("this is {}", node.described());
        let diagnostic = context.error("wrong-type", node.spot, message, &label).help(instead(context, key, node));
        context.push(diagnostic);
    }

    /// The text behind a key, or its default.
    pub(super) fn text(&self, context: &mut Context<'_>, name: &str) -> Option<Cow<'t, str>> {
        let key = self.key(name);
        match self.node(name) {
            Some(Node { value: Value::Text(text), .. }) => Some(Cow::Borrowed(text)),
            Some(node) => {
                self.report_type(context, name, node);
                None
            }
            None => match key.need {
                Need::Default(default) => Some(Cow::Borrowed(default)),
                Need::Required | Need::Optional => None,
            },
        }
    }

    /// The text behind a key, or its default, read by `parse`; an error where that refuses it.
    pub(super) fn parsed<T, E: Into<Refused>>(
        &self,
        context: &mut Context<'_>,
        name: &str,
        parse: impl FnOnce(&str) -> Result<T, E>,
    ) -> Option<T> {
        let text = self.text(context, name)?;
        match parse(&text) {
            Ok(value) => Some(value),
            Err(refused) => {
                self.refuse(context, name, refused.into());
                None
            }
        }
    }

    /// Says that the value behind a key cannot be read.
    pub(super) fn refuse(&self, context: &mut Context<'_>, name: &str, refused: Refused) {
        let code = self.key(name).form.code();
        let diagnostic = context
            .error(code, self.spot_of(name), format!("`{name}` cannot be read: {}", refused.cause), "")
            .help(refused.help);
        context.push(diagnostic);
    }

    /// A duration between two bounds.
    pub(super) fn duration(&self, context: &mut Context<'_>, name: &str, least: Span, most: Span) -> Option<Span> {
        self.parsed(context, name, |text| within(text, least, most))
    }

    /// One of the words that the key table gives, with its value.
    pub(super) fn word<T: Copy>(&self, context: &mut Context<'_>, name: &str, words: &[(&str, T)]) -> Option<T> {
        self.parsed(context, name, |text| {
            words.iter().find(|(word, _)| *word == text).map(|(_, value)| *value).ok_or_else(|| {
                let known = || words.iter().map(|(word, _)| *word);
                let help = match advice::meant(text, known()).or_else(|| nearest(text, known())) {
                    Some(near) => format!("did you mean \"{near}\"?"),
                    None => format!("write one of {}", quoted_list(known())),
                };
                Refused::new(format!("\"{}\" is not one of its words", clip(text)), help)
            })
        })
    }

    /// A whole number between two bounds, both included.
    pub(super) fn whole(&self, context: &mut Context<'_>, name: &str, least: i64, most: i64) -> Option<i64> {
        let node = self.node(name)?;
        match node.value {
            Value::Whole(value) if (least..=most).contains(&value) => Some(value),
            Value::Whole(_) | Value::Decimal(_) => {
                let help = format!("write a whole number from {least} to {most}");
                let message = format!("`{name}` is out of bounds");
                let diagnostic = context.error("out-of-bounds", node.spot, message, "").help(help);
                context.push(diagnostic);
                None
            }
            _ => {
                self.report_type(context, name, node);
                None
            }
        }
    }

    /// A finite number.
    pub(super) fn number(&self, context: &mut Context<'_>, name: &str) -> Option<f64> {
        let node = self.node(name)?;
        let number = number(node);
        if number.is_none() {
            self.report_type(context, name, node);
        }
        number
    }

    /// A list of two finite numbers.
    pub(super) fn pair(&self, context: &mut Context<'_>, name: &str) -> Option<(f64, f64)> {
        let node = self.node(name)?;
        let numbers: Option<Vec<f64>> = match &node.value {
            Value::List(items) => items.iter().map(number).collect(),
            _ => None,
        };
        match numbers.as_deref() {
            Some([first, second]) => Some((*first, *second)),
            _ => {
                self.report_type(context, name, node);
                None
            }
        }
    }

    /// The name behind a key, resolved in a section.
    pub(super) fn resolved(&self, context: &mut Context<'_>, name: &str, section: &'static str) -> Option<u32> {
        let text = self.text(context, name)?;
        context.resolve(section, &text, self.spot_of(name))
    }
}

impl Fields<'_> {
    /// The list of names behind a key, each resolved in a section, in the order of the list; at least so many, and none
    /// twice.
    pub(super) fn names(
        &self,
        context: &mut Context<'_>,
        name: &str,
        section: &'static str,
        least: usize,
    ) -> Option<Vec<u32>> {
        let node = self.node(name)?;
        let Value::List(items) = &node.value else {
            self.report_type(context, name, node);
            return None;
        };
        let mut found = Vec::with_capacity(items.len());
        let mut all = true;
        for item in items {
            let Value::Text(text) = &item.value else {
                self.report_type(context, name, item);
                return None;
            };
            match context.resolve(section, text, item.spot) {
                Some(index) if found.contains(&index) => {
                    let diagnostic = context
                        .error("named-twice", item.spot, format!("{section} \"{text}\" stands in `{name}` twice"), "")
                        .help("name it once");
                    context.push(diagnostic);
                    all = false;
                }
                Some(index) => found.push(index),
                None => all = false,
            }
        }
        if all && found.len() < least {
            let message = format!("`{name}` names {} where at least {least} are needed", found.len());
            let help = format!("name at least {least} of the house's {section}s");
            let diagnostic = context.error("too-few", node.spot, message, "").help(help);
            context.push(diagnostic);
            return None;
        }
        all.then_some(found)
    }
}

/// A finite number of either kind.
fn number(node: &Node) -> Option<f64> {
    match node.value {
        Value::Whole(value) => Some(value as f64),
        Value::Decimal(value) if value.is_finite() => Some(value),
        _ => None,
    }
}

/// Parses a duration and holds it against its bounds.
pub(super) fn within(text: &str, least: Span, most: Span) -> Result<Span, Refused> {
    let span = Span::parse(text)?;
    if span < least || span > most {
        let side = if span < least { "too short" } else { "too long" };
        return Err(Refused::new(
            format!("\"{}\" is {side}", clip(text)),
            format!("write a duration from \"{least}\" to \"{most}\""),
        ));
    }
    Ok(span)
}

/// At most forty characters of a text on one line, so that a message stays readable.
pub(super) fn clip(text: &str) -> String {
    let visible = |c: char| if c.is_control() { ' ' } else { c };
    let shown: String = text.chars().take(40).map(visible).collect();
    if text.chars().nth(40).is_some() { format!("{shown}…") } else { shown }
}

/// `Some(None)` where a key was not written, `None` where it was and could not be read.
pub(super) fn optional<T>(fields: &Fields<'_>, key: &str, read: impl FnOnce() -> Option<T>) -> Option<Option<T>> {
    if fields.has(key) { read().map(Some) } else { Some(None) }
}

/// A text for people: one line, not empty, not endless.
pub(super) fn shown(context: &mut Context<'_>, fields: &Fields<'_>, key: &str) -> Option<String> {
    fields.parsed(context, key, |text| {
        let help = "write one line of at most 60 characters";
        if text.trim().is_empty() {
            Err(Refused::new("it is empty", help))
        } else if text.chars().count() > 60 {
            Err(Refused::new("it is too long", help))
        } else if text.chars().any(char::is_control) {
            Err(Refused::new("it has a line break or another control character", help))
        } else {
            Ok(text.trim().to_owned())
        }
    })
}
