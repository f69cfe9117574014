//! The other end of the command socket: finds it, asks, prints the answer. It never decides anything.

use std::io::{BufRead, BufReader, ErrorKind, IsTerminal, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::time::Duration;

use anyhow::{Context, bail};

use super::{Answer, Outcome, table};
use crate::daemon::config::{self, Surroundings};
use crate::daemon::protocol::{Request, Response, ResponseOutcome, SOCKET};

/// The daemon answers within a minute and a half, whatever it is asked.
const PATIENCE: Duration = Duration::from_secs(90);
/// When it has not answered by then it is seen to that it runs at all.
const SOON: Duration = Duration::from_secs(7);
/// One that runs answers within this what needs no thought.
const SIGN_OF_LIFE: Duration = Duration::from_secs(3);
/// The longest answer that is read, in bytes.
const ANSWER_BYTES: u64 = 16 * 1024 * 1024;
/// Where the system keeps a service's state; see StateDirectory in systemd.exec(5).
const SERVICE_STATE: &str = "/var/lib/standfast";

/// How to find the daemon.
#[derive(Clone, Debug, clap::Args)]
pub struct Reach {
    /// The server's own file, which names the data folder [default: as for `standfast run`]
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// The data folder that the daemon runs on
    #[arg(long, value_name = "DIR", conflicts_with = "config")]
    data: Option<PathBuf>,
}

impl Reach {
    /// Asks the daemon and waits for its answer.
    ///
    /// # Errors
    /// When there is no daemon, or it does not answer; one that stands still is not waited for longer than ten seconds.
    pub fn ask(&self, request: &Request) -> anyhow::Result<Response> {
        let path = self.socket()?;
        let stream = UnixStream::connect(&path).map_err(|error| unanswered(&path, &error))?;
        let answer = converse(stream, request, || lives(&path));
        let answer = answer.with_context(|| format!("talking to the standfast at {}", path.display()))?;
        answer.ok_or_else(|| silent(&path, request))
    }

    fn socket(&self) -> anyhow::Result<PathBuf> {
        if let Some(data) = &self.data {
            return Ok(data.join(SOCKET));
        }
        let file = match config::find(self.config.as_deref()) {
            Ok(file) => file,
            // Whoever is in the service's group need not know where its file is.
            Err(_) if self.config.is_none() && Path::new(SERVICE_STATE).join(SOCKET).exists() => {
                return Ok(Path::new(SERVICE_STATE).join(SOCKET));
            }
            Err(error) => return Err(error.into()),
        };
        let beside = config::data_folder(&file, &Surroundings::of_process())?.join(SOCKET);
        let service = Path::new(SERVICE_STATE).join(SOCKET);
        Ok(if !beside.exists() && service.exists() { service } else { beside })
    }
}

/// Why nobody answers, and what to do.
fn unanswered(path: &Path, error: &std::io::Error) -> anyhow::Error {
    let path = path.display();
    match error.kind() {
        ErrorKind::NotFound | ErrorKind::ConnectionRefused => anyhow::anyhow!(
            "no standfast answers at {path}: none runs on that data folder. `standfast run` starts one; one that runs elsewhere \
             is named with --config or --data"
        ),
        ErrorKind::PermissionDenied => anyhow::anyhow!(
            "no standfast answers at {path}: you may not ask it. Whoever is in the group of its user may, or ask as that user"
        ),
        _ => anyhow::anyhow!("no standfast answers at {path}: {error}; is `standfast run` running?"),
    }
}

/// The daemon is there and says nothing: what that means, and what to do.
fn silent(path: &Path, request: &Request) -> anyhow::Error {
    let counts = if request.is_order() {
        " Whether what you asked for counts is not known: look with `standfast status` once it answers, and say it again if it was \
         not taken."
    } else {
        ""
    };
    anyhow::anyhow!(
        "the standfast at {} is there and does not answer: it stands still, or its machine has no time for it. While it does, boards \
         go by their last orders until their leases run out, and by their fallbacks from then on.{counts} Where it does not go \
         on by itself, start it anew (`systemctl restart standfast` where it is a service)",
        path.display()
    )
}

/// Asks, and waits as long as the daemon lives; `None` where it does not answer.
fn converse(
    mut stream: UnixStream,
    request: &Request,
    lives: impl FnOnce() -> bool,
) -> anyhow::Result<Option<Response>> {
    stream.set_read_timeout(Some(SOON))?;
    stream.set_write_timeout(Some(SOON))?;
    let mut line = serde_json::to_vec(request)?;
    line.push(b'\n');
    match stream.write_all(&line) {
        Err(error) if is_late(&error) => return Ok(None),
        written => written?,
    }
    let mut answer = Vec::new();
    let mut reader = BufReader::new(stream.try_clone()?).take(ANSWER_BYTES);
    match reader.read_until(b'\n', &mut answer) {
        Err(error) if is_late(&error) => {
            if !lives() {
                return Ok(None);
            }
            stream.set_read_timeout(Some(PATIENCE))?;
            match reader.read_until(b'\n', &mut answer) {
                Err(error) if is_late(&error) => return Ok(None),
                read => _ = read?,
            }
        }
        read => _ = read?,
    }
    if answer.is_empty() {
        bail!("it closed the connection");
    }
    serde_json::from_slice(&answer).context("it answers something else than this version understands").map(Some)
}

/// Whether a wait was over before anything came.
fn is_late(error: &std::io::Error) -> bool {
    matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut)
}

/// Whether the daemon says at once that it does not understand an empty line, for which it need not think.
fn lives(path: &Path) -> bool {
    let sign = || -> std::io::Result<usize> {
        let mut stream = UnixStream::connect(path)?;
        stream.set_read_timeout(Some(SIGN_OF_LIFE))?;
        stream.set_write_timeout(Some(SIGN_OF_LIFE))?;
        stream.write_all(b"\n")?;
        stream.read(&mut [0])
    };
    sign().is_ok_and(|bytes| bytes > 0)
}

/// How to find the daemon, and how to print what it answers.
#[derive(Debug, clap::Args)]
pub struct Asking {
    #[command(flatten)]
    reach: Reach,
    /// Print one JSON document instead of sentences
    #[arg(long)]
    json: bool,
}

/// Asks and prints what becomes of it.
pub fn ask_and_print(asking: &Asking, request: &Request) -> Answer {
    let response = asking.reach.ask(request)?;
    if asking.json { print_json(&response, &document(&response)) } else { print(&response) }
}

/// What became of a request as a document; with data where the answer has some.
fn document(response: &Response) -> serde_json::Value {
    let mut document = serde_json::json!({ "outcome": response.outcome, "text": response.text });
    if let Some(data) = &response.data {
        document["data"] = data.clone();
    }
    document
}

/// Prints a document; the outcome is that of the response. One that failed is an error as always.
pub fn print_json(response: &Response, document: &serde_json::Value) -> Answer {
    if response.outcome == ResponseOutcome::Failed {
        bail!("{}", response.text);
    }
    writeln!(std::io::stdout(), "{}", serde_json::to_string_pretty(document)?)?;
    Ok(if response.outcome == ResponseOutcome::Done { Outcome::Yes } else { Outcome::No })
}

/// Asks for data. A refusal is printed, as a document where that is wanted and to standard error else, and there is none.
///
/// # Errors
/// When there is no daemon, or it fails.
pub fn ask_for_data(reach: &Reach, request: &Request, json: bool) -> anyhow::Result<Option<serde_json::Value>> {
    let response = reach.ask(request)?;
    match response.outcome {
        ResponseOutcome::Done => {
            response.data.context("it answers something else than this version understands").map(Some)
        }
        _ => refused(&response, json).map(|_| None),
    }
}

/// Prints what was refused, as a document where that is wanted.
pub fn refused(response: &Response, json: bool) -> Answer {
    if json { print_json(response, &document(response)) } else { print(response) }
}

/// Prints an answer, a refusal to standard error. A terminal gets lines that fit it; a pipe gets each as it is.
pub fn print(response: &Response) -> Answer {
    match response.outcome {
        ResponseOutcome::Done => {
            let mut out = std::io::stdout();
            if out.is_terminal() {
                write!(out, "{}", table::wrapped(&response.text, table::width()))?;
            } else {
                writeln!(out, "{}", response.text)?;
            }
            Ok(Outcome::Yes)
        }
        ResponseOutcome::Refused => {
            writeln!(std::io::stderr(), "{}", response.text)?;
            Ok(Outcome::No)
        }
        ResponseOutcome::Failed => bail!("{}", response.text),
    }
}
