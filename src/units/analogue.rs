//! Resistance and voltage as people write them: `10 kΩ`, `3.3 V`. Every refusal says what to write instead.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::parse::{QuantityError, electrical, tidy};

/// Electrical resistance in ohms.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
pub struct Ohms(pub f64);

/// Electrical tension in volts.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
pub struct Volts(pub f64);

/// The greatest resistance that is taken; more is an open circuit.
pub const OHMS_MAX: Ohms = Ohms(1e9);

/// The greatest voltage that is taken: an analogue input of a board sees no more.
pub const VOLTS_MAX: Volts = Volts(60.0);

impl Ohms {
    /// Parses `470 Ω`, `10 kΩ` or `1 MΩ`; `Ohm` is the code of SenML (RFC 8428, section 12.1), and takes the same prefixes.
    ///
    /// # Errors
    /// A bare number, a negative one, nothing at all, another unit, or more than [`OHMS_MAX`]; the error says what to write.
    pub fn parse(text: &str) -> Result<Ohms, QuantityError> {
        // The sign of the unit and the Greek letter look the same and are two characters.
        let text = text.replace('\u{2126}', "Ω").replace("Ohm", "Ω").replace("ohm", "Ω");
        let trimmed = text.trim();
        if let Some((number, prefix)) = trimmed.split_at_checked(trimmed.len().saturating_sub(1))
            && let ("k" | "K" | "M", Ok(_)) = (prefix, number.trim().parse::<f64>())
        {
            let cause = format!("\"{trimmed}\" has no unit");
            let prefix = if prefix == "M" { "M" } else { "k" };
            return Err(QuantityError::new(cause, format!("write \"{} {prefix}Ω\"", number.trim())));
        }
        let units = [("Ω", 1.0), ("kΩ", 1e3), ("MΩ", 1e6)];
        let value = electrical(&text, &units, "a resistance such as \"10 kΩ\" or \"10 kOhm\"")?;
        if value <= 0.0 || value > OHMS_MAX.0 {
            let cause = format!("\"{}\" is no resistor", text.trim());
            return Err(QuantityError::new(cause, "write what is printed on it or measured, such as \"10 kΩ\""));
        }
        Ok(Ohms(value))
    }
}

impl Volts {
    /// Parses `3.3 V` or `1100 mV`.
    ///
    /// # Errors
    /// A bare number, a negative one, nothing at all, another unit, or more than [`VOLTS_MAX`]; the error says what to write.
    pub fn parse(text: &str) -> Result<Volts, QuantityError> {
        let value = electrical(text, &[("V", 1.0), ("mV", 0.001)], "a voltage such as \"3.3 V\" or \"1100 mV\"")?;
        if value <= 0.0 || value > VOLTS_MAX.0 {
            let cause = format!("\"{}\" is no voltage of an analogue input", text.trim());
            return Err(QuantityError::new(cause, format!("write more than nothing and at most \"{VOLTS_MAX}\"")));
        }
        Ok(Volts(value))
    }
}

impl fmt::Display for Ohms {
    /// `470 Ω`, `10 kΩ`, `1 MΩ`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            ohm if ohm >= 1e6 => write!(f, "{} MΩ", tidy(ohm / 1e6)),
            ohm if ohm >= 1e3 => write!(f, "{} kΩ", tidy(ohm / 1e3)),
            ohm => write!(f, "{} Ω", tidy(ohm)),
        }
    }
}

impl fmt::Display for Volts {
    /// `3.3 V`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} V", tidy(self.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ohms(text: &str, expected: &str) {
        let got = Ohms::parse(text).map_or_else(|error| error.to_string(), |ohms| ohms.to_string());
        assert!(got == expected || (got.len() > 12 && got.contains(expected)), "{text}: {got}");
    }

    fn volts(text: &str, expected: &str) {
        let got = Volts::parse(text).map_or_else(|error| error.to_string(), |volts| volts.to_string());
        assert!(got == expected || (got.len() > 12 && got.contains(expected)), "{text}: {got}");
    }

    #[test]
    fn resistances() {
        ohms("10 kΩ", "10 kΩ");
        ohms("10 k\u{2126}", "10 kΩ");
        ohms("4.7kOhm", "4.7 kΩ");
        ohms("470 ohm", "470 Ω");
        ohms("1000 kΩ", "1 MΩ");
        ohms("10000", "say which: \"10000 Ω\" or \"10000 kΩ\"");
        ohms("10k", "write \"10 kΩ\"");
        ohms("2 M", "write \"2 MΩ\"");
        ohms("4k7", "write a resistance such as \"10 kΩ\"");
        ohms("k", "write a resistance such as \"10 kΩ\"");
        ohms("0 Ω", "no resistor");
        ohms("2000 MΩ", "no resistor");
        ohms("-5 kΩ", "without the minus");
    }

    #[test]
    fn voltages() {
        volts("3.3 V", "3.3 V");
        volts("1100 mV", "1.1 V");
        volts("5", "\"5 V\"");
        volts("230 V", "at most \"60 V\"");
        volts("0 V", "more than nothing");
    }
}
