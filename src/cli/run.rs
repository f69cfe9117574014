//! `standfast run`: the daemon. It only reads its options; the work is in `crate::daemon`.

use std::path::PathBuf;

use anyhow::Context;

use super::{Answer, Outcome};
use crate::daemon::config::{self, Config, Surroundings};
use crate::daemon::log;
use crate::daemon::run::{self as daemon, End};
use crate::daemon::start::{Setup, StartError};

/// Options of `standfast run`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The server's own file [default: standfast.toml in the working folder, else in /etc/standfast]
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
}

/// Runs the daemon until it is told to stop.
pub fn run(args: Args) -> Answer {
    let file = config::find(args.config.as_deref())?;
    let config = Config::read(&file, &Surroundings::of_process())?;
    log::start(config.log).context("the log cannot be written")?;
    end_with_any_thread();
    tracing::info!("standfast {} with {}", env!("CARGO_PKG_VERSION"), file.display());
    let setup = Setup { config, pace: None, adapt: None, listener: None };
    match daemon::run(setup, std::future::pending()) {
        Ok(End::Asked) => Ok(Outcome::Yes),
        // The log has said why. The service manager must not start it again.
        Ok(End::TakenOver) => Ok(Outcome::No),
        Ok(End::Broken(why)) => anyhow::bail!(why),
        Err(error @ (StartError::House(_) | StartError::Rival(_))) => {
            eprintln!("standfast: {error}");
            Ok(Outcome::No)
        }
        Err(error) => Err(error.into()),
    }
}

/// A thread or task that panics ends the process: nothing may go on without one of its parts.
fn end_with_any_thread() {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        usual(panic);
        std::process::abort();
    }));
}
