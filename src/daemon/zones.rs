//! Which time zone data the shell hands to the pure half: the system's where there is any, else the bundle. It never looks
//! up the machine's own zone.

use jiff::tz::TimeZoneDatabase;

/// A system with fewer zones than this has no zone data worth the name; the IANA database has about 600 names.
const ZONES_LEAST: usize = 100;

/// The zone data to read houses with.
pub fn zones() -> TimeZoneDatabase {
    let system = TimeZoneDatabase::from_env();
    if system.available().take(ZONES_LEAST).count() < ZONES_LEAST { TimeZoneDatabase::bundled() } else { system }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_are_always_zones() {
        let zones = zones();
        assert!(zones.get("Europe/London").is_ok());
        assert!(zones.get("Europe/Londn").is_err());
    }
}
