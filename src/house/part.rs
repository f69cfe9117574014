//! Common sensor parts and what their data sheets say of them. It never says anything of an installed one: cables, boxes and
//! sunshine spoil every part.

use crate::units::Span;

/// A sensor part.
#[derive(Debug, PartialEq)]
pub struct Part {
    /// Its number, as it is printed and sold.
    pub name: &'static str,
    /// The shortest time between two measurements; `None` where the data sheet leaves it to the user's settings.
    pub sampling_period: Option<Span>,
    /// What it measures; in no more than one entry for each unit.
    pub quantities: &'static [PartQuantity],
}

/// One quantity that a part measures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PartQuantity {
    /// Its unit, as a symbol.
    pub unit: &'static str,
    /// From where to where it measures.
    pub range: (f64, f64),
    /// How far off it may be, either way: the typical figure, at the temperatures of a house. `None` where it is given as a
    /// share of the reading.
    pub accuracy: Option<f64>,
    /// The step between two readings at the part's finest setting.
    pub resolution: f64,
}

const fn quantity(unit: &'static str, range: (f64, f64), accuracy: f64, resolution: f64) -> PartQuantity {
    PartQuantity { unit, range, accuracy: Some(accuracy), resolution }
}

const fn part(name: &'static str, period_ms: Option<u64>, quantities: &'static [PartQuantity]) -> Part {
    let sampling_period = match period_ms {
        Some(ms) => Some(Span(ms)),
        None => None,
    };
    Part { name, sampling_period, quantities }
}

/// DHT22 and AM2302 are two names of one part. Data sheet "AM2302 / DHT22" of its maker: 0 to 100 %RH ±2 (at most ±5), −40 to
/// 80 °C ±0.5, steps of 0.1, sensing period 2 s.
const DHT22: &[PartQuantity] = &[quantity("°C", (-40.0, 80.0), 0.5, 0.1), quantity("%", (0.0, 100.0), 2.0, 0.1)];

/// The parts, sorted by number.
static PARTS: [Part; 10] = [
    part("AM2302", Some(2000), DHT22),
    // Data sheet BST-BME280-DS001, tables 2 to 4: humidity ±3 %RH, 0.008 %RH; operating range −40 to 85 °C, 300 to 1100 hPa.
    // ±1.0 °C and 0.01 °C, ±1 hPa and 0.18 Pa: from memory of the same tables.
    part(
        "BME280",
        None,
        &[
            quantity("°C", (-40.0, 85.0), 1.0, 0.01),
            quantity("%", (0.0, 100.0), 3.0, 0.008),
            quantity("hPa", (300.0, 1100.0), 1.0, 0.0018),
        ],
    ),
    // Data sheet BST-BMP280-DS001: 300 to 1100 hPa ±1 typical, 0.16 Pa at ultra high resolution (table 4), −40 to 85 °C.
    // ±1.0 °C and 0.01 °C: from memory.
    part("BMP280", None, &[quantity("°C", (-40.0, 85.0), 1.0, 0.01), quantity("hPa", (300.0, 1100.0), 1.0, 0.0016)]),
    // Technical note "BH1750FVI" 2009.04 rev. B: 1 to 65535 lx, 1 lx and 120 ms typical in H-resolution mode; sensor out over
    // true lux 0.96 to 1.44 with 1.2 typical, which is ±20 % of the reading.
    part("BH1750", Some(120), &[PartQuantity { unit: "lx", range: (0.0, 65_535.0), accuracy: None, resolution: 1.0 }]),
    // DHT11, newer data sheet: 20 to 90 %RH ±5, 0 to 50 °C ±2, whole numbers, more than 2 s between two readings.
    part("DHT11", Some(2000), &[quantity("°C", (0.0, 50.0), 2.0, 1.0), quantity("%", (20.0, 90.0), 5.0, 1.0)]),
    part("DHT22", Some(2000), DHT22),
    // Data sheet "DS18B20": −55 to 125 °C, ±0.5 from −10 to 85, sixteenths of a degree in 750 ms at 12 bits.
    part("DS18B20", Some(750), &[quantity("°C", (-55.0, 125.0), 0.5, 0.0625)]),
    // Data sheet "SHT21", version 1.1, May 2010: ±2 %RH, 0.04 %RH at 12 bits; −40 to 125 °C ±0.3, 0.01 °C at 14 bits. 85 ms
    // for 14 bits: from memory.
    part("SHT21", Some(85), &[quantity("°C", (-40.0, 125.0), 0.3, 0.01), quantity("%", (0.0, 100.0), 2.0, 0.04)]),
    // Data sheet "SHT3x-DIS": ±2 %RH and ±0.2 °C typical, 0.01 of both, −40 to 125 °C, 12.5 ms typical at high repeatability.
    part("SHT31", Some(13), &[quantity("°C", (-40.0, 125.0), 0.2, 0.01), quantity("%", (0.0, 100.0), 2.0, 0.01)]),
    // The same data sheet: ±1.5 %RH, ±0.1 °C typical from 20 to 60 °C.
    part("SHT35", Some(13), &[quantity("°C", (-40.0, 125.0), 0.1, 0.01), quantity("%", (0.0, 100.0), 1.5, 0.01)]),
];

/// The numbers of all parts, in the order of the table.
pub const PART_NAMES: [&str; 10] =
    ["AM2302", "BME280", "BMP280", "BH1750", "DHT11", "DHT22", "DS18B20", "SHT21", "SHT31", "SHT35"];

/// Units that say the same on another scale: the unit, that of the table, and how the latter becomes the former.
const SAME: [(&str, &str, f64, f64); 5] = [
    ("%RH", "%", 1.0, 0.0),
    ("°F", "°C", 1.8, 32.0),
    ("K", "°C", 1.0, 273.15),
    ("Pa", "hPa", 100.0, 0.0),
    ("bar", "hPa", 0.001, 0.0),
];

impl Part {
    /// A part by its number.
    pub fn named(name: &str) -> Option<&'static Part> {
        PARTS.iter().find(|part| part.name == name)
    }

    /// What it measures in a unit, converted to it; `None` where it does not.
    pub fn in_unit(&self, unit: &str) -> Option<PartQuantity> {
        if let Some(found) = self.quantities.iter().find(|quantity| quantity.unit == unit) {
            return Some(*found);
        }
        let (unit, from, scale, offset) = SAME.into_iter().find(|(name, ..)| *name == unit)?;
        let found = self.quantities.iter().find(|quantity| quantity.unit == from)?;
        let end = |value: f64| tidy(value * scale + offset);
        Some(PartQuantity {
            unit,
            range: (end(found.range.0), end(found.range.1)),
            accuracy: found.accuracy.map(|accuracy| tidy(accuracy * scale)),
            resolution: tidy(found.resolution * scale),
        })
    }
}

/// Without the dust of binary fractions.
fn tidy(value: f64) -> f64 {
    (value * 1e9).round() / 1e9
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_sound() {
        assert_eq!(PARTS.iter().map(|part| part.name).collect::<Vec<_>>(), PART_NAMES);
        for part in &PARTS {
            for quantity in part.quantities {
                let (least, greatest) = quantity.range;
                assert!(least < greatest && quantity.resolution > 0.0, "{}", part.name);
                assert!(quantity.accuracy.is_none_or(|accuracy| accuracy >= quantity.resolution), "{}", part.name);
                assert_eq!(part.in_unit(quantity.unit), Some(*quantity));
            }
        }
    }

    fn check(part: &str, unit: &str, expected: Option<((f64, f64), f64, f64)>) {
        let found = Part::named(part).and_then(|part| part.in_unit(unit));
        let found = found.map(|found| (found.range, found.accuracy.unwrap_or(0.0), found.resolution));
        assert_eq!(found, expected, "{part} in {unit}");
    }

    /// Against the data sheets named beside the table.
    #[test]
    fn parts_by_unit() {
        check("DHT22", "°C", Some(((-40.0, 80.0), 0.5, 0.1)));
        check("DHT22", "%RH", Some(((0.0, 100.0), 2.0, 0.1)));
        check("DHT22", "°F", Some(((-40.0, 176.0), 0.9, 0.18)));
        check("DHT22", "lx", None);
        check("DS18B20", "K", Some(((218.15, 398.15), 0.5, 0.0625)));
        check("BME280", "Pa", Some(((30_000.0, 110_000.0), 100.0, 0.18)));
        check("BH1750", "lx", Some(((0.0, 65_535.0), 0.0, 1.0)));
        check("DHT99", "°C", None);
    }
}
