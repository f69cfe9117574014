//! `standfast run`: the daemon. It only reads its options; the work is in `crate::daemon`.

use std::path::PathBuf;

use super::Answer;

/// Options of `standfast run`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The server's own file [default: standfast.toml in the working folder, else in /etc/standfast]
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
}

/// Runs the daemon until it is told to stop.
pub fn run(args: Args) -> Answer {
    anyhow::bail!("the daemon is not built yet ({:?})", args.config)
}
