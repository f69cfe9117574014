//! A moment that lies behind, as a person says it: `2h`, `22:30`, `sunset - 30m`, `2026-05-12`. It never asks what time it is.

use std::fmt;

use jiff::civil::{Date, DateTime, Time};
use jiff::{SignedDuration, Timestamp};

use crate::calendar::{ScheduleError, Setting, WindowEnd};
use crate::sun::{self, SunEvent};
use crate::units::{Span, WallTime};

const FORM: &str = "write how long ago, such as \"2h\", a time such as \"22:30\", an event such as \"sunset - 30m\", a day \
                    such as \"2026-05-12\", or \"2026-05-12 22:30\"";
/// How far back an event of the sun is looked for, in days.
const SUN_DAYS: i64 = 3;

/// A moment that lies behind, as it was said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Past {
    /// So long ago.
    Ago(Span),
    /// The last time at which the clock showed this.
    Clock(Time),
    /// The last such event of the sun, plus an offset in seconds.
    Sun(SunEvent, i32),
    /// A date and a time of the site.
    Civil(DateTime),
    /// An instant.
    Instant(Timestamp),
}

/// Whether it is written as `2026-05-12` is, be there such a day or not.
fn has_form_of_date(text: &str) -> bool {
    text.len() == 10
        && text.bytes().enumerate().all(|(at, c)| if at == 4 || at == 7 { c == b'-' } else { c.is_ascii_digit() })
}

impl Past {
    /// Parses what was said.
    ///
    /// # Errors
    /// What is none of the forms; the error says what to write.
    pub fn parse(text: &str) -> Result<Past, ScheduleError> {
        let text = text.trim();
        let text = text.strip_suffix("ago").map_or(text, str::trim_end);
        if text.is_empty() {
            return Err(ScheduleError::new("no time is said", FORM));
        }
        if let Some(day) = text.get(..10).filter(|day| has_form_of_date(day)) {
            if day.parse::<Date>().is_err() {
                return Err(ScheduleError::new(format!("there is no day \"{day}\""), FORM));
            }
            let refuse = |_| ScheduleError::new(format!("\"{text}\" is no date with a time"), FORM);
            if text.len() == 10 {
                return text.parse::<Date>().map(|date| Past::Civil(date.at(0, 0, 0, 0))).map_err(refuse);
            }
            if let Ok(instant) = text.parse::<Timestamp>() {
                return Ok(Past::Instant(instant));
            }
            return text.parse::<DateTime>().map(Past::Civil).map_err(refuse);
        }
        if text.contains(':') || text.starts_with(|c: char| c.is_ascii_alphabetic()) {
            return match WindowEnd::parse(text) {
                Ok(WindowEnd::Clock(time)) => Ok(Past::Clock(time)),
                Ok(WindowEnd::Sun(event, offset_s)) => Ok(Past::Sun(event, offset_s)),
                Err(error) => Err(ScheduleError::new(error.cause, FORM)),
            };
        }
        Ok(Past::Ago(Span::parse(text)?))
    }

    /// The moment that is meant when it is said now. A clock time and an event of the sun are the last ones that are not
    /// after now. `None` where there was no such event within days, and at the ends of time.
    pub fn resolve(&self, now: WallTime, setting: Setting<'_>) -> Option<WallTime> {
        let at = now.instant();
        match self {
            Past::Ago(span) => Some(now - *span),
            Past::Instant(instant) => Some(WallTime::from(*instant)),
            Past::Civil(civil) => setting.zone.to_timestamp(*civil).ok().map(WallTime::from),
            Past::Clock(time) => {
                let mut date = setting.zone.to_datetime(at).date();
                for _ in 0..SUN_DAYS {
                    let shown = setting.zone.to_timestamp(date.to_datetime(*time)).ok()?;
                    if shown <= at {
                        return Some(WallTime::from(shown));
                    }
                    date = date.yesterday().ok()?;
                }
                None
            }
            Past::Sun(event, offset_s) => {
                let offset = SignedDuration::from_secs(i64::from(*offset_s));
                let latest = at.checked_sub(offset).ok()?;
                let mut after = latest.checked_sub(SignedDuration::from_hours(24 * SUN_DAYS)).ok()?;
                let mut last = None;
                for _ in 0..=2 * SUN_DAYS {
                    match sun::next_event(setting.position, *event, after) {
                        Some(found) if found <= latest => {
                            last = Some(found);
                            after = found;
                        }
                        _ => break,
                    }
                }
                last?.checked_add(offset).ok().map(WallTime::from)
            }
        }
    }
}

impl fmt::Display for Past {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Past::Ago(span) => write!(f, "{span} ago"),
            Past::Clock(time) => write!(f, "{}", WindowEnd::Clock(*time)),
            Past::Sun(event, offset_s) => write!(f, "{}", WindowEnd::Sun(*event, *offset_s)),
            Past::Civil(civil) => write!(f, "{civil}"),
            Past::Instant(instant) => write!(f, "{instant}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZoneDatabase;

    use super::*;
    use crate::sun::Position;

    /// What a text means at noon of 12 May 2026 in British summer time, or a part of the refusal.
    fn check(text: &str, expected: Result<&str, &str>) {
        let zone = TimeZoneDatabase::bundled().get("Europe/London").unwrap();
        let setting = Setting { position: Position { latitude: 54.60, longitude: -3.14 }, zone: &zone };
        let now = WallTime::from("2026-05-12T11:00:00Z".parse::<Timestamp>().unwrap());
        match (Past::parse(text), expected) {
            (Ok(past), Ok(expected)) => {
                let at = past.resolve(now, setting).unwrap_or_else(|| panic!("{text}: nothing")).instant();
                let expected: Timestamp = expected.parse().unwrap();
                let tolerance = if matches!(past, Past::Sun(..)) { 60 } else { 0 };
                assert!((at.as_second() - expected.as_second()).abs() <= tolerance, "{text}: {at}");
            }
            (Err(error), Err(part)) => assert!(error.to_string().contains(part), "{text}: {error}"),
            (got, expected) => panic!("{text}: {got:?}, expected {expected:?}"),
        }
    }

    /// The sun's time by NREL's algorithm as solar-positioning 0.7.2 computes it: sunset on 12 May at 20:06:40Z; the day
    /// before it is about 1 min 45 s earlier.
    #[test]
    fn every_form_lies_behind() {
        check("2h", Ok("2026-05-12T09:00:00Z"));
        check("2h ago", Ok("2026-05-12T09:00:00Z"));
        check("11:30", Ok("2026-05-12T10:30:00Z"));
        check("22:30", Ok("2026-05-11T21:30:00Z"));
        check("12:00", Ok("2026-05-12T11:00:00Z"));
        check("2026-05-01", Ok("2026-04-30T23:00:00Z"));
        check("2026-05-01 22:30", Ok("2026-05-01T21:30:00Z"));
        check("2026-05-01T22:30:00Z", Ok("2026-05-01T22:30:00Z"));
        check("sunset", Ok("2026-05-11T20:04:53Z"));
        check("sunset + 30m", Ok("2026-05-11T20:34:53Z"));
    }

    #[test]
    fn refusals_say_what_to_write() {
        check("", Err("2026-05-12"));
        check("yesterday", Err("2026-05-12"));
        check("2026-05-01 soon", Err("no date with a time"));
        check("2", Err("\"2h\" for hours"));
        check("2026-02-30", Err("there is no day \"2026-02-30\""));
        check("2026-13-01 22:30", Err("there is no day \"2026-13-01\""));
        check("25:00", Err("2026-05-12"));
    }
}
