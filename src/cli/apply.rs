//! `standfast apply`: has the daemon read the house again and run it. It never reads the house itself.

use super::Answer;
use super::ask::{Asking, ask_and_print};
use crate::daemon::protocol::Request;

/// Options of `standfast apply`.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    asking: Asking,
    /// Only say which contacts would change at once, and what is lost: loads gone or moved, safety trips let go
    #[arg(long)]
    preview: bool,
}

/// Applies the house as it is now, also where it takes a load away or lets a latched trip go. SIGHUP to the daemon does the same.
pub fn run(args: Args) -> Answer {
    ask_and_print(&args.asking, &Request::Apply { preview: args.preview })
}
