//! Windows as text, both ways: `sunset - 20m`, `sun..thu`, `10-01..04-15`. Every refusal says what to write instead.

use std::fmt;

use jiff::civil::{Date, Time, Weekday};

use super::{OFFSET_S_MAX, Weekdays, Window, WindowEnd, YearSpan};
use crate::sun::SunEvent;
use crate::units::{QuantityError, Span};

const DAY_WORDS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

const END_FORM: &str = "write a clock time such as \"23:15\", or sunrise, sunset, dawn or dusk with or without an offset, such as \"sunset - 20m\"";
const DAYS_FORM: &str = "write days such as \"mon..fri\", \"sat\" or \"mon,wed,fri\"";
const DATES_FORM: &str = "write months and days such as \"10-01..04-15\", or one day such as \"12-24\"";

/// Why a window, or a part of one, was refused, and what to write instead.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScheduleError {
    /// What is wrong, as a clause without a full stop.
    pub cause: String,
    /// What to write, as an instruction without a full stop.
    pub help: String,
}

impl ScheduleError {
    pub(crate) fn new(cause: impl Into<String>, help: impl Into<String>) -> ScheduleError {
        ScheduleError { cause: cause.into(), help: help.into() }
    }
}

impl fmt::Display for ScheduleError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.cause, self.help)
    }
}

impl std::error::Error for ScheduleError {}

impl From<QuantityError> for ScheduleError {
    fn from(error: QuantityError) -> ScheduleError {
        ScheduleError { cause: error.cause, help: error.help }
    }
}

/// Parses a clock time of 24 hours, `07:05` or `07:05:30`.
///
/// # Errors
/// Anything else. `24:00` is refused too: as a `to` it is `00:00`, since a window whose `to` is earlier runs into the next
/// day.
pub fn parse_clock(text: &str) -> Result<Time, ScheduleError> {
    const FORM: &str = "write a time of 24 hours such as \"07:05\" or \"23:15\"";
    let text = text.trim();
    let refused = |help: String| ScheduleError::new(format!("\"{}\" is no clock time", clip(text)), help);
    if let Some(time) = half_day(text) {
        return Err(refused(format!("write \"{}\"", show_clock(time))));
    }
    let parts: Vec<&str> = text.split(':').collect();
    let is_number = |part: &&str| (1..=2).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_digit());
    if !(2..=3).contains(&parts.len()) || !parts.iter().all(is_number) {
        return Err(refused(FORM.to_owned()));
    }
    // Two digits of ASCII always make a number that fits.
    let numbers: Vec<i8> = parts.iter().filter_map(|part| part.parse().ok()).collect();
    let second = numbers.get(2).copied().unwrap_or(0);
    if numbers[0] == 24 && numbers[1] == 0 && second == 0 {
        return Err(refused("write \"00:00\": as a `to` it is the midnight at which the day ends".to_owned()));
    }
    let Ok(time) = Time::new(numbers[0], numbers[1], second, 0) else {
        return Err(refused("hours go from 00 to 23, minutes and seconds from 00 to 59".to_owned()));
    };
    if parts.iter().any(|part| part.len() != 2) {
        return Err(refused(format!("write \"{}\"", show_clock(time))));
    }
    Ok(time)
}

/// `6am`, `9:30 pm` as a time of 24 hours.
fn half_day(text: &str) -> Option<Time> {
    let lower = text.to_ascii_lowercase();
    let (digits, noon) = match (lower.strip_suffix("am"), lower.strip_suffix("pm")) {
        (Some(digits), _) => (digits, 0),
        (_, Some(digits)) => (digits, 12),
        _ => return None,
    };
    let (hour, minute) = digits.trim().split_once([':', '.']).unwrap_or((digits.trim(), "0"));
    let hour = hour.parse::<i8>().ok().filter(|hour| (1..=12).contains(hour))?;
    Time::new(hour % 12 + noon, minute.parse().ok()?, 0, 0).ok()
}

/// `07:05`, or `07:05:30` where there are seconds.
pub fn show_clock(time: Time) -> String {
    let (hour, minute, second) = (time.hour(), time.minute(), time.second());
    if second == 0 { format!("{hour:02}:{minute:02}") } else { format!("{hour:02}:{minute:02}:{second:02}") }
}

impl WindowEnd {
    /// Parses `23:15`, `sunset`, `sunset - 20m`, `dawn+1h`.
    ///
    /// # Errors
    /// Neither a clock time nor an event of the sun, or an offset that is no duration in whole seconds or longer than
    /// half a day.
    pub fn parse(text: &str) -> Result<WindowEnd, ScheduleError> {
        let text = text.trim();
        let end_of_word = text.find(|c: char| !c.is_ascii_alphabetic()).unwrap_or(text.len());
        let (word, rest) = text.split_at(end_of_word);
        if word.is_empty() {
            let starts_with_digit = text.starts_with(|c: char| c.is_ascii_digit());
            return if starts_with_digit {
                parse_clock(text).map(WindowEnd::Clock)
            } else {
                Err(ScheduleError::new(format!("\"{}\" is no end of a window", clip(text)), END_FORM))
            };
        }
        let Some(event) = SunEvent::from_word(word) else { return Err(unknown_event(word, rest)) };
        offset(event, rest.trim()).map(|offset_s| WindowEnd::Sun(event, offset_s))
    }
}

fn unknown_event(word: &str, rest: &str) -> ScheduleError {
    let lower = word.to_ascii_lowercase();
    let meant = match lower.as_str() {
        "noon" | "midday" => Some("12:00"),
        "midnight" => Some("00:00"),
        "sundown" => Some("sunset"),
        "sunup" => Some("sunrise"),
        "daybreak" => Some("dawn"),
        "twilight" | "nightfall" => Some("dusk"),
        other => SunEvent::from_word(other).map(SunEvent::word),
    };
    let help = match meant {
        Some(meant) if meant.contains(':') => format!("write \"{meant}\""),
        Some(meant) => format!("write \"{meant}{}\"", clip_end(rest)),
        None => END_FORM.to_owned(),
    };
    ScheduleError::new(format!("\"{}\" is neither a clock time nor an event of the sun", clip(word)), help)
}

/// `+ 1h` or `- 20m` behind an event, in seconds; nothing is no offset.
fn offset(event: SunEvent, text: &str) -> Result<i32, ScheduleError> {
    let mut chars = text.chars();
    let sign = match chars.next() {
        None => return Ok(0),
        Some('+') => 1,
        // Text copied from a page may carry the typographic minus.
        Some('-' | '\u{2212}') => -1,
        Some(_) => {
            return Err(ScheduleError::new(
                format!("\"{}\" behind {event} is no offset", clip(text)),
                format!("write \"{event} + 30m\" for later or \"{event} - 20m\" for earlier"),
            ));
        }
    };
    let span = Span::parse(chars.as_str())?;
    if span.0 % 1000 != 0 {
        return Err(ScheduleError::new(
            format!("the offset of {event} is finer than a second"),
            "write whole seconds, or minutes and hours",
        ));
    }
    match i32::try_from(span.whole_s()) {
        Ok(offset_s) if offset_s <= OFFSET_S_MAX => Ok(sign * offset_s),
        _ => Err(ScheduleError::new(
            format!("the offset of {event} is longer than half a day"),
            "write at most \"12h\", or count from another event",
        )),
    }
}

impl fmt::Display for WindowEnd {
    /// `23:15`, `sunset`, `sunset - 20m`; [`WindowEnd::parse`] reads it back.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            WindowEnd::Clock(time) => f.write_str(&show_clock(*time)),
            WindowEnd::Sun(event, 0) => write!(f, "{event}"),
            WindowEnd::Sun(event, offset_s) => {
                let sign = if *offset_s < 0 { '-' } else { '+' };
                write!(f, "{event} {sign} {}", Span::from_s(u64::from(offset_s.unsigned_abs())))
            }
        }
    }
}

impl Weekdays {
    /// Every day of the week.
    pub const ALL: Weekdays = Weekdays(0x7f);

    /// Whether a weekday is among them.
    pub fn contains(self, day: Weekday) -> bool {
        self.0 >> day.to_monday_zero_offset() & 1 == 1
    }

    /// Parses `mon..fri`, `sat`, `mon,wed,fri`, `sun..thu`; a range may run over the week's end.
    ///
    /// # Errors
    /// A word that is no weekday of three small letters, or no day at all.
    pub fn parse(text: &str) -> Result<Weekdays, ScheduleError> {
        let mut bits = 0;
        for part in text.split(',') {
            let (first, last) = match part.split_once("..") {
                Some((first, last)) => (weekday(first)?, weekday(last)?),
                None => (weekday(part)?, weekday(part)?),
            };
            let length = (last + 7 - first) % 7;
            for step in 0..=length {
                bits |= 1 << ((first + step) % 7);
            }
        }
        Ok(Weekdays(bits))
    }
}

/// A weekday's number from Monday, 0.
fn weekday(text: &str) -> Result<u8, ScheduleError> {
    let text = text.trim();
    if let Some(index) = DAY_WORDS.iter().position(|word| *word == text) {
        return Ok(index as u8);
    }
    let day = |text: &str| {
        let lower = text.trim().to_ascii_lowercase();
        DAY_WORDS.iter().find(|word| lower.starts_with(**word)).copied()
    };
    let range = text.split_once(['-', '–']).and_then(|(first, last)| Some((day(first)?, day(last)?)));
    let help = match (range, day(text), text.to_ascii_lowercase().as_str()) {
        (Some((first, last)), ..) => format!("write a range with two points: \"{first}..{last}\""),
        (None, Some(word), _) => format!("write \"{word}\""),
        (None, None, "weekday" | "weekdays" | "workdays") => "write \"mon..fri\"".to_owned(),
        (None, None, "weekend" | "weekends") => "write \"sat,sun\"".to_owned(),
        (None, None, "daily" | "all" | "every day") => "leave `days` out: it is every day then".to_owned(),
        (None, None, _) => DAYS_FORM.to_owned(),
    };
    Err(ScheduleError::new(format!("\"{}\" is no weekday", clip(text)), help))
}

impl fmt::Display for Weekdays {
    /// `mon..fri`, `sat`, `mon,wed,fri`; [`Weekdays::parse`] reads it back.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 & 0x7f == 0x7f {
            return f.write_str("mon..sun");
        }
        let has = |day: usize| self.0 >> (day % 7) & 1 == 1;
        let mut runs = Vec::new();
        // A run begins where the day before is missing, so one over the week's end is found at its first day.
        for first in (0..7).filter(|day| has(*day) && !has(day + 6)) {
            let length = (1..7).take_while(|step| has(first + step)).count();
            let (head, last) = (DAY_WORDS[first], DAY_WORDS[(first + length) % 7]);
            runs.push(match length {
                0 => head.to_owned(),
                1 => format!("{head},{last}"),
                _ => format!("{head}..{last}"),
            });
        }
        f.write_str(if runs.is_empty() { "no day".to_owned() } else { runs.join(",") }.as_str())
    }
}

impl YearSpan {
    /// Whether a day's month and day lie in it, both ends included.
    pub fn contains(self, day: Date) -> bool {
        let at = (day.month(), day.day());
        if self.from <= self.to { self.from <= at && at <= self.to } else { at >= self.from || at <= self.to }
    }

    /// Parses `10-01..04-15`, or one day, `12-24`.
    ///
    /// # Errors
    /// No months and days of two digits, or a day that its month never has.
    pub fn parse(text: &str) -> Result<YearSpan, ScheduleError> {
        let (from, to) = text.split_once("..").unwrap_or((text, text));
        Ok(YearSpan { from: month_and_day(from)?, to: month_and_day(to)? })
    }
}

fn month_and_day(text: &str) -> Result<(i8, i8), ScheduleError> {
    let text = text.trim();
    let refused = |help: String| ScheduleError::new(format!("\"{}\" is no day of the year", clip(text)), help);
    let number = |part: &str| -> Option<i8> {
        let is_number = (1..=2).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_digit());
        if is_number { part.parse().ok() } else { None }
    };
    let Some((month, day)) = text.split_once('-').and_then(|(month, day)| Some((number(month)?, number(day)?))) else {
        return Err(refused(DATES_FORM.to_owned()));
    };
    // A leap year, so that 02-29 may be named.
    if Date::new(2000, month, day).is_err() {
        let help = if Date::new(2000, day, month).is_ok() {
            format!("write the month first: \"{day:02}-{month:02}\"")
        } else {
            DATES_FORM.to_owned()
        };
        return Err(refused(help));
    }
    if text.len() != 5 {
        return Err(refused(format!("write \"{month:02}-{day:02}\"")));
    }
    Ok((month, day))
}

impl fmt::Display for YearSpan {
    /// `10-01..04-15`, or `12-24`; [`YearSpan::parse`] reads it back.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ((month, day), (last_month, last_day)) = (self.from, self.to);
        write!(f, "{month:02}-{day:02}")?;
        if self.from == self.to { Ok(()) } else { write!(f, "..{last_month:02}-{last_day:02}") }
    }
}

impl Window {
    /// What no window may say, although each part of it can be read, and the key that says it: that it ends when it begins,
    /// or a clamp with nothing to clamp.
    pub fn fault(&self) -> Option<(&'static str, ScheduleError)> {
        let (from, to) = match self.ends {
            Some((from, to)) if from == to => {
                let cause = format!("the window ends when it begins, at {from}");
                return Some((
                    "to",
                    ScheduleError::new(cause, "leave out both ends for the whole day, or move one of them"),
                ));
            }
            Some((from, to)) => (Some(from), Some(to)),
            None => (None, None),
        };
        let noon = Time::constant(12, 0, 0, 0);
        let before = self.not_before.and_then(|time| match from {
            Some(WindowEnd::Sun(event, _)) if !event.is_rising() && time < noon => Some(ScheduleError::new(
                format!("{event} ends an afternoon, and {} lies before noon", show_clock(time)),
                "write a time from \"12:00\" on, such as \"17:00\"",
            )),
            Some(WindowEnd::Sun(..)) => None,
            _ => Some(nothing_to_clamp("from", time)),
        });
        let after = self.not_after.and_then(|time| match to {
            Some(WindowEnd::Sun(event, _)) if self.crosses_midnight() && time >= noon => Some(ScheduleError::new(
                format!("the window closes the morning after, by {event}, and {} lies past noon", show_clock(time)),
                format!(
                    "write a time before \"12:00\", or to = \"{}\" if it is to close that evening",
                    show_clock(time)
                ),
            )),
            Some(WindowEnd::Sun(..)) => None,
            _ => Some(nothing_to_clamp("to", time)),
        });
        before.map(|error| ("not_before", error)).or(after.map(|error| ("not_after", error)))
    }
}

/// A clamp beside an end that does not move.
fn nothing_to_clamp(end: &str, time: Time) -> ScheduleError {
    ScheduleError::new(
        format!("it holds a `{end}` that follows the sun, and here is none"),
        format!("leave it out and write {end} = \"{}\" itself", show_clock(time)),
    )
}

impl fmt::Display for Window {
    /// `from sunset - 20m to 23:15, sun..thu, 10-01..04-15`, `from dusk to sunrise, not after 06:00`, or `all day, sat`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.ends {
            Some((from, to)) => write!(f, "from {from} to {to}")?,
            None => f.write_str("all day")?,
        }
        if let Some(time) = self.not_before {
            write!(f, ", not before {}", show_clock(time))?;
        }
        if let Some(time) = self.not_after {
            write!(f, ", not after {}", show_clock(time))?;
        }
        if let Some(days) = self.days {
            write!(f, ", {days}")?;
        }
        if let Some(dates) = self.dates {
            write!(f, ", {dates}")?;
        }
        Ok(())
    }
}

/// At most the first forty characters, so that a message stays readable.
pub(crate) fn clip(text: &str) -> String {
    match text.char_indices().nth(40) {
        Some((at, _)) => format!("{}…", &text[..at]),
        None => text.to_owned(),
    }
}

fn clip_end(text: &str) -> String {
    clip(text.trim_end())
}
