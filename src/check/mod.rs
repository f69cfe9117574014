//! Findings about a house that decodes but would not do what its owner means. It never changes a house.
//!
//! One file for each finding, and its function in [`FINDINGS`]. A finding looks at the whole house and says what it found;
//! it may use the engine to try things out.

mod address;
mod circuit_load;
mod de_energised;
mod deadband;
mod disagreement;
mod driven_member;
mod dwell_against_max;
mod empty_window;
mod foreign_limits;
mod foreign_topics;
mod grade;
mod interlock_trust;
mod lease;
mod load_circle;
mod long_run;
mod max_on;
mod mixed_topic;
mod otherwise;
mod proof;
mod reach;
mod rise_reach;
mod rotation;
mod same_position;
mod shared_port;
mod shared_relay;
mod shared_source;
mod silent_alarm;
mod sun_reach;
mod supply;
mod unleased_motor;
mod unused;

#[cfg(test)]
mod foreign_tests;
#[cfg(test)]
mod tests;

use jiff::tz::TimeZoneDatabase;

use crate::diagnostic::{Diagnostic, errors};
use crate::house::House;
use crate::syntax::{self, Spot, Spots};

/// What examining a house came to.
#[derive(Clone, Debug)]
pub struct Examined {
    /// The house; `None` where there are errors.
    pub house: Option<House>,
    /// Errors and warnings in the order of files and lines.
    pub diagnostics: Vec<Diagnostic>,
}

/// A house that decodes, and where its text stands.
struct Subject<'a> {
    house: &'a House,
    spots: &'a Spots,
}

/// Looks for one kind of thing that is not as it was meant.
type Finding = fn(&Subject<'_>) -> Vec<Diagnostic>;

/// All findings.
const FINDINGS: &[Finding] = &[
    shared_relay::find,
    shared_source::find,
    mixed_topic::find,
    shared_port::find,
    address::find,
    disagreement::find,
    otherwise::find,
    lease::find,
    empty_window::find,
    de_energised::find,
    deadband::find,
    grade::find,
    reach::find,
    rise_reach::find,
    same_position::find,
    sun_reach::find,
    silent_alarm::find,
    supply::find,
    unused::find,
    max_on::find,
    dwell_against_max::find,
    circuit_load::find,
    interlock_trust::find,
    load_circle::find,
    proof::find,
    rotation::find,
    driven_member::find,
    long_run::find,
    unleased_motor::find,
    foreign_topics::find,
    foreign_limits::find,
];

/// Decodes the files of a house and looks for everything that is wrong with it. Paths are below its directory, in path
/// order.
pub fn examine(files: &[(String, String)], zones: &TimeZoneDatabase) -> Examined {
    let decoded = syntax::decode(files, zones);
    let mut diagnostics = decoded.diagnostics;
    let Some(house) = decoded.house else { return Examined { house: None, diagnostics } };
    let subject = Subject { house: &house, spots: &decoded.spots };
    diagnostics.extend(FINDINGS.iter().flat_map(|find| find(&subject)));
    syntax::sort(&mut diagnostics, files);
    let house = (errors(&diagnostics) == 0).then_some(house);
    Examined { house, diagnostics }
}

impl Subject<'_> {
    /// A diagnostic at the value of a key, or at the name of its table where the key was not written.
    fn at(&self, diagnostic: Diagnostic, section: &'static str, name: &str, key: &str, text: &str) -> Diagnostic {
        self.at_spot(diagnostic, self.spots.value(section, name, key), text)
    }

    /// The same diagnostic with another place that belongs to it.
    fn also(&self, diagnostic: Diagnostic, section: &'static str, name: &str, key: &str, text: &str) -> Diagnostic {
        let spot = self.spots.value(section, name, key);
        diagnostic.also(self.file(spot), spot.range(), text)
    }

    /// A diagnostic at a spot.
    fn at_spot(&self, diagnostic: Diagnostic, spot: Spot, text: &str) -> Diagnostic {
        diagnostic.at(self.file(spot), spot.range(), text)
    }

    fn file(&self, spot: Spot) -> &str {
        self.house.files.get(spot.file as usize).map_or("", String::as_str)
    }
}
