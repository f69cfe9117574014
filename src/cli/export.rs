//! `standfast export`: what sensors said, as CSV, a page after the other. It never judges a reading.

use std::io::Write;

use super::ask::{Reach, ask_for_data};
use super::{Answer, Outcome, csv};
use crate::daemon::protocol::Request;

/// Options of `standfast export`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Each line is a reading as it came over the wire: its time (RFC 3339, in UTC), the sensor's name, the \
                        value. Times of --since and --until lie behind: \"2h\" ago, the last \"22:30\", \"2026-05-12\"."
)]
pub struct Args {
    /// Only of this sensor
    sensor: Option<String>,
    /// From when on [default: all that is kept]
    #[arg(long, value_name = "TIME")]
    since: Option<String>,
    /// Until when [default: now]
    #[arg(long, value_name = "TIME")]
    until: Option<String>,
    /// Print one JSON document instead of CSV
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    reach: Reach,
}

/// Prints what sensors said.
pub fn run(args: Args) -> Answer {
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    let mut after = None;
    let mut is_first = true;
    loop {
        let (sensor, since, until) = (args.sensor.clone(), args.since.clone(), args.until.clone());
        let Some(data) = ask_for_data(&args.reach, &Request::Readings { sensor, since, until, after }, args.json)?
        else {
            return Ok(Outcome::No);
        };
        let rows = data["readings"].as_array().map(Vec::as_slice).unwrap_or_default();
        if args.json {
            for row in rows {
                write!(out, "{}\n{row}", if std::mem::take(&mut is_first) { "[" } else { "," })?;
            }
        } else {
            if std::mem::take(&mut is_first) {
                csv::record(&mut out, &["time", "sensor", "value"])?;
            }
            for row in rows {
                let text = |name: &str| row[name].as_str().unwrap_or_default();
                csv::record(&mut out, &[text("at"), text("sensor"), &row["value"].to_string()])?;
            }
        }
        after = serde_json::from_value(data["next"].clone()).unwrap_or(None);
        if after.is_none() {
            break;
        }
    }
    if args.json {
        writeln!(out, "{}", if is_first { "[]" } else { "\n]" })?;
    }
    out.flush()?;
    Ok(Outcome::Yes)
}
