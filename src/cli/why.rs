//! `standfast why`: everything that speaks to a load, or what it was and why at a time behind. It never changes anything.

use std::io::Write;

use super::ask::{Reach, print_json, refused};
use super::{Answer, Outcome, table};
use crate::daemon::protocol::{Request, ResponseOutcome};

/// Options of `standfast why`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The load's name
    load: String,
    /// What it was then, out of the journal: `2h` ago, the last `22:30`, `2026-05-12 22:30`
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    reach: Reach,
}

/// Prints why.
pub fn run(args: Args) -> Answer {
    let response = args.reach.ask(&Request::Why { load: args.load, at: args.at })?;
    if response.outcome != ResponseOutcome::Done {
        return refused(&response, args.json);
    }
    match response.data.as_ref().filter(|_| args.json) {
        Some(data) => print_json(&response, data),
        None => {
            write!(std::io::stdout(), "{}", table::wrapped(&response.text, table::width()))?;
            Ok(Outcome::Yes)
        }
    }
}
