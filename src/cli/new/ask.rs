//! What `standfast new` needs to know, from options or from a person at a terminal. It takes no answer that the house would
//! not take.

use std::io::{BufRead, Write};
use std::path::Path;

use anyhow::bail;
use jiff::tz::TimeZoneDatabase;

use super::Args;
use crate::daemon::zones::zones;
use crate::house::{BOARD_NAME_MAX, RELAYS_MAX};
use crate::syntax::name_fault;

/// How often a question is asked before giving up.
const TRIES: usize = 3;

/// Everything that the files need.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Answers {
    pub(super) latitude: f64,
    pub(super) longitude: f64,
    pub(super) zone: String,
    pub(super) board: String,
    pub(super) relays: u8,
}

/// Somebody to ask, or nobody.
pub(super) struct Asker<'a> {
    lines: Option<(Box<dyn BufRead + 'a>, Box<dyn Write + 'a>)>,
}

impl<'a> Asker<'a> {
    /// The person at the terminal; questions go to standard error, so that standard output stays for what was done.
    pub(super) fn terminal() -> Asker<'a> {
        Asker::of(std::io::stdin().lock(), std::io::stderr())
    }

    /// Nobody: everything must have been given.
    pub(super) fn nobody() -> Asker<'a> {
        Asker { lines: None }
    }

    pub(super) fn of(input: impl BufRead + 'a, output: impl Write + 'a) -> Asker<'a> {
        Asker { lines: Some((Box::new(input), Box::new(output))) }
    }

    /// Asks until the answer can be read. An empty answer takes what is offered, if anything is.
    fn ask<T>(
        &mut self,
        option: &str,
        question: &str,
        offered: &str,
        read: impl Fn(&str) -> Result<T, String>,
    ) -> anyhow::Result<T> {
        let Some((input, output)) = &mut self.lines else {
            bail!("{option} is missing, and there is no terminal to ask at");
        };
        for _ in 0..TRIES {
            let offer = if offered.is_empty() { String::new() } else { format!(" [{offered}]") };
            write!(output, "{question}{offer}: ")?;
            output.flush()?;
            let mut line = String::new();
            if input.read_line(&mut line)? == 0 {
                bail!("no answer; give {option} instead");
            }
            let answer = if line.trim().is_empty() { offered } else { line.trim() };
            match read(answer) {
                Ok(value) => return Ok(value),
                Err(why) => writeln!(output, "  {why}")?,
            }
        }
        bail!("that was no answer three times; give {option} instead")
    }
}

/// The answers, from options where they are given.
pub(super) fn answers(args: &Args, mut asker: Asker<'_>) -> anyhow::Result<Answers> {
    let missing = missing(args);
    if asker.lines.is_none() && !missing.is_empty() {
        bail!("give {} too, or run it at a terminal, where it asks", missing.join(", "));
    }
    let zones = zones();
    let given = |result: Result<_, String>, option: &str| result.map_err(|why| anyhow::anyhow!("{option}: {why}"));
    let (latitude, longitude) = match (args.latitude, args.longitude) {
        (Some(north), Some(east)) => on_globe(north, east).map_err(|why| anyhow::anyhow!(why))?,
        (None, None) => asker.ask(
            "--latitude and --longitude",
            "Where does the house stand? Degrees north and degrees east, such as 54.60, -3.14",
            "",
            position,
        )?,
        _ => bail!("--latitude and --longitude go together"),
    };
    let zone = match &args.zone {
        Some(zone) => given(known_zone(&zones, zone), "--zone")?,
        None => asker.ask("--zone", "Its time zone", &zone_of_machine(), |text| known_zone(&zones, text))?,
    };
    let board = match &args.board {
        Some(board) => given(board_name(board), "--board")?,
        None => asker.ask("--board", "A name for the first relay board, after where it hangs", "hall", board_name)?,
    };
    let relays = match args.relays {
        Some(relays) => count(&relays.to_string()).map_err(|why| anyhow::anyhow!("--relays: {why}"))?,
        None => asker.ask("--relays", "How many relays has it", "8", count)?,
    };
    Ok(Answers { latitude, longitude, zone, board, relays })
}

/// The options that were not given.
fn missing(args: &Args) -> Vec<&'static str> {
    let options = [
        ("--latitude", args.latitude.is_none()),
        ("--longitude", args.longitude.is_none()),
        ("--zone", args.zone.is_none()),
        ("--board", args.board.is_none()),
        ("--relays", args.relays.is_none()),
    ];
    options.into_iter().filter(|(_, missing)| *missing).map(|(option, _)| option).collect()
}

/// Two numbers, each with a letter behind it perhaps.
fn position(text: &str) -> Result<(f64, f64), String> {
    let form = || "write two numbers, such as 54.60, -3.14 or 54.60 N, 3.14 W".to_owned();
    let upper = text.to_uppercase().replace(['°', ','], " ");
    let mut numbers = Vec::new();
    for word in upper.split_whitespace() {
        let digits = word.trim_end_matches(['N', 'S', 'E', 'W']);
        let turned = |letter: &str| if matches!(letter, "S" | "W") { -1.0 } else { 1.0 };
        if digits.is_empty() {
            let last: &mut f64 = numbers.last_mut().ok_or_else(form)?;
            *last *= turned(word);
        } else {
            numbers.push(digits.parse::<f64>().map_err(|_| form())? * turned(&word[digits.len()..]));
        }
    }
    match numbers[..] {
        [north, east] => on_globe(north, east),
        _ => Err(form()),
    }
}

fn on_globe(north: f64, east: f64) -> Result<(f64, f64), String> {
    if north.abs() <= 90.0 && east.abs() <= 180.0 {
        return Ok((north, east));
    }
    Err("degrees north go from -90 to 90, degrees east from -180 to 180; west is negative".to_owned())
}

fn known_zone(zones: &TimeZoneDatabase, text: &str) -> Result<String, String> {
    match zones.get(text) {
        Ok(_) => Ok(text.to_owned()),
        Err(_) => Err(format!("there is no zone \"{text}\"; write its IANA name, such as Europe/London")),
    }
}

fn board_name(text: &str) -> Result<String, String> {
    name_fault(text, BOARD_NAME_MAX).map_or_else(|| Ok(text.to_owned()), Err)
}

fn count(text: &str) -> Result<u8, String> {
    let relays = text.parse::<u8>().ok().filter(|relays| (1..=RELAYS_MAX).contains(relays));
    relays.ok_or_else(|| format!("write a whole number from 1 to {RELAYS_MAX}"))
}

/// The zone that this machine's clock shows, to be offered; empty where it does not say.
fn zone_of_machine() -> String {
    let link = std::fs::read_link(Path::new("/etc/localtime")).unwrap_or_default();
    let link = link.to_string_lossy();
    link.split_once("zoneinfo/").map(|(_, zone)| zone.to_owned()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expected: Option<(f64, f64)>) {
        assert_eq!(position(text).ok(), expected, "{text}");
    }

    #[test]
    fn positions() {
        check("54.60, -3.14", Some((54.60, -3.14)));
        check("54.60 -3.14", Some((54.60, -3.14)));
        check("54.60N 3.14W", Some((54.60, -3.14)));
        check("33.9° S, 18.4° E", Some((-33.9, 18.4)));
        check("S", None);
        check("54.60", None);
        check("95, 3", None);
        check("home", None);
    }
}
