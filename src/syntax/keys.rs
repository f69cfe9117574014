//! What may be written: the types of the key tables. Each section and each kind of condition has one table, which
//! drives decoding, suggestions and everything that describes the language. It never looks at a text.

use super::context::{Context, Item};
use super::fields::Fields;
use crate::house::Atom;

/// A section of the house, `[word]` or `[word.<name>]`.
pub struct Section {
    /// The word in the header.
    pub word: &'static str,
    /// The word with its article, for messages.
    pub a: &'static str,
    /// Whether each table has a name of its own behind the word, and how long that may be in bytes.
    pub named: Option<usize>,
    /// What it is, in a sentence.
    pub meaning: &'static str,
    /// Its keys; none where a table is a condition, which has the keys of its kind.
    pub keys: &'static [Key],
    /// Whether a table is a condition, written like the table behind `while`.
    pub is_condition: bool,
    /// A whole small example.
    pub example: &'static str,
    /// Reads one table into the draft of the house.
    pub(super) decode: fn(&mut Context<'_>, &Item<'_>, &Fields<'_>),
    /// Work for the time after all tables of this section are decoded.
    pub(super) after: Option<fn(&mut Context<'_>)>,
}

/// A kind of condition: a table that says one thing.
pub struct ConditionKind {
    /// Its word.
    pub word: &'static str,
    /// The word with its article, for messages.
    pub a: &'static str,
    /// A table with one of these keys is of this kind; the first kind that matches is taken.
    pub lead: &'static [&'static str],
    /// What it says, in a sentence.
    pub meaning: &'static str,
    /// Its keys.
    pub keys: &'static [Key],
    /// A whole example.
    pub example: &'static str,
    /// Reads it.
    pub(super) decode: fn(&mut Context<'_>, &Fields<'_>) -> Option<Atom>,
}

/// One key of a table.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Key {
    /// The key.
    pub name: &'static str,
    /// What stands behind it.
    pub form: Form,
    /// Whether it must be there.
    pub need: Need,
    /// The unit of a bare number; empty where the value carries its own or has none.
    pub unit: &'static str,
    /// What it means, in a sentence.
    pub meaning: &'static str,
    /// An example value as TOML.
    pub example: &'static str,
    /// Words that may stand for the value beside what the form takes.
    pub words: &'static [&'static str],
    /// What people write for it who do not know its name.
    pub guesses: &'static [&'static str],
}

/// Whether a key must be there.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// It must.
    Required,
    /// It may be left out, which has a meaning of its own.
    Optional,
    /// It may be left out, which is the same as this text.
    Default(&'static str),
}

/// The form of a value.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Any text on one line.
    Text,
    /// The name of a table of a section.
    Name(&'static str),
    /// A duration.
    Duration,
    /// A power.
    Power,
    /// A current.
    Current,
    /// A resistance.
    Resistance,
    /// A voltage.
    Voltage,
    /// One of some words.
    OneOf(&'static [&'static str]),
    /// A whole number.
    Whole,
    /// Two numbers.
    Pair,
    /// Three numbers.
    Triple,
    /// Three pairs of numbers.
    Points,
    /// A number, or a text of a number and the sensor's unit.
    Amount,
    /// A number in the sensor's unit within a duration.
    Rate,
    /// A board and a number behind a slash.
    Relay,
    /// A board and a name on the wire behind a slash.
    Endpoint,
    /// An MQTT topic (MQTT 5.0, section 4.7) without wildcards.
    Topic,
    /// A JSON pointer (RFC 6901).
    Pointer,
    /// A unit, as a symbol or as a SenML code (RFC 8428, section 12.1).
    Unit,
    /// How long a hold lasts.
    Term,
    /// A load and a state.
    LoadState,
    /// A comparator and a number.
    Comparison,
    /// A clock time or an event of the sun.
    WindowEnd,
    /// A clock time.
    Clock,
    /// A number with or without decimals.
    Number,
    /// The name of an alarm, or `any`.
    Alarm,
    /// A comparator and degrees.
    Elevation,
    /// Weekdays.
    Days,
    /// A part of the year.
    Dates,
    /// A condition.
    Condition,
    /// A list of names of tables of a section.
    Names(&'static str),
    /// A number of starts within a duration.
    Starts,
    /// A list of texts.
    Texts,
    /// A table with these keys.
    Keys(&'static [Key]),
    /// True or false, without quotes.
    Truth,
    /// A topic in which a placeholder stands for the relay, or a list of topics by relay.
    Topics,
}

impl Form {
    /// What a person has to write, with its article.
    pub const fn described(self) -> &'static str {
        match self {
            Form::Text => "a text in quotes",
            Form::Name(_) => "a name in quotes",
            Form::Duration => "a duration in quotes",
            Form::Power => "a power in quotes",
            Form::Current => "a current in quotes",
            Form::Resistance => "a resistance in quotes",
            Form::Voltage => "a voltage in quotes",
            Form::OneOf(_) => "a word in quotes",
            Form::Whole => "a whole number",
            Form::Pair => "a list of two numbers",
            Form::Triple => "a list of three numbers",
            Form::Points => "a list of three pairs of numbers",
            Form::Amount => "a number, or one with the sensor's unit in quotes",
            Form::Rate => "a change per duration in quotes",
            Form::Relay => "a relay in quotes, as board/number",
            Form::Endpoint => "a board and a name in quotes, as board/name",
            Form::Topic => "a topic in quotes",
            Form::Pointer => "a JSON pointer in quotes",
            Form::Unit => "a unit in quotes",
            Form::Term => "the end of a hold in quotes",
            Form::LoadState => "a load and a state in quotes",
            Form::Comparison => "a comparison in quotes",
            Form::WindowEnd => "a clock time or an event of the sun in quotes",
            Form::Clock => "a clock time in quotes",
            Form::Number => "a number",
            Form::Alarm => "the name of an alarm in quotes",
            Form::Elevation => "a comparison of degrees in quotes",
            Form::Days => "weekdays in quotes",
            Form::Dates => "a part of the year in quotes",
            Form::Names(_) => "a list of names in quotes",
            Form::Starts => "a number of starts per duration in quotes",
            Form::Condition => "a condition",
            Form::Texts => "a list of texts in quotes",
            Form::Keys(_) => "a table",
            Form::Truth => "true or false",
            Form::Topics => "a topic in quotes with {relay} in it, or a list of one for each relay",
        }
    }

    /// The code of the diagnostic when the text behind the key cannot be read.
    pub const fn code(self) -> &'static str {
        match self {
            Form::Duration => "bad-duration",
            Form::Power => "bad-power",
            Form::Current => "bad-current",
            Form::Resistance => "bad-resistance",
            Form::Voltage => "bad-voltage",
            Form::Amount => "bad-amount",
            Form::Rate => "bad-rate",
            Form::OneOf(_) => "unknown-word",
            Form::Relay => "bad-relay",
            Form::Endpoint => "bad-endpoint",
            Form::Topic | Form::Topics => "bad-topic",
            Form::Pointer => "bad-pointer",
            Form::Unit => "bad-unit",
            Form::Term => "bad-term",
            Form::LoadState => "bad-load-state",
            Form::Comparison | Form::Elevation => "bad-comparison",
            Form::Clock => "bad-clock",
            Form::Alarm => "unknown-alarm",
            Form::WindowEnd => "bad-window-end",
            Form::Days => "bad-days",
            Form::Dates => "bad-dates",
            Form::Starts => "bad-starts",
            Form::Text
            | Form::Name(_)
            | Form::Names(_)
            | Form::Whole
            | Form::Number
            | Form::Pair
            | Form::Triple
            | Form::Points
            | Form::Condition
            | Form::Keys(_)
            | Form::Texts
            | Form::Truth => "bad-value",
        }
    }
}

impl Key {
    /// A key that must be there.
    pub(super) const fn required(name: &'static str, form: Form, example: &'static str, meaning: &'static str) -> Key {
        Key { name, form, need: Need::Required, unit: "", meaning, example, words: &[], guesses: &[] }
    }

    /// A key that may be left out.
    pub(super) const fn optional(name: &'static str, form: Form, example: &'static str, meaning: &'static str) -> Key {
        Key { name, form, need: Need::Optional, unit: "", meaning, example, words: &[], guesses: &[] }
    }

    /// The same key with what holds when it is left out.
    pub(super) const fn or(self, default: &'static str) -> Key {
        Key { need: Need::Default(default), ..self }
    }

    /// The same key with what people write for it who do not know its name.
    pub(super) const fn guessed(self, guesses: &'static [&'static str]) -> Key {
        Key { guesses, ..self }
    }

    /// The same key with words that may stand for the value.
    pub(super) const fn or_word(self, words: &'static [&'static str]) -> Key {
        Key { words, ..self }
    }

    /// The same key with the unit of its numbers.
    pub(super) const fn unit(self, unit: &'static str) -> Key {
        Key { unit, ..self }
    }
}
