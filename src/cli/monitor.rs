//! `standfast monitor`: inputs and readings as they come, as TOML to paste. It never takes part in anything: it asks what was
//! said since it asked last, until it is interrupted.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::io::Write;
use std::time::Duration;

use super::ask::{Reach, ask_for_data};
use super::{Answer, Outcome};
use crate::daemon::protocol::Request;
use crate::daemon::seen::{Said, SeenOne};

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
    #[arg(long, value_name = "NUMBER")]
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
    let mut known = BTreeSet::new();
    let mut out = std::io::stdout();
    loop {
        let Some(mut data) = ask_for_data(&args.reach, &Request::Seen { after })? else {
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
                write!(out, "{}", toml(&one, &mut known))?;
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

/// What one names, or a section to paste where the house names none; that only once.
fn toml(one: &SeenOne, known: &mut BTreeSet<String>) -> String {
    let at = one.at.instant().to_zoned_datetime(jiff::tz::TimeZone::UTC).strftime("%H:%M:%SZ");
    let said = match &one.said {
        Said::Reading { value } => value.to_string(),
        Said::Press => "press".to_owned(),
        Said::Code { code } => format!("code {}", code.escape_default()),
        Said::Contact { on } => if *on { "on" } else { "off" }.to_owned(),
    };
    let place = &one.place;
    let mut text = format!("# {at} {place}: {said}");
    let name = match &one.said {
        Said::Code { code } => format!("{place}-{code}"),
        _ => place.clone(),
    };
    if !one.named.is_empty() || !known.insert(name.clone()) {
        if !one.named.is_empty() {
            let _ = write!(text, "  ({})", one.named.join(", "));
        }
        text.push('\n');
        return text;
    }
    let plain = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' };
    let name: String = name.chars().map(plain).collect();
    let _ = match &one.said {
        Said::Reading { .. } => {
            write!(text, "\n[sensor.{name}]\nreading = \"{place}\"\n# unit = \"°C\"\n# range = [-20, 60]\n\n")
        }
        Said::Code { code } => {
            write!(text, "\n[input.{name}]\nat = \"{place}\"\ncode = {}\n# toggles = \"which load\"\n\n", quoted(code))
        }
        Said::Press => write!(text, "\n[input.{name}]\nat = \"{place}\"\n# toggles = \"which load\"\n\n"),
        Said::Contact { .. } => write!(text, "\n[input.{name}]\nat = \"{place}\"\n\n"),
    };
    text
}

/// A basic string of TOML.
fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::WallTime;

    fn check(said: Said, named: &[&str], expected: &str) {
        let named = named.iter().map(ToString::to_string).collect();
        let one = SeenOne { number: 1, at: WallTime(0), place: "hall/ir".to_owned(), said, named };
        let mut known = BTreeSet::new();
        let text = toml(&one, &mut known);
        assert_eq!(text, expected);
        toml::de::DeTable::parse(&text).expect("all of it is TOML");
        // Pasted once, it is not offered again.
        assert!(toml(&one, &mut known).starts_with('#') && toml(&one, &mut known).lines().count() == 1);
    }

    #[test]
    fn what_nobody_names_is_a_section_to_paste() {
        let code = |code: &str| Said::Code { code: code.to_owned() };
        check(code("20DF40BF"), &["input.remote-red"], "# 00:00:00Z hall/ir: code 20DF40BF  (input.remote-red)\n");
        check(
            code("20DF\"0"),
            &[],
            "# 00:00:00Z hall/ir: code 20DF\\\"0\n[input.hall-ir-20df-0]\nat = \"hall/ir\"\ncode = \"20DF\\\"0\"\n# toggles = \"which load\"\n\n",
        );
        check(
            Said::Reading { value: 21.5 },
            &[],
            "# 00:00:00Z hall/ir: 21.5\n[sensor.hall-ir]\nreading = \"hall/ir\"\n# unit = \"°C\"\n# range = [-20, 60]\n\n",
        );
        check(Said::Contact { on: true }, &[], "# 00:00:00Z hall/ir: on\n[input.hall-ir]\nat = \"hall/ir\"\n\n");
    }
}
