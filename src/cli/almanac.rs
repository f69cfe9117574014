//! `standfast almanac`: the sun of one day, as the windows and holds of a house see it. It reads the house for its site
//! alone, and computes nothing itself.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::{TimeZone, TimeZoneDatabase};
use serde::Serialize;

use super::check::house_folder;
use super::{Answer, Outcome};
use crate::calendar::day_start;
use crate::daemon::{clock, house_dir, zones};
use crate::sun::{self, Course, Position, SunDay, YEARS};
use crate::syntax;

/// Options of `standfast almanac`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Without a position the site of the house in DIR is taken. Times are good to a minute up to 60° of \
                        latitude; over a free horizon, without mountains."
)]
pub struct Args {
    /// The house's folder, or the folder of its standfast.toml [default: the working folder, else /etc/standfast]
    #[arg(value_name = "DIR")]
    dir: Option<PathBuf>,
    /// The day, such as 2026-06-21 [default: today in the zone]
    #[arg(long, value_name = "DATE")]
    date: Option<String>,
    /// Degrees north; south is negative. With --longitude and --zone instead of DIR
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    latitude: Option<f64>,
    /// Degrees east; west is negative
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    longitude: Option<f64>,
    /// The IANA name of the time zone, such as Europe/London
    #[arg(long, value_name = "NAME")]
    zone: Option<String>,
    /// Print JSON: each event a list of none, one or two RFC 3339 times
    #[arg(long)]
    json: bool,
}

/// Prints the sun of a day.
pub fn run(args: Args) -> Answer {
    let text = almanac(&args, &zones::zones(), clock::wall_now().instant())?;
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes()).and_then(|()| out.flush()).context("cannot print")?;
    Ok(Outcome::Yes)
}

/// A place, a day and its sun.
struct Almanac {
    place: Place,
    date: Date,
    sun: SunDay,
}

struct Place {
    position: Position,
    zone_name: String,
    zone: TimeZone,
}

fn almanac(args: &Args, zones: &TimeZoneDatabase, now: Timestamp) -> anyhow::Result<String> {
    let place = match (args.latitude, args.longitude, &args.zone) {
        (None, None, None) => place_of_house(args.dir.as_deref(), zones)?,
        (latitude, longitude, zone) => {
            if let Some(dir) = &args.dir {
                bail!("the house in {} has a position and a zone; give either DIR or a position", dir.display());
            }
            place_of_options(latitude, longitude, zone.as_deref(), zones)?
        }
    };
    let date = match &args.date {
        Some(text) => day(text)?,
        None => place.zone.to_datetime(now).date(),
    };
    if !(YEARS.0..=YEARS.1).contains(&date.year()) {
        bail!("the sun is computed for the years {} to {}, not for {}", YEARS.0, YEARS.1, date.year());
    }
    if day_start(date, &place.zone).is_none() {
        bail!("there was no {date} in {}: the zone skipped that day", place.zone_name);
    }
    let sun = sun::day(place.position, date, &place.zone).context("there is no sun for this day")?;
    let almanac = Almanac { place, date, sun };
    if args.json { almanac.json() } else { Ok(almanac.text()) }
}

fn place_of_house(named: Option<&Path>, zones: &TimeZoneDatabase) -> anyhow::Result<Place> {
    const ADVICE: &str = "name the folder of a house, or give --latitude, --longitude and --zone";
    let dir = house_folder(named).context(ADVICE)?;
    let text = house_dir::read_saved(&dir).context(ADVICE)?;
    if text.files.is_empty() && text.diagnostics.is_empty() {
        bail!("there is no house in {}: {ADVICE}", dir.display());
    }
    let (house, _) = syntax::read(&text.files, zones);
    let Some(house) = house else {
        bail!("the house in {0} has errors; `standfast check {0}` shows them", dir.display());
    };
    let site = house.site;
    let position = Position { latitude: site.latitude, longitude: site.longitude };
    Ok(Place { position, zone_name: site.zone_name, zone: site.zone })
}

fn place_of_options(
    latitude: Option<f64>,
    longitude: Option<f64>,
    zone: Option<&str>,
    zones: &TimeZoneDatabase,
) -> anyhow::Result<Place> {
    let (Some(latitude), Some(longitude), Some(zone_name)) = (latitude, longitude, zone) else {
        let options =
            [("--latitude", latitude.is_none()), ("--longitude", longitude.is_none()), ("--zone", zone.is_none())];
        let missing: Vec<&str> = options.iter().filter(|(_, missing)| *missing).map(|(name, _)| *name).collect();
        bail!("a position needs --latitude, --longitude and --zone: add {}", missing.join(" and "));
    };
    let is_swapped = latitude.abs() <= 180.0 && longitude.abs() <= 90.0;
    if !(-90.0..=90.0).contains(&latitude) {
        let hint = if is_swapped { "; are latitude and longitude swapped?" } else { "" };
        bail!("--latitude goes from -90 to 90 degrees north, not {latitude}{hint}");
    }
    if !(-180.0..=180.0).contains(&longitude) {
        bail!("--longitude goes from -180 to 180 degrees east, west being negative, not {longitude}");
    }
    let Ok(zone) = zones.get(zone_name) else {
        let advice = match syntax::nearest_zone(zones, zone_name) {
            Some(near) => format!("did you mean {near}?"),
            None => "write its IANA name, such as Europe/London".to_owned(),
        };
        bail!("there is no time zone {zone_name:?}; {advice}");
    };
    // As the database spells it.
    let zone_name = zone.iana_name().unwrap_or(zone_name).to_owned();
    Ok(Place { position: Position { latitude, longitude }, zone_name, zone })
}

/// `2026-06-21` and nothing else: other orders of day and month would be guesses.
fn day(text: &str) -> anyhow::Result<Date> {
    let parts: Vec<&str> = text.split('-').collect();
    let is_form = parts.iter().map(|part| part.len()).eq([4, 2, 2]);
    if !is_form || !parts.iter().all(|part| part.bytes().all(|byte| byte.is_ascii_digit())) {
        bail!("{text:?} is no date: write year, month and day, such as 2026-06-21");
    }
    match text.parse() {
        Ok(date) => Ok(date),
        Err(_) => bail!("{text:?} is no date: the calendar has no such day"),
    }
}

#[derive(Serialize)]
struct Json<'a> {
    date: String,
    latitude: f64,
    longitude: f64,
    zone: &'a str,
    sun: Course,
    dawn: Vec<String>,
    sunrise: Vec<String>,
    sunset: Vec<String>,
    dusk: Vec<String>,
}

impl Almanac {
    fn show(&self, instants: &[Timestamp], format: &str) -> Vec<String> {
        let zoned = instants.iter().map(|at| at.to_zoned_datetime(self.place.zone.clone()));
        zoned.map(|at| at.strftime(format).to_string()).collect()
    }

    fn json(&self) -> anyhow::Result<String> {
        let times = |instants| self.show(instants, "%Y-%m-%dT%H:%M:%S%:z");
        let json = Json {
            date: self.date.to_string(),
            latitude: self.place.position.latitude,
            longitude: self.place.position.longitude,
            zone: &self.place.zone_name,
            sun: self.sun.course,
            dawn: times(&self.sun.dawn),
            sunrise: times(&self.sun.sunrise),
            sunset: times(&self.sun.sunset),
            dusk: times(&self.sun.dusk),
        };
        Ok(serde_json::to_string_pretty(&json)? + "\n")
    }

    fn text(&self) -> String {
        let Position { latitude, longitude } = self.place.position;
        let mut text = format!(
            "{}, {} {}, {}\n",
            self.date,
            degrees(latitude, ["N", "S"]),
            degrees(longitude, ["E", "W"]),
            self.place.zone_name
        );
        let rows = [
            ("dawn", &self.sun.dawn),
            ("sunrise", &self.sun.sunrise),
            ("sunset", &self.sun.sunset),
            ("dusk", &self.sun.dusk),
        ];
        for (word, instants) in rows {
            let times = self.show(instants, "%H:%M:%S");
            let times = if times.is_empty() { "none".to_owned() } else { times.join(" and ") };
            text.push_str(&format!("{word:<8} {times}\n"));
        }
        text.push_str(&format!("{:<8} {}\n", "sun", self.sun.course.phrase()));
        text
    }
}

fn degrees(value: f64, [positive, negative]: [&str; 2]) -> String {
    format!("{:.2}° {}", value.abs(), if value < 0.0 { negative } else { positive })
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        args: Args,
    }

    /// What the command prints, or the error.
    fn printed(arguments: &str) -> Result<String, String> {
        let line = Line::try_parse_from(format!("almanac {arguments}").split_whitespace()).unwrap();
        let now = "2026-05-12T23:30:00Z".parse().unwrap();
        almanac(&line.args, &TimeZoneDatabase::bundled(), now).map_err(|error| format!("{error:#}"))
    }

    fn check(arguments: &str, expected: Result<&[&str], &str>) {
        match (printed(arguments), expected) {
            (Ok(text), Ok(parts)) => {
                for part in parts {
                    assert!(text.contains(part), "{arguments}: no {part:?} in\n{text}");
                }
            }
            (Err(error), Err(part)) => assert!(error.contains(part), "{arguments}: {error}"),
            (got, expected) => panic!("{arguments}: {got:?}, expected {expected:?}"),
        }
    }

    const COTTAGE: &str = "--latitude 54.60 --longitude -3.14 --zone Europe/London";
    const TROMSO: &str = "--latitude 69.65 --longitude 18.96 --zone Europe/Oslo";
    const AKUREYRI: &str = "--latitude 65.6885 --longitude -18.1262 --zone Atlantic/Reykjavik";

    #[test]
    fn a_day_as_text() {
        // 23:30 in UTC is the next day in summer time. Hours and minutes as solar-positioning 0.7.2 has them.
        check(COTTAGE, Ok(&["2026-05-13, 54.60° N 3.14° W, Europe/London\n", "sun      rises and sets\n"]));
        check(&format!("{COTTAGE} --date 2026-05-12"), Ok(&["sunrise  05:12:", "sunset   21:06:"]));
        check(
            &format!("{TROMSO} --date 2024-12-21"),
            Ok(&["sunrise  none\nsunset   none\n", "sun      always down\n", "dawn     0"]),
        );
        check(&format!("{TROMSO} --date 2024-06-21"), Ok(&["dawn     none\n", "sun      always up\n"]));
        check(&format!("{AKUREYRI} --date 2027-07-10"), Ok(&["sunset   00:01:", " and 23:57:"]));
    }

    #[test]
    fn a_day_as_json() {
        let value = |arguments: &str| -> serde_json::Value {
            serde_json::from_str(&printed(&format!("{arguments} --json")).unwrap()).unwrap()
        };
        let day = value(&format!("{COTTAGE} --date 2026-05-12"));
        assert_eq!(day["date"], "2026-05-12");
        assert_eq!(day["zone"], "Europe/London");
        assert_eq!((day["latitude"].as_f64(), day["longitude"].as_f64()), (Some(54.60), Some(-3.14)));
        assert_eq!(day["sun"], "rises and sets");
        let sunset = day["sunset"][0].as_str().unwrap();
        assert!(sunset.starts_with("2026-05-12T21:06:") && sunset.ends_with("+01:00"), "{sunset}");
        let two = value(&format!("{AKUREYRI} --date 2027-07-10"));
        assert_eq!(two["sunset"].as_array().unwrap().len(), 2);
        assert!(two["sunset"][0].as_str().unwrap().ends_with("+00:00"));
        let up = value(&format!("{TROMSO} --date 2024-06-21"));
        assert_eq!(up["sun"], "always up");
        assert_eq!(up["sunrise"], serde_json::json!([]));
        assert_eq!(value(&format!("{TROMSO} --date 2024-12-21"))["sun"], "always down");
    }

    #[test]
    fn refusals_say_what_to_do() {
        check("--latitude 54.6", Err("add --longitude and --zone"));
        check("--latitude 54.6 --longitude -3.14", Err("add --zone"));
        check("--zone Europe/London", Err("add --latitude and --longitude"));
        check(&format!("rules {COTTAGE}"), Err("either DIR or a position"));
        check("--latitude 151.2 --longitude -33.9 --zone Australia/Sydney", Err("swapped?"));
        check("--latitude 54.6 --longitude 203 --zone Europe/London", Err("from -180 to 180"));
        check("--latitude nan --longitude 3 --zone Europe/London", Err("from -90 to 90"));
        check("--latitude 54.6 --longitude -3.14 --zone Europe/Londno", Err("did you mean Europe/London?"));
        check("--latitude 54.6 --longitude -3.14 --zone London", Err("did you mean Europe/London?"));
        check("--latitude 54.6 --longitude -3.14 --zone Q", Err("such as Europe/London"));
        check(&format!("{COTTAGE} --date 21.6.2026"), Err("such as 2026-06-21"));
        check(&format!("{COTTAGE} --date 2026-6-21"), Err("such as 2026-06-21"));
        check(&format!("{COTTAGE} --date 2026-02-29"), Err("no such day"));
        check(&format!("{COTTAGE} --date 2500-01-01"), Err("1900 to 2199"));
        let apia = "--latitude -13.83 --longitude -171.77 --zone Pacific/Apia";
        check(&format!("{apia} --date 2011-12-30"), Err("skipped that day"));
        check("/nowhere/at/all", Err("--latitude, --longitude and --zone"));
    }

    #[test]
    fn the_site_of_a_house() {
        let folder = tempfile::tempdir().unwrap();
        let dir = folder.path().to_str().unwrap().to_owned();
        check(&dir, Err("there is no house in"));
        let site = "[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\n";
        std::fs::write(folder.path().join("site.toml"), site).unwrap();
        check(&format!("{dir} --date 2026-05-12"), Ok(&["54.60° N 3.14° W, Europe/London", "sunset   21:06:"]));
        std::fs::write(folder.path().join("more.toml"), "[wrong]\n").unwrap();
        check(&dir, Err("`standfast check"));
    }
}
