//! Where the sun stands and how light it is under an open sky. It never asks what time it is.

use crate::units::WallTime;

/// 2000-01-01T12:00Z in milliseconds since 1970.
const J2000_MS: f64 = 946_728_000_000.0;

/// Where the formula of the clear sky takes over from the table of twilight, in degrees.
const DAY_FROM_DEG: f64 = 5.0;

/// Illuminance of a clear sky at low sun: elevation of the sun's centre in degrees, lx.
///
/// Sunset 410 to 585 lx, end of civil twilight 2 to 3.5 lx, end of nautical twilight 0.008 lx: AMS Glossary of
/// Meteorology. Below that the light of a clear night without a moon, about 0.001 lx (from memory).
const TWILIGHT: [(f64, f64); 4] = [(-18.0, 0.001), (-12.0, 0.008), (-6.0, 2.8), (-0.833, 500.0)];

/// Elevation of the sun's centre in degrees, −90 to 90, without refraction, at a position in degrees north and east.
///
/// The low-precision formulae of the Astronomical Almanac as given by Michalsky (Solar Energy 40, 1988): 0.01° between
/// 1950 and 2050.
pub fn sun_elevation(at: WallTime, latitude: f64, longitude: f64) -> f64 {
    let days = (at.0 as f64 - J2000_MS) / 86_400_000.0;
    let mean_longitude = 280.460 + 0.985_647_4 * days;
    let anomaly = (357.528 + 0.985_600_3 * days).to_radians();
    let ecliptic = (mean_longitude + 1.915 * anomaly.sin() + 0.020 * (2.0 * anomaly).sin()).to_radians();
    let obliquity = (23.439 - 0.000_000_4 * days).to_radians();
    let right_ascension = (obliquity.cos() * ecliptic.sin()).atan2(ecliptic.cos());
    let declination = (obliquity.sin() * ecliptic.sin()).asin();
    let sidereal = (280.460_618 + 360.985_647_366 * days + longitude).rem_euclid(360.0).to_radians();
    let hour_angle = sidereal - right_ascension;
    let latitude = latitude.to_radians();
    let sine = latitude.sin() * declination.sin() + latitude.cos() * declination.cos() * hour_angle.cos();
    sine.clamp(-1.0, 1.0).asin().to_degrees()
}

/// Illuminance in lx on the level ground under a clear sky, for an elevation of the sun's centre in degrees.
pub fn illuminance_clear(elevation_deg: f64) -> f64 {
    if elevation_deg >= DAY_FROM_DEG {
        return clear_day(elevation_deg);
    }
    // Light changes by orders of magnitude here: straight lines between the logarithms.
    let (mut low, mut high) = (TWILIGHT[0], (DAY_FROM_DEG, clear_day(DAY_FROM_DEG)));
    for point in TWILIGHT {
        if point.0 <= elevation_deg {
            low = point;
        } else {
            high = point;
            break;
        }
    }
    let share = ((elevation_deg - low.0) / (high.0 - low.0)).max(0.0);
    (low.1.ln() + share * (high.1.ln() - low.1.ln())).exp()
}

/// Direct and sky light of the IES calculation of daylight for a clear sky (RP-21; the constants from memory).
fn clear_day(elevation_deg: f64) -> f64 {
    let height = elevation_deg.to_radians().sin();
    let direct = 128_000.0 * (-0.21 / height).exp() * height;
    direct + 800.0 + 15_500.0 * height.sqrt()
}

#[cfg(test)]
mod tests {
    use chrono::{TimeZone, Utc};
    use solar_positioning::{Location, SolarPositions};

    use super::*;

    #[test]
    fn elevation_agrees_with_nrel_spa() {
        for (latitude, longitude) in [(54.60, -3.14), (0.0, 0.0), (-33.9, 151.2), (69.65, 18.96)] {
            for hour in (0..366 * 24).step_by(37) {
                let at = WallTime(1_767_225_600_000 + i64::from(hour) * 3_600_000);
                let moment = Utc.timestamp_millis_opt(at.0).unwrap();
                let place = Location { latitude, longitude };
                let position = SolarPositions::new().at(&moment, place, 0.0, 69.0, None).unwrap();
                let got = sun_elevation(at, latitude, longitude);
                // SPA is topocentric: parallax lowers the sun by up to 0.0025°.
                let off = got - position.elevation_angle();
                assert!(off.abs() < 0.02, "{moment} at {latitude}: {got}, off by {off}");
            }
        }
    }

    #[test]
    fn twilight_agrees_with_the_ams_glossary() {
        let within = |elevation, low, high| {
            let lux = illuminance_clear(elevation);
            assert!((low..=high).contains(&lux), "{elevation}°: {lux} lx");
        };
        within(-0.833, 410.0, 585.0);
        within(-6.0, 2.0, 3.5);
        within(-12.0, 0.0079, 0.0081);
        // A clear summer noon is about 100 000 lx (common practice).
        within(60.0, 90_000.0, 115_000.0);
    }

    #[test]
    fn a_higher_sun_is_never_darker() {
        let steps: Vec<f64> = (-1800..=1800).map(|step| illuminance_clear(f64::from(step) / 20.0)).collect();
        assert!(steps.windows(2).all(|pair| pair[0] <= pair[1]));
        assert!(steps[0] > 0.0);
    }
}
