//! `standfast commission`: a person at a new board tries each relay, sees the fallback and gets a record. It orders nothing by
//! itself: each trial is a short hold, gated like any hand, which ends by itself should this command break off.

use std::io::{BufRead, Write};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use serde_json::{Value, json};

use super::ask::{Reach, ask_for_data};
use super::stop::Stop;
use super::{Answer, Outcome, table};
use crate::daemon::protocol::{Request, ResponseOutcome};
use crate::daemon::words::one_line;

/// How long a trial's hold lasts if nobody releases it.
const TRIAL: &str = "20s";
/// A contact follows within so many looks: 6 s.
const LOOKS: u32 = 30;
/// How often it looks.
const EVERY: Duration = Duration::from_millis(200);
/// The exit code once it is broken off: it could not run to its end.
const BROKEN_OFF: i32 = 2;
const CAUTION: &str = "Mains voltage hurts and burns. Loads will start and stop without warning: nobody may be working on \
    them. Standfast is no safety controller: cut-outs, residual-current devices and float switches stay in hardware, and an \
    order of off is no isolation. Follow your local codes; a licensed electrician does the mains side.";

/// Options of `standfast commission`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "It asks before each step, and Ctrl-C at any point is safe: what is held is released, and a trial ends by \
                        itself after 20 s, or after the load's min_on where that is longer. \
                        The record goes to standard output: standfast commission yard | tee yard.record"
)]
pub struct Args {
    /// The board's name
    board: String,
    /// Print the record as one JSON document
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    reach: Reach,
}

/// What became of one relay.
struct Tried {
    relay: String,
    load: String,
    came_to: String,
}

/// The load that a trial holds now.
#[derive(Clone, Default)]
struct Held(Arc<Mutex<Option<String>>>);

impl Held {
    /// Asks for a hold. Who breaks off meanwhile waits for the answer: a release that came before the hold would not end it.
    fn hold<T>(&self, load: &str, ask: impl FnOnce() -> T) -> T {
        let mut held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        *held = Some(load.to_owned());
        ask()
    }

    fn released(&self) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }

    /// Releases what is held when the person breaks off: Ctrl-C, a terminal that is closed, an end from elsewhere. Once it
    /// returns none of them is missed.
    fn release_when_broken_off(&self, reach: Reach) -> std::io::Result<()> {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        let inside = runtime.enter();
        let mut stop = Stop::new()?;
        drop(inside);
        let held = self.clone();
        std::thread::spawn(move || {
            runtime.block_on(stop.asked());
            let load = held.0.lock().unwrap_or_else(PoisonError::into_inner).take();
            // Nobody may be reading any more.
            let _ = say(&format!("\nstandfast: broken off; {}\n", let_go(&reach, load)));
            std::process::exit(BROKEN_OFF);
        });
        Ok(())
    }
}

/// Releases what is held, and says what came of it.
fn let_go(reach: &Reach, load: Option<String>) -> String {
    let Some(load) = load else { return "nothing was held".to_owned() };
    match reach.ask(&Request::Release { load: load.clone() }) {
        Ok(response) if response.outcome == ResponseOutcome::Done => "what was held is released".to_owned(),
        Ok(response) => format!("{load} stays held until its trial is over: {}", response.text),
        Err(error) => format!("{load} stays held until its trial is over: {error:#}"),
    }
}

/// Goes through a board with a person.
pub fn run(args: Args) -> Answer {
    let Some(board) = ask_for_data(&args.reach, &Request::Board { board: args.board.clone() }, args.json)? else {
        return Ok(Outcome::No);
    };
    say(&format!("{}\n", table::wrapped(CAUTION, table::width())))?;
    if board["reports"] != true {
        say(
            "The board never says what its relays do, so nothing can be seen of a trial here. Hold each of its loads on and \
             off by hand and look at it.\n",
        )?;
        return Ok(Outcome::No);
    }
    if board["heard"] != true {
        say("The board is not heard: wire it, give it power and network, and come back.\n")?;
        return Ok(Outcome::No);
    }
    let held = Held::default();
    held.release_when_broken_off(args.reach.clone())?;
    if !yes("Is everybody away from the loads of this board, and may they start?")? {
        say("Nothing was tried; \"y\" begins.\n")?;
        return Ok(Outcome::No);
    }
    let are_free = yes("Are all loads disconnected from the relays (\"loads disconnected\")?")?;
    let mut tried = Vec::new();
    for load in board["loads"].as_array().into_iter().flatten() {
        let came_to = try_relay(&args, load, &held, are_free)?;
        tried.push(Tried { relay: text(load, "relay"), load: text(load, "load"), came_to });
    }
    for actuator in board["actuators"].as_array().into_iter().flatten().filter_map(Value::as_str) {
        let came_to = "an actuator: not tried here; hold it open and closed by hand".to_owned();
        tried.push(Tried { relay: "-".to_owned(), load: actuator.to_owned(), came_to });
    }
    let fallback = see_fallback(&args, &board)?;
    let name = question("Your name, for the record:")?;
    record(&args, &board, &tried, &fallback, &name)
}

/// Turns one relay over and back, if the person wants.
fn try_relay(args: &Args, load: &Value, held: &Held, are_free: bool) -> anyhow::Result<String> {
    let (relay, name, kind) = (text(load, "relay"), text(load, "load"), text(load, "kind"));
    if load["held"] == true || load["withdrawn"] == true {
        return Ok("not tried: it is held or withdrawn".to_owned());
    }
    if load["pulsed"] == true {
        return Ok("not tried: it works by pulses; hold it on and off by hand".to_owned());
    }
    if load["hurt"] == true && !are_free {
        say(&format!("{relay} {name}: skipped; a short start may harm a {kind}.\n"))?;
        return Ok(format!("not tried: a short start may harm a {kind}"));
    }
    let Some(before) = load["known"].as_str().map(str::to_lowercase) else {
        return Ok("not tried: its state is not known".to_owned());
    };
    let to = if before == "on" { "off" } else { "on" };
    if !yes(&format!("{relay} {name} ({kind}): turn it {to} for a moment?"))? {
        return Ok("not tried".to_owned());
    }
    let hold = Request::Hold { load: name.clone(), state: to.to_owned(), term: Some(TRIAL.to_owned()) };
    let answer = held.hold(&name, || args.reach.ask(&hold))?;
    if answer.outcome != ResponseOutcome::Done {
        return Ok(format!("refused: {}", answer.text));
    }
    // From here on the hold is let go whatever comes.
    let seen = watch(args, &name, to)
        .and_then(|followed| Ok((followed, question("Which load moved? (Enter: this one; \"none\")")?)));
    args.reach.ask(&Request::Release { load: name.clone() })?;
    held.released();
    let (followed, moved) = seen?;
    let back = watch(args, &name, &before)?;
    let report = match followed {
        Ok(()) => format!("reported {to}"),
        Err(why) => format!("did NOT report {to} ({why})"),
    };
    let moved = match moved.to_lowercase().as_str() {
        // Asked yes or no so often, people go on answering so.
        "" | "y" | "yes" => "seen".to_owned(),
        own if own == name => "seen".to_owned(),
        "n" | "no" => "moved: none".to_owned(),
        _ => format!("moved: {moved}"),
    };
    let back = if back.is_ok() { "back" } else { "not back yet, its rules or limits decide" };
    say(&format!("  {report}, {back}\n"))?;
    Ok(format!("{report}; {moved}; {back}"))
}

/// Waits until a load is reported so; yields why where it is not.
fn watch(args: &Args, name: &str, state: &str) -> anyhow::Result<Result<(), String>> {
    let mut looks = 0;
    loop {
        let Some(board) = ask_for_data(&args.reach, &Request::Board { board: args.board.clone() }, args.json)? else {
            return Ok(Err("the board is not in the house any more".to_owned()));
        };
        let load = board["loads"].as_array().into_iter().flatten().find(|load| load["load"] == name).cloned();
        let load = load.unwrap_or_default();
        if load["known"].as_str().is_some_and(|known| known.eq_ignore_ascii_case(state)) {
            return Ok(Ok(()));
        }
        looks += 1;
        if looks >= LOOKS {
            return Ok(Err(text(&load, "why")));
        }
        std::thread::sleep(EVERY);
    }
}

/// Has the person cut the board's network, so that its lease runs out as it would in earnest.
fn see_fallback(args: &Args, board: &Value) -> anyhow::Result<String> {
    let Some(lease) = board["lease_s"].as_u64() else { return Ok("has no lease: not tried".to_owned()) };
    let ask = format!("See the fallback? You cut the board's network and wait {lease} s.");
    if !yes(&ask)? {
        return Ok("not tried".to_owned());
    }
    loop {
        question(&format!(
            "Cut the board's network, not its power; wait {} s; look at the relays; then press Enter.",
            lease + lease / 100 + 1
        ))?;
        let is_heard = ask_for_data(&args.reach, &Request::Board { board: args.board.clone() }, args.json)?
            .is_some_and(|board| board["heard"] == true);
        if !is_heard {
            break;
        }
        say("The board is still heard.\n")?;
        if !yes("Wait on?")? {
            return Ok("NOT seen: the board is still heard, so its lease did not run out".to_owned());
        }
    }
    let is_safe = yes("Is every load of it in its safe state?")?;
    question("Give the network back, then press Enter.")?;
    Ok(if is_safe { "seen: every load in its safe state" } else { "WRONG: not every load was in its safe state" }
        .to_owned())
}

/// Whether every relay was tried, was reported, and moved the load that the house says it moves, and the fallback was seen.
fn is_all_well(tried: &[Tried], fallback: &str) -> bool {
    let is_well =
        |one: &Tried| ["reported on; seen; ", "reported off; seen; "].iter().any(|well| one.came_to.starts_with(well));
    tried.iter().all(is_well) && fallback.starts_with("seen")
}

fn record(args: &Args, board: &Value, tried: &[Tried], fallback: &str, name: &str) -> Answer {
    let is_good = is_all_well(tried, fallback);
    let outcome = if is_good { Outcome::Yes } else { Outcome::No };
    let mut out = std::io::stdout();
    if args.json {
        let relays = tried.iter().map(|one| json!({ "relay": one.relay, "load": one.load, "seen": one.came_to }));
        let record = json!({
            "board": board["board"],
            "at": board["now"],
            "revision": board["revision"],
            "relays": relays.collect::<Vec<_>>(),
            "fallback": fallback,
            "signed": name,
            "all_well": is_good,
        });
        writeln!(out, "{record:#}")?;
        return Ok(outcome);
    }
    let rows = tried.iter().map(|one| vec![one.relay.clone(), one.load.clone(), one.came_to.clone()]);
    let rows: Vec<Vec<String>> = rows.collect();
    writeln!(out, "\nRecord of board {}, {}", text(board, "board"), text(board, "now"))?;
    writeln!(out, "House {}", text(board, "revision"))?;
    write!(out, "{}", table::table(&["relay", "load", "what was seen"], &rows, table::width(), false))?;
    write!(out, "{}", table::wrapped(&format!("Fallback: {fallback}"), table::width()))?;
    writeln!(out, "Signed: {name}")?;
    writeln!(
        out,
        "{}",
        if is_good { "All was tried and is as it should be." } else { "Not all was tried, or not all is well." }
    )?;
    Ok(outcome)
}

fn text(value: &Value, key: &str) -> String {
    value[key].as_str().unwrap_or_default().to_owned()
}

/// Prompts go to standard error, so that the record alone can go to a file.
fn say(text: &str) -> anyhow::Result<()> {
    let mut err = std::io::stderr();
    err.write_all(text.as_bytes())?;
    Ok(err.flush()?)
}

/// Asks until there is a line; the end of input breaks off.
fn question(text: &str) -> anyhow::Result<String> {
    say(&format!("{text} "))?;
    let mut line = String::new();
    if std::io::stdin().lock().read_line(&mut line)? == 0 {
        anyhow::bail!("broken off; what was held is released");
    }
    Ok(one_line(&line, 60))
}

fn yes(text: &str) -> anyhow::Result<bool> {
    Ok(matches!(question(&format!("{text} [y/N]"))?.to_lowercase().as_str(), "y" | "yes"))
}

#[cfg(test)]
mod tests {
    use super::{Tried, is_all_well};

    fn check(came_to: &str, fallback: &str, expected: bool) {
        let one =
            |came_to: &str| Tried { relay: "yard/1".to_owned(), load: "fan".to_owned(), came_to: came_to.to_owned() };
        let tried = [one("reported on; seen; back"), one(came_to)];
        assert_eq!(is_all_well(&tried, fallback), expected, "{came_to}; {fallback}");
    }

    #[test]
    fn all_is_well_only_where_each_relay_moved_its_own_load() {
        let seen = "seen: every load in its safe state";
        check("reported off; seen; back", seen, true);
        check("reported on; seen; not back yet, its rules or limits decide", seen, true);
        check("reported on; moved: none; back", seen, false);
        check("reported on; moved: the heater; seen; back", seen, false);
        check("did NOT report on (it is off); seen; back", seen, false);
        check("not tried", seen, false);
        check("reported on; seen; back", "not tried", false);
    }
}
