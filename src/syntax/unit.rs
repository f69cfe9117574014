//! Units of sensors: shown as a symbol, also known by their SenML code (RFC 8428 section 12.1, RFC 8798). A unit is a label
//! that texts are held against; it never converts.

use super::fields::{Refused, clip};
use super::near::nearest;

/// The symbol that is shown, and other ways to write it: SenML codes first, then what people write.
const UNITS: [(&str, &[&str]); 27] = [
    ("°C", &["Cel"]),
    ("°F", &[]),
    ("K", &[]),
    ("%", &["/100"]),
    ("%RH", &[]),
    ("lx", &["lux"]),
    ("W/m²", &["W/m2"]),
    ("Pa", &[]),
    ("hPa", &["mbar"]),
    ("bar", &[]),
    ("W", &[]),
    ("kW", &[]),
    ("kWh", &[]),
    ("V", &[]),
    ("mV", &[]),
    ("A", &[]),
    ("mA", &[]),
    ("Hz", &[]),
    ("m", &[]),
    ("cm", &[]),
    ("mm", &[]),
    ("m/s", &[]),
    ("km/h", &[]),
    ("l", &[]),
    ("l/s", &[]),
    ("ppm", &[]),
    ("g/m³", &["g/m3"]),
];

/// What people write for a unit and must not, with the unit that they mean.
const MEANT: [(&str, &str); 14] = [
    ("c", "°C"),
    ("celsius", "°C"),
    ("degc", "°C"),
    ("deg c", "°C"),
    ("°", "°C"),
    ("º c", "°C"),
    ("ºc", "°C"),
    ("f", "°F"),
    ("fahrenheit", "°F"),
    ("kelvin", "K"),
    ("percent", "%"),
    ("rh", "%RH"),
    ("rh%", "%RH"),
    ("watt", "W"),
];

/// Reads a unit: the symbol for what is known, a short text as it stands for what is not.
pub(super) fn parse(text: &str) -> Result<String, Refused> {
    let text = text.trim();
    if let Some(symbol) = known(text) {
        return Ok(symbol.to_owned());
    }
    let refused = |symbol: &str| {
        let senml = UNITS.iter().find(|(name, _)| *name == symbol).and_then(|(_, codes)| codes.first());
        let help = match senml {
            Some(code) => format!("write \"{symbol}\", or its SenML code \"{code}\""),
            None => format!("write \"{symbol}\""),
        };
        Refused::new(format!("\"{}\" is not how the unit is written", clip(text)), help)
    };
    let folded = text.to_lowercase();
    if let Some((_, symbol)) = MEANT.iter().find(|(word, _)| *word == folded) {
        return Err(refused(symbol));
    }
    if let Some((symbol, _)) = UNITS.iter().find(|(symbol, _)| symbol.to_lowercase() == folded) {
        return Err(refused(symbol));
    }
    let is_word = text.chars().count() >= 4 && !text.contains('/');
    if let Some(near) = nearest(text, MEANT.iter().map(|(word, _)| *word)).filter(|_| is_word) {
        let symbol = MEANT.iter().find(|(word, _)| *word == near).map_or("", |(_, symbol)| *symbol);
        return Err(refused(symbol));
    }
    let digit_first = text.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.'));
    if digit_first || text.chars().count() > 12 || text.chars().any(|c| c.is_control() || c.is_whitespace()) {
        let cause = format!("\"{}\" is no unit", clip(text));
        return Err(Refused::new(cause, "write a symbol such as \"°C\", \"%RH\" or \"lx\", without number or blank"));
    }
    Ok(text.to_owned())
}

/// Whether a unit behind a threshold is the sensor's. Every percentage may be written `%`.
pub(super) fn same(written: &str, sensor: &str) -> bool {
    let symbol = known(written).unwrap_or(written);
    symbol == sensor || (symbol == "%" && sensor.starts_with('%'))
}

fn known(text: &str) -> Option<&'static str> {
    UNITS.iter().find(|(symbol, codes)| *symbol == text || codes.contains(&text)).map(|(symbol, _)| *symbol)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expected: Result<&str, &str>) {
        match (parse(text), expected) {
            (Ok(unit), Ok(symbol)) => assert_eq!(unit, symbol, "{text}"),
            (Err(refused), Err(part)) => assert!(refused.help.contains(part), "{text}: {}", refused.help),
            (got, expected) => panic!("{text}: {:?}, expected {expected:?}", got.map_err(|refused| refused.help)),
        }
    }

    #[test]
    fn units() {
        check("°C", Ok("°C"));
        check("Cel", Ok("°C")); // RFC 8428, section 12.1
        check("%RH", Ok("%RH")); // RFC 8428, section 12.1
        check("W/m2", Ok("W/m²")); // RFC 8428, section 12.1
        check("lx", Ok("lx"));
        check("pH", Ok("pH"));
        check("", Ok(""));
        check("C", Err("\"°C\", or its SenML code \"Cel\""));
        check("Celcius", Err("°C"));
        check("lux", Ok("lx"));
        check("°F", Ok("°F"));
        check("LX", Err("\"lx\""));
        check("28 °C", Err("without number"));
    }

    #[test]
    fn units_behind_thresholds() {
        assert!(same("Cel", "°C"));
        assert!(same("%", "%RH"));
        assert!(!same("%RH", "%"));
        assert!(!same("K", "°C"));
    }
}
