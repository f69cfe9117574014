//! Words of a payload, one after the other. It never allocates except to say what is wrong.

use super::refusal::{Excerpt, Refusal, bounded};

/// Reads a payload word by word and knows where it is, so that a refusal can say so.
pub(super) struct Words<'a> {
    rest: Option<&'a str>,
    position: usize,
}

impl<'a> Words<'a> {
    /// Starts on a payload. A line end behind it, as text tools leave one, is not part of it.
    pub fn of(payload: &'a [u8], expected: &'static str) -> Result<Words<'a>, Refusal> {
        let text = text(payload)?;
        if text.is_empty() {
            return Err(Refusal::Empty { expected });
        }
        Ok(Words { rest: Some(text), position: 0 })
    }

    /// The next word, if there is one. Two spaces in a row make an empty word, which no caller accepts.
    pub fn next(&mut self) -> Option<&'a str> {
        let rest = self.rest?;
        self.position += 1;
        let (word, rest) = match rest.split_once(' ') {
            Some((word, rest)) => (word, Some(rest)),
            None => (rest, None),
        };
        self.rest = rest;
        Some(word)
    }

    /// The next word, which must be there.
    pub fn word(&mut self, expected: &'static str) -> Result<&'a str, Refusal> {
        self.next().ok_or(Refusal::Missing { expected })
    }

    /// The next word as a whole number within bounds.
    pub fn number(&mut self, least: u32, most: u32, expected: &'static str) -> Result<u32, Refusal> {
        let word = self.word(expected)?;
        match whole(word) {
            Some(number) if (least..=most).contains(&number) => Ok(number),
            _ => Err(self.wrong(word, expected)),
        }
    }

    /// Everything that is left, spaces included.
    pub fn remainder(&mut self) -> Option<&'a str> {
        self.position += 1;
        self.rest.take()
    }

    /// Nothing may be left.
    pub fn end(mut self) -> Result<(), Refusal> {
        match self.next() {
            None => Ok(()),
            Some(word) => Err(Refusal::Surplus { found: Excerpt::of(word) }),
        }
    }

    /// The refusal of the word that was read last.
    pub fn wrong(&self, word: &str, expected: &'static str) -> Refusal {
        Refusal::Word { position: self.position, found: Excerpt::of(word), expected }
    }
}

/// The payload as text, bounded, without the line end behind it.
pub(super) fn text(payload: &[u8]) -> Result<&str, Refusal> {
    let text = std::str::from_utf8(bounded(payload)?).map_err(|_| Refusal::NotText)?;
    let text = text.strip_suffix('\n').unwrap_or(text);
    Ok(text.strip_suffix('\r').unwrap_or(text))
}

/// A whole number of at most ten digits and 32 bits; no sign, nothing but digits.
pub(super) fn whole(word: &str) -> Option<u32> {
    let digits = (1..=10).contains(&word.len()) && word.bytes().all(|byte| byte.is_ascii_digit());
    if digits { word.parse().ok() } else { None }
}

/// Whether a word is 1 to `most` bytes of printable ASCII without a space.
pub(super) fn is_plain_word(word: &str, most: usize) -> bool {
    (1..=most).contains(&word.len()) && word.bytes().all(|byte| byte.is_ascii_graphic())
}
