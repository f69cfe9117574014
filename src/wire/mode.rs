//! `selector/<selector>` and `setpoint/<setpoint>`: what people set by message. Whether a position is one of the selector's
//! or a value lies in the range is for whoever sets it; how long is kept as it was said.

use super::hold::{term, with_term};
use super::reading::{NUMBER_BYTES_MAX, parse};
use super::refusal::Refusal;
use super::scan::{Words, is_plain_word};
use crate::house::{NAME_MAX, RELEASE};
use crate::units::Finite;

/// A selector by message: `away 3d`, `away until 22:00`, `away`, `release`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SelectorWord {
    /// Turns it.
    Turn {
        /// To this position.
        position: String,
        /// For how long, as it was said; `None`: until it is turned again.
        term: Option<String>,
    },
    /// Puts it back to its first position.
    Release,
}

/// A setpoint by message: `29.5 until 22:00`, `30 2h`, `29`, `release`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SetpointWord {
    /// Sets it.
    Set {
        /// To this, in its unit.
        value: Finite,
        /// For how long, as it was said; `None`: until the file's value changes.
        term: Option<String>,
    },
    /// Puts it back to the file's value.
    Release,
}

impl SelectorWord {
    /// Reads a payload.
    ///
    /// # Errors
    /// A [`Refusal`] that names the first word that does not fit.
    pub fn decode(payload: &[u8]) -> Result<SelectorWord, Refusal> {
        const FORM: &str = "a position, then how long, or `release`";
        let mut words = Words::of(payload, FORM)?;
        match words.word(FORM)? {
            RELEASE => words.end().map(|()| SelectorWord::Release),
            word if is_plain_word(word, NAME_MAX) => {
                Ok(SelectorWord::Turn { position: word.to_owned(), term: term(&mut words)? })
            }
            word => Err(words.wrong(word, FORM)),
        }
    }

    /// The payload.
    pub fn encode(&self) -> String {
        match self {
            SelectorWord::Turn { position, term } => with_term(position, term.as_ref()),
            SelectorWord::Release => RELEASE.to_owned(),
        }
    }
}

impl SetpointWord {
    /// Reads a payload.
    ///
    /// # Errors
    /// A [`Refusal`] that names the first word that does not fit.
    pub fn decode(payload: &[u8]) -> Result<SetpointWord, Refusal> {
        const FORM: &str = "a number like 29.5, then how long, or `release`";
        let mut words = Words::of(payload, FORM)?;
        match words.word(FORM)? {
            RELEASE => words.end().map(|()| SetpointWord::Release),
            word => match parse(word) {
                Some(value) => Ok(SetpointWord::Set { value, term: term(&mut words)? }),
                None => Err(words.wrong(word, FORM)),
            },
        }
    }

    /// The payload.
    pub fn encode(&self) -> String {
        match self {
            SetpointWord::Set { value, term } => with_term(&written(*value), term.as_ref()),
            SetpointWord::Release => RELEASE.to_owned(),
        }
    }
}

/// A number as it is read back: with an exponent where its digits would be too many.
fn written(value: Finite) -> String {
    let digits = value.get().to_string();
    if digits.len() > NUMBER_BYTES_MAX { format!("{:e}", value.get()) } else { digits }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// What was read as it is written back, or a part of the refusal.
    fn check(read: Result<String, Refusal>, expected: Result<&str, &str>) {
        match (read, expected) {
            (Ok(written), Ok(expected)) => assert_eq!(written, expected),
            (Err(refusal), Err(part)) => assert!(refusal.to_string().contains(part), "{refusal}"),
            (read, expected) => panic!("{read:?}, expected {expected:?}"),
        }
    }

    fn selector(payload: &str) -> Result<String, Refusal> {
        SelectorWord::decode(payload.as_bytes()).map(|word| word.encode())
    }

    fn setpoint(payload: &str) -> Result<String, Refusal> {
        SetpointWord::decode(payload.as_bytes()).map(|word| word.encode())
    }

    #[test]
    fn selectors() {
        for payload in ["away", "away 3d", "away until 22:00", "away until sunset + 30m", "release"] {
            check(selector(payload), Ok(payload));
        }
        check(selector("away\n"), Ok("away"));
        check(selector(""), Err("a position, then how long, or `release`"));
        check(selector(" away"), Err("word 1 is \"\""));
        check(selector("away "), Err("how long, like `2h`"));
        check(selector("release 2h"), Err("\"2h\" is too much"));
        check(selector(&"x".repeat(41)), Err("a position"));
        check(selector(&format!("away {}", "x".repeat(60))), Err("how long"));
        check(SelectorWord::decode(b"\xff").map(|word| word.encode()), Err("not UTF-8"));
    }

    #[test]
    fn setpoints() {
        for payload in ["29.5", "30 2h", "29.5 until 22:00", "-3 3d", "release"] {
            check(setpoint(payload), Ok(payload));
        }
        check(setpoint("29.50"), Ok("29.5"));
        check(setpoint("29,5"), Err("a number like 29.5"));
        check(setpoint("inf"), Err("a number like 29.5"));
        check(setpoint("NaN 2h"), Err("a number like 29.5"));
        check(setpoint("29.5\u{b0}C"), Err("a number like 29.5"));
        check(setpoint("release 2h"), Err("\"2h\" is too much"));
    }

    proptest! {
        #[test]
        fn any_bytes_are_answered_and_what_is_taken_is_written_back(
            bytes in prop::collection::vec(any::<u8>(), 0..60), near in "(away|release|[-0-9.e]{1,8}) ?[a-z0-9: +]{0,12}",
        ) {
            for bytes in [bytes, near.into_bytes()] {
                if let Ok(word) = SelectorWord::decode(&bytes) {
                    prop_assert_eq!(SelectorWord::decode(word.encode().as_bytes()), Ok(word));
                }
                if let Ok(word) = SetpointWord::decode(&bytes) {
                    prop_assert_eq!(SetpointWord::decode(word.encode().as_bytes()), Ok(word));
                }
            }
        }
    }
}
