//! `from/<board>/input/<input>`: presses, codes of remotes, and contacts. It never says what a press does.

use std::fmt;

use super::refusal::Refusal;
use super::scan::{Words, is_plain_word};

/// What an input says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum InputWord {
    /// `press 6`: a push button.
    Press {
        /// Counts the presses of this input in one boot, so that a doubled message is known.
        count: u32,
    },
    /// `20DF40BF 7`: a key of a remote.
    Code {
        /// Which key.
        code: Code,
        /// Counts the codes of this input in one boot, so that a doubled message is known.
        count: u32,
    },
    /// `on`: a contact that is closed.
    On,
    /// `off`: a contact that is open.
    Off,
}

/// The code of a remote's key: 1 to 32 bytes of printable ASCII without a space, and none of the words `press`, `on`, `off`.
///
/// Receivers differ in how they write hexadecimal, so codes are equal whatever the case of their letters.
#[derive(Clone, Debug)]
pub struct Code(String);

impl Code {
    /// The longest, in bytes.
    pub const BYTES_MAX: usize = 32;

    /// The code, or `None` where the text cannot be one.
    pub fn new(text: &str) -> Option<Code> {
        let taken = matches!(text, "press" | "on" | "off");
        (is_plain_word(text, Self::BYTES_MAX) && !taken).then(|| Code(text.to_owned()))
    }

    /// The code as it was written.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Whether it is the code that the house names.
    pub fn is(&self, named: &str) -> bool {
        self.0.eq_ignore_ascii_case(named)
    }
}

impl PartialEq for Code {
    fn eq(&self, other: &Code) -> bool {
        self.is(&other.0)
    }
}

impl Eq for Code {}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl InputWord {
    /// Reads a payload.
    ///
    /// # Errors
    /// A [`Refusal`] that names the first word that does not fit.
    pub fn decode(payload: &[u8]) -> Result<InputWord, Refusal> {
        const FORM: &str = "`press <count>`, `<code> <count>`, `on` or `off`";
        const COUNT: &str = "how many there have been since the boot, a whole number";
        let mut words = Words::of(payload, FORM)?;
        let word = match words.word(FORM)? {
            "press" => InputWord::Press { count: words.number(0, u32::MAX, COUNT)? },
            "on" => InputWord::On,
            "off" => InputWord::Off,
            code => {
                let code = Code::new(code).ok_or_else(|| words.wrong(code, FORM))?;
                InputWord::Code { code, count: words.number(0, u32::MAX, COUNT)? }
            }
        };
        words.end()?;
        Ok(word)
    }

    /// The payload.
    pub fn encode(&self) -> String {
        match self {
            InputWord::Press { count } => format!("press {count}"),
            InputWord::Code { code, count } => format!("{code} {count}"),
            InputWord::On => "on".to_owned(),
            InputWord::Off => "off".to_owned(),
        }
    }
}
