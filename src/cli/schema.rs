//! `standfast schema`: the shape of a file of the house for an editor, as a JSON Schema. It prints what the key tables say
//! and nothing else.

use std::io::Write;

use super::{Answer, Outcome};
use crate::syntax::{house_schema, server_schema};

/// Options of `standfast schema`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The schema of the server's own file, standfast.toml, in place of that of the house's files
    #[arg(long)]
    server: bool,
}

/// Prints the schema.
pub fn run(args: Args) -> Answer {
    let schema = if args.server { server_schema() } else { house_schema() };
    let text = format!("{schema:#}\n");
    std::io::stdout().lock().write_all(text.as_bytes())?;
    Ok(Outcome::Yes)
}
