//! The recording: UCI Occupancy Detection (L. M. Candanedo, V. Feldheim: Accurate occupancy detection of an office room,
//! Energy and Buildings 112, 2016), as the file `occupancy.csv` of the `panel` 0.14.4 wheel has it. It is never committed.

use std::env;
use std::fs;
use std::path::{Path, PathBuf};

use jiff::civil::DateTime;

/// One row.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Whole seconds since the first row.
    pub second: u64,
    /// Relative humidity in %, as it is written.
    pub humidity: String,
    /// Light in lx, as it is written.
    pub light: String,
}

impl Row {
    /// Relative humidity in %.
    pub fn humidity_percent(&self) -> f64 {
        self.humidity.parse().expect("read() has seen that it is a number")
    }

    /// Light in lx.
    pub fn light_lux(&self) -> f64 {
        self.light.parse().expect("read() has seen that it is a number")
    }
}

/// All 8,143 rows in order. Panics where the recording is missing or another one, and says how to get it.
pub fn read() -> Vec<Row> {
    let path = path();
    let text = fs::read_to_string(&path).unwrap_or_else(|error| {
        panic!(
            "{}: {error}\nThe recording is missing. Run `tests/set-up`, which fetches it, or name a copy of \
             occupancy.csv in STANDFAST_RECORDING.",
            path.display()
        )
    });
    let mut lines = text.lines();
    let header = "date,Temperature,Humidity,Light,CO2,HumidityRatio,Occupancy";
    assert_eq!(lines.next(), Some(header), "{} is another file", path.display());
    let mut first = None;
    let rows: Vec<Row> = lines.map(|line| row(line, &mut first)).collect();
    assert_eq!(rows.len(), 8143, "{} is not the whole recording", path.display());
    rows
}

fn row(line: &str, first: &mut Option<DateTime>) -> Row {
    let fields: Vec<&str> = line.split(',').collect();
    let at: DateTime = fields[0].parse().unwrap_or_else(|error| panic!("{line}: {error}"));
    let since = at.duration_since(*first.get_or_insert(at));
    let row = Row {
        second: u64::try_from(since.as_secs()).expect("the rows are in order"),
        humidity: fields[2].to_owned(),
        light: fields[3].to_owned(),
    };
    assert!(row.humidity_percent().is_finite() && row.light_lux().is_finite(), "{line}");
    row
}

fn path() -> PathBuf {
    env::var_os("STANDFAST_RECORDING")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("target/recording/occupancy.csv"), PathBuf::from)
}
