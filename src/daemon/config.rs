//! The server's own file on disk: where it is found, and what its texts mean on this machine. It never guesses a house, and
//! never lets anything reach beyond this machine without a password.

mod check;
mod secret;

use std::fmt;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use crate::diagnostic::Diagnostic;
use crate::diagnostic::render::{self, Style};
use crate::mqtt::Address;
use crate::syntax::read_server;
use crate::units::Span;
use crate::wire::Prefix;

use super::clock::ClockPolicy;
use super::delivery::Manner;
use super::delivery::run::Program;
use check::Checker;

pub use secret::Secret;

/// The file's name.
pub const FILE_NAME: &str = "standfast.toml";
/// Where it is looked for last.
pub const SYSTEM_FOLDER: &str = "/etc/standfast";
/// The largest file that is read, in bytes; real ones have a dozen lines.
const BYTES_MAX: u64 = 256 * 1024;

/// What the server is told about itself.
#[derive(Clone, Debug)]
pub struct Config {
    /// The file that it was read from.
    pub file: PathBuf,
    /// The folder of the house.
    pub house: PathBuf,
    /// The folder for what must survive.
    pub data: PathBuf,
    /// How long a start settles.
    pub settle: Span,
    /// When wall time is trusted.
    pub clock: ClockPolicy,
    /// When a change of the house is taken; by where the house lies where nobody says.
    pub apply: Option<Apply>,
    /// How the log is written.
    pub log: Log,
    /// How long readings are kept.
    pub keep_readings: Span,
    /// The broker.
    pub broker: Broker,
    /// The page, where one is wanted.
    pub page: Option<Page>,
    /// Who is told of alarms, where anybody is.
    pub alarm: Option<Delivery>,
    /// What a person should know, though it is no error.
    pub notices: Vec<String>,
}

/// When a change of the house is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Apply {
    /// When it is committed.
    Commit,
    /// When it is saved.
    Save,
    /// On `standfast apply` only.
    Command,
}

/// How the log is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Log {
    /// Lines for people.
    Text,
    /// Lines of JSON.
    Json,
    /// To the system's journal.
    Journal,
}

/// Which broker, and how to speak to it.
#[derive(Clone, Debug)]
pub struct Broker {
    /// Where it is.
    pub place: BrokerPlace,
    /// The user name towards it.
    pub username: Option<String>,
    /// The password towards it.
    pub password: Option<Secret>,
    /// The head of every topic.
    pub prefix: Prefix,
}

/// Where the broker is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum BrokerPlace {
    /// The built-in one, listening here.
    Embedded(SocketAddr),
    /// Another program's.
    At {
        /// Where it listens.
        address: Address,
        /// The certificates to trust, and no others.
        ca_file: Option<PathBuf>,
    },
}

/// The page.
#[derive(Clone, Debug)]
pub struct Page {
    /// Where it is served.
    pub listen: SocketAddr,
    /// The hash of its password.
    pub password_hash: Option<Secret>,
    /// Host names under which it may be asked for.
    pub names: Vec<String>,
    /// The files of its certificates and of its key, where it is served over TLS.
    pub tls: Option<(PathBuf, PathBuf)>,
}

/// How alarms reach a person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Delivery {
    /// The program that tells them.
    pub program: Program,
    /// When it is run.
    pub manner: Manner,
}

/// What of the environment matters, so that tests need none.
#[derive(Clone, Debug, Default)]
pub struct Surroundings {
    /// The folder of credentials that the system hands a service.
    pub credentials: Option<PathBuf>,
    /// The folder that the system keeps for a service.
    pub state: Option<PathBuf>,
}

impl Surroundings {
    /// Those of this process: `$CREDENTIALS_DIRECTORY` and the first folder of `$STATE_DIRECTORY`, see systemd.exec(5).
    pub fn of_process() -> Surroundings {
        let folder = |name: &str| std::env::var_os(name).filter(|value| !value.is_empty());
        let first = |value: std::ffi::OsString| std::env::split_paths(&value).next();
        Surroundings {
            credentials: folder("CREDENTIALS_DIRECTORY").map(PathBuf::from),
            state: folder("STATE_DIRECTORY").and_then(first),
        }
    }
}

/// Why there is no configuration. Shown, it says what to do.
#[derive(Debug)]
pub enum ConfigError {
    /// There is none in any of these places.
    NotFound(Vec<PathBuf>),
    /// It cannot be read.
    Unreadable(PathBuf, String),
    /// It has errors; rendered, with the places underlined.
    Faults(String),
}

impl fmt::Display for ConfigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ConfigError::NotFound(places) => {
                let places: Vec<String> = places.iter().map(|place| place.display().to_string()).collect();
                write!(
                    f,
                    "there is no {FILE_NAME}, neither as {}; name one with --config, or begin with `standfast new DIR`, \
                     which writes one beside a small house",
                    places.join(" nor as ")
                )
            }
            ConfigError::Unreadable(path, why) => write!(f, "cannot read {}: {why}", path.display()),
            ConfigError::Faults(text) => write!(f, "the server's file has errors\n\n{text}"),
        }
    }
}

impl std::error::Error for ConfigError {}

/// Finds the file: the one named, else that of the working folder, else the system's.
///
/// # Errors
/// When none is named and neither place has one.
pub fn find(named: Option<&Path>) -> Result<PathBuf, ConfigError> {
    find_in(named, &[PathBuf::from("."), PathBuf::from(SYSTEM_FOLDER)])
}

fn find_in(named: Option<&Path>, folders: &[PathBuf]) -> Result<PathBuf, ConfigError> {
    if let Some(named) = named {
        return Ok(if named.is_dir() { named.join(FILE_NAME) } else { named.to_owned() });
    }
    let places: Vec<PathBuf> = folders.iter().map(|folder| folder.join(FILE_NAME)).collect();
    places.iter().find(|place| place.is_file()).cloned().ok_or(ConfigError::NotFound(places))
}

/// The data folder that a file names, and nothing else of it: whoever asks the daemon something need not be allowed to read
/// the password.
///
/// # Errors
/// When the file cannot be read or has errors of its own.
pub fn data_folder(path: &Path, surroundings: &Surroundings) -> Result<PathBuf, ConfigError> {
    let file = read_text(path)?;
    let (server, diagnostics) = read_server(&file);
    match server {
        Some(server) => Ok(Checker::new(path, surroundings).data(&server)),
        None => Err(faults(&diagnostics, &file)),
    }
}

fn read_text(path: &Path) -> Result<(String, String), ConfigError> {
    let unreadable = |why: String| ConfigError::Unreadable(path.to_owned(), why);
    let size = std::fs::metadata(path).map_err(|error| unreadable(error.to_string()))?.len();
    if size > BYTES_MAX {
        return Err(unreadable(format!("it is larger than {} KiB", BYTES_MAX / 1024)));
    }
    let bytes = std::fs::read(path).map_err(|error| unreadable(error.to_string()))?;
    let text = String::from_utf8(bytes).map_err(|_| unreadable("it is not UTF-8 text".to_owned()))?;
    Ok((path.display().to_string(), text))
}

fn faults(diagnostics: &[Diagnostic], file: &(String, String)) -> ConfigError {
    ConfigError::Faults(render::text(diagnostics, std::slice::from_ref(file), Style::Plain))
}

impl Config {
    /// Reads and checks a file, and the password that it names.
    ///
    /// # Errors
    /// All of its errors in one go, each with its place and what to write instead.
    pub fn read(path: &Path, surroundings: &Surroundings) -> Result<Config, ConfigError> {
        let file = read_text(path)?;
        let (server, mut diagnostics) = read_server(&file);
        let config = server.and_then(|server| {
            let mut checker = Checker::new(path, surroundings);
            let config = checker.config(&server);
            diagnostics.append(&mut checker.diagnostics);
            config
        });
        match config {
            Some(config) if diagnostics.is_empty() => Ok(config),
            _ => Err(faults(&diagnostics, &file)),
        }
    }
}

#[cfg(test)]
mod tests;
