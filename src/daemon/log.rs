//! Where the log goes. It never goes to standard output, which belongs to what a person asked for.

use std::io::IsTerminal;

use tracing_subscriber::EnvFilter;
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::util::SubscriberInitExt;

use super::config::Log;

/// What is logged unless `$RUST_LOG` says otherwise. The client library's own lines repeat what this crate says better.
const LEVELS: &str = "info,rumqttc=off,mqtt5=warn";

/// What is logged where the journal's rows are printed anyhow: only what they do not tell.
const FEW_LEVELS: &str = "warn,rumqttc=off,mqtt5=error,standfast::daemon::keeper=error,standfast::daemon::change=off";

/// Starts logging. A second call changes nothing.
///
/// # Errors
/// When the log is to go to the system's journal and there is none.
pub fn start(log: Log) -> std::io::Result<()> {
    start_with(log, LEVELS)
}

/// Starts logging warnings and errors only, as lines for people.
///
/// # Errors
/// None that lines for people can have.
pub fn start_quietly() -> std::io::Result<()> {
    start_with(Log::Text, FEW_LEVELS)
}

/// Whether a stream may be coloured: a terminal, unless the environment refuses colours.
pub fn may_colour(stream: &impl IsTerminal) -> bool {
    stream.is_terminal() && !colours_refused()
}

/// Whether the environment refuses colours: `NO_COLOR` is set to anything but nothing (no-color.org), or the terminal says
/// that it cannot show them.
pub fn colours_refused() -> bool {
    std::env::var_os("NO_COLOR").is_some_and(|set| !set.is_empty())
        || std::env::var_os("TERM").is_some_and(|term| term == "dumb")
}

/// Warns once of what goes on failing, and again once it has worked between.
#[derive(Debug, Default)]
pub struct Once(bool);

impl Once {
    /// It failed.
    pub fn failed(&mut self, what: &str) {
        if !std::mem::replace(&mut self.0, true) {
            tracing::warn!("{what}; it tries again until it can");
        }
    }

    /// It works.
    pub fn works(&mut self) {
        self.0 = false;
    }
}

fn start_with(log: Log, levels: &str) -> std::io::Result<()> {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new(levels));
    let registry = tracing_subscriber::registry().with(filter);
    let lines = tracing_subscriber::fmt::layer().with_writer(std::io::stderr).with_target(false);
    // The journal stamps lines itself.
    let stamped = std::env::var_os("JOURNAL_STREAM").is_none();
    let colours = may_colour(&std::io::stderr());
    let started = match log {
        Log::Text if stamped => registry.with(lines.with_ansi(colours)).try_init(),
        Log::Text => registry.with(lines.with_ansi(false).without_time()).try_init(),
        Log::Json => registry.with(lines.json().flatten_event(true)).try_init(),
        Log::Journal => registry.with(tracing_journald::layer()?).try_init(),
    };
    if started.is_err() {
        tracing::debug!("logging was started before");
    }
    Ok(())
}
