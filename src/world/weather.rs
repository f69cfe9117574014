//! Weather that is made up: seasons, days, passing fronts and clouds as sums of waves whose phases come from a seed. The
//! same seed, place and time always give the same weather. It never remembers anything.

use std::f64::consts::TAU;

use crate::units::WallTime;

use super::air::saturation_water;
use super::daylight::{illuminance_clear, sun_elevation};

/// Light for each watt of daylight, in lm/W (common practice: 105 to 120).
const DAYLIGHT_LM_PER_W: f64 = 110.0;

/// Mean of the year and half the swing of the seasons, in °C.
const YEAR_C: (f64, f64) = (9.5, 6.0);

/// The coldest day of the year, counted from New Year.
const COLDEST_DAY: f64 = 25.0;

/// Half the swing of a cloudless day, in K, and its warmest hour by the sun.
const DAY_K: (f64, f64) = (3.5, 15.0);

/// The weather of one place.
#[derive(Clone, Debug, PartialEq)]
pub struct Weather {
    latitude: f64,
    longitude: f64,
    phases: [f64; 9],
}

impl Weather {
    /// Weather at a position in degrees north and east.
    pub fn new(latitude: f64, longitude: f64, seed: u64) -> Weather {
        let mut state = seed;
        let phases = std::array::from_fn(|_| TAU * unit(&mut state));
        Weather { latitude, longitude, phases }
    }

    /// Air temperature in °C.
    pub fn temperature_c(&self, at: WallTime) -> f64 {
        let hour_of_sun = (hours(at) + self.longitude / 15.0).rem_euclid(24.0);
        let day = DAY_K.0 * (1.0 - 0.6 * self.cloud(at)) * (TAU * (hour_of_sun - DAY_K.1) / 24.0).cos();
        self.daily_mean_c(at) + day
    }

    /// Water in the air in g/m³: near saturation at dawn, drier by noon, because it changes slower than temperature.
    pub fn water_g_m3(&self, at: WallTime) -> f64 {
        let dew_point = self.daily_mean_c(at) - 3.0 + self.wave(at, 31.0, 2);
        saturation_water(dew_point.min(self.temperature_c(at)))
    }

    /// Share of the sky that clouds cover, 0 to 1.
    pub fn cloud(&self, at: WallTime) -> f64 {
        let waves = 0.45 * self.wave(at, 19.0, 3) + 0.35 * self.wave(at, 5.3, 4) + 0.2 * self.wave(at, 0.7, 5);
        (0.55 + 0.75 * waves).clamp(0.0, 1.0)
    }

    /// Light on the level ground in lx. Clouds take what Kasten and Czeplak (Solar Energy 24, 1980) found.
    pub fn illuminance_lx(&self, at: WallTime) -> f64 {
        let clear = illuminance_clear(sun_elevation(at, self.latitude, self.longitude));
        clear * (1.0 - 0.75 * self.cloud(at).powf(3.4))
    }

    /// Power of daylight on the level ground in W/m².
    pub fn irradiance_w_m2(&self, at: WallTime) -> f64 {
        self.illuminance_lx(at) / DAYLIGHT_LM_PER_W
    }

    /// The strongest gust of the last minutes in m/s.
    pub fn gust_m_s(&self, at: WallTime) -> f64 {
        let waves = 5.0 * self.wave(at, 43.0, 6) + 3.0 * self.wave(at, 9.1, 7) + 1.5 * self.wave(at, 0.3, 8);
        (8.0 + waves).max(0.0)
    }

    /// The temperature without the course of the day.
    fn daily_mean_c(&self, at: WallTime) -> f64 {
        let day_of_year = (hours(at) / 24.0).rem_euclid(365.2425);
        let season = -YEAR_C.1 * (TAU * (day_of_year - COLDEST_DAY) / 365.2425).cos();
        // South of the equator the seasons are turned.
        let season = if self.latitude < 0.0 { -season } else { season };
        YEAR_C.0 + season + 2.5 * self.wave(at, 127.0, 0) + 1.5 * self.wave(at, 53.0, 1)
    }

    /// A wave between −1 and 1 with a period in hours.
    fn wave(&self, at: WallTime, period_h: f64, phase: usize) -> f64 {
        (TAU * (hours(at) / period_h).fract() + self.phases[phase]).sin()
    }
}

/// Hours since 1970.
fn hours(at: WallTime) -> f64 {
    at.0 as f64 / 3_600_000.0
}

/// The next number of a sequence, 0 to 1 (SplitMix64: Steele, Lea and Flood, OOPSLA 2014).
fn unit(state: &mut u64) -> f64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2026-01-01T00:00Z.
    const NEW_YEAR: i64 = 1_767_225_600_000;

    fn year() -> impl Iterator<Item = WallTime> {
        (0..365 * 24).map(|hour| WallTime(NEW_YEAR + hour * 3_600_000))
    }

    #[test]
    fn a_year_stays_plausible_whatever_the_seed() {
        for seed in 0..8 {
            let weather = Weather::new(54.60, -3.14, seed);
            for at in year() {
                let temperature = weather.temperature_c(at);
                assert!((-10.0..32.0).contains(&temperature), "{temperature}");
                assert!((0.0..=30.0).contains(&weather.gust_m_s(at)));
                assert!((0.0..=120_000.0).contains(&weather.illuminance_lx(at)));
                assert!((0.0..=1.0).contains(&weather.cloud(at)));
                assert!(weather.water_g_m3(at) <= saturation_water(temperature) + 1e-9);
            }
        }
    }

    #[test]
    fn winter_is_colder_and_night_darker() {
        let weather = Weather::new(54.60, -3.14, 7);
        let mean = |from: i64, days: i64| {
            let hours = (0..days * 24).map(|hour| WallTime(NEW_YEAR + (from * 24 + hour) * 3_600_000));
            hours.map(|at| weather.temperature_c(at)).sum::<f64>() / (days * 24) as f64
        };
        assert!(mean(0, 60) + 8.0 < mean(180, 60));
        let noon_of_june = WallTime(NEW_YEAR + (171 * 24 + 12) * 3_600_000);
        let night_of_june = WallTime(NEW_YEAR + 171 * 24 * 3_600_000);
        assert!(weather.illuminance_lx(noon_of_june) > 1000.0 * weather.illuminance_lx(night_of_june));
    }

    #[test]
    fn the_seed_makes_the_weather() {
        let at = WallTime(NEW_YEAR);
        let weather = |seed| Weather::new(54.60, -3.14, seed).temperature_c(at);
        assert_eq!(weather(1).to_bits(), weather(1).to_bits());
        assert_ne!(weather(1).to_bits(), weather(2).to_bits());
    }
}
