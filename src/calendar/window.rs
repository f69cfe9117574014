//! When a window is open and when that changes. What it means stands at the head of `crate::calendar`.

use std::collections::BTreeMap;

use jiff::{Timestamp, ToSpan, civil::Date, civil::Time};

use super::{Setting, Window, WindowEnd};
use crate::sun::{SolarDate, SunEvent, civil};

/// Days that pass the filters and are looked at before [`Window::next_boundary`] asks to be called again.
const SEARCH_DAYS_MAX: u32 = 400;

/// Days looked at in all: a `02-29` may be eight years away, about 1900 and 2100.
const FILTER_DAYS_MAX: u32 = 3000;

/// Edges at which nothing changes that are passed over: whole days in a row, of `dates` or of a polar night.
const SAME_EDGES_MAX: u32 = 400;

const DAY_S: i32 = 86_400;

/// One opening of a window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spell {
    /// The civil day that it belongs to.
    pub day: Date,
    /// The first instant at which the window is open.
    pub start: Timestamp,
    /// The first instant at which it is closed again.
    pub end: Timestamp,
}

/// The spells of days, each computed once: one question about a window comes by the same days several times, and the sun is
/// dear.
type Spells = BTreeMap<Date, [Option<Spell>; 3]>;

/// What [`Window::next_edge`] found.
enum Edge {
    /// A start or an end of a spell.
    At(Timestamp),
    /// None before this instant, at which the search was given up.
    NotBefore(Timestamp),
    /// None at all.
    Never,
}

impl Window {
    /// Whether a spell runs into the next morning, by the form of the window and never by the day: clock to clock if `to`
    /// is earlier; sunset or dusk to sunrise or dawn, or to a clock time before 12:00; a clock time of 12:00 or later to
    /// sunrise or dawn.
    pub fn crosses_midnight(&self) -> bool {
        let noon = Time::constant(12, 0, 0, 0);
        match self.ends {
            None => false,
            Some((WindowEnd::Clock(from), WindowEnd::Clock(to))) => to < from,
            Some((WindowEnd::Sun(from, _), WindowEnd::Sun(to, _))) => !from.is_rising() && to.is_rising(),
            Some((WindowEnd::Sun(from, _), WindowEnd::Clock(to))) => !from.is_rising() && to < noon,
            Some((WindowEnd::Clock(from), WindowEnd::Sun(to, _))) => from >= noon && to.is_rising(),
        }
    }

    /// Whether the window is open at an instant.
    pub fn is_open(&self, at: Timestamp, setting: Setting<'_>) -> bool {
        self.is_open_by(at, setting, &mut Spells::new())
    }

    fn is_open_by(&self, at: Timestamp, setting: Setting<'_>, known: &mut Spells) -> bool {
        let (back, ahead) = self.reach_days();
        let today = setting.zone.to_datetime(at).date();
        let holds = |spell: Spell| spell.start <= at && at < spell.end;
        (-ahead..=back).any(|ago| {
            let Ok(day) = today.checked_sub(ago.days()) else { return false };
            self.is_on(day) && self.known_spells(day, setting, known).any(holds)
        })
    }

    /// The spells of a day, whatever the filters say.
    fn known_spells(&self, day: Date, setting: Setting<'_>, known: &mut Spells) -> impl Iterator<Item = Spell> + use<> {
        let spells: [Option<Spell>; 3] = *known.entry(day).or_insert_with(|| self.spells(day, setting));
        spells.into_iter().flatten()
    }

    /// The first instant strictly after another at which [`Window::is_open`] changes. Where none is found within some 400
    /// days of the window, the end of the search, at which the window is as before and the caller asks again. `None` if
    /// it never changes as far as can be computed.
    pub fn next_boundary(&self, after: Timestamp, setting: Setting<'_>) -> Option<Timestamp> {
        if self.ends.is_none() && self.days.is_none() && self.dates.is_none() {
            return None;
        }
        let mut known = Spells::new();
        let was_open = self.is_open_by(after, setting, &mut known);
        let mut at = after;
        for _ in 0..SAME_EDGES_MAX {
            at = match self.next_edge(at, setting, &mut known) {
                Edge::At(edge) => edge,
                Edge::NotBefore(end) => return Some(end),
                Edge::Never => return None,
            };
            if self.is_open_by(at, setting, &mut known) != was_open {
                break;
            }
        }
        Some(at)
    }

    /// The spells that belong to a civil day: none, one, or two where an event of the sun comes twice.
    pub fn instances(&self, day: Date, setting: Setting<'_>) -> Vec<Spell> {
        if !self.is_on(day) {
            return Vec::new();
        }
        self.spells(day, setting).into_iter().flatten().collect()
    }

    /// The first spell that belongs to a civil day.
    pub fn instance(&self, day: Date, setting: Setting<'_>) -> Option<Spell> {
        self.instances(day, setting).into_iter().next()
    }

    /// The days of a year on which the window might open by `days` and `dates`, yet has no spell. Days that the zone
    /// skips are left out.
    pub fn empty_days(&self, year: i16, setting: Setting<'_>) -> Vec<Date> {
        let Ok(first) = Date::new(year, 1, 1) else { return Vec::new() };
        first
            .series(1.day())
            .take_while(|day| day.year() == year)
            .filter(|day| self.is_on(*day) && civil::day_start(*day, setting.zone).is_some())
            .filter(|day| self.spells(*day, setting).iter().all(Option::is_none))
            .collect()
    }

    /// Whether `days` and `dates` allow a spell on this day.
    pub fn is_on(&self, day: Date) -> bool {
        self.days.is_none_or(|days| days.contains(day.weekday())) && self.dates.is_none_or(|dates| dates.contains(day))
    }

    fn offset_s(&self) -> (i32, i32) {
        let offset = |end| if let WindowEnd::Sun(_, offset_s) = end { offset_s } else { 0 };
        self.ends.map_or((0, 0), |(from, to)| (offset(from), offset(to)))
    }

    /// How many days before an instant a spell's day may lie that is open at it, and how many after. Half a day of the
    /// sun's lateness, a night, a skipped day and the offsets make up the reach.
    fn reach_days(&self) -> (i32, i32) {
        let (from_s, to_s) = self.offset_s();
        if self.has_sun() { (3 + to_s.max(0) / DAY_S, 1 + from_s.min(0).abs() / DAY_S) } else { (2, 0) }
    }

    fn has_sun(&self) -> bool {
        let is_sun = |end| matches!(end, WindowEnd::Sun(..));
        self.ends.is_some_and(|(from, to)| is_sun(from) || is_sun(to))
    }

    /// The first start or end of a spell after an instant.
    fn next_edge(&self, after: Timestamp, setting: Setting<'_>, known: &mut Spells) -> Edge {
        let (back, ahead) = self.reach_days();
        let date_of = |at: Timestamp| setting.zone.to_datetime(at).date();
        let Ok(mut day) = date_of(after).checked_sub(back.days()) else { return Edge::Never };
        let mut found: Option<(Timestamp, Date)> = None;
        let mut searched = 0;
        for _ in 0..FILTER_DAYS_MAX {
            if self.is_on(day) {
                searched += 1;
                for spell in self.known_spells(day, setting, known) {
                    let edge = if spell.start > after { spell.start } else { spell.end };
                    if edge > after && found.is_none_or(|(earliest, _)| edge < earliest) {
                        found = Some((edge, date_of(edge).saturating_add(ahead.days())));
                    }
                }
            }
            // A spell of a later day cannot begin before what is found.
            match found {
                Some((edge, last_day)) if day >= last_day => return Edge::At(edge),
                None if searched >= SEARCH_DAYS_MAX => break,
                _ => {}
            }
            let Ok(next) = day.tomorrow() else { return found.map_or(Edge::Never, |(edge, _)| Edge::At(edge)) };
            day = next;
        }
        let searched_to = day.saturating_sub(ahead.days());
        match (found, civil::day_start(searched_to, setting.zone)) {
            (Some((edge, _)), _) => Edge::At(edge),
            (None, Some(end)) if end > after => Edge::NotBefore(end),
            (None, _) => Edge::Never,
        }
    }

    /// The spells of a day, whatever the filters say.
    fn spells(&self, day: Date, setting: Setting<'_>) -> [Option<Spell>; 3] {
        let Some((from, to)) = self.ends else { return [whole_day(day, setting), None, None] };
        match from {
            WindowEnd::Clock(time) => [self.spell_from_clock(day, time, to, setting), None, None],
            WindowEnd::Sun(event, offset_s) => {
                let noon = solar_date_of(day, setting);
                // The event of a civil day may be that of the evening before or of the morning after.
                [-1, 0, 1].map(|days| {
                    let solar = noon?.plus(days)?;
                    let is_pair = matches!(to, WindowEnd::Sun(to, _) if to == event.opposite());
                    let start = opening(solar, day, (event, offset_s), is_pair, setting)?;
                    let start = self.no_earlier(start, day_of_noon(solar, setting)?, setting)?;
                    let end = self.closing(solar, event, to, setting)?;
                    (start < end).then_some(Spell { day, start, end })
                })
            }
        }
    }

    fn spell_from_clock(&self, day: Date, time: Time, to: WindowEnd, setting: Setting<'_>) -> Option<Spell> {
        let start = civil::clock_on(day, time, setting.zone)?;
        let end_day = if self.crosses_midnight() { civil::next_day(day, setting.zone)? } else { day };
        let end = match to {
            WindowEnd::Clock(to) => civil::clock_on(end_day, to, setting.zone)?,
            WindowEnd::Sun(event, offset_s) => {
                let solar = solar_date_of(end_day, setting)?;
                let at = match solar.event(setting.position, event) {
                    Some(at) => at,
                    // To a sunrise that does not come because the sun is up, or to a sunset while it is down.
                    None if solar.is_above(setting.position, event) == event.is_rising() => return None,
                    None => nearest(solar, event, setting)?,
                };
                self.no_later(civil::later(at, offset_s)?, end_day, setting)?
            }
        };
        (start < end).then_some(Spell { day, start, end })
    }

    /// The end of the spell that an event of a solar day begins.
    fn closing(&self, solar: SolarDate, from: SunEvent, to: WindowEnd, setting: Setting<'_>) -> Option<Timestamp> {
        let noon_day = day_of_noon(solar, setting)?;
        match to {
            WindowEnd::Clock(time) => {
                let end_day = if self.crosses_midnight() { civil::next_day(noon_day, setting.zone)? } else { noon_day };
                civil::clock_on(end_day, time, setting.zone)
            }
            WindowEnd::Sun(event, offset_s) => {
                let (end_day, end_solar) = match self.crosses_midnight() {
                    true => (civil::next_day(noon_day, setting.zone)?, solar.plus(1)?),
                    false => (noon_day, solar),
                };
                let is_lasting = || end_solar.is_above(setting.position, event) == from.is_rising();
                match end_solar.event(setting.position, event) {
                    Some(at) => self.no_later(civil::later(at, offset_s)?, end_day, setting),
                    // The other half of the pair does not come: from midnight on, whole days take over, unless a clamp of
                    // the next morning does.
                    None if event == from.opposite() && is_lasting() => {
                        match self.not_after.filter(|_| end_day != noon_day) {
                            Some(time) => civil::clock_on(end_day, time, setting.zone),
                            None => self.no_later(civil::day_end(noon_day, setting.zone)?, end_day, setting),
                        }
                    }
                    None => {
                        let at = civil::later(nearest(end_solar, event, setting)?, offset_s)?;
                        self.no_later(at, end_day, setting)
                    }
                }
            }
        }
    }

    /// An opening held to `not_before` on a day.
    fn no_earlier(&self, at: Timestamp, day: Date, setting: Setting<'_>) -> Option<Timestamp> {
        let Some(time) = self.not_before else { return Some(at) };
        Some(at.max(civil::clock_on(day, time, setting.zone)?))
    }

    /// A closing held to `not_after` on a day.
    fn no_later(&self, at: Timestamp, day: Date, setting: Setting<'_>) -> Option<Timestamp> {
        let Some(time) = self.not_after else { return Some(at) };
        Some(at.min(civil::clock_on(day, time, setting.zone)?))
    }
}

fn whole_day(day: Date, setting: Setting<'_>) -> Option<Spell> {
    Some(Spell { day, start: civil::day_start(day, setting.zone)?, end: civil::day_end(day, setting.zone)? })
}

/// The start of the spell that an event of a solar day begins, if it belongs to `day`. Of a pair, a whole civil day stands
/// for a missing event.
fn opening(
    solar: SolarDate,
    day: Date,
    (event, offset_s): (SunEvent, i32),
    is_pair: bool,
    setting: Setting<'_>,
) -> Option<Timestamp> {
    if let Some(at) = solar.event(setting.position, event) {
        return if setting.zone.to_datetime(at).date() == day { civil::later(at, offset_s) } else { None };
    }
    let is_lasting = solar.is_above(setting.position, event) == event.is_rising();
    if !is_lasting || day_of_noon(solar, setting)? != day {
        return None;
    }
    if is_pair { civil::day_start(day, setting.zone) } else { civil::later(nearest(solar, event, setting)?, offset_s) }
}

/// Where the sun comes nearest to an event that it does not reach on a solar day.
fn nearest(solar: SolarDate, event: SunEvent, setting: Setting<'_>) -> Option<Timestamp> {
    match (solar.is_above(setting.position, event), event.is_rising()) {
        (false, _) => solar.true_noon(setting.position),
        (true, true) => solar.midnight_before(setting.position),
        (true, false) => solar.plus(1)?.midnight_before(setting.position),
    }
}

/// The civil day that a solar day's noon falls on. Mean noon keeps this steady over the year.
fn day_of_noon(solar: SolarDate, setting: Setting<'_>) -> Option<Date> {
    Some(setting.zone.to_datetime(solar.mean_noon(setting.position)?).date())
}

/// The solar day whose noon falls on a civil day.
fn solar_date_of(day: Date, setting: Setting<'_>) -> Option<SolarDate> {
    let start = civil::day_start(day, setting.zone)?;
    let end = civil::day_end(day, setting.zone)?;
    let near = SolarDate::nearest_noon(setting.position, start.as_second().midpoint(end.as_second()))?;
    [0, -1, 1].into_iter().filter_map(|days| near.plus(days)).find(|solar| day_of_noon(*solar, setting) == Some(day))
}
