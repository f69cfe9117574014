//! The `standfast` binary: parses the command line, dispatches, and turns the outcome into an exit code. It holds no logic.

use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches};
use standfast::cli::{self, Outcome};

/// The answer is yes, or the work is done.
const YES: u8 = 0;
/// The answer is no: errors in the house, a hand refused.
const NO: u8 = 1;
/// It could not run at all. The command-line parser uses the same for a wrong option.
const COULD_NOT_RUN: u8 = 2;

fn main() -> ExitCode {
    let matches = cli::grouped(cli::CommandLine::command()).get_matches();
    let parsed = cli::CommandLine::from_arg_matches(&matches).unwrap_or_else(|error| error.exit());
    let code = match parsed.command.run() {
        Ok(Outcome::Yes) => YES,
        Ok(Outcome::No) => NO,
        // `standfast almanac | head`: whoever reads has seen enough.
        Err(error) if cli::is_closed_pipe(&error) => YES,
        Err(error) => {
            eprintln!("standfast: {error:#}");
            COULD_NOT_RUN
        }
    };
    ExitCode::from(code)
}
