//! Births and deaths: `from/<board>/life` and `controller`. Both are retained, so that a late comer learns of them.

use std::fmt;

use super::refusal::Refusal;
use super::scan::{Words, is_plain_word};

/// What a board says of its own life.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Life {
    /// `birth 17 power-on`.
    Birth {
        /// Which boot of the board it is, counted in its flash; from 1.
        boot: u32,
        /// Why it started.
        cause: Word,
    },
    /// `death 17`, as a rule its will.
    Death {
        /// The boot that ended, so that a late will cannot end a newer one.
        boot: u32,
    },
}

/// What the controller says of its own life.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ControllerLife {
    /// `birth 0.3.1 4f2c9a1`.
    Birth {
        /// The program's version.
        version: Word,
        /// The revision of the house that runs.
        revision: Word,
    },
    /// `death`.
    Death,
}

/// One word that a person reads: why a board started, a version, a revision. 1 to 40 bytes of printable ASCII without
/// a space.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Word(String);

impl Word {
    /// The longest, in bytes.
    pub const BYTES_MAX: usize = 40;

    /// The word, or `None` where it is empty, too long, or has spaces or other characters.
    pub fn new(word: &str) -> Option<Word> {
        is_plain_word(word, Self::BYTES_MAX).then(|| Word(word.to_owned()))
    }

    /// The nearest word that can be sent: what does not fit becomes `_` or is cut off, nothing becomes `-`.
    pub fn nearest(text: &str) -> Word {
        let fit = |c: char| if c.is_ascii_graphic() { c } else { '_' };
        let word: String = text.chars().take(Self::BYTES_MAX).map(fit).collect();
        Word(if word.is_empty() { "-".to_owned() } else { word })
    }

    /// The word as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Word {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl Life {
    /// Reads a payload.
    ///
    /// # Errors
    /// A [`Refusal`] that names the first word that does not fit.
    pub fn decode(payload: &[u8]) -> Result<Life, Refusal> {
        const FORM: &str = "`birth <boot> <cause>` or `death <boot>`";
        let mut words = Words::of(payload, FORM)?;
        let life = match words.word(FORM)? {
            "birth" => {
                let boot = words.number(1, u32::MAX, "the boot, from 1")?;
                Life::Birth {
                    boot,
                    cause: one_word(&mut words, "why the board started, in one word of at most 40 bytes")?,
                }
            }
            "death" => Life::Death { boot: words.number(1, u32::MAX, "the boot, from 1")? },
            other => return Err(words.wrong(other, FORM)),
        };
        words.end()?;
        Ok(life)
    }

    /// The payload.
    pub fn encode(&self) -> String {
        match self {
            Life::Birth { boot, cause } => format!("birth {boot} {cause}"),
            Life::Death { boot } => format!("death {boot}"),
        }
    }

    /// The boot that it speaks of.
    pub const fn boot(&self) -> u32 {
        match self {
            Life::Birth { boot, .. } | Life::Death { boot } => *boot,
        }
    }
}

impl ControllerLife {
    /// Reads a payload.
    ///
    /// # Errors
    /// A [`Refusal`] that names the first word that does not fit.
    pub fn decode(payload: &[u8]) -> Result<ControllerLife, Refusal> {
        const FORM: &str = "`birth <version> <revision>` or `death`";
        let mut words = Words::of(payload, FORM)?;
        let life = match words.word(FORM)? {
            "birth" => ControllerLife::Birth {
                version: one_word(&mut words, "the version, in one word of at most 40 bytes")?,
                revision: one_word(&mut words, "the revision of the house, in one word of at most 40 bytes")?,
            },
            "death" => ControllerLife::Death,
            other => return Err(words.wrong(other, FORM)),
        };
        words.end()?;
        Ok(life)
    }

    /// The payload.
    pub fn encode(&self) -> String {
        match self {
            ControllerLife::Birth { version, revision } => format!("birth {version} {revision}"),
            ControllerLife::Death => "death".to_owned(),
        }
    }
}

fn one_word(words: &mut Words<'_>, expected: &'static str) -> Result<Word, Refusal> {
    let word = words.word(expected)?;
    Word::new(word).ok_or_else(|| words.wrong(word, expected))
}
