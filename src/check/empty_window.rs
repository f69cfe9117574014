//! Windows that do not open on some days, because they would end before they begin.

use jiff::civil::Date;

use super::Subject;
use crate::calendar::{Setting, Window, WindowEnd};
use crate::diagnostic::Diagnostic;
use crate::house::{Atom, AtomId};
use crate::sun::{self, SunEvent};

/// The year that days are looked up in: a leap year, so that none is left out. The sun's times differ from year to year by
/// a minute or two.
const YEAR: i16 = 2028;

/// How many stretches of days are listed.
const STRETCHES_MAX: usize = 3;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let setting = subject.house.site.setting();
    // Many rules have the same few windows, and a year of suns takes a while.
    let mut known: Vec<(Window, Vec<Date>)> = Vec::new();
    let mut found = Vec::new();
    for (index, atom) in subject.house.atoms.iter().enumerate() {
        let Atom::Window { window, .. } = atom else { continue };
        // Weekdays fall on other dates each year: what holds without them holds for any year.
        let every_day = Window { days: None, ..window.clone() };
        let index_known = known.iter().position(|(window, _)| *window == every_day).unwrap_or_else(|| {
            known.push((every_day.clone(), every_day.empty_days(YEAR, setting)));
            known.len() - 1
        });
        let empty = &known[index_known].1;
        if empty.is_empty() {
            continue;
        }
        let on = (1..=366).filter_map(|day| Date::new(YEAR, 1, 1).ok()?.with().day_of_year(day).build().ok());
        let never = on.filter(|day| every_day.is_on(*day)).count() == empty.len();
        let (message, days) = match never {
            true => ("this window never opens".to_owned(), "every day"),
            false => (format!("this window does not open {}", stretches(empty)), "these days"),
        };
        let diagnostic = Diagnostic::warning("empty-window", message)
            .because(cause(&every_day, empty, days, setting))
            .help("that may be as you want it; else move an end, or bound the window with `dates`");
        found.push(subject.at_spot(diagnostic, subject.spots.atom(AtomId(index as u32)), ""));
    }
    found
}

/// Why a window is empty on some days: near the poles the sun may not do what an end waits for.
fn cause(window: &Window, empty: &[Date], days: &str, setting: Setting<'_>) -> String {
    let events = window.ends.iter().flat_map(|(from, to)| [from, to]).filter_map(|end| match end {
        WindowEnd::Sun(event, _) => Some(*event),
        WindowEnd::Clock(_) => None,
    });
    let comes = |event: SunEvent, day: Date| {
        let sun = sun::day(setting.position, day, setting.zone);
        sun.is_none_or(|sun| match event {
            SunEvent::Dawn => !sun.dawn.is_empty(),
            SunEvent::Sunrise => !sun.sunrise.is_empty(),
            SunEvent::Sunset => !sun.sunset.is_empty(),
            SunEvent::Dusk => !sun.dusk.is_empty(),
        })
    };
    let ends_first = "it would end before it begins";
    let missing = events.map(|event| (event, empty.iter().filter(|day| !comes(event, **day)).count()));
    match missing.max_by_key(|(_, many)| *many) {
        Some((event, many)) if many == empty.len() => format!("on {days} there is no {}", event.word()),
        Some((event, many)) if many > 0 => format!("on {days} there is no {}, or {ends_first}", event.word()),
        _ => format!("on {days} {ends_first}"),
    }
}

/// `from 05-03 to 08-10`, `on 06-21`, several with `and`; days that follow one another are one stretch, also over New Year.
fn stretches(days: &[Date]) -> String {
    let mut all: Vec<(Date, Date)> = Vec::new();
    for day in days {
        match all.last_mut() {
            Some((_, last)) if last.tomorrow().is_ok_and(|next| next == *day) => *last = *day,
            _ => all.push((*day, *day)),
        }
    }
    let ends = if let [(first, _), .., (start, last)] = all[..] { Some((first, start, last)) } else { None };
    let over_new_year =
        |(first, _, last): &(Date, Date, Date)| first.day_of_year() == 1 && (last.month(), last.day()) == (12, 31);
    if let Some((_, start, _)) = ends.filter(over_new_year) {
        all[0].0 = start;
        all.pop();
    }
    let more = all.len().saturating_sub(STRETCHES_MAX);
    let shown = all.iter().take(STRETCHES_MAX).map(|(from, to)| {
        let (from, to) = (from.strftime("%m-%d"), to.strftime("%m-%d"));
        if from.to_string() == to.to_string() { format!("on {from}") } else { format!("from {from} to {to}") }
    });
    let shown: Vec<String> = shown.collect();
    let rest = if more > 0 { format!(", and in {more} more stretches") } else { String::new() };
    format!("{}{rest}", shown.join(" and "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(days: &[(i8, i8)], expected: &str) {
        let days: Vec<Date> = days.iter().map(|(month, day)| Date::new(YEAR, *month, *day).unwrap()).collect();
        assert_eq!(stretches(&days), expected);
    }

    #[test]
    fn days_are_joined() {
        check(&[(6, 21)], "on 06-21");
        check(&[(6, 21), (6, 22), (7, 1)], "from 06-21 to 06-22 and on 07-01");
        check(&[(1, 1), (1, 2), (6, 1), (12, 31)], "from 12-31 to 01-02 and on 06-01");
        check(&[(1, 1), (2, 1), (3, 1), (4, 1), (5, 1)], "on 01-01 and on 02-01 and on 03-01, and in 2 more stretches");
    }
}
