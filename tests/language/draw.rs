//! Values for each form as people write them, right and wrong, and what is done to a table that works. It never asks the
//! schema what fits: its patterns are what is held against these.

use proptest::prelude::*;
use proptest::sample::Index;
use standfast::syntax::{Form, Key};

use crate::tables::{Table, working_tables};

/// Values of other types, and texts that mean nothing.
const JUNK: [&str; 16] = [
    "true",
    "7",
    "0",
    "-1.5",
    "nan",
    "\"\"",
    "\" \"",
    "\"x\"",
    "\"7\"",
    "[]",
    "[1, 2]",
    "[\"x\"]",
    "{}",
    "{ x = 1 }",
    "1979-05-27",
    "06:30:00",
];

/// What slips into a text, some of it as it stands in TOML.
const SLIPS: [&str; 34] = [
    " ", "\\t", "\\n", "\u{a0}", "-", "+", "\u{2212}", ".", "..", ",", ":", "/", "~", "#", "0", "1", "9", "s", "m",
    "h", "min", "k", "W", "A", "°", "%", ">=", "<=", "=", "until ", "on", "é", "X", "_",
];

/// Values of a form that are right in some house. Every form has its line here.
pub fn values(form: Form) -> Vec<String> {
    let texts = |all: &[&str]| all.iter().map(|text| format!("\"{text}\"")).collect();
    let plain = |all: &[&str]| all.iter().map(|text| (*text).to_owned()).collect();
    match form {
        Form::Text => texts(&["Sun room", "Europe/London", "é", "  two words "]),
        Form::Unit => texts(&["°C", "Cel", "%RH", "W/m2", "", "pH"]),
        Form::Alarm => texts(&["any"]),
        Form::Name("sensor") => texts(&["sunroom-air", "porch-lux", "sunroom-humidity"]),
        Form::Name("load") => texts(&["sunroom-fan", "hall-lamp"]),
        Form::Name(_) => texts(&["x", "dark-outside"]),
        Form::Names(section) => vec![format!("[{}]", values(Form::Name(section)).join(", "))],
        Form::Duration => texts(&["90s", " 5m", "1h30m", "1.5 h", "2 min", "1d 2h", "400ms ", "0s", "10s"]),
        Form::Power => texts(&["45 W", "2.8kW", " 600  W ", "0 W"]),
        Form::Current => texts(&["72 mA", "1A", " 0.5 A "]),
        Form::Resistance => texts(&["10 kΩ", "470\u{2126}", " 1 MOhm ", "4.7kohm"]),
        Form::Voltage => texts(&["3.3 V", "1100mV", " 5 V "]),
        Form::Amount => plain(&["0.5", "2", "\"0.5 °C\"", "\" 0.5K \"", "\"+1\""]),
        Form::Rate => texts(&["2 °C per 1min", "2 per 90s", " 0.5K  per  min ", "+1 per 1h30m"]),
        Form::OneOf(words) => texts(words),
        Form::Whole => plain(&["2", "1", "3", "0x4", "9", "16"]),
        Form::Number => plain(&["2", "0.5", "-3", "1e1", "20.0"]),
        Form::Pair => plain(&["[-20, 60]", "[0.5, 1]", "[ 1.0, 2e1, ]"]),
        Form::Triple => plain(&["[1.129241e-3, 2.341077e-4, 8.775468e-8]", "[1, 2, 3]"]),
        Form::Points => plain(&["[[0, 32640], [25, 10000], [70, 1751]]", "[[0, 3.0], [1, 2], [2, 1]]"]),
        Form::Relay => texts(&["yard/1", "hall/3", "yard/08"]),
        Form::Endpoint => texts(&["yard/t1", "hall/2"]),
        Form::Topic => texts(&["roof", "a/b c/d", "/", "é"]),
        Form::Topics => plain(&["\"shed/coil/{relay}\"", "[\"shed/a\", \"shed/b\"]"]),
        Form::Truth => plain(&["true", "false"]),
        Form::Pointer => texts(&["", "/a/0", "/a~1b/~0", "/"]),
        Form::Term => texts(&[
            "2h",
            "22:30",
            "until 22:30:10",
            " sunset+30m",
            "until  dusk - 5m",
            "next change",
            "until next  change",
            "1h 30m ",
        ]),
        Form::LoadState => texts(&["hall-lamp on", " hall-lamp  off "]),
        Form::Comparison => texts(&[">= 28", "<=26.5", " >=  -3 ", "<= 40 lx", ">= +5%", "<= \u{2212}3 °C"]),
        Form::Elevation => texts(&["<= -3", ">=10°", " >= +5 deg ", "<= \u{2212}0.5 degrees"]),
        Form::WindowEnd => texts(&["23:15", " 06:30:10", "sunset", "sunrise+15m", "dusk - 1h 5m", "dawn \u{2212}2m "]),
        Form::Clock => texts(&["17:00", " 08:00 ", "00:00:01"]),
        Form::Days => texts(&["mon..fri", "sat", "mon, wed ,fri", "sun .. thu", "mon,mon"]),
        Form::Dates => texts(&["10-01..04-15", "12-24", " 02-29 .. 03-01"]),
        Form::Starts => texts(&["6 per 1h", "+6 per 1h", " 12  per  90s "]),
        Form::Condition => plain(&[
            "\"dark-outside\"",
            "{ not = \"dark-outside\" }",
            "{ all = [\"dark-outside\", { any = [{ days = \"sat\" }] }] }",
            "{ sensor = \"porch-lux\", is = \"unknown\" }",
        ]),
        Form::Texts => plain(&["[\"house.lan\"]", "[]", "[\"a\", \"b\"]"]),
        Form::Keys(keys) => {
            let pair = |key: &Key| format!("{} = {}", key.name, key.example);
            let all: Vec<String> = keys.iter().map(pair).collect();
            vec![format!("{{ {} }}", all.join(", ")), format!("{{ {} }}", all[0])]
        }
    }
}

/// One thing that is done to a table.
#[derive(Clone, Debug)]
pub enum Edit {
    /// Another value of the form.
    Other(Index, Index),
    /// A value of another type, or junk.
    Junk(Index, Index),
    /// Something slips into a text, or over a part of it.
    Slip(Index, Index, Index, bool),
    /// A key goes.
    Drop(Index),
    /// A key of the same table comes, with a value of its form.
    Add(Index, Index),
    /// A key comes from anywhere.
    Stray(Index, Index),
}

impl Arbitrary for Edit {
    type Parameters = ();
    type Strategy = BoxedStrategy<Edit>;

    fn arbitrary_with((): ()) -> BoxedStrategy<Edit> {
        let index = any::<Index>;
        prop_oneof![
            4 => (index(), index()).prop_map(|(key, value)| Edit::Other(key, value)),
            1 => (index(), index()).prop_map(|(key, value)| Edit::Junk(key, value)),
            4 => (index(), index(), index(), any::<bool>()).prop_map(|(key, at, slip, over)| Edit::Slip(key, at, slip, over)),
            1 => index().prop_map(Edit::Drop),
            3 => (index(), index()).prop_map(|(key, value)| Edit::Add(key, value)),
            1 => (index(), index()).prop_map(|(table, key)| Edit::Stray(table, key)),
        ]
        .boxed()
    }
}

/// The table with one thing done to it.
pub fn edit(mut table: Table, edit: &Edit) -> Table {
    let keys = table.place.keys();
    if table.keys.is_empty() {
        return table;
    }
    let any = |index: &Index| index.index(table.keys.len());
    match edit {
        Edit::Other(key, value) => {
            let at = any(key);
            let name = table.keys[at].0.clone();
            if let Some(key) = keys.iter().find(|key| key.name == name) {
                table.keys[at].1 = value_of(key, value);
            }
        }
        Edit::Junk(key, value) => {
            let at = any(key);
            table.keys[at].1 = JUNK[value.index(JUNK.len())].to_owned();
        }
        Edit::Slip(key, at, slip, over) => {
            let index = any(key);
            slip_into(&mut table.keys[index].1, at, SLIPS[slip.index(SLIPS.len())], *over);
        }
        Edit::Drop(key) => {
            let at = any(key);
            table.keys.remove(at);
        }
        Edit::Add(key, value) => {
            let key = key.get(keys);
            add(&mut table, key.name, value_of(key, value));
        }
        Edit::Stray(from, key) => {
            let other = from.get(&working_tables()).clone();
            let (name, value) = key.get(&other.keys).clone();
            add(&mut table, &name, value);
        }
    }
    table
}

fn value_of(key: &Key, index: &Index) -> String {
    let mut all = values(key.form);
    all.push(key.example.to_owned());
    all.extend(key.words.iter().map(|word| format!("\"{word}\"")));
    index.get(&all).clone()
}

/// A key that is there already is not written twice: that is no TOML.
fn add(table: &mut Table, name: &str, value: String) {
    if table.keys.iter().all(|(known, _)| known != name) {
        table.keys.push((name.to_owned(), value));
    }
}

/// Puts something into the first text in quotes, between two of its letters.
fn slip_into(text: &mut String, at: &Index, slip: &str, over: bool) {
    let Some(open) = text.find('"') else { return };
    let Some(length) = text[open + 1..].find('"') else { return };
    let inner = text[open + 1..open + 1 + length].to_owned();
    // Not within an escape.
    let places: Vec<usize> =
        (0..=inner.len()).filter(|at| inner.is_char_boundary(*at) && !inner[..*at].ends_with('\\')).collect();
    let start = *at.get(&places);
    let rest = &inner[start..];
    let skipped = if over && !rest.starts_with('\\') { rest.chars().next().map_or(0, char::len_utf8) } else { 0 };
    let edited = format!("{}{slip}{}", &inner[..start], &rest[skipped..]);
    text.replace_range(open + 1..open + 1 + length, &edited);
}
