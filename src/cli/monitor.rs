//! `standfast monitor`: inputs and readings as they come, as TOML to paste. It never takes part in anything: it asks what was
//! said since it asked last, until it is interrupted.

use std::io::Write;
use std::time::Duration;

use super::ask::{Reach, ask_for_data};
use super::{Answer, Outcome};
use crate::daemon::protocol::Request;
use crate::daemon::seen::{Offered, Said, SeenOne};

/// How often it asks.
const EVERY: Duration = Duration::from_millis(200);

/// Options of `standfast monitor`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Press a key of the remote and paste what appears into a file of the house. All that is printed is \
                        TOML: what the house names already is a comment. It ends with Ctrl-C."
)]
pub struct Args {
    /// Only inputs: no readings
    #[arg(long)]
    inputs: bool,
    /// End after so many things were said
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u64).range(1..))]
    count: Option<u64>,
    /// Print JSON, one object for each, as one array
    #[arg(long, requires = "count")]
    json: bool,
    #[command(flatten)]
    reach: Reach,
}

/// Prints what is said.
pub fn run(args: Args) -> Answer {
    let mut after = None;
    let mut printed = 0;
    let mut offered = Offered::default();
    let mut out = std::io::stdout();
    loop {
        let Some(mut data) = ask_for_data(&args.reach, &Request::Seen { after }, args.json)? else {
            return Ok(Outcome::No);
        };
        if after.is_none() && !args.json {
            writeln!(out, "# listening; press a key or wait for a reading")?;
        }
        after = data["next"].as_u64();
        for one in serde_json::from_value::<Vec<SeenOne>>(data["seen"].take())? {
            if args.inputs && matches!(one.said, Said::Reading { .. }) {
                continue;
            }
            if args.json {
                writeln!(out, "{}{}", if printed == 0 { "[" } else { "," }, serde_json::to_string(&one)?)?;
            } else {
                write!(out, "{}", one.toml(&mut offered))?;
            }
            out.flush()?;
            printed += 1;
            if args.count.is_some_and(|count| printed >= count) {
                if args.json {
                    writeln!(out, "]")?;
                }
                return Ok(Outcome::Yes);
            }
        }
        std::thread::sleep(EVERY);
    }
}
