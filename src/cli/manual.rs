//! `standfast completions` and `standfast manual`: what shells and `man` read, generated from the parser. It never installs
//! anything.

use std::io::Write;
use std::path::PathBuf;

use anyhow::Context;
use clap::CommandFactory;
use clap_complete::Shell;

use super::{Answer, CommandLine, Outcome};

/// Options of `standfast completions`.
#[derive(Debug, clap::Args)]
#[command(after_help = "For bash: standfast completions bash > ~/.local/share/bash-completion/completions/standfast")]
pub struct CompletionsArgs {
    /// For which shell
    shell: Shell,
}

/// Options of `standfast manual`.
#[derive(Debug, clap::Args)]
#[command(after_help = "For example: standfast manual ~/.local/share/man/man1; then: man standfast-log")]
pub struct ManualArgs {
    /// The folder to write the pages into; it is made
    folder: PathBuf,
}

/// Prints a shell's completions.
pub fn completions(args: CompletionsArgs) -> Answer {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut CommandLine::command(), "standfast", &mut script);
    std::io::stdout().write_all(&script)?;
    Ok(Outcome::Yes)
}

/// Writes the pages of the manual, one for each command.
pub fn manual(args: ManualArgs) -> Answer {
    let folder = args.folder;
    std::fs::create_dir_all(&folder).with_context(|| format!("making {}", folder.display()))?;
    let command = super::with_exit_codes(CommandLine::command()).after_help(super::EXIT_CODES);
    clap_mangen::generate_to(command, &folder).with_context(|| format!("writing into {}", folder.display()))?;
    writeln!(std::io::stdout(), "the manual is in {}", folder.display())?;
    Ok(Outcome::Yes)
}
