//! `standfast log`: what happened and why, out of the journal. It never changes anything.

use std::io::Write;

use super::ask::{Reach, ask_for_data};
use super::{Answer, Outcome, csv, table};
use crate::daemon::protocol::Request;

/// Options of `standfast log`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Times lie behind: \"2h\" ago, the last \"22:30\", the last \"sunset\", \"2026-05-12\", \
                        \"2026-05-12 22:30\".")]
pub struct Args {
    /// Only of this load
    load: Option<String>,
    /// From when on [default: the last 200 rows]
    #[arg(long, value_name = "TIME")]
    since: Option<String>,
    /// Until when [default: now]
    #[arg(long, value_name = "TIME")]
    until: Option<String>,
    /// So many rows at most, the latest
    #[arg(long, value_name = "ROWS", value_parser = clap::value_parser!(u32).range(1..))]
    limit: Option<u32>,
    /// Print CSV
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    reach: Reach,
}

/// Prints what happened.
pub fn run(args: Args) -> Answer {
    let Args { load, since, until, limit, .. } = args;
    let Some(data) = ask_for_data(&args.reach, &Request::Journal { load, since, until, limit }, args.json)? else {
        return Ok(Outcome::No);
    };
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    if args.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&data)?)?;
        out.flush()?;
        return Ok(Outcome::Yes);
    }
    let rows = data["rows"].as_array().map(Vec::as_slice).unwrap_or_default();
    let field = |row: &serde_json::Value, name: &str| row[name].as_str().unwrap_or_default().to_owned();
    if args.csv {
        csv::record(&mut out, &["time", "trusted", "kind", "load", "text", "revision"])?;
        for row in rows {
            let trusted = if row["trusted"] == true { "yes" } else { "no" };
            let (kind, load) = (field(&row["entry"], "entry"), field(&row["entry"], "load"));
            let load = if load.is_empty() { field(&row["entry"], "actuator") } else { load };
            let (at, text, revision) = (field(row, "at"), field(row, "text"), field(row, "revision"));
            csv::record(&mut out, &[&at, trusted, &kind, &load, &text, &revision])?;
        }
    } else if rows.is_empty() {
        writeln!(out, "nothing is written there")?;
    } else {
        let lines = rows.iter().map(|row| {
            // A clock that nobody trusts may be wrong by years.
            let doubt = if row["trusted"] == true { "" } else { "?" };
            vec![format!("{}{doubt}", table::moment(&field(row, "at"))), field(row, "text")]
        });
        let (lines, width) = (lines.collect::<Vec<_>>(), table::width());
        write!(out, "{}", table::table(&["when", "what and why"], &lines, width, table::may_colour()))?;
        if let Some(note) = note(rows) {
            write!(out, "\n{}", table::wrapped(note, width))?;
        }
    }
    out.flush()?;
    Ok(Outcome::Yes)
}

/// What the mark behind a time says, where there is one.
fn note(rows: &[serde_json::Value]) -> Option<&'static str> {
    let is_doubted = rows.iter().any(|row| row["trusted"] != true);
    is_doubted.then_some("? the clock was not trusted then, so the time may be wrong")
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn a_mark_is_explained_and_only_where_there_is_one() {
        let (known, doubted) = (json!({ "trusted": true }), json!({ "trusted": false }));
        assert_eq!(note(&[known.clone(), known.clone()]), None);
        assert!(note(&[known, doubted]).is_some_and(|note| note.starts_with("? the clock was not trusted")));
    }
}
