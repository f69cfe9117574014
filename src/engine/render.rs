//! Sentences for explanations: the one place where causes become words. It never decides and never looks at the engine.

use std::fmt::Write;

use jiff::tz::TimeZone;

use super::explain::{Cause, Evidence, ProofSeen, ProofView, RuleCause};
use super::hold::HoldView;
use super::modes_view::quantity;
use super::proof::Unproved;
use super::rotation::RotationView;
use super::slots::SLOT_RULES;
use super::{By, Obstacle};
use crate::house::{State, ThresholdSide, Trend, Truth, Words};
use crate::units::{Finite, Span, WallTime, Watts};

impl Cause {
    /// Why, in words without a full stop: "rule sunroom-vents: sunroom-air is 28.1 °C, cut-in >= 28, cut-out <= 26.5".
    pub fn sentence(&self, zone: &TimeZone) -> String {
        match self {
            Cause::Withdrawn { why } if why.is_empty() => "withdrawn; this is no isolation".to_owned(),
            Cause::Withdrawn { why } => format!("withdrawn ({why}); this is no isolation"),
            Cause::Rule(rule) => rule.sentence(zone),
            Cause::Dwell { state, left } => {
                let limit = if *state == State::On { "min on" } else { "min off" };
                match left {
                    Some(left) => format!("{limit} keeps it {state} for {} more", whole(*left)),
                    None => format!("{limit} keeps it {state} once the board confirms"),
                }
            }
            Cause::Hold(hold) => hold.sentence(zone),
            Cause::Settling { waits_for } if waits_for.is_empty() => "as reported after the start".to_owned(),
            Cause::Settling { waits_for } => {
                format!("as reported after the start, until {} is known", waits_for.join(", "))
            }
            Cause::Stagger => "waits for its turn to close".to_owned(),
            Cause::MaxOn { left: Some(left) } => {
                format!("it ran for as long as it may, and rests for {} more", whole(*left))
            }
            Cause::MaxOn { left: None } => "it ran for as long as it may, and is to rest".to_owned(),
            Cause::MaxStarts { left } => match left {
                Some(left) => format!("it started as often as it may; the next start is free in {}", whole(*left)),
                None => "it started as often as it may".to_owned(),
            },
            Cause::Circuit { circuit, limit_w, others } if others.is_empty() => {
                format!("circuit {circuit} has no room for it under {}", Watts(*limit_w))
            }
            Cause::Circuit { circuit, limit_w, others } => {
                format!("circuit {circuit} has no room for it under {} beside {}", Watts(*limit_w), others.join(", "))
            }
            Cause::Interlock { interlock, waits_for, .. } if waits_for.is_empty() => {
                format!("interlock {interlock} lets its dead time pass")
            }
            Cause::Interlock { interlock, waits_for, shown } => {
                let mut text = format!("interlock {interlock} keeps it off beside {}", waits_for.join(", "));
                for proof in shown {
                    let _ = write!(text, "; {}", proof.sentence());
                }
                text
            }
            Cause::Rotation { duty, why } => format!("{}: {}", duty.sentence(), why.sentence(zone)),
            Cause::RunOver => "its time is over".to_owned(),
            Cause::Resting => "nothing is demanded, so it rests".to_owned(),
            Cause::HandAtBoard => "switched by hand at the board".to_owned(),
            Cause::BoardRestarted => "the board restarted, which releases its relays".to_owned(),
            Cause::LeaseRanOut => "the board's lease ran out, so its fallback took over".to_owned(),
            Cause::NoLoad => "no load is on this relay any more".to_owned(),
            Cause::OrderedByOthers => "its board has taken orders that this memory does not know of".to_owned(),
            Cause::Unheard => "its board was not heard then, so why is not known".to_owned(),
            Cause::Unordered => "nobody ordered it".to_owned(),
        }
    }
}

impl RuleCause {
    fn sentence(&self, zone: &TimeZone) -> String {
        let kind = if self.priority < SLOT_RULES { "safety trip" } else { "rule" };
        let mut text = format!("{kind} {}", self.rule);
        if self.latched {
            text.push_str(if self.truth == Truth::True {
                " has tripped"
            } else {
                " has tripped and waits for a reset by hand"
            });
        } else if self.truth == Truth::Unknown {
            text.push_str(" cannot tell, so the safe state is demanded");
        }
        match (self.truth, self.delay_left) {
            (Truth::True, Some(left)) => _ = write!(text, " goes on for its off delay, {} more", whole(left)),
            (_, Some(left)) => _ = write!(text, " waits for its on delay, {} more", whole(left)),
            (_, None) => {}
        }
        for (number, evidence) in self.telling().enumerate() {
            text.push_str(if number == 0 { ": " } else { "; " });
            text.push_str(&evidence.sentence(zone));
        }
        text
    }

    /// What explains the rule's truth: for an unknown one only what is unknown.
    fn telling(&self) -> impl Iterator<Item = &Evidence> {
        self.evidence.iter().filter(|one| self.truth != Truth::Unknown || one.truth() == Truth::Unknown)
    }
}

impl Evidence {
    /// What it sees, in words without a full stop.
    pub fn sentence(&self, zone: &TimeZone) -> String {
        let mut text = self.fact();
        match self {
            Evidence::Threshold { value: Some(_), side, cut_in, cut_out, cut_in_by, cut_out_by, .. } => {
                let (into, out) = match side {
                    ThresholdSide::High => (">=", "<="),
                    ThresholdSide::Low => ("<=", ">="),
                };
                let by = |by: &Option<String>| by.as_ref().map_or_else(String::new, |by| format!(" ({by})"));
                let (in_by, out_by) = (by(cut_in_by), by(cut_out_by));
                let _ = write!(text, ", cut-in {into} {cut_in}{in_by}, cut-out {out} {cut_out}{out_by}");
            }
            Evidence::Window { next, .. } | Evidence::Cycle { next, .. } | Evidence::Sun { next, .. } => {
                text.push_str(&until(*next, zone));
            }
            Evidence::Selector { position, is, until: end, .. } => {
                text.push_str(&until(*end, zone));
                if position != is {
                    let _ = write!(text, ", not {is}");
                }
            }
            _ => {}
        }
        text
    }

    /// The same without its limits and ends.
    pub(super) fn fact(&self) -> String {
        match self {
            Evidence::Threshold { sensor, value: None, .. } | Evidence::Rise { sensor, value: None, .. } => {
                format!("{sensor} is not known")
            }
            Evidence::Threshold { sensor, unit, value: Some(value), .. } => {
                format!("{sensor} is {}", reading(*value, unit))
            }
            Evidence::Window { window, truth: Truth::Unknown, .. } => {
                format!("the clock is not trusted, so window {window} is not known")
            }
            Evidence::Window { window, truth, .. } => {
                format!("window {window} is {}", if *truth == Truth::True { "open" } else { "closed" })
            }
            Evidence::Cycle { cycle, truth: Truth::Unknown, .. } => {
                format!("the clock is not trusted, so where the cycle {cycle} stands is not known")
            }
            Evidence::Cycle { cycle, truth, .. } => {
                format!("the cycle {cycle} is {}", if *truth == Truth::True { "on" } else { "off" })
            }
            Evidence::Sun { bound, degrees: Some(degrees), truth, .. } => {
                let met = if *truth == Truth::True { "" } else { "not " };
                format!("the sun stands at {}°, {met}{bound}", degrees.get())
            }
            Evidence::Sun { degrees: None, .. } => {
                "the clock is not trusted, so where the sun stands is not known".to_owned()
            }
            Evidence::Rise { sensor, unit, value: Some(value), trend, moved, by, within, back_at, .. } => {
                let moved = moved.map_or(0.0, shown);
                let is = format!("{sensor} is {}, has {} by {moved}", reading(*value, unit), gone(*trend));
                match back_at {
                    Some(back) => format!("{is} since it began and is not back at {}", shown(*back)),
                    None => format!("{is} within {within}, less than {by}"),
                }
            }
            Evidence::Selector { selector, position, .. } => format!("selector {selector} is {position}"),
            Evidence::Unknown { sensor, truth: Truth::False } => format!("{sensor} is known"),
            Evidence::Unknown { sensor, .. } => format!("{sensor} is not known"),
            Evidence::Alarm { alarm, unacknowledged, standing, truth } => {
                alarms(alarm.as_deref(), *unacknowledged, standing, *truth)
            }
            Evidence::Load { load, state: Some(state), words, .. } => format!("{load} is {}", words.word(*state)),
            Evidence::Load { load, state: None, .. } => format!("what {load} does is not known"),
            Evidence::Input { input, state: Some(state), .. } => format!("input {input} is {state}"),
            Evidence::Input { input, state: None, .. } => format!("input {input} is not known"),
        }
    }
}

/// A reading as a person needs it, `5.06 °C`: computed ones, and those of sensors that count in sixteenths, are finer than
/// they are good.
pub(super) fn reading(value: Finite, unit: &str) -> String {
    quantity(shown(value), unit)
}

/// The number of it: hundredths, or ten-thousandths of what is less than one.
pub(super) fn shown(value: Finite) -> f64 {
    let steps = if value.get().abs() < 1.0 { 10_000.0 } else { 100.0 };
    (value.get() * steps).round() / steps
}

/// `risen`, `fallen`.
pub(super) const fn gone(trend: Trend) -> &'static str {
    match trend {
        Trend::Rises => "risen",
        Trend::Falls => "fallen",
    }
}

impl ProofView {
    /// What its proof shows: "pump is off, but pump-amps reads 3 A, at least 0.2 A proves on".
    pub(super) fn sentence(&self) -> String {
        let ProofView { load, seen, fault } = self;
        match fault {
            Some(Unproved::On) => format!("{load} did not prove on: {}", seen.words()),
            Some(Unproved::Off) => format!("{load} did not prove off, its contact may be welded: {}", seen.words()),
            None => format!("{load} is not off until its proof shows it: {}", seen.words()),
        }
    }
}

impl ProofSeen {
    /// What it rests on, with the numbers: "pump-amps reads 0.03 A, at least 0.2 A proves on".
    pub(super) fn words(&self) -> String {
        match self {
            ProofSeen::Reading { sensor, unit, value, at_least } => {
                let reads = value.map_or("is not known".to_owned(), |value| format!("reads {}", reading(value, unit)));
                let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
                format!("{sensor} {reads}, at least {at_least}{unit} proves on")
            }
            ProofSeen::Contact { input, state, is } => {
                let state = state.map_or("not known", State::word);
                format!("input {input} is {state}, {is} proves on")
            }
        }
    }
}

impl RotationView {
    /// Who has the job and why: "of rotation cellar-sump pump-b leads (112 h against 140 h)".
    pub(super) fn sentence(&self) -> String {
        let RotationView { rotation, runner, other, took_over, unfit, waits, .. } = self;
        let mut text = match took_over {
            Some(why) => format!("in rotation {rotation} {runner} took over from {other}, which {}", why.words_then()),
            None => {
                let (own, others) = (hours(self.runner_hours), hours(self.other_hours));
                format!("in rotation {rotation} {runner} leads ({own} against {others})")
            }
        };
        if let Some(why) = unfit {
            let _ = write!(text, "; {runner} {}", why.words());
        } else if *waits {
            let _ = write!(text, "; {runner} waits until {other} is surely off");
        }
        text
    }
}

/// Hours run: whole ones, or minutes below ten hours.
fn hours(run: Span) -> String {
    let minutes = run.whole_s() / 60;
    if minutes >= 600 { format!("{} h", minutes / 60) } else { format!("{minutes} min") }
}

impl HoldView {
    /// Until when it holds, in words, with its latest end as a clock shows it.
    pub fn end(&self, until: &str) -> String {
        let rules = if self.until_next_change { "the rules change, at most until " } else { "" };
        format!("until {rules}{until}")
    }

    fn sentence(&self, zone: &TimeZone) -> String {
        let (state, end) = (self.words.word(self.state), self.end(&clock(self.until, zone)));
        format!("held {state} by {} {end}", self.by.words())
    }
}

impl By {
    /// Who, in words.
    pub fn words(&self) -> String {
        match self {
            By::Input(input) => format!("input {input}"),
            By::Board(relay) => format!("a hand at {relay}"),
            By::Message => "a message".to_owned(),
            By::Command(user) if user.is_empty() => "a command".to_owned(),
            By::Command(user) => format!("a command of {user}"),
            By::Page(who) if who.is_empty() => "the page".to_owned(),
            By::Page(who) => format!("{who} on the page"),
            By::Api(who) if who.is_empty() => "a program".to_owned(),
            By::Api(who) => format!("a program of {who}"),
        }
    }
}

impl Obstacle {
    /// What it is, in words: "board yard has not answered yet".
    pub fn words(&self) -> String {
        match self {
            Obstacle::NoBroker => "no broker is connected, so no order goes out".to_owned(),
            Obstacle::Unheard { board } => format!("board {board} is not heard"),
            Obstacle::Turn => "it waits for its turn".to_owned(),
            Obstacle::Unanswered { board } => format!("board {board} has not answered yet"),
            Obstacle::Disobeys { alarm } => format!("it does not obey, see alarm {alarm}"),
        }
    }
}

/// `stays off`, `is closed`: what a load is for as long as something keeps it so.
pub(super) fn still(words: Words, wanted: State, known: Option<State>) -> String {
    let verb = if known == Some(wanted) { "stays" } else { "is to be" };
    format!("{verb} {}", words.word(wanted))
}

/// What an actuator does on its way to an end.
pub(super) const fn going(to: State) -> &'static str {
    match to {
        State::On => "opening",
        State::Off => "closing",
    }
}

/// `06:12:03` on the site's clock.
pub(super) fn clock_seconds(at: WallTime, zone: &TimeZone) -> String {
    at.instant().to_zoned_datetime(zone.clone()).strftime("%H:%M:%S").to_string()
}

/// `Wed 2 Dec 22:30` on the site's clock: who reads it may do so weeks later, and a window may open in months.
pub(super) fn clock(at: WallTime, zone: &TimeZone) -> String {
    at.instant().to_zoned_datetime(zone.clone()).strftime("%a %-d %b %H:%M").to_string()
}

/// `14:02` today, `Tue 14:02` within six days, `14:02 on 3 May` else, said at `now`.
pub fn near(at: WallTime, now: WallTime, zone: &TimeZone) -> String {
    let (at, now) = (at.instant().to_zoned_datetime(zone.clone()), now.instant().to_zoned_datetime(zone.clone()));
    let days = (at.timestamp().as_second() - now.timestamp().as_second()).abs() / 86_400;
    let form = match days {
        _ if at.date() == now.date() => "%H:%M",
        0..6 => "%a %H:%M",
        _ => "%H:%M on %-d %b",
    };
    at.strftime(form).to_string()
}

/// `alarms board-yard and sensor-air stand, not acknowledged`.
fn alarms(alarm: Option<&str>, unacknowledged: bool, standing: &[String], truth: Truth) -> String {
    match (standing, alarm) {
        ([], Some(alarm)) => format!("alarm {alarm} does not stand"),
        ([], None) => "no alarm stands".to_owned(),
        ([only], _) if truth != Truth::True => format!("alarm {only} is acknowledged"),
        (_, _) if truth != Truth::True => format!("alarms {} are acknowledged", standing.join(", ")),
        ([only], _) if unacknowledged => format!("alarm {only} stands and nobody has acknowledged it"),
        (_, _) if unacknowledged => format!("alarms {} stand and nobody has acknowledged them", standing.join(", ")),
        ([only], _) => format!("alarm {only} stands"),
        (_, _) => format!("alarms {} stand", standing.join(", ")),
    }
}

/// ` until Wed 2 Dec 22:30`, or nothing where it is so for ever.
pub(super) fn until(next: Option<WallTime>, zone: &TimeZone) -> String {
    next.map_or_else(String::new, |next| format!(" until {}", clock(next, zone)))
}

/// Whole seconds, rounded up: nobody waits for milliseconds.
pub(super) fn whole(left: Span) -> Span {
    Span::from_s(left.0.div_ceil(1000))
}
