//! `standfast reference`: the language of the house, every key of it. It prints what the key tables say and nothing else.

use std::io::Write;

use super::{Answer, Outcome};
use crate::syntax::{reference, reference_json};

/// Options of `standfast reference`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Print one JSON document instead of Markdown
    #[arg(long)]
    json: bool,
}

/// Prints the reference.
pub fn run(args: Args) -> Answer {
    let text = if args.json { format!("{:#}\n", reference_json()) } else { reference() };
    std::io::stdout().lock().write_all(text.as_bytes())?;
    Ok(Outcome::Yes)
}
