//! What boards said lately, whether the house names it or not: how a remote's codes are learnt. It keeps a bounded number and
//! never decides anything.

use std::collections::{BTreeSet, VecDeque};
use std::fmt::Write;

use serde::{Deserialize, Serialize};

use crate::house::{BOARD_NAME_MAX, House, NAME_MAX, Source, WIRE_NAME_MAX};
use crate::syntax::tidied;
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
    /// The sections of the house that it belongs to, `input "remote-red"`.
    pub named: Vec<String>,
    /// Whether the house has no board of that name.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub strange_board: bool,
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

/// What was offered to be pasted, so that nothing is offered twice and no two sections have one name.
#[derive(Debug, Default)]
pub struct Offered {
    said: BTreeSet<String>,
    names: BTreeSet<String>,
}

impl Offered {
    /// Beside the sections that a house has.
    pub fn beside(house: &House) -> Offered {
        let inputs = house.inputs.iter().map(|input| format!("input.{}", input.name));
        let sensors = house.sensors.iter().map(|sensor| format!("sensor.{}", sensor.name));
        Offered { said: BTreeSet::new(), names: inputs.chain(sensors).collect() }
    }

    /// A name that no section of the kind has yet.
    fn name(&mut self, section: &str, wanted: &str) -> String {
        let mut name = tidied(wanted, NAME_MAX);
        let mut number = 1;
        while !self.names.insert(format!("{section}.{name}")) {
            number += 1;
            let end = format!("-{number}");
            name = tidied(wanted, NAME_MAX - end.len()) + &end;
        }
        name
    }
}

impl SeenOne {
    /// The same with what a house says to it: which may have changed since it was said.
    pub fn by(self, house: &House) -> SeenOne {
        let (board, name) = self.place.split_once('/').unwrap_or_default();
        let named = names(house, board, name, &self.said);
        let strange_board = house.boards.iter().all(|known| known.name != board);
        SeenOne { named, strange_board, ..self }
    }

    /// What one names, or a section to paste where the house names none; that only once. All of it is TOML, and the house
    /// takes it: what no house can take is a comment.
    pub fn toml(&self, offered: &mut Offered) -> String {
        let at = self.at.instant().to_zoned_datetime(jiff::tz::TimeZone::UTC).strftime("%H:%M:%SZ");
        let said = match &self.said {
            Said::Reading { value } => value.to_string(),
            Said::Press => "press".to_owned(),
            Said::Code { code } => format!("code {}", code.escape_default()),
            Said::Contact { on } => if *on { "on" } else { "off" }.to_owned(),
        };
        let mut text = format!("# {at} {}: {said}", self.place);
        if !self.named.is_empty() {
            let _ = write!(text, "  ({})", self.named.join(", "));
        }
        if self.named.is_empty() && offered.said.insert(self.source()) {
            match self.obstacle() {
                Some(why) => {
                    let _ = write!(text, "  ({why})");
                }
                None => {
                    let _ = write!(text, "\n{}", self.section(offered));
                }
            }
        }
        text.push('\n');
        text
    }

    /// What tells it from others; codes are equal whatever the case of their letters.
    fn source(&self) -> String {
        match &self.said {
            Said::Reading { .. } => format!("sensor {}", self.place),
            Said::Code { code } => format!("input {} {}", self.place, code.to_ascii_lowercase()),
            _ => format!("input {}", self.place),
        }
    }

    /// Why no house can name it.
    fn obstacle(&self) -> Option<&'static str> {
        let (board, name) = self.place.split_once('/').unwrap_or_default();
        if tidied(board, BOARD_NAME_MAX) != board || tidied(name, WIRE_NAME_MAX) != name {
            return Some("no house can name it: names have lower-case letters, digits and hyphens, at most 20");
        }
        match &self.said {
            Said::Code { code } if !code.bytes().all(|byte| byte.is_ascii_alphanumeric()) => {
                Some("no house can name it: codes have letters and digits only")
            }
            _ => None,
        }
    }

    fn section(&self, offered: &mut Offered) -> String {
        let place = &self.place;
        let lines = match &self.said {
            Said::Reading { .. } => {
                let name = offered.name("sensor", place);
                format!("[sensor.{name}]\nreading = \"{place}\"\n# unit = \"°C\"\n# range = [-20, 60]\n")
            }
            Said::Code { code } => {
                let name = offered.name("input", &format!("{place}-{code}"));
                format!("[input.{name}]\nat = \"{place}\"\ncode = \"{code}\"\n# toggles = \"which load\"\n")
            }
            Said::Press => {
                let name = offered.name("input", place);
                format!("[input.{name}]\nat = \"{place}\"\n# toggles = \"which load\"\n")
            }
            Said::Contact { .. } => format!("[input.{}]\nat = \"{place}\"\n", offered.name("input", place)),
        };
        if !self.strange_board {
            return lines;
        }
        let board = place.split('/').next().unwrap_or_default();
        let lines: String = lines.lines().map(|line| format!("# {}\n", line.trim_start_matches("# "))).collect();
        format!("# The house has no board \"{board}\": write [board.{board}] with its relays first.\n{lines}")
    }
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
    pub fn take(&mut self, prefix: &Prefix, topic: &str, payload: &[u8], at: WallTime) {
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
        let kept = if matches!(said, Said::Reading { .. }) { &mut self.readings } else { &mut self.inputs };
        let place = format!("{board}/{name}");
        kept.push_back(SeenOne { number: self.last, at, place, said, named: Vec::new(), strange_board: false });
        if kept.len() > KEPT {
            kept.pop_front();
        }
    }

    /// What was said after a number, oldest first; what is too long ago is gone. What the house says to each is
    /// [`SeenOne::by`].
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
        return sensors.map(|sensor| format!("sensor {:?}", sensor.name)).collect();
    }
    let inputs = house.inputs.iter().filter(|input| {
        let port = &house.ports[input.port.index()];
        let is_code = match said {
            Said::Code { code } => input.code.as_ref().is_some_and(|named| named.eq_ignore_ascii_case(code)),
            _ => input.code.is_none(),
        };
        house.board(port.board).name == board && port.name == name && is_code
    });
    inputs.map(|input| format!("input {:?}", input.name)).collect()
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
        for _ in 0..KEPT + 10 {
            seen.take(&Prefix::default(), "standfast/from/hall/input/ir", b"20DF40BF 7", WallTime(0));
        }
        assert_eq!(seen.after(0).count(), KEPT);
        assert_eq!(seen.after(seen.last() - 2).count(), 2);
        let before = seen.last();
        for _ in 0..KEPT + 10 {
            seen.take(&Prefix::default(), "standfast/from/yard/reading/t1", b"21.5", WallTime(0));
        }
        // No flood of readings pushes out a key.
        assert!(seen.after(0).any(|one| one.number == before) && seen.after(before).count() == KEPT);
        assert!(seen.after(0).zip(seen.after(0).skip(1)).all(|(one, next)| one.number < next.number));
        let last = seen.last();
        seen.take(&Prefix::default(), "standfast/from/hall/input/ir", &[b'x'; BYTES + 1], WallTime(0));
        assert_eq!(seen.last(), last);
    }

    fn one(place: &str, said: Said) -> SeenOne {
        let place = place.to_owned();
        SeenOne { number: 1, at: WallTime(0), place, said, named: Vec::new(), strange_board: false }
    }

    fn code(code: &str) -> Said {
        Said::Code { code: code.to_owned() }
    }

    fn check(one: &SeenOne, expected: &str) {
        let mut offered = Offered::default();
        let text = one.toml(&mut offered);
        assert_eq!(text, expected);
        toml::de::DeTable::parse(&text).expect("all of it is TOML");
        // Pasted once, it is not offered again.
        let again = one.toml(&mut offered);
        assert!(again.starts_with('#') && again.lines().count() == 1, "{again}");
    }

    #[test]
    fn what_nobody_names_is_a_section_to_paste() {
        let named = SeenOne { named: vec!["input \"remote-red\"".to_owned()], ..one("hall/ir", code("20DF40BF")) };
        check(&named, "# 00:00:00Z hall/ir: code 20DF40BF  (input \"remote-red\")\n");
        check(
            &one("hall/ir", code("20DF40BF")),
            "# 00:00:00Z hall/ir: code 20DF40BF\n[input.hall-ir-20df40bf]\nat = \"hall/ir\"\ncode = \"20DF40BF\"\n# toggles = \"which load\"\n\n",
        );
        check(
            &one("hall/ir", Said::Reading { value: 21.5 }),
            "# 00:00:00Z hall/ir: 21.5\n[sensor.hall-ir]\nreading = \"hall/ir\"\n# unit = \"°C\"\n# range = [-20, 60]\n\n",
        );
        check(
            &one("hall/ir", Said::Contact { on: true }),
            "# 00:00:00Z hall/ir: on\n[input.hall-ir]\nat = \"hall/ir\"\n\n",
        );
    }

    #[test]
    fn what_no_house_can_take_is_a_comment() {
        check(
            &one("hall/ir", code("20DF\"0")),
            "# 00:00:00Z hall/ir: code 20DF\\\"0  (no house can name it: codes have letters and digits only)\n",
        );
        for place in ["Hall/ir", "hall/ir-", "hall/a-name-that-is-too-long", "a_b/ir"] {
            let names = "names have lower-case letters, digits and hyphens, at most 20";
            check(&one(place, Said::Press), &format!("# 00:00:00Z {place}: press  (no house can name it: {names})\n"));
        }
        let strange = SeenOne { strange_board: true, ..one("hall/2", Said::Press) };
        check(
            &strange,
            "# 00:00:00Z hall/2: press\n# The house has no board \"hall\": write [board.hall] with its relays first.\n\
             # [input.hall-2]\n# at = \"hall/2\"\n# toggles = \"which load\"\n\n",
        );
    }

    #[test]
    fn no_two_sections_have_one_name_and_none_is_too_long() {
        let mut offered = Offered::default();
        let place = "a-board-of-20-letter/a-wire-of-20-letters";
        let mut head = |said: Said| {
            let text = one(place, said).toml(&mut offered);
            text.lines().nth(1).unwrap_or_default().to_owned()
        };
        // The 40 characters of a name are used up before the code begins.
        let long = "a-board-of-20-letter-a-wire-of-20-letter";
        assert_eq!(head(code("20DF40BF")), format!("[input.{long}]"));
        assert_eq!(head(code("20df40bf")), "", "the same key");
        assert_eq!(head(code("20DF40C0")), format!("[input.{}-2]", &long[..38]));
        assert_eq!(head(Said::Press), format!("[input.{}-3]", &long[..38]));
        assert_eq!(head(Said::Reading { value: 1.0 }), format!("[sensor.{long}]"));
    }
}
