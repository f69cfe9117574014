//! `standfast hold`, `release`, `select`, `set`, `withdraw`, `restore`, `acknowledge`: what a person does by hand. It never decides whether it
//! may be done.

use clap::ValueEnum;

use super::Answer;
use super::ask::{Asking, ask_and_print};
use crate::daemon::protocol::Request;

/// A state as it is typed.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum TypedState {
    /// Running.
    On,
    /// Not running.
    Off,
    /// Of an actuator: driven open.
    Open,
    /// Of an actuator: driven closed.
    Closed,
}

/// An end as an option, for who would rather write it so. Both take every form, and the answer says what was understood.
#[derive(Debug, clap::Args)]
pub struct End {
    /// The same as an option: `2h`, or any other end
    #[arg(long = "for", value_name = "TERM", conflicts_with_all = ["term", "until"])]
    lasts: Option<String>,
    /// The same as an option: `22:30`, `sunset+30m`, or any other end
    #[arg(long, value_name = "TERM", conflicts_with = "term")]
    until: Option<String>,
}

impl End {
    /// The end that was said, in words or as an option.
    fn said(self, words: &[String]) -> Option<String> {
        (!words.is_empty()).then(|| words.join(" ")).or(self.lasts).or(self.until)
    }
}

/// Options of `standfast hold`.
#[derive(Debug, clap::Args)]
pub struct HoldArgs {
    /// The load's name
    load: String,
    /// The state to hold it in
    state: TypedState,
    /// How long: `2h`, `until 22:30`, `until sunset+30m`, `next change` [default: the load's hold_for]
    term: Vec<String>,
    #[command(flatten)]
    end: End,
    #[command(flatten)]
    asking: Asking,
}

/// Options of `standfast release` and `standfast reset`.
#[derive(Debug, clap::Args)]
pub struct LoadArgs {
    /// The load's name
    load: String,
    #[command(flatten)]
    asking: Asking,
}

/// Options of `standfast withdraw`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "A withdrawn load is ordered off until somebody restores it. That is not isolation: it does not make \
                        the load safe to work on. Isolate it, lock it off and prove it dead as your rules say. One that is \
                        withdrawn already stays so, and the reason is written anew."
)]
pub struct WithdrawArgs {
    /// The load's name
    load: String,
    /// Why, for whoever comes next
    why: Vec<String>,
    #[command(flatten)]
    asking: Asking,
}

/// Options of `standfast restore`.
#[derive(Debug, clap::Args)]
pub struct RestoreArgs {
    /// The load's name
    load: String,
    /// Why it may go back into service, for the journal
    why: Vec<String>,
    #[command(flatten)]
    asking: Asking,
}

/// Options of `standfast acknowledge`.
#[derive(Debug, clap::Args)]
pub struct AcknowledgeArgs {
    /// The alarm's id, as `standfast status` shows it
    alarm: String,
    #[command(flatten)]
    asking: Asking,
}

/// Options of `standfast select`.
#[derive(Debug, clap::Args)]
pub struct SelectArgs {
    /// The selector's name
    selector: String,
    /// The position to turn it to; `release` puts it back to its first one
    position: String,
    /// How long: `3d`, `until 22:30`, `until sunset+30m` [default: until it is turned again]
    term: Vec<String>,
    #[command(flatten)]
    end: End,
    #[command(flatten)]
    asking: Asking,
}

/// Options of `standfast set`.
#[derive(Debug, clap::Args)]
pub struct SetArgs {
    /// The setpoint's name
    setpoint: String,
    /// The value, in the setpoint's unit; `release` puts it back to the file's value
    #[arg(allow_negative_numbers = true)]
    value: String,
    /// How long: `2h`, `until 22:30`, `until sunset+30m` [default: until its value in the file changes]
    term: Vec<String>,
    #[command(flatten)]
    end: End,
    #[command(flatten)]
    asking: Asking,
}

/// Turns a selector.
pub fn select(args: SelectArgs) -> Answer {
    let term = args.end.said(&args.term);
    ask_and_print(&args.asking, &Request::Select { selector: args.selector, position: args.position, term })
}

/// Sets a setpoint.
pub fn set(args: SetArgs) -> Answer {
    let term = args.end.said(&args.term);
    ask_and_print(&args.asking, &Request::Set { setpoint: args.setpoint, value: args.value, term })
}

/// Holds a load in a state.
pub fn hold(args: HoldArgs) -> Answer {
    let state = match args.state {
        TypedState::On => "on",
        TypedState::Off => "off",
        TypedState::Open => "open",
        TypedState::Closed => "closed",
    };
    let term = args.end.said(&args.term);
    ask_and_print(&args.asking, &Request::Hold { load: args.load, state: state.to_owned(), term })
}

/// Ends a load's hold.
pub fn release(args: LoadArgs) -> Answer {
    ask_and_print(&args.asking, &Request::Release { load: args.load })
}

/// Takes a load out of service.
pub fn withdraw(args: WithdrawArgs) -> Answer {
    ask_and_print(&args.asking, &Request::Withdraw { load: args.load, why: args.why.join(" ") })
}

/// Puts a load back into service.
pub fn restore(args: RestoreArgs) -> Answer {
    ask_and_print(&args.asking, &Request::Restore { load: args.load, why: args.why.join(" ") })
}

/// Lets a load's safety trips go.
pub fn reset(args: LoadArgs) -> Answer {
    ask_and_print(&args.asking, &Request::Reset { load: args.load })
}

/// Notes that an alarm was seen.
pub fn acknowledge(args: AcknowledgeArgs) -> Answer {
    ask_and_print(&args.asking, &Request::Acknowledge { alarm: args.alarm })
}
