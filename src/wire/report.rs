//! `from/<board>/report`: what each relay of a board is, and since when. It never says what it should be.

use std::fmt;

use super::RELAYS_MAX;
use super::refusal::Refusal;
use super::scan::{Words, whole};

/// One report, `17 231 4711 on:35:12:0 off:900:11:2`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Report {
    /// Which boot of the board speaks; from 1.
    pub boot: u32,
    /// Counts the reports of that boot; from 1.
    pub beat: u32,
    /// The number of the last orders taken in that boot; 0 for none.
    pub taken: u32,
    /// One for each relay, the first for relay 1; 1 to 16 of them.
    pub relays: Vec<RelayReport>,
}

/// What one relay is. Fields that the firmware does not know are `None`: empty or `-` on the wire, or missing behind the last
/// known one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RelayReport {
    /// Whether the coil is energised.
    pub energised: bool,
    /// Whole seconds in this state, rounded down.
    pub seconds: Option<u32>,
    /// Changes since the boot.
    pub changes: Option<u32>,
    /// Changes made at the board itself since the boot: by its own buttons, or by hand.
    pub hands: Option<u32>,
}

impl Report {
    /// Reads a payload.
    ///
    /// # Errors
    /// A [`Refusal`] that names the first word that does not fit.
    pub fn decode(payload: &[u8]) -> Result<Report, Refusal> {
        let mut words = Words::of(payload, "a report: boot, beat, last order taken, then a word for each relay")?;
        let boot = words.number(1, u32::MAX, "the boot, from 1")?;
        let beat = words.number(1, u32::MAX, "the beat, from 1")?;
        let taken = words.number(0, u32::MAX, "the number of the last orders taken, 0 for none")?;
        let mut relays = Vec::with_capacity(RELAYS_MAX);
        while let Some(word) = words.next() {
            if relays.len() == RELAYS_MAX {
                return Err(words.wrong(word, "no more than sixteen relays"));
            }
            relays.push(RelayReport::parse(word).ok_or_else(|| {
                words.wrong(word, "`on` or `off`, then as far as known `:<seconds>:<changes>:<hands>`")
            })?);
        }
        if relays.is_empty() {
            return Err(Refusal::Missing { expected: "a word for each relay" });
        }
        Ok(Report { boot, beat, taken, relays })
    }

    /// The payload.
    pub fn encode(&self) -> String {
        self.to_string()
    }

    /// The report, if it speaks of as many relays as the board has.
    pub(super) fn of_relays(self, expected: usize) -> Result<Report, Refusal> {
        let found = self.relays.len();
        if found == expected { Ok(self) } else { Err(Refusal::RelayCount { found, expected }) }
    }
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {} {}", self.boot, self.beat, self.taken)?;
        self.relays.iter().try_for_each(|relay| write!(f, " {relay}"))
    }
}

impl RelayReport {
    fn parse(word: &str) -> Option<RelayReport> {
        let mut fields = word.split(':');
        let energised = match fields.next()? {
            "on" => true,
            "off" => false,
            _ => return None,
        };
        let mut numbers = [None; 3];
        for number in &mut numbers {
            *number = match fields.next() {
                None => break,
                Some("" | "-") => None,
                Some(field) => Some(whole(field)?),
            };
        }
        let [seconds, changes, hands] = numbers;
        fields.next().is_none().then_some(RelayReport { energised, seconds, changes, hands })
    }
}

impl fmt::Display for RelayReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(if self.energised { "on" } else { "off" })?;
        let fields = [self.seconds, self.changes, self.hands];
        let known = fields.iter().rposition(Option::is_some).map_or(0, |last| last + 1);
        fields[..known].iter().try_for_each(|field| match field {
            Some(number) => write!(f, ":{number}"),
            None => f.write_str(":-"),
        })
    }
}
