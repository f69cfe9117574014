//! What the demo prints: how to see a threshold move, and line by line what changed and why. It never decides what is news
//! to the engine, only what is news to somebody who watches.

use std::io::{self, Write};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use jiff::tz::TimeZone;

use super::folder::Folder;
use crate::daemon::clock::Pace;
use crate::daemon::keeper::Listener;
use crate::engine::{JournalEntry, JournalRow};
use crate::house::{Atom, Foreign, House, Load, Place, State};
use crate::units::Span;

/// The demo moves this sensor's threshold, if the house has it: it is reached soon after the start.
const SHOWN_SENSOR: &str = "cellar-humidity";

/// The screen.
pub struct Screen {
    /// Where the house is, as it is best typed.
    dir: PathBuf,
    config: PathBuf,
    port: u16,
    page: SocketAddr,
    pace: Pace,
    /// This program, as it was called.
    program: String,
    counts: String,
    /// The file and the line of a threshold, and what stands there.
    threshold: Option<(PathBuf, u32, String)>,
    /// What may be held to try a hand.
    load: Option<String>,
    boards: String,
}

impl Screen {
    /// For a house that was read from the folder.
    pub fn new(house: &House, folder: &Folder, (port, page): (u16, SocketAddr), pace: Pace) -> Screen {
        let here = std::env::current_dir().unwrap_or_default();
        let dir = folder.house().strip_prefix(&here).unwrap_or(folder.house()).to_owned();
        let names: Vec<&str> = house.boards.iter().map(|board| board.name.as_str()).collect();
        let threshold = threshold(house).and_then(|place| {
            let file = dir.join(house.files.get(place.file as usize)?);
            let text = std::fs::read_to_string(&file).ok()?;
            let line = text.lines().nth(place.line.checked_sub(1)? as usize)?.trim().to_owned();
            Some((file, place.line, line))
        });
        Screen {
            dir,
            config: folder.config(),
            port,
            page,
            pace,
            program: std::env::args().next().unwrap_or_else(|| "standfast".to_owned()),
            counts: format!("{} loads, {} rules", house.loads.len(), house.rules.len()),
            threshold,
            load: house.loads.iter().find(|load| is_to_try(house, load)).map(|load| load.name.clone()),
            boards: names.join(", "),
        }
    }

    /// Prints what a person can do, first of all how to see a threshold move.
    ///
    /// # Errors
    /// When nobody reads it.
    pub fn opening(&self, lease_min: Span) -> io::Result<()> {
        let mut out = io::stdout().lock();
        if let Some((file, line, text)) = &self.threshold {
            writeln!(out, "To see a threshold move, open {} at line {line}:", file.display())?;
            writeln!(out, "    {text}")?;
            writeln!(out, "change a number there and save; the house takes it at once.\n")?;
        }
        writeln!(
            out,
            "Rowan Cottage is invented: {}, on the boards {}, from {}.",
            self.counts,
            self.boards,
            self.dir.display()
        )?;
        writeln!(out, "Its page, for a browser on this machine: http://{}/", self.page)?;
        writeln!(out, "Everything goes over MQTT at 127.0.0.1:{}. To look, and to take a hand in it:", self.port)?;
        writeln!(out, "    mosquitto_sub -p {} -t 'standfast/#' -v", self.port)?;
        if let Some(load) = &self.load {
            writeln!(out, "    mosquitto_pub -p {} -t standfast/hold/{load} -m 'on 30m'", self.port)?;
        }
        writeln!(out, "    {} status --config {}", self.program, self.config.display())?;
        if self.pace.speed() > 1 {
            writeln!(
                out,
                "Time runs {} times as fast here, but messages do not, so no board and no sensor is missed sooner than after {lease_min}.",
                self.pace.speed()
            )?;
        }
        writeln!(out, "Ctrl-C ends it.\n")?;
        out.flush()
    }

    /// Prints a line for every row of the journal until the curtain has fallen.
    pub fn listener(&self, curtain: Arc<AtomicBool>) -> Listener {
        Box::new(move |row, zone| {
            if !curtain.load(Ordering::Relaxed) {
                // Whoever closed the screen has seen enough; the house lives on until it is told to end.
                let _ = print(row, zone);
            }
        })
    }
}

fn print(row: &JournalRow, zone: &TimeZone) -> io::Result<()> {
    let at = row.at.instant().to_zoned_datetime(zone.clone()).strftime("%a %H:%M:%S").to_string();
    let sentence = row.entry.sentence(zone);
    let mark = if matches!(row.entry, JournalEntry::AlarmRaised { .. }) { "! " } else { "" };
    let mut out = io::stdout().lock();
    writeln!(out, "{at}  {mark}{sentence}")?;
    out.flush()
}

/// Whether a hand that tries it shows at once: nothing but its contact is in the way, and its board says what that does.
fn is_to_try(house: &House, load: &Load) -> bool {
    let answers = |foreign: &Option<Foreign>| foreign.as_ref().is_none_or(Foreign::reports);
    let is_free = load.min_on.is_zero() && load.min_off.is_zero() && load.pulse.is_none();
    is_free
        && load.resting == State::Off
        && load.relay().is_some_and(|relay| answers(&house.board(relay.board).foreign))
}

/// Where a threshold is written that is worth moving.
fn threshold(house: &House) -> Option<Place> {
    let mut thresholds = house.atoms.iter().filter_map(|atom| match atom {
        Atom::Threshold(threshold) => Some(threshold),
        _ => None,
    });
    let shown = house.sensor_named(SHOWN_SENSOR);
    thresholds.clone().find(|threshold| Some(threshold.sensor) == shown).or_else(|| thresholds.next()).map(|t| t.place)
}
