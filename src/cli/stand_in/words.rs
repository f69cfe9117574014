//! What a person may type to a stand-in, and what it means to the board. It never does anything.

use std::fmt::Write;

use super::super::board_shell::Deed;
use crate::board::{InputKind, Setup};
use crate::house::{BoardId, House, Source};
use crate::wire::{Code, Word};

/// One line that was typed.
#[derive(Clone, Debug)]
pub enum Line {
    /// Nothing was typed.
    Empty,
    /// Something happens to the board.
    Deed(Deed),
    /// A reading is this from now on, and repeated.
    Reading {
        /// Its name on the wire.
        name: String,
        /// The number as it is sent.
        text: String,
    },
    /// A reading is repeated no more.
    Silence {
        /// Its name on the wire.
        name: String,
    },
    /// Shows what may be typed.
    Help,
    /// Leaves in good order.
    Quit,
}

/// The names that a board's inputs and readings go by, on the wire and in the house.
#[derive(Clone, Debug)]
pub struct Vocabulary {
    inputs: Vec<KnownInput>,
    readings: Vec<KnownReading>,
    /// It has firmware of its own, of which the house knows neither inputs nor readings.
    is_other: bool,
}

/// What to mind while such a board is played.
const LEAVE: &str =
    "It speaks as the house says. Leave (quit) before the real one comes: nobody could tell the two apart.";
/// What may be typed to it.
const OTHER: &str = "a board with firmware of its own is told by its orders alone; type quit to leave";

#[derive(Clone, Debug)]
struct KnownInput {
    wire: String,
    kind: InputKind,
    /// What the house calls it, with the code of a remote's key.
    names: Vec<(String, Option<Code>)>,
}

#[derive(Clone, Debug)]
struct KnownReading {
    wire: String,
    /// What the house calls the sensors that draw on it, and what is sent for them: ` in °C`, ` as it is sent`.
    sensors: Vec<(String, String)>,
}

impl Vocabulary {
    /// The words for a board of a house.
    pub fn new(house: &House, board: BoardId, setup: &Setup) -> Vocabulary {
        let names_of = |wire: &str| {
            let is_it = |port: &crate::house::Port| port.board == board && port.name == wire;
            let inputs = house.inputs.iter().filter(|input| is_it(&house.ports[input.port.index()]));
            inputs.map(|input| (input.name.clone(), input.code.as_deref().and_then(Code::new))).collect()
        };
        let known = |input: &crate::board::BoardInput| KnownInput {
            wire: input.name.clone(),
            kind: input.kind,
            names: names_of(&input.name),
        };
        let mut readings: Vec<KnownReading> = Vec::new();
        for sensor in &house.sensors {
            if let Source::Board { board: from, reading } = &sensor.source
                && *from == board
            {
                let calibration = &sensor.calibration;
                let sent = match (calibration.conversion.is_some() || calibration.scale != 1.0, sensor.unit.as_str()) {
                    // What goes over the wire is in the sensor's unit only after its calibration.
                    (true, _) => " as it is sent".to_owned(),
                    (false, "") => String::new(),
                    (false, unit) => format!(" in {unit}"),
                };
                let named = (sensor.name.clone(), sent);
                match readings.iter_mut().find(|known| known.wire == *reading) {
                    Some(known) => known.sensors.push(named),
                    None => readings.push(KnownReading { wire: reading.clone(), sensors: vec![named] }),
                }
            }
        }
        let is_other = house.board(board).foreign.is_some();
        Vocabulary { inputs: setup.inputs.iter().map(known).collect(), readings, is_other }
    }

    /// What is printed first.
    pub fn opening(&self) -> String {
        if self.is_other {
            return format!("{LEAVE}\n");
        }
        format!("{}\n{}\nType what happens to it, or: help\n", self.input_names(), self.reading_names())
    }

    /// Understands one line.
    ///
    /// # Errors
    /// What is wrong with it and what may be typed instead.
    pub fn read(&self, line: &str) -> Result<Line, String> {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words[..] {
            [] => Ok(Line::Empty),
            ["quit"] => Ok(Line::Quit),
            ["help"] => Ok(Line::Help),
            _ if self.is_other => Err(OTHER.to_owned()),
            ["press", name] => self.press(name),
            ["press"] => Err(format!("press what? {}", self.input_names())),
            ["key", name, code] => self.key(name, code),
            ["contact", name, state @ ("on" | "off")] => self.contact(name, state == "on"),
            ["contact", ..] => Err("write: contact NAME on, or: contact NAME off".to_owned()),
            ["reading", name, text] => Ok(Line::Reading { name: self.reading(name)?, text: text.to_owned() }),
            ["reading", ..] => Err("write: reading NAME NUMBER".to_owned()),
            ["silence", name] => Ok(Line::Silence { name: self.reading(name)? }),
            ["reset"] => Ok(reset("reset")),
            ["reset", cause] => Ok(reset(cause)),
            ["power", "off"] => Ok(Line::Deed(Deed::CutPower)),
            ["power", "on"] => Ok(reset("power-on")),
            [other, ..] => Err(format!("\"{other}\" is nothing that can be done to a board; type help")),
        }
    }

    /// What may be typed, one form in each line.
    pub fn help(&self) -> String {
        if self.is_other {
            return format!("{OTHER}\n");
        }
        let mut help = String::from(
            "press NAME           push a button, or the key of a remote that the house names\n\
             key NAME CODE        receive any code\n\
             contact NAME on|off  close or open a contact\n\
             reading NAME NUMBER  measure this from now on, again and again\n\
             silence NAME         measure it no more\n\
             reset [CAUSE]        reset the board; power off, power on: cut its power and give it back\n\
             quit                 leave\n",
        );
        let _ = writeln!(help, "{}\n{}", self.input_names(), self.reading_names());
        help
    }

    /// `inputs: 1 (button cellar-stairs), door (contact cellar-door)`.
    pub fn input_names(&self) -> String {
        let show = |input: &KnownInput| {
            let kind = match input.kind {
                InputKind::Button { .. } => "button",
                InputKind::Remote => "remote",
                InputKind::Contact => "contact",
            };
            let names: String = input.names.iter().map(|(name, _)| format!(" {name}")).collect();
            format!("{} ({kind}{names})", input.wire)
        };
        listed("inputs", self.inputs.iter().map(show))
    }

    /// `readings: h1 (cellar-humidity in %), t1 (cellar-air in °C)`.
    pub fn reading_names(&self) -> String {
        let show = |reading: &KnownReading| {
            let sensors = reading.sensors.iter().map(|(name, sent)| format!("{name}{sent}"));
            format!("{} ({})", reading.wire, sensors.collect::<Vec<_>>().join(", "))
        };
        listed("readings", self.readings.iter().map(show))
    }

    fn press(&self, name: &str) -> Result<Line, String> {
        let input = self.input(name)?;
        let key = input.names.iter().find(|(known, _)| known == name).and_then(|(_, code)| code.clone());
        match (input.kind, key) {
            (InputKind::Button { .. }, _) => Ok(Line::Deed(Deed::Press { input: input.wire.clone() })),
            (InputKind::Remote, Some(code)) => Ok(Line::Deed(Deed::Key { input: input.wire.clone(), code })),
            (InputKind::Remote, None) => Err(format!("{name} is a remote; write: key {} CODE", input.wire)),
            (InputKind::Contact, _) => Err(format!("{name} is a contact; write: contact {name} on")),
        }
    }

    fn key(&self, name: &str, code: &str) -> Result<Line, String> {
        let input = self.input(name)?;
        if input.kind != InputKind::Remote {
            return Err(format!("{name} receives no codes"));
        }
        let code =
            Code::new(code).ok_or_else(|| format!("\"{code}\" cannot be a code: at most 32 plain characters"))?;
        Ok(Line::Deed(Deed::Key { input: input.wire.clone(), code }))
    }

    fn contact(&self, name: &str, closed: bool) -> Result<Line, String> {
        let input = self.input(name)?;
        if input.kind != InputKind::Contact {
            return Err(format!("{name} is a button; write: press {name}"));
        }
        Ok(Line::Deed(Deed::Contact { input: input.wire.clone(), closed }))
    }

    /// The input of that name, on the wire first.
    fn input(&self, name: &str) -> Result<&KnownInput, String> {
        let named = |input: &&KnownInput| input.names.iter().any(|(known, _)| known == name);
        let on_wire = self.inputs.iter().find(|input| input.wire == name);
        on_wire
            .or_else(|| self.inputs.iter().find(named))
            .ok_or_else(|| format!("this board has no input \"{name}\"; {}", self.input_names()))
    }

    fn reading(&self, name: &str) -> Result<String, String> {
        let named = |reading: &&KnownReading| reading.sensors.iter().any(|(known, _)| known == name);
        let on_wire = self.readings.iter().find(|reading| reading.wire == name);
        on_wire
            .or_else(|| self.readings.iter().find(named))
            .map(|reading| reading.wire.clone())
            .ok_or_else(|| format!("no sensor of the house reads \"{name}\" here; {}", self.reading_names()))
    }
}

fn reset(cause: &str) -> Line {
    Line::Deed(Deed::Reset { cause: Word::nearest(cause) })
}

fn listed(what: &str, names: impl Iterator<Item = String>) -> String {
    let names: Vec<String> = names.collect();
    if names.is_empty() { format!("{what}: none") } else { format!("{what}: {}", names.join(", ")) }
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZoneDatabase;

    use super::*;
    use crate::wire::Prefix;

    const HOUSE: &str = r#"
        [site]
        position = [54.60, -3.1]
        zone = "Europe/London"
        [board.shed]
        relays = 2
        [sensor.shed-air]
        reading = "shed/t1"
        unit = "°C"
        [load.shed-lamp]
        relay = "shed/1"
        kind = "led"
        [input.shed-button]
        at = "shed/1"
        toggles = "shed-lamp"
        [input.key-red]
        at = "shed/ir"
        code = "14EB58A7"
        toggles = "shed-lamp"
        [input.shed-door]
        at = "shed/door"
        [rule.lit]
        load = "shed-lamp"
        demand = "on"
        while = { input = "shed-door", is = "on" }
    "#;

    fn vocabulary() -> Vocabulary {
        let files = [("shed.toml".to_owned(), HOUSE.to_owned())];
        let (house, diagnostics) = crate::syntax::read(&files, &TimeZoneDatabase::bundled());
        let house = house.unwrap_or_else(|| panic!("{diagnostics:?}"));
        let board = house.board_named("shed").expect("the shed");
        let setup = Setup::of_house(&house, board, &Prefix::default());
        Vocabulary::new(&house, board, &setup)
    }

    fn check(line: &str, expected: Result<&str, &str>) {
        let said = match vocabulary().read(line) {
            Ok(line) => Ok(format!("{line:?}")),
            Err(error) => Err(error),
        };
        assert_eq!(said.as_deref().map_err(String::as_str), expected, "{line}");
    }

    #[test]
    fn lines_mean_deeds_by_either_name() {
        check("  ", Ok("Empty"));
        check("press 1", Ok(r#"Deed(Press { input: "1" })"#));
        check("press shed-button", Ok(r#"Deed(Press { input: "1" })"#));
        check("press key-red", Ok(r#"Deed(Key { input: "ir", code: Code("14EB58A7") })"#));
        check("key ir 99", Ok(r#"Deed(Key { input: "ir", code: Code("99") })"#));
        check("contact door on", Ok(r#"Deed(Contact { input: "door", closed: true })"#));
        check("contact shed-door off", Ok(r#"Deed(Contact { input: "door", closed: false })"#));
        check("reading t1 23.4", Ok(r#"Reading { name: "t1", text: "23.4" }"#));
        check("reading shed-air nan", Ok(r#"Reading { name: "t1", text: "nan" }"#));
        check("silence t1", Ok(r#"Silence { name: "t1" }"#));
        check("reset watchdog", Ok(r#"Deed(Reset { cause: Word("watchdog") })"#));
        check("power on", Ok(r#"Deed(Reset { cause: Word("power-on") })"#));
        check("power off", Ok("Deed(CutPower)"));
        check("quit", Ok("Quit"));
    }

    #[test]
    fn what_cannot_be_is_answered_with_what_can() {
        let inputs = "inputs: 1 (button shed-button), door (contact shed-door), ir (remote key-red)";
        check("press 7", Err(&format!("this board has no input \"7\"; {inputs}")));
        check("press", Err(&format!("press what? {inputs}")));
        check("press door", Err("door is a contact; write: contact door on"));
        check("press ir", Err("ir is a remote; write: key ir CODE"));
        check("key 1 99", Err("1 receives no codes"));
        check("key ir press", Err("\"press\" cannot be a code: at most 32 plain characters"));
        check("contact 1 on", Err("1 is a button; write: press 1"));
        check("contact door", Err("write: contact NAME on, or: contact NAME off"));
        check("reading t2 1", Err("no sensor of the house reads \"t2\" here; readings: t1 (shed-air in °C)"));
        check("reading t1", Err("write: reading NAME NUMBER"));
        check("dance", Err("\"dance\" is nothing that can be done to a board; type help"));
        assert!(vocabulary().help().contains(inputs));
    }
}
