//! What became of a person's order, in words that say what was understood, and what a person typed, as it is written down. It
//! never decides what became of it.

use jiff::tz::TimeZone;

use super::protocol::Response;
use crate::engine::Answer;
use crate::house::House;
use crate::units::WallTime;

/// What a person typed as it is written down: one line of at most so many characters.
pub fn one_line(text: &str, most: usize) -> String {
    text.trim().chars().filter(|c| !c.is_control()).take(most).collect()
}

/// What is said to a person of an order of which the engine says only that it is done, or was not needed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Replies {
    /// When it is done.
    pub done: String,
    /// When there was nothing to do, and why.
    pub nothing: String,
}

/// The answer to a person's order in words, with what follows of it.
pub fn respond(house: &House, answer: Answer, replies: Replies, then: Option<String>, now: WallTime) -> Response {
    let clock_time = |at| spoken(at, now, &house.site.zone);
    match answer {
        Answer::Held { load, state, until } => {
            let until = match until {
                Some(until) => format!("until {}", clock_time(until)),
                None => "until the rules say something else, at most 24 h".to_owned(),
            };
            let load = house.load(load);
            let but = then.map_or_else(String::new, |then| format!("; {then}"));
            Response::done(format!("{} is held {} {until}{but}", load.name, load.word(state)))
        }
        Answer::Selected { selector, position, until } => {
            let until = match until {
                Some(until) => format!("until {}", clock_time(until)),
                None => "until it is turned again".to_owned(),
            };
            Response::done(format!("selector {} is {position} {until}", house.selector(selector).name))
        }
        Answer::SetTo { setpoint, value, until } => {
            let until = match until {
                Some(until) => format!("until {}", clock_time(until)),
                None => "until it is set again or its value in the file changes".to_owned(),
            };
            let setpoint = house.setpoint(setpoint);
            Response::done(format!("setpoint {} is {} {until}", setpoint.name, setpoint.shown(value.get())))
        }
        Answer::StaysWithdrawn { load } => Response::done(format!(
            "{} was withdrawn already and stays so; the reason is written anew. This is no isolation",
            house.load(load).name
        )),
        Answer::Done => {
            let then = then.map_or_else(String::new, |then| format!("; {then}"));
            Response::done(format!("{}{then}", replies.done))
        }
        Answer::Nothing if replies.nothing.is_empty() => Response::done("there was nothing to do"),
        Answer::Nothing => Response::done(replies.nothing),
        Answer::Refused(why) => Response::refused(why),
    }
}

/// `22:30 today`, `07:00 tomorrow`, `22:30 on Wed 2 Dec`: when that is on the site's clock, said now.
pub fn spoken(at: WallTime, now: WallTime, zone: &TimeZone) -> String {
    let (at, now) = (at.instant().to_zoned_datetime(zone.clone()), now.instant().to_zoned_datetime(zone.clone()));
    let clock = if at.second() == 0 { at.strftime("%H:%M") } else { at.strftime("%H:%M:%S") }.to_string();
    let (day, today) = (at.date(), now.date());
    if day == today {
        format!("{clock} today")
    } else if today.tomorrow().is_ok_and(|tomorrow| tomorrow == day) {
        format!("{clock} tomorrow")
    } else if day.year() == today.year() {
        format!("{clock} on {}", day.strftime("%a %-d %b"))
    } else {
        format!("{clock} on {}", day.strftime("%a %-d %b %Y"))
    }
}

#[cfg(test)]
mod tests {
    use jiff::Timestamp;
    use jiff::tz::TimeZoneDatabase;

    use super::*;

    /// Said on the eve of the end of British summer time, at 22:00.
    fn check(at: &str, expected: &str) {
        let zone = TimeZoneDatabase::bundled().get("Europe/London").unwrap();
        let time = |text: &str| WallTime::from(text.parse::<Timestamp>().unwrap());
        assert_eq!(spoken(time(at), time("2026-10-24T21:00:00Z"), &zone), expected);
    }

    #[test]
    fn the_day_is_the_sites() {
        check("2026-10-24T21:30:00Z", "22:30 today");
        check("2026-10-24T22:59:59Z", "23:59:59 today");
        check("2026-10-24T23:00:00Z", "00:00 tomorrow");
        check("2026-10-25T23:30:00Z", "23:30 tomorrow");
        check("2026-10-26T00:00:00Z", "00:00 on Mon 26 Oct");
        check("2027-01-02T12:00:00Z", "12:00 on Sat 2 Jan 2027");
    }
}
