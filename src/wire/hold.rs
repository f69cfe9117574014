//! `hold/<load>`: a hand by message. How long is kept as it was said; whoever makes the hold knows how to read that.

use super::refusal::Refusal;
use super::scan::Words;
use crate::house::{State, Words as StateWords};

/// A hand by message: `on 2h`, `off until sunset`, `on`, `release`; for an actuator `open` and `closed`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum HoldWord {
    /// Holds the load.
    Hold {
        /// In this state.
        state: State,
        /// For how long, as it was said; `None`: as the load's `hold_for` says.
        term: Option<String>,
    },
    /// Ends the load's hold.
    Release,
}

/// The longest term, in bytes.
const TERM_BYTES_MAX: usize = 48;

impl HoldWord {
    /// Reads a payload in the words of the load that it is for.
    ///
    /// # Errors
    /// A [`Refusal`] that names the first word that does not fit.
    pub fn decode(payload: &[u8], words: StateWords) -> Result<HoldWord, Refusal> {
        let form = match words {
            StateWords::OnOff => "`on` or `off`, then how long, or `release`",
            StateWords::OpenClosed => "`open` or `closed`, then how long, or `release`",
        };
        let mut said = Words::of(payload, form)?;
        let word = said.word(form)?;
        if word == "release" {
            said.end()?;
            return Ok(HoldWord::Release);
        }
        let Some(state) = words.state(word) else { return Err(said.wrong(word, form)) };
        let term = term(&mut said)?;
        Ok(HoldWord::Hold { state, term })
    }

    /// The payload, in the words of the load that it is for.
    pub fn encode(&self, words: StateWords) -> String {
        match self {
            HoldWord::Hold { state, term } => with_term(words.word(*state), term.as_ref()),
            HoldWord::Release => "release".to_owned(),
        }
    }
}

/// How long, as it was said behind what is wanted; `None` where nothing was said.
pub(super) fn term(words: &mut Words<'_>) -> Result<Option<String>, Refusal> {
    const TERM: &str = "how long, like `2h`, `until 22:30` or `until sunset`";
    match words.remainder() {
        None => Ok(None),
        Some(term) if (1..=TERM_BYTES_MAX).contains(&term.len()) && !term.chars().any(char::is_control) => {
            Ok(Some(term.to_owned()))
        }
        Some(term) => Err(words.wrong(term, TERM)),
    }
}

/// What was said, and how long behind it.
pub(super) fn with_term(what: &str, term: Option<&String>) -> String {
    term.map_or_else(|| what.to_owned(), |term| format!("{what} {term}"))
}
