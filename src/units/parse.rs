//! Durations and electrical quantities as people write them: `1h30m`, `45 W`, `72 mA`. Every refusal says what to write
//! instead. It never panics and never guesses a unit.

use std::fmt;

use super::{Amperes, Span, Watts};

/// The longest duration that is taken: a year and a day.
pub const SPAN_MAX: Span = Span::from_h(366 * 24);

/// The greatest power that is taken; more is not a load of a house.
pub const WATTS_MAX: Watts = Watts(100_000.0);

/// The greatest current that is taken.
pub const AMPERES_MAX: Amperes = Amperes(1_000.0);

/// Units of duration, longest first, with their length in milliseconds.
const SPAN_UNITS: [(&str, u64); 6] =
    [("d", 86_400_000), ("h", 3_600_000), ("min", 60_000), ("m", 60_000), ("s", 1_000), ("ms", 1)];

/// Why a quantity was refused, and what to write instead.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QuantityError {
    /// What is wrong, as a clause without a full stop.
    pub cause: String,
    /// What to write, as an instruction without a full stop.
    pub help: String,
}

impl QuantityError {
    pub(super) fn new(cause: impl Into<String>, help: impl Into<String>) -> QuantityError {
        QuantityError { cause: cause.into(), help: help.into() }
    }
}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.cause, self.help)
    }
}

impl std::error::Error for QuantityError {}

impl Span {
    /// Parses `90s`, `1h30m`, `400ms`, `3d`, `1.5 h`: numbers with units, longest first, each at most once.
    ///
    /// # Errors
    /// A bare number, a negative one, an unknown unit, parts out of order, parts of a millisecond, or more than
    /// [`SPAN_MAX`]; the error says what to write.
    pub fn parse(text: &str) -> Result<Span, QuantityError> {
        const FORM: &str = "write a duration such as \"90s\", \"5m\", \"1h30m\" or \"2d\"";
        let mut rest = text.trim();
        if rest.is_empty() {
            return Err(QuantityError::new("the duration is empty", FORM));
        }
        let mut total: u64 = 0;
        let mut last_length = u64::MAX;
        while !rest.is_empty() {
            let (number, after) = number_head(rest, FORM)?;
            let (unit, after) = unit_head(after);
            if unit.is_empty() {
                return Err(bare_span(text.trim(), number));
            }
            let Some(&(_, length)) = SPAN_UNITS.iter().find(|(name, _)| *name == unit) else {
                return Err(unknown_span_unit(number, unit));
            };
            if length >= last_length {
                return Err(QuantityError::new(
                    format!("the parts of \"{}\" are not in order", clip(text)),
                    "write days, hours, minutes and seconds in this order, each once, as in \"1h30m\"",
                ));
            }
            last_length = length;
            total = total.saturating_add(scaled(number, length)?);
            rest = after.trim_start();
        }
        if total > SPAN_MAX.0 {
            return Err(QuantityError::new(
                format!("\"{}\" is longer than a year", clip(text)),
                "write at most \"366d\"",
            ));
        }
        Ok(Span(total))
    }
}

impl Watts {
    /// Parses `45 W` or `2.8 kW`.
    ///
    /// # Errors
    /// A bare number, a negative one, another unit, or more than [`WATTS_MAX`]; the error says what to write.
    pub fn parse(text: &str) -> Result<Watts, QuantityError> {
        let value = electrical(text, &[("W", 1.0), ("kW", 1000.0)], "a power such as \"45 W\" or \"2.8 kW\"")?;
        if value > WATTS_MAX.0 {
            return Err(QuantityError::new(
                format!("\"{}\" is more than any load of a house takes", clip(text)),
                format!("write the rated power from the appliance's plate, at most \"{WATTS_MAX}\""),
            ));
        }
        Ok(Watts(value))
    }
}

impl Amperes {
    /// Parses `16 A` or `72 mA`.
    ///
    /// # Errors
    /// A bare number, a negative one, another unit, or more than [`AMPERES_MAX`]; the error says what to write.
    pub fn parse(text: &str) -> Result<Amperes, QuantityError> {
        let value = electrical(text, &[("A", 1.0), ("mA", 0.001)], "a current such as \"16 A\" or \"72 mA\"")?;
        if value > AMPERES_MAX.0 {
            return Err(QuantityError::new(
                format!("\"{}\" is more than any supply of a house gives", clip(text)),
                format!("write at most \"{AMPERES_MAX}\""),
            ));
        }
        Ok(Amperes(value))
    }
}

/// A number at the start of `text`: digits and at most one point between digits.
fn number_head<'t>(text: &'t str, form: &str) -> Result<(&'t str, &'t str), QuantityError> {
    if text.starts_with(['-', '\u{2212}']) {
        return Err(QuantityError::new(format!("\"{}\" is negative", clip(text)), "write it without the minus sign"));
    }
    let end = text.find(|c: char| !(c.is_ascii_digit() || c == '.' || c == ',')).unwrap_or(text.len());
    let (number, rest) = text.split_at(end);
    if number.contains(',') {
        return Err(QuantityError::new(
            format!("\"{}\" has a comma", clip(number)),
            "write a point before the decimals, and nothing between thousands, as in \"2.8\"",
        ));
    }
    let point = number.find('.');
    let whole = &number[..point.unwrap_or(number.len())];
    let decimals = point.map(|at| &number[at + 1..]);
    if whole.is_empty() || decimals.is_some_and(|part| part.is_empty() || part.contains('.')) {
        return Err(QuantityError::new(format!("\"{}\" does not begin with a number", clip(text)), form));
    }
    Ok((number, rest))
}

/// The letters after a number, blanks before them left out.
fn unit_head(text: &str) -> (&str, &str) {
    let text = text.trim_start();
    let end = text.find(|c: char| c.is_ascii_digit() || c.is_whitespace()).unwrap_or(text.len());
    text.split_at(end)
}

fn bare_span(text: &str, number: &str) -> QuantityError {
    QuantityError::new(
        format!("\"{}\" has no unit", clip(text)),
        format!("say which: \"{number}s\" for seconds, \"{number}m\" for minutes, \"{number}h\" for hours"),
    )
}

fn unknown_span_unit(number: &str, unit: &str) -> QuantityError {
    let lower = unit.to_ascii_lowercase();
    let meant = match lower.as_str() {
        "sec" | "secs" | "second" | "seconds" => "s",
        "mins" | "minute" | "minutes" => "m",
        "hr" | "hrs" | "hour" | "hours" => "h",
        "day" | "days" => "d",
        "msec" | "millis" | "milliseconds" => "ms",
        other => SPAN_UNITS.iter().map(|(name, _)| *name).find(|name| *name == other).unwrap_or(""),
    };
    let help = if meant.is_empty() {
        "use d, h, m, s or ms, as in \"1h30m\"".to_owned()
    } else {
        format!("write \"{number}{meant}\"")
    };
    QuantityError::new(format!("\"{}\" is no unit of time", clip(unit)), help)
}

/// `number` times `length`, exact in milliseconds.
fn scaled(number: &str, length: u64) -> Result<u64, QuantityError> {
    let too_large = || QuantityError::new(format!("\"{}\" is too large", clip(number)), "write at most \"366d\"");
    let (whole, decimals) = number.split_once('.').unwrap_or((number, ""));
    let whole: u64 = whole.parse().map_err(|_| too_large())?;
    let mut total = u128::from(whole) * u128::from(length);
    if !decimals.is_empty() {
        let digits = decimals.trim_end_matches('0');
        let fraction: u128 = match digits {
            "" => 0,
            _ if digits.len() > 9 => return Err(too_fine(number)),
            _ => digits.parse().map_err(|_| too_large())?,
        };
        let divisor = 10_u128.pow(digits.len() as u32);
        let scaled = fraction * u128::from(length);
        if !scaled.is_multiple_of(divisor) {
            return Err(too_fine(number));
        }
        total += scaled / divisor;
    }
    u64::try_from(total).map_err(|_| too_large())
}

fn too_fine(number: &str) -> QuantityError {
    QuantityError::new(
        format!("\"{}\" is finer than a millisecond", clip(number)),
        "use fewer decimals, or a smaller unit",
    )
}

/// One number and one unit of a table.
pub(super) fn electrical(text: &str, units: &[(&str, f64)], form: &str) -> Result<f64, QuantityError> {
    let trimmed = text.trim();
    let write = format!("write {form}");
    let (number, rest) = number_head(trimmed, &write)?;
    let unit = rest.trim();
    if unit.is_empty() {
        let choices: Vec<String> = units.iter().map(|(name, _)| format!("\"{number} {name}\"")).collect();
        let help = format!("say which: {}", choices.join(" or "));
        return Err(QuantityError::new(format!("\"{}\" has no unit", clip(trimmed)), help));
    }
    let Some((_, factor)) = units.iter().find(|(name, _)| *name == unit) else {
        let meant = units.iter().find(|(name, _)| name.eq_ignore_ascii_case(unit));
        let help = meant.map_or(write, |(name, _)| format!("write \"{number} {name}\""));
        return Err(QuantityError::new(format!("\"{}\" does not fit here", clip(unit)), help));
    };
    let value: f64 =
        number.parse().map_err(|_| QuantityError::new(format!("\"{}\" is no number", clip(number)), ""))?;
    // Milliwatts and microamperes are finer than any plate or data sheet; rounding there undoes binary dust.
    Ok((value * factor * 1e6).round() / 1e6)
}

/// At most the first forty characters, so that a message stays readable.
fn clip(text: &str) -> String {
    let text = text.trim();
    match text.char_indices().nth(40) {
        Some((at, _)) => format!("{}…", &text[..at]),
        None => text.to_owned(),
    }
}

impl fmt::Display for Span {
    /// `2d`, `1h30m`, `90s` as `1m30s`, `1.5s`, `400ms`, `0s`; [`Span::parse`] reads it back.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut rest = self.0;
        if rest == 0 {
            return f.write_str("0s");
        }
        for (unit, length) in [("d", 86_400_000), ("h", 3_600_000), ("m", 60_000)] {
            if rest >= length {
                write!(f, "{}{unit}", rest / length)?;
                rest %= length;
            }
        }
        match (rest / 1000, rest % 1000) {
            (0, 0) => Ok(()),
            (0, ms) => write!(f, "{ms}ms"),
            (s, 0) => write!(f, "{s}s"),
            (s, ms) => write!(f, "{s}.{}s", format!("{ms:03}").trim_end_matches('0')),
        }
    }
}

impl fmt::Display for Watts {
    /// `45 W`, `2.8 kW`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 >= 1000.0 { write!(f, "{} kW", tidy(self.0 / 1000.0)) } else { write!(f, "{} W", tidy(self.0)) }
    }
}

impl fmt::Display for Amperes {
    /// `16 A`, `72 mA`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 < 1.0 && self.0 > 0.0 {
            write!(f, "{} mA", tidy(self.0 * 1000.0))
        } else {
            write!(f, "{} A", tidy(self.0))
        }
    }
}

/// Six decimals at most, so that binary dust does not show.
pub(super) fn tidy(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn span(text: &str, expected: Result<u64, &str>) {
        match (Span::parse(text), expected) {
            (Ok(span), Ok(ms)) => assert_eq!(span, Span(ms), "{text}"),
            (Err(error), Err(part)) => assert!(error.to_string().contains(part), "{text}: {error}"),
            (got, expected) => panic!("{text}: {got:?}, expected {expected:?}"),
        }
    }

    #[test]
    fn durations() {
        span("90s", Ok(90_000));
        span("1h30m", Ok(5_400_000));
        span("400ms", Ok(400));
        span("3d", Ok(259_200_000));
        span("2 h", Ok(7_200_000));
        span(" 1h 30 min ", Ok(5_400_000));
        span("1.5s", Ok(1_500));
        span("0s", Ok(0));
        span("366d", Ok(SPAN_MAX.0));
    }

    #[test]
    fn refused_durations_say_what_to_write() {
        span("90", Err("\"90s\" for seconds, \"90m\" for minutes"));
        span("1h30", Err("has no unit"));
        span("-5m", Err("without the minus"));
        span("", Err("\"1h30m\""));
        span("soon", Err("\"90s\""));
        span("5 minutes", Err("write \"5m\""));
        span("5M", Err("write \"5m\""));
        span("30s5m", Err("in this order"));
        span("5m5m", Err("in this order"));
        span("1,5h", Err("a point"));
        span("1.h", Err("does not begin"));
        span("0.5ms", Err("finer than a millisecond"));
        span("367d", Err("at most \"366d\""));
        span("99999999999999999999999d", Err("too large"));
        span("5 fortnights", Err("d, h, m, s or ms"));
    }

    #[test]
    fn powers_and_currents() {
        let watts = |text: &str| Watts::parse(text).map(|w| w.to_string()).unwrap_or_else(|e| e.to_string());
        assert_eq!(watts("45 W"), "45 W");
        assert_eq!(watts("2.8kW"), "2.8 kW");
        assert_eq!(watts("2800 W"), "2.8 kW");
        assert_eq!(watts("45"), "\"45\" has no unit; say which: \"45 W\" or \"45 kW\"");
        assert_eq!(watts("45 w"), "\"w\" does not fit here; write \"45 W\"");
        assert!(watts("45 A").contains("write a power such as"));
        assert!(watts("-45 W").contains("without the minus"));
        assert!(watts("9999999 W").contains("at most \"100 kW\""));
        let amperes = |text: &str| Amperes::parse(text).map(|a| a.to_string()).unwrap_or_else(|e| e.to_string());
        assert_eq!(amperes("16 A"), "16 A");
        assert_eq!(amperes("72 mA"), "72 mA");
        assert_eq!(amperes("0.5 A"), "500 mA");
        assert_eq!(amperes("0 A"), "0 A");
        assert!(amperes("5000 A").contains("at most \"1000 A\""));
    }

    #[test]
    fn shown_durations() {
        for (ms, shown) in
            [(0, "0s"), (90_000, "1m30s"), (5_400_000, "1h30m"), (400, "400ms"), (1_050, "1.05s"), (86_400_000, "1d")]
        {
            assert_eq!(Span(ms).to_string(), shown);
        }
    }

    proptest! {
        #[test]
        fn shown_durations_read_back(ms in 0..=SPAN_MAX.0) {
            prop_assert_eq!(Span::parse(&Span(ms).to_string()), Ok(Span(ms)));
        }

        #[test]
        fn any_text_is_answered(text in ".{0,30}") {
            let _ = (Span::parse(&text), Watts::parse(&text), Amperes::parse(&text));
        }

        #[test]
        fn near_misses_are_answered(text in "[-0-9., dhmsWkA]{0,12}") {
            let _ = (Span::parse(&text), Watts::parse(&text), Amperes::parse(&text));
        }
    }
}
