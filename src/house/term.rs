//! How long a hold lasts, as a person says it: `2h`, `22:30`, `sunset+30m`, `next change`. One parser for all; it never
//! asks what time it is.

use std::fmt;

use jiff::{SignedDuration, civil::Time};

use crate::calendar::{self, ScheduleError, Setting, WindowEnd};
use crate::sun::{self, SunEvent};
use crate::units::{Span, WallTime};

/// What to write for an end on another day.
const NO_DATE: &str =
    "write how many days and hours from now, such as \"3d\" or \"2d12h\", or a time within a day such as \"22:30\"";

const FORM: &str =
    "write a duration such as \"2h\", a time such as \"22:30\", an event such as \"sunset + 30m\", or \"next change\"";

/// The end of a hold as it was said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Term {
    /// For a duration.
    For(Span),
    /// Until the next time the clock shows this.
    UntilClock(Time),
    /// Until the next such event of the sun, plus an offset in seconds.
    UntilSun(SunEvent, i32),
    /// Until the rules say something else, at most 24 h.
    NextChange,
}

impl Term {
    /// Parses `2h`, `for 2h`, `1h30m`, `22:30`, `until 22:30`, `sunset+30m`, `until sunset`, `next change`, `until next change`.
    ///
    /// # Errors
    /// Anything else, and a duration of no length; the error says what to write.
    pub fn parse(text: &str) -> Result<Term, ScheduleError> {
        let text = text.trim();
        let (is_until, rest) = match text.strip_prefix("until") {
            Some(rest) if rest.is_empty() || rest.starts_with(char::is_whitespace) => (true, rest.trim_start()),
            _ => (false, text),
        };
        if rest.is_empty() {
            return Err(ScheduleError::new("no end is said", FORM));
        }
        if is_date(rest) {
            let shown: String = rest.chars().take(40).collect();
            return Err(ScheduleError::new(format!("\"{shown}\" is a date, and an end is none"), NO_DATE));
        }
        if rest.split_whitespace().eq(["next", "change"]) {
            return Ok(Term::NextChange);
        }
        if rest.split_whitespace().next() == Some("next") {
            let shown: String = rest.chars().take(40).collect();
            return Err(ScheduleError::new(format!("\"{shown}\" is no end"), "did you mean \"next change\"?"));
        }
        if let Some(lasts) =
            rest.strip_prefix("for").filter(|lasts| !is_until && lasts.starts_with(char::is_whitespace))
        {
            return match Term::parse(lasts)? {
                Term::For(span) => Ok(Term::For(span)),
                end => Err(ScheduleError::new(
                    format!("\"{end}\" is no duration"),
                    format!("leave out \"for\": write \"{end}\""),
                )),
            };
        }
        if rest.contains(':') || rest.starts_with(|c: char| c.is_ascii_alphabetic()) {
            return match WindowEnd::parse(rest) {
                Ok(WindowEnd::Clock(time)) => Ok(Term::UntilClock(time)),
                Ok(WindowEnd::Sun(event, offset_s)) => Ok(Term::UntilSun(event, offset_s)),
                // What a window may say is less than what a hold may: give the fuller advice where it is a list.
                Err(error) if SunEvent::ALL.iter().any(|event| error.help.contains(event.word())) => {
                    let is_list = SunEvent::ALL.iter().all(|event| error.help.contains(event.word()));
                    Err(if is_list { ScheduleError::new(error.cause, FORM) } else { error })
                }
                Err(error) => Err(error),
            };
        }
        let span = Span::parse(rest)?;
        if is_until {
            return Err(ScheduleError::new(
                format!("\"until {span}\" is a duration"),
                format!("leave out \"until\": write \"{span}\""),
            ));
        }
        if span.is_zero() {
            return Err(ScheduleError::new("a hold of no length holds nothing", FORM));
        }
        Ok(Term::For(span))
    }

    /// The wall time at which a term ends that is said now: the first such time strictly after now. `None` for a term that
    /// does not end at a wall time, and where no such event of the sun comes within 400 days.
    pub fn resolve(&self, now: WallTime, setting: Setting<'_>) -> Option<WallTime> {
        match self {
            Term::For(_) | Term::NextChange => None,
            Term::UntilClock(time) => calendar::next_clock(*time, now.instant(), setting.zone).map(WallTime::from),
            Term::UntilSun(event, offset_s) => {
                // "Until half an hour after sunset", said ten minutes after it, means this sunset.
                let offset = SignedDuration::from_secs(i64::from(*offset_s));
                let after = now.instant().checked_sub(offset).ok()?;
                let event = sun::next_event(setting.position, *event, after)?;
                event.checked_add(offset).ok().map(WallTime::from)
            }
        }
    }
}

/// Whether a text begins with a date of numbers: `2026-05-12`, `12/5`, `12.5.2026`. `1.5h` is none.
fn is_date(text: &str) -> bool {
    let end = text.find(|c: char| !c.is_ascii_digit() && !matches!(c, '-' | '/' | '.')).unwrap_or(text.len());
    let date = text[..end].trim_end_matches('.');
    let parts: Vec<&str> = date.split(['-', '/', '.']).collect();
    let is_point = !date.contains(['-', '/']);
    parts.len() >= if is_point { 3 } else { 2 } && parts.iter().all(|part| (1..=4).contains(&part.len()))
}

impl fmt::Display for Term {
    /// `2h`, `until 22:30`, `until sunset + 30m`, `next change`; [`Term::parse`] reads it back.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Term::For(span) => write!(f, "{span}"),
            Term::UntilClock(time) => write!(f, "until {}", WindowEnd::Clock(*time)),
            Term::UntilSun(event, offset_s) => write!(f, "until {}", WindowEnd::Sun(*event, *offset_s)),
            Term::NextChange => f.write_str("next change"),
        }
    }
}

#[cfg(test)]
mod tests {
    use jiff::{Timestamp, tz::TimeZoneDatabase};
    use proptest::prelude::*;

    use super::*;
    use crate::sun::Position;

    /// The term's display, or a part of the refusal.
    fn check(text: &str, expected: Result<&str, &str>) {
        match (Term::parse(text), expected) {
            (Ok(term), Ok(shown)) => {
                assert_eq!(term.to_string(), shown);
                assert_eq!(Term::parse(shown), Ok(term));
            }
            (Err(error), Err(part)) => assert!(error.to_string().contains(part), "{text}: {error}"),
            (got, expected) => panic!("{text}: {got:?}, expected {expected:?}"),
        }
    }

    #[test]
    fn every_form() {
        check("2h", Ok("2h"));
        check(" 1h30m ", Ok("1h30m"));
        check("for 2h", Ok("2h"));
        check("for  1h30m", Ok("1h30m"));
        check("22:30", Ok("until 22:30"));
        check("until 22:30", Ok("until 22:30"));
        check("until  07:05:30", Ok("until 07:05:30"));
        check("sunset+30m", Ok("until sunset + 30m"));
        check("until dusk - 5m", Ok("until dusk - 5m"));
        check("until sunset", Ok("until sunset"));
        check("next change", Ok("next change"));
        check("until next change", Ok("next change"));
    }

    #[test]
    fn refusals_say_what_to_write() {
        check("", Err("\"next change\""));
        check("until", Err("\"next change\""));
        check("soon", Err("\"next change\""));
        check("untilsunset", Err("\"next change\""));
        check("next  monday", Err("\"next change\""));
        check("next chnge", Err("did you mean \"next change\"?"));
        check("for 22:30", Err("leave out \"for\": write \"until 22:30\""));
        check("for", Err("\"next change\""));
        check("for for for 0s", Err("holds nothing"));
        check("until for 2h", Err("\"next change\""));
        check("until 2h", Err("write \"2h\""));
        check("0s", Err("holds nothing"));
        check("2", Err("\"2h\" for hours"));
        check("-2h", Err("without the minus"));
        check("7:05", Err("write \"07:05\""));
        check("until 7:05", Err("write \"07:05\""));
        check("25:00", Err("00 to 23"));
        check("Sunset", Err("write \"sunset\""));
        check("sundown", Err("write \"sunset\""));
        check("sunset 30m", Err("\"sunset + 30m\" for later"));
        for date in
            ["2026-05-12", "2026-05-12T22:30", "until 2026-05-12 22:30", "12-24", "24/12", "24.12.2026", "24.12.26."]
        {
            check(date, Err("is a date, and an end is none; write how many days and hours from now, such as \"3d\""));
        }
        check("1.5h", Ok("1h30m"));
        check("1.5.h", Err("write a duration"));
    }

    fn resolve(term: &str, now: &str, expected: Option<&str>) {
        let zone = TimeZoneDatabase::bundled().get("Europe/London").unwrap();
        let position = Position { latitude: 54.60, longitude: -3.141 };
        let now = WallTime::from(now.parse::<Timestamp>().unwrap());
        let parsed = Term::parse(term).unwrap();
        let resolved = parsed.resolve(now, Setting { position, zone: &zone });
        let expected = expected.map(|at| WallTime::from(at.parse::<Timestamp>().unwrap()));
        let tolerance_ms = if matches!(parsed, Term::UntilSun(..)) { 60_000 } else { 0 };
        match (resolved, expected) {
            (Some(end), Some(expected)) => assert!((end.0 - expected.0).abs() <= tolerance_ms, "{term}: {end:?}"),
            (resolved, expected) => assert_eq!(resolved, expected, "{term}"),
        }
    }

    /// The times of the sun by NREL's algorithm as solar-positioning 0.7.2 computes it: sunset at 20:06:40Z on 12 May 2026
    /// and at 20:08:27Z on the 13th.
    #[test]
    fn resolved_against_zone_and_sun() {
        resolve("2h", "2026-05-12T12:00:00Z", None);
        resolve("next change", "2026-05-12T12:00:00Z", None);
        resolve("22:30", "2026-05-12T12:00:00Z", Some("2026-05-12T21:30:00Z"));
        resolve("22:30", "2026-05-12T21:30:00Z", Some("2026-05-13T21:30:00Z"));
        resolve("sunset", "2026-05-12T12:00:00Z", Some("2026-05-12T20:06:40Z"));
        resolve("sunset + 30m", "2026-05-12T20:20:00Z", Some("2026-05-12T20:36:40Z"));
        resolve("sunset - 30m", "2026-05-12T19:50:00Z", Some("2026-05-13T19:38:27Z"));
        // 01:30 does not exist on 2026-03-29 and comes twice on 2026-10-25.
        resolve("01:30", "2026-03-29T00:00:00Z", Some("2026-03-29T01:00:00Z"));
        resolve("01:30", "2026-10-25T00:10:00Z", Some("2026-10-25T00:30:00Z"));
        resolve("01:30", "2026-10-25T00:40:00Z", Some("2026-10-26T01:30:00Z"));
    }

    proptest! {
        #[test]
        fn any_text_is_answered(text in ".{0,30}", near in "(until )?(sun(set|rise)|dusk|[0-9]{1,2}:[0-9]{0,2})? ?[-+]? ?[0-9]{0,3}[hms]?") {
            for text in [text, near] {
                if let Ok(term) = Term::parse(&text) {
                    prop_assert_eq!(Term::parse(&term.to_string()), Ok(term));
                }
            }
        }

        #[test]
        fn any_time_is_answered(now in any::<i64>(), offset_s in any::<i32>()) {
            let setting = Setting { position: Position { latitude: 54.6, longitude: -3.141 }, zone: &jiff::tz::TimeZone::UTC };
            for term in [Term::UntilClock(Time::midnight()), Term::UntilSun(SunEvent::Dusk, offset_s)] {
                if let Some(end) = term.resolve(WallTime(now), setting) {
                    prop_assert!(end > WallTime(now));
                }
            }
        }
    }
}
