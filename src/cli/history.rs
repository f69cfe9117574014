//! `standfast history`: for how long loads were on, what that took, how often they were switched. It never counts itself.

use std::io::Write;

use clap::ValueEnum;

use super::ask::{Reach, ask_for_data};
use super::{Answer, Outcome, csv, table};
use crate::daemon::protocol::{HistoryBy, Request};

/// What a row is about, as it is typed.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum TypedBy {
    /// A load over all the time
    Load,
    /// A load on a day
    Day,
    /// A load for a reason
    Reason,
}

/// Options of `standfast history`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "It counts what boards reported: of an actuator the time that it was driven and its runs, of a rotation \
                        what its members did together. Energy is the load's rated power times the hours, so it is as good \
                        as that number. The share of a contact's life rests on `endurance` in the house, from the relay's \
                        data sheet; `replaced` begins the count anew."
)]
pub struct Args {
    /// Only of this load
    load: Option<String>,
    /// What each row is about
    #[arg(long, default_value = "load")]
    by: TypedBy,
    /// From when on [default: a week ago]
    #[arg(long, value_name = "TIME")]
    since: Option<String>,
    /// Until when [default: now]
    #[arg(long, value_name = "TIME")]
    until: Option<String>,
    /// Print CSV
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    reach: Reach,
}

/// Prints the history.
pub fn run(args: Args) -> Answer {
    let Args { load, since, until, .. } = args;
    let (by, heading) = match args.by {
        TypedBy::Load => (HistoryBy::Load, &["load", "hours on", "kWh", "switched on", "% of life"][..]),
        TypedBy::Day => (HistoryBy::Day, &["load", "day", "hours on", "kWh", "switched on", "% of life"][..]),
        TypedBy::Reason => (HistoryBy::Reason, &["load", "reason", "hours on", "kWh", "switched on", "% of life"][..]),
    };
    let Some(data) = ask_for_data(&args.reach, &Request::History { load, by, since, until }, args.json)? else {
        return Ok(Outcome::No);
    };
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    if args.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&data)?)?;
        out.flush()?;
        return Ok(Outcome::Yes);
    }
    let places = if args.csv { 4 } else { 2 };
    let rows = data["rows"].as_array().map(Vec::as_slice).unwrap_or_default();
    let rows = rows.iter().map(|row| {
        let text = |name: &str| row[name].as_str().map(ToOwned::to_owned);
        let number = |name: &str| row[name].as_f64().map(|value| format!("{value:.places$}"));
        let labels = [text("load"), text("by")].into_iter().flatten();
        let unknown = if args.csv { "" } else { "-" }.to_owned();
        let share = row["life_share"].as_f64().map(|share| format!("{:.places$}", share * 100.0));
        let counts = [number("on_h"), number("energy_kwh"), Some(row["closings"].to_string()), share];
        labels.chain(counts.map(|count| count.unwrap_or(unknown.clone()))).collect()
    });
    let rows: Vec<Vec<String>> = rows.collect();
    if args.csv {
        csv::record(&mut out, heading)?;
        for row in &rows {
            csv::record(&mut out, &row.iter().map(String::as_str).collect::<Vec<_>>())?;
        }
    } else {
        let text = |name: &str| table::moment(data[name].as_str().unwrap_or_default());
        let width = table::width();
        write!(out, "{}", table::wrapped(&format!("from {} to {}", text("since"), text("until")), width))?;
        write!(out, "{}", table::table(heading, &rows, width, table::may_colour()))?;
    }
    out.flush()?;
    Ok(Outcome::Yes)
}
