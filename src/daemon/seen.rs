//! What boards said lately, whether the house names it or not: how a remote's codes are learnt. It keeps a bounded number and
//! never decides anything.

use std::collections::{BTreeSet, VecDeque};
use std::fmt::Write;

use serde::{Deserialize, Serialize};

use crate::house::{House, Source};
use crate::units::WallTime;
use crate::wire::{InputWord, Prefix, number};

/// So many inputs are kept, and so many readings: those come all the time, and must not push out a key of last night.
const KEPT: usize = 256;
/// What is said at greater length is no reading and no input.
const BYTES: usize = 64;

/// One thing that a board said.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SeenOne {
    /// Counts up from 1.
    pub number: u64,
    /// When it came, by the wall clock.
    pub at: WallTime,
    /// Where: `hall/ir`, as `at` or `reading` names it in the house.
    pub place: String,
    /// What.
    #[serde(flatten)]
    pub said: Said,
    /// The sections of the house that it belongs to, `input.remote-red`.
    pub named: Vec<String>,
}

/// What a board said.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "said")]
pub enum Said {
    /// A reading, as it came.
    Reading {
        /// Its value.
        value: f64,
    },
    /// A press of a button.
    Press,
    /// A key of a remote.
    Code {
        /// Its code.
        code: String,
    },
    /// A contact closed or opened.
    Contact {
        /// Whether it is closed.
        on: bool,
    },
}

impl SeenOne {
    /// What one names, or a section to paste where the house names none; that only once.
    pub fn toml(&self, known: &mut BTreeSet<String>) -> String {
        let at = self.at.instant().to_zoned_datetime(jiff::tz::TimeZone::UTC).strftime("%H:%M:%SZ");
        let said = match &self.said {
            Said::Reading { value } => value.to_string(),
            Said::Press => "press".to_owned(),
            Said::Code { code } => format!("code {}", code.escape_default()),
            Said::Contact { on } => if *on { "on" } else { "off" }.to_owned(),
        };
        let place = &self.place;
        let mut text = format!("# {at} {place}: {said}");
        let name = match &self.said {
            Said::Code { code } => format!("{place}-{code}"),
            _ => place.clone(),
        };
        if !self.named.is_empty() || !known.insert(name.clone()) {
            if !self.named.is_empty() {
                let _ = write!(text, "  ({})", self.named.join(", "));
            }
            text.push('\n');
            return text;
        }
        let plain = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' };
        let name: String = name.chars().map(plain).collect();
        let _ = match &self.said {
            Said::Reading { .. } => {
                write!(text, "\n[sensor.{name}]\nreading = \"{place}\"\n# unit = \"°C\"\n# range = [-20, 60]\n\n")
            }
            Said::Code { code } => {
                write!(
                    text,
                    "\n[input.{name}]\nat = \"{place}\"\ncode = {}\n# toggles = \"which load\"\n\n",
                    quoted(code)
                )
            }
            Said::Press => write!(text, "\n[input.{name}]\nat = \"{place}\"\n# toggles = \"which load\"\n\n"),
            Said::Contact { .. } => write!(text, "\n[input.{name}]\nat = \"{place}\"\n\n"),
        };
        text
    }
}

/// A basic string of TOML.
fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

/// What was said lately.
#[derive(Debug, Default)]
pub struct Seen {
    inputs: VecDeque<SeenOne>,
    readings: VecDeque<SeenOne>,
    last: u64,
}

impl Seen {
    /// Takes in a live message; what is neither a reading nor an input of the contract is left out.
    pub fn take(&mut self, house: &House, prefix: &Prefix, topic: &str, payload: &[u8], at: WallTime) {
        let Some((board, kind, name)) = place_of(prefix, topic) else { return };
        if payload.len() > BYTES {
            return;
        }
        let said = match kind {
            "reading" => number(payload).ok().map(|value| Said::Reading { value: value.get() }),
            _ => InputWord::decode(payload).ok().map(|word| match word {
                InputWord::Press { .. } => Said::Press,
                InputWord::Code { code, .. } => Said::Code { code: code.as_str().to_owned() },
                InputWord::On => Said::Contact { on: true },
                InputWord::Off => Said::Contact { on: false },
            }),
        };
        let Some(said) = said else { return };
        self.last += 1;
        let named = names(house, board, name, &said);
        let kept = if matches!(said, Said::Reading { .. }) { &mut self.readings } else { &mut self.inputs };
        kept.push_back(SeenOne { number: self.last, at, place: format!("{board}/{name}"), said, named });
        if kept.len() > KEPT {
            kept.pop_front();
        }
    }

    /// What was said after a number, oldest first; what is too long ago is gone.
    pub fn after(&self, number: u64) -> impl Iterator<Item = &SeenOne> {
        let after = |kept: &VecDeque<SeenOne>| kept.partition_point(|one| one.number <= number);
        let (inputs, readings) = (after(&self.inputs), after(&self.readings));
        let mut all: Vec<&SeenOne> = self.inputs.range(inputs..).chain(self.readings.range(readings..)).collect();
        all.sort_unstable_by_key(|one| one.number);
        all.into_iter()
    }

    /// The number of what was said last; 0 before anything was.
    pub fn last(&self) -> u64 {
        self.last
    }
}

/// Board, kind and name out of `standfast/from/hall/input/ir`.
fn place_of<'t>(prefix: &Prefix, topic: &'t str) -> Option<(&'t str, &'t str, &'t str)> {
    let rest = prefix.below(topic)?.strip_prefix("from/")?;
    let (board, rest) = rest.split_once('/')?;
    let (kind, name) = rest.split_once('/')?;
    let is_plain = |text: &str| !text.is_empty() && text.chars().all(|c| c.is_ascii_graphic() && !"/\"\\".contains(c));
    (matches!(kind, "reading" | "input") && is_plain(board) && is_plain(name)).then_some((board, kind, name))
}

fn names(house: &House, board: &str, name: &str, said: &Said) -> Vec<String> {
    if let Said::Reading { .. } = said {
        let draws = |source: &Source| matches!(source, Source::Board { board: from, reading } if house.board(*from).name == board && reading == name);
        let sensors = house.sensors.iter().filter(|sensor| draws(&sensor.source));
        return sensors.map(|sensor| format!("sensor.{}", sensor.name)).collect();
    }
    let inputs = house.inputs.iter().filter(|input| {
        let port = &house.ports[input.port.index()];
        let is_code = match said {
            Said::Code { code } => input.code.as_ref().is_some_and(|named| named.eq_ignore_ascii_case(code)),
            _ => input.code.is_none(),
        };
        house.board(port.board).name == board && port.name == name && is_code
    });
    inputs.map(|input| format!("input.{}", input.name)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_readings_and_inputs_of_the_contract_have_a_place() {
        let prefix = Prefix::default();
        assert_eq!(place_of(&prefix, "standfast/from/hall/input/ir"), Some(("hall", "input", "ir")));
        assert_eq!(place_of(&prefix, "standfast/from/yard/reading/t1"), Some(("yard", "reading", "t1")));
        for other in [
            "standfast/from/yard/report",
            "standfast/from/yard/reading/",
            "standfast/from/yard/reading/a/b",
            "standfast/from/yard/reading/a\"b",
            "standfast/to/yard/orders",
            "elsewhere/from/yard/reading/t1",
        ] {
            assert_eq!(place_of(&prefix, other), None, "{other}");
        }
    }

    #[test]
    fn no_more_is_kept_than_is_promised() {
        let mut seen = Seen::default();
        let text = "[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\n".to_owned();
        let zones = jiff::tz::TimeZoneDatabase::bundled();
        let house = crate::syntax::read(&[("house.toml".to_owned(), text)], &zones).0.expect("a house");
        for _ in 0..KEPT + 10 {
            seen.take(&house, &Prefix::default(), "standfast/from/hall/input/ir", b"20DF40BF 7", WallTime(0));
        }
        assert_eq!(seen.after(0).count(), KEPT);
        assert_eq!(seen.after(seen.last() - 2).count(), 2);
        let before = seen.last();
        for _ in 0..KEPT + 10 {
            seen.take(&house, &Prefix::default(), "standfast/from/yard/reading/t1", b"21.5", WallTime(0));
        }
        // No flood of readings pushes out a key.
        assert!(seen.after(0).any(|one| one.number == before) && seen.after(before).count() == KEPT);
        assert!(seen.after(0).zip(seen.after(0).skip(1)).all(|(one, next)| one.number < next.number));
        let last = seen.last();
        seen.take(&house, &Prefix::default(), "standfast/from/hall/input/ir", &[b'x'; BYTES + 1], WallTime(0));
        assert_eq!(seen.last(), last);
    }

    fn check(said: Said, named: &[&str], expected: &str) {
        let named = named.iter().map(ToString::to_string).collect();
        let one = SeenOne { number: 1, at: WallTime(0), place: "hall/ir".to_owned(), said, named };
        let mut known = BTreeSet::new();
        let text = one.toml(&mut known);
        assert_eq!(text, expected);
        toml::de::DeTable::parse(&text).expect("all of it is TOML");
        // Pasted once, it is not offered again.
        assert!(one.toml(&mut known).starts_with('#') && one.toml(&mut known).lines().count() == 1);
    }

    #[test]
    fn what_nobody_names_is_a_section_to_paste() {
        let code = |code: &str| Said::Code { code: code.to_owned() };
        check(code("20DF40BF"), &["input.remote-red"], "# 00:00:00Z hall/ir: code 20DF40BF  (input.remote-red)\n");
        check(
            code("20DF\"0"),
            &[],
            "# 00:00:00Z hall/ir: code 20DF\\\"0\n[input.hall-ir-20df-0]\nat = \"hall/ir\"\ncode = \"20DF\\\"0\"\n# toggles = \"which load\"\n\n",
        );
        check(
            Said::Reading { value: 21.5 },
            &[],
            "# 00:00:00Z hall/ir: 21.5\n[sensor.hall-ir]\nreading = \"hall/ir\"\n# unit = \"°C\"\n# range = [-20, 60]\n\n",
        );
        check(Said::Contact { on: true }, &[], "# 00:00:00Z hall/ir: on\n[input.hall-ir]\nat = \"hall/ir\"\n\n");
    }
}
