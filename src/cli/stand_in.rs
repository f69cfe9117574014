//! `standfast stand-in`: plays one board of a house on a real broker, so that rules can be tried before the hardware
//! exists. It never plays a board that is there.

mod look;
mod reach;
mod words;

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;

use anyhow::Context;
use jiff::tz::TimeZone;
use tokio::io::{AsyncBufReadExt, BufReader};

use super::board_shell::{self, Deed, News, Running};
use super::stop::Stop;
use super::{Answer, Outcome, other_shell};
use crate::board::{Board, Faults, Flash, OtherBoard, Setup};
use crate::daemon::clock::{self, Pace};
use crate::daemon::{house_dir, zones};
use crate::diagnostic;
use crate::house::{self, BoardId, House, Source};
use crate::mqtt;
use crate::units::{Span, counted};
use crate::wire::{Prefix, Word};
use look::{Presence, Watch};
use words::{Line, Vocabulary};

/// A reading is repeated at least this often, however long its sensors would wait.
const REPEAT_MAX: Span = Span::from_s(30);

/// Options of `standfast stand-in`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The board to play, by its name in the house
    #[arg(value_name = "BOARD")]
    board: String,
    /// The folder of the house [default: the one that the server's own file names]
    #[arg(long, value_name = "DIR")]
    house: Option<PathBuf>,
    /// Where the broker listens [default: as the server's own file says, else mqtt://127.0.0.1:1883]
    #[arg(long, value_name = "URL")]
    broker: Option<mqtt::Address>,
    /// The server's own file [default: standfast.toml in the working folder, else in /etc/standfast]
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// The user name towards the broker
    #[arg(long, value_name = "NAME")]
    username: Option<String>,
    /// A file whose first line is the password
    #[arg(long, value_name = "FILE", requires = "username")]
    password_file: Option<PathBuf>,
    /// The certificates to trust for mqtts://, and no others
    #[arg(long, value_name = "FILE")]
    ca_file: Option<PathBuf>,
}

/// Plays the board until it is told to stop, or says why it does not.
pub fn run(args: Args) -> Answer {
    let reach = reach::find(&args)?;
    let house = read(&reach.house)?;
    let names: Vec<&str> = house.boards.iter().map(|board| board.name.as_str()).collect();
    let board = house.board_named(&args.board);
    let board =
        board.with_context(|| format!("the house has no board \"{}\"; it has {}", args.board, names.join(", ")))?;
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
    let answer = runtime.block_on(play(&house, board, &reach.prefix, reach.link));
    // Standard input is read on a thread of its own that nothing can interrupt.
    runtime.shutdown_background();
    answer
}

fn read(folder: &Path) -> anyhow::Result<House> {
    let text = house_dir::read_saved(folder)?;
    let (house, diagnostics) = crate::syntax::read(&text.files, &zones::zones());
    house.with_context(|| {
        let count = diagnostic::count_line(&diagnostics);
        format!("the house cannot be used: {count}; `standfast check {}` shows what", folder.display())
    })
}

async fn play(house: &House, id: BoardId, prefix: &Prefix, link: mqtt::Options) -> Answer {
    let setup = Setup::of_house(house, id, prefix);
    let board = house.board(id);
    let address = link.address.to_string();
    let out = Printer { zone: house.site.zone.clone() };
    let mut stop = Stop::new()?;

    let looking = mqtt::Options { client_id: format!("standfast-look-{}", clock::wall_now().0), ..link.clone() };
    let mut told = String::new();
    let watch = Watch::new(house, id, prefix);
    let look = look::look(looking, &watch, |why| {
        if told != why {
            // Where nobody reads any more, the next line says so.
            let _ = out.line(&format!("{}: {why}", board.name));
            told = why.to_owned();
        }
    });
    let presence = tokio::select! {
        presence = look => presence,
        () = stop.asked() => return Ok(Outcome::Yes),
    };
    match presence {
        Presence::There { how } => {
            let name = &board.name;
            out.line(&format!("{name} is there: {how}. A board cannot be played beside the real one."))?;
            return Ok(Outcome::No);
        }
        Presence::Silent { boot } => out.line(&format!("{}: boot {boot} is silent and counts as gone", board.name))?,
        Presence::Absent => {}
    }

    let vocabulary = Vocabulary::new(house, id, &setup);
    let link = mqtt::Options { client_id: format!("standfast-stand-in-{}", board.name), ..link };
    let running = start(board, setup, link);
    out.line(&format!("playing {}, {}, at {address}", board.name, counted(usize::from(board.relays), "relay")))?;
    out.plain(&vocabulary.opening())?;
    Session { house, id, vocabulary, out, readings: BTreeMap::new() }.run(running, stop).await
}

/// Gives the board power, by the contract or in the words of its own firmware.
fn start(board: &house::Board, setup: Setup, link: mqtt::Options) -> Running {
    let pace = Pace::from_now(1);
    if let Some(other) = OtherBoard::of_house(board) {
        return other_shell::start(other, usize::from(board.relays), pace, link);
    }
    // Real boots are counted in flash. Seconds of the wall clock also rise from one stand-in to the next, and no real board
    // gets that far.
    let boot = u32::try_from(clock::wall_now().0 / 1000).unwrap_or(1);
    let board = Board::new(setup, Flash { boot, fallback: None }, Faults::default());
    board_shell::start(board_shell::Options { board, pace, link, makes_way: true }, Word::nearest("stand-in"))
}

/// A stand-in that runs.
struct Session<'h> {
    house: &'h House,
    id: BoardId,
    vocabulary: Vocabulary,
    out: Printer,
    /// What is measured until told otherwise, by name on the wire.
    readings: BTreeMap<String, String>,
}

impl Session<'_> {
    async fn run(mut self, mut running: Running, mut stop: Stop) -> Answer {
        let mut typed = BufReader::new(tokio::io::stdin()).lines();
        let mut hears = true;
        let mut repeat = tokio::time::interval(self.repeat_every());
        loop {
            tokio::select! {
                () = stop.asked() => break,
                news = running.news.recv() => match news {
                    Some(News::Twin) | None => {
                        self.out.line("somebody else plays this board now; left it to them")?;
                        return Ok(Outcome::No);
                    }
                    Some(news) => self.tell(&news)?,
                },
                line = typed.next_line(), if hears => match line {
                    Ok(Some(line)) => if !self.obey(&line, &running).await? { break },
                    // Nobody types any more; the board goes on.
                    Ok(None) | Err(_) => hears = false,
                },
                _ = repeat.tick() => for (name, text) in &self.readings {
                    measure(&running, name, text).await;
                },
            }
        }
        running.leave().await;
        self.out.line("left")?;
        Ok(Outcome::Yes)
    }

    /// False once the person wants to leave.
    async fn obey(&mut self, line: &str, running: &Running) -> anyhow::Result<bool> {
        match self.vocabulary.read(line) {
            Ok(Line::Empty) => {}
            Ok(Line::Deed(deed)) => drop(running.deeds.send(deed).await),
            Ok(Line::Reading { name, text }) => {
                measure(running, &name, &text).await;
                self.readings.insert(name, text);
            }
            Ok(Line::Silence { name }) => drop(self.readings.remove(&name)),
            Ok(Line::Help) => self.out.plain(&self.vocabulary.help())?,
            Ok(Line::Quit) => return Ok(false),
            Err(why) => self.out.line(&why)?,
        }
        Ok(true)
    }

    fn tell(&self, news: &News) -> anyhow::Result<()> {
        let line = match news {
            News::LinkUp => "connected".to_owned(),
            News::LinkDown { why } => format!("no link: {why}"),
            News::Reset { boot } => {
                format!("boot {boot}; nothing is energised until orders come or a lease has passed")
            }
            News::Ignored(why) => format!("ignored: {why}"),
            News::Relay { number, energised } => self.relay(*number, *energised),
            News::Twin => return Ok(()),
        };
        self.out.line(&line)
    }

    /// `cellar/1 energised: cellar-flap is off`.
    fn relay(&self, number: u8, energised: bool) -> String {
        let relay = house::Relay { board: self.id, number };
        let name = self.house.relay_name(relay);
        let does = if energised { "energised" } else { "de-energised" };
        match self.house.load_on(relay) {
            Some(load) => match load.drive {
                house::Drive::Actuator(id) => {
                    let way = if self.house.actuator(id).open == relay { "opens" } else { "closes" };
                    format!("{name} {does}: {} {}", load.name, if energised { way } else { "stands" })
                }
                _ => format!("{name} {does}: {} is {}", load.name, load.state(energised)),
            },
            None => format!("{name} {does}: no load hangs on it"),
        }
    }

    /// Often enough that no sensor of the board goes stale.
    fn repeat_every(&self) -> Duration {
        let here = |source: &Source| matches!(source, Source::Board { board, .. } if *board == self.id);
        let stale = self.house.sensors.iter().filter(|sensor| here(&sensor.source)).map(|sensor| sensor.stale_after);
        let every = stale.map(|stale| Span(stale.0 / 3)).min().unwrap_or(REPEAT_MAX).min(REPEAT_MAX);
        Duration::from_millis(every.0.max(500))
    }
}

async fn measure(running: &Running, name: &str, text: &str) {
    let deed = Deed::Reading { name: name.to_owned(), text: text.to_owned() };
    let _ = running.deeds.send(deed).await;
}

/// Prints lines with the time on the wall of the house.
struct Printer {
    zone: TimeZone,
}

impl Printer {
    fn line(&self, text: &str) -> anyhow::Result<()> {
        let at = jiff::Timestamp::from_millisecond(clock::wall_now().0).unwrap_or_default();
        let at = self.zone.to_datetime(at).time();
        self.plain(&format!("{:02}:{:02}:{:02}  {text}\n", at.hour(), at.minute(), at.second()))
    }

    fn plain(&self, text: &str) -> anyhow::Result<()> {
        let mut out = std::io::stdout().lock();
        out.write_all(text.as_bytes())?;
        Ok(out.flush()?)
    }
}
