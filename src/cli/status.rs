//! `standfast status`: how everything is and why. It never changes anything.

use super::Answer;
use super::ask::{Reach, print_json, refused};
use crate::daemon::protocol::Request;

/// Options of `standfast status`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Print JSON instead of sentences
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    reach: Reach,
}

/// Prints how everything is.
pub fn run(args: Args) -> Answer {
    let response = args.reach.ask(&Request::Status)?;
    match response.status.as_ref().filter(|_| args.json) {
        Some(status) => print_json(&response, status),
        None => refused(&response, args.json),
    }
}
