//! The commands, one file each. It never decides what a load should be doing.
//!
//! A new command is a file with `Args` and `run(Args) -> Answer`, a variant of [`Command`], an arm in [`Command::run`]
//! and its name in [`GROUPS`].

mod almanac;
mod apply;
mod ask;
pub mod board_shell;
mod check;
mod commission;
mod csv;
#[cfg(feature = "embedded-broker")]
mod demo;
mod export;
mod hand;
mod history;
mod log;
mod manual;
mod monitor;
mod new;
pub mod other_shell;
mod password;
mod reference;
mod run;
mod schema;
mod stand_in;
mod status;
mod stop;
mod table;
mod why;

use clap::{Parser, Subcommand};

use crate::daemon::log::colours_refused;

/// What a command came to, if it could run; the binary makes the exit code of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Done, or the answer is yes.
    Yes,
    /// The answer is no; the command has printed why.
    No,
}

/// The outcome, or why the command could not run.
pub type Answer = anyhow::Result<Outcome>;

/// Rules kept as text decide what relay boards do, over MQTT.
#[derive(Debug, Parser)]
#[command(name = "standfast", version, subcommand_required = true, arg_required_else_help = true)]
pub struct CommandLine {
    /// The command.
    #[command(subcommand)]
    pub command: Command,
}

/// All commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write a small house to begin with
    New(new::Args),
    /// Look for mistakes in a house
    Check(check::Args),
    /// Print every section, condition and key that a house may have
    Reference(reference::Args),
    /// Print the shape of the house's files as a JSON Schema, for editors
    Schema(schema::Args),
    /// Look after the house: the daemon itself
    Run(run::Args),
    /// Tell how everything is and why
    Status(status::Args),
    /// Show everything that speaks to a load, what would change it and when
    Why(why::Args),
    /// Show what happened, and why
    Log(log::Args),
    /// Show for how long loads were on, what that took, how often they were switched
    History(history::Args),
    /// Print what sensors said, as CSV
    Export(export::Args),
    /// Show what boards say as it comes, as TOML to paste
    Monitor(monitor::Args),
    /// Try each relay of a new board with a person, and print a record
    Commission(commission::Args),
    /// Make the line with the hash of the page's password
    Password(password::Args),
    /// Print what a shell completes
    Completions(manual::CompletionsArgs),
    /// Write the pages of the manual, for `man`
    Manual(manual::ManualArgs),
    /// Run the house as it is now, also a change that waits for a person
    ///
    /// A change waits that takes a load away or moves it to another relay, empties the house, or would let a latched safety
    /// trip go.
    Apply(apply::Args),
    /// Hold a load on or off for a while
    Hold(hand::HoldArgs),
    /// End a load's hold
    Release(hand::LoadArgs),
    /// Turn a selector to a position, for a while or for good
    Select(hand::SelectArgs),
    /// Set a setpoint within its range, for a while or until the file changes
    Set(hand::SetArgs),
    /// Take a load out of service; this is no isolation
    Withdraw(hand::WithdrawArgs),
    /// Put a load back into service
    Restore(hand::RestoreArgs),
    /// Let a load's safety trips go once their reason is gone
    Reset(hand::LoadArgs),
    /// Note that an alarm was seen
    Acknowledge(hand::AcknowledgeArgs),
    /// Watch an invented house being looked after, over real MQTT on this machine
    #[cfg(feature = "embedded-broker")]
    Demo(demo::Args),
    /// Play one board of a house on a real broker, to try rules before the hardware exists
    StandIn(stand_in::Args),
    /// Show when the sun rises and sets, by the site of a house or any other
    Almanac(almanac::Args),
}

/// What the exit codes mean, for help and manual.
pub const EXIT_CODES: &str = "Exit codes: 0 done, or the answer is yes; 1 the answer is no: errors in a house, a hand refused, \
                              a name that is not there; 2 it could not run: a wrong option, no daemon";

/// The commands by what a person is about, in the order in which help shows them.
const GROUPS: &[(&str, &[&str])] = &[
    ("Daily use", &["status", "why", "log", "history"]),
    ("By hand", &["hold", "release", "select", "set", "withdraw", "restore", "reset", "acknowledge"]),
    ("Rules", &["new", "check", "apply", "reference", "schema", "almanac", "export"]),
    ("Setting up", &["run", "monitor", "commission", "password", "demo", "stand-in", "completions", "manual"]),
];

impl Command {
    /// Runs the command to its end. An error means that it could not run.
    pub fn run(self) -> Answer {
        match self {
            Command::New(args) => new::run(args),
            Command::Check(args) => check::run(args),
            Command::Reference(args) => reference::run(args),
            Command::Schema(args) => schema::run(args),
            Command::Run(args) => run::run(args),
            Command::Status(args) => status::run(args),
            Command::Why(args) => why::run(args),
            Command::Log(args) => log::run(args),
            Command::History(args) => history::run(args),
            Command::Export(args) => export::run(args),
            Command::Monitor(args) => monitor::run(args),
            Command::Commission(args) => commission::run(args),
            Command::Password(args) => password::run(args),
            Command::Completions(args) => manual::completions(args),
            Command::Manual(args) => manual::manual(args),
            Command::Apply(args) => apply::run(args),
            Command::Hold(args) => hand::hold(args),
            Command::Release(args) => hand::release(args),
            Command::Select(args) => hand::select(args),
            Command::Set(args) => hand::set(args),
            Command::Withdraw(args) => hand::withdraw(args),
            Command::Restore(args) => hand::restore(args),
            Command::Reset(args) => hand::reset(args),
            Command::Acknowledge(args) => hand::acknowledge(args),
            #[cfg(feature = "embedded-broker")]
            Command::Demo(args) => demo::run(args),
            Command::StandIn(args) => stand_in::run(args),
            Command::Almanac(args) => almanac::run(args),
        }
    }
}

/// The parser with its commands grouped in `--help`, which the parser cannot do by itself.
pub fn grouped(command: clap::Command) -> clap::Command {
    let mut list = String::new();
    for (heading, names) in GROUPS {
        let mut lines = String::new();
        for name in *names {
            if let Some(sub) = command.find_subcommand(name) {
                let about = sub.get_about().map(ToString::to_string).unwrap_or_default();
                lines.push_str(&format!("  {name:<12} {about}\n"));
            }
        }
        if !lines.is_empty() {
            list.push_str(&format!("{heading}:\n{lines}\n"));
        }
    }
    let command = with_exit_codes(command);
    let template = format!("{{about}}\n\n{{usage-heading}} {{usage}}\n\n{list}Options:\n{{options}}\n\n{EXIT_CODES}\n");
    command.help_template(template).color(colours())
}

/// When the parser colours what it prints itself. Left to itself it would also colour in a build server on a terminal that
/// cannot show it.
fn colours() -> clap::ColorChoice {
    if colours_refused() { clap::ColorChoice::Never } else { clap::ColorChoice::Auto }
}

/// The commands with what their exit codes mean below what they say themselves.
pub fn with_exit_codes(command: clap::Command) -> clap::Command {
    command.mut_subcommands(|sub| {
        let own = sub.get_after_help().map(|own| format!("{own}\n\n")).unwrap_or_default();
        sub.after_help(format!("{own}{EXIT_CODES}"))
    })
}

/// Whether a command ended because nobody reads its output any more.
pub fn is_closed_pipe(error: &anyhow::Error) -> bool {
    let closed = |cause: &std::io::Error| cause.kind() == std::io::ErrorKind::BrokenPipe;
    error.chain().filter_map(|cause| cause.downcast_ref::<std::io::Error>()).any(closed)
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    #[test]
    fn the_parser_is_consistent() {
        CommandLine::command().debug_assert();
    }

    #[test]
    fn every_command_is_in_a_group_and_in_help() {
        let help = grouped(CommandLine::command()).render_help().to_string();
        for sub in CommandLine::command().get_subcommands().filter(|sub| !sub.is_hide_set()) {
            let name = sub.get_name();
            assert!(GROUPS.iter().any(|(_, names)| names.contains(&name)), "{name} is in no group");
            assert!(help.contains(&format!("\n  {name}")), "{name} is missing in:\n{help}");
            let own = with_exit_codes(CommandLine::command()).find_subcommand(name).cloned().expect("it is there");
            assert!(own.get_after_help().is_some_and(|help| help.to_string().ends_with(EXIT_CODES)), "{name}");
        }
    }

    #[test]
    fn only_a_closed_pipe_is_a_closed_pipe() {
        let closed = anyhow::Error::from(std::io::Error::from(std::io::ErrorKind::BrokenPipe)).context("printing");
        assert!(is_closed_pipe(&closed));
        assert!(!is_closed_pipe(&anyhow::anyhow!("something else")));
    }
}
