//! Sentences for explanations: the one place where causes become words. It never decides and never looks at the engine.

use std::fmt::Write;

use jiff::tz::TimeZone;

use super::By;
use super::explain::{Cause, Evidence, Explanation, ProofSeen, ProofView, RotationView, RuleCause, RunView};
use super::hold::HoldView;
use super::proof::Unproved;
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
            Cause::Unordered => "nobody ordered it".to_owned(),
        }
    }
}

impl RuleCause {
    fn sentence(&self, zone: &TimeZone) -> String {
        let mut text = format!("rule {}", self.rule);
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
        match self {
            Evidence::Threshold { sensor, unit, value, side, cut_in, cut_out, cut_in_by, cut_out_by, .. } => {
                let (into, out) = match side {
                    ThresholdSide::High => (">=", "<="),
                    ThresholdSide::Low => ("<=", ">="),
                };
                let by = |by: &Option<String>| by.as_ref().map_or_else(String::new, |by| format!(" ({by})"));
                let (in_by, out_by) = (by(cut_in_by), by(cut_out_by));
                let limits = format!("cut-in {into} {cut_in}{in_by}, cut-out {out} {cut_out}{out_by}");
                match value {
                    Some(value) if unit.is_empty() => format!("{sensor} is {}, {limits}", value.get()),
                    Some(value) => format!("{sensor} is {} {unit}, {limits}", value.get()),
                    None => format!("{sensor} is not known"),
                }
            }
            Evidence::Window { window, truth: Truth::Unknown, .. } => {
                format!("the clock is not trusted, so window {window} is not known")
            }
            Evidence::Window { window, next, truth } => {
                let state = if *truth == Truth::True { "open" } else { "closed" };
                format!("window {window} is {state}{}", until(*next, zone))
            }
            Evidence::Cycle { cycle, truth: Truth::Unknown, .. } => {
                format!("the clock is not trusted, so where the cycle {cycle} stands is not known")
            }
            Evidence::Cycle { cycle, next, truth } => {
                let state = if *truth == Truth::True { "on" } else { "off" };
                format!("the cycle {cycle} is {state}{}", until(*next, zone))
            }
            Evidence::Sun { bound, degrees: Some(degrees), next, truth } => {
                let met = if *truth == Truth::True { "" } else { "not " };
                format!("the sun stands at {}°, {met}{bound}{}", degrees.get(), until(*next, zone))
            }
            Evidence::Sun { degrees: None, .. } => {
                "the clock is not trusted, so where the sun stands is not known".to_owned()
            }
            Evidence::Rise { sensor, value: None, .. } => format!("{sensor} is not known"),
            Evidence::Rise { sensor, unit, value: Some(value), trend, moved, by, within, back_at, .. } => {
                let moved = moved.map_or(0.0, Finite::get);
                let past = if *trend == Trend::Rises { "risen" } else { "fallen" };
                let blank = if unit.is_empty() { "" } else { " " };
                let is = format!("{sensor} is {}{blank}{unit}, has {past} by {moved}", value.get());
                match back_at {
                    Some(back) => format!("{is} since it began and is not back at {}", back.get()),
                    None => format!("{is} within {within}, less than {by}"),
                }
            }
            Evidence::Selector { selector, position, is, until: end, .. } => {
                let not = if position == is { String::new() } else { format!(", not {is}") };
                format!("selector {selector} is {position}{}{not}", until(*end, zone))
            }
            Evidence::Unknown { sensor, truth: Truth::False } => format!("{sensor} is known"),
            Evidence::Unknown { sensor, .. } => format!("{sensor} is not known"),
            Evidence::Input { input, state: Some(state), .. } => format!("input {input} is {state}"),
            Evidence::Alarm { alarm, unacknowledged, standing, truth } => {
                alarms(alarm.as_deref(), *unacknowledged, standing, *truth)
            }
            Evidence::Load { load, state: Some(state), words, .. } => format!("{load} is {}", words.word(*state)),
            Evidence::Load { load, state: None, .. } => format!("what {load} does is not known"),
            Evidence::Input { input, state: None, .. } => format!("input {input} is not known"),
        }
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
                let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
                let reads = value.map_or("is not known".to_owned(), |value| {
                    // Computed readings are finer than any sensor.
                    format!("reads {}{unit}", (value.get() * 1000.0).round() / 1000.0)
                });
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
        let RotationView { rotation, runner, other, took_over, unfit, .. } = self;
        let mut text = match took_over {
            Some(why) => format!("in rotation {rotation} {runner} took over from {other}, which {}", why.words()),
            None => {
                let (own, others) = (hours(self.runner_hours), hours(self.other_hours));
                format!("in rotation {rotation} {runner} leads ({own} against {others})")
            }
        };
        if let Some(why) = unfit {
            let _ = write!(text, "; {runner} {}", why.words());
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

impl Explanation {
    /// What the load is doing and why, in one sentence with the numbers.
    pub fn sentence(&self, zone: &TimeZone) -> String {
        let word = |state| self.words.word(state);
        let wanted = word(self.wanted);
        let assumed = if self.assumed { " (assumed)" } else { "" };
        // A withdrawn actuator is driven nowhere.
        let stays = self.words == Words::OpenClosed && matches!(self.cause, Cause::Withdrawn { .. });
        let mut text = match (self.known, &self.run) {
            (_, Some(RunView::Runs { to, since, ran, length })) => {
                let (ran, since) = (whole(*ran.min(length)), clock_seconds(*since, zone));
                let text = format!("{}: {} since {since}, {ran} of {}", self.load, going(*to), whole(*length));
                if *to == self.wanted { text } else { format!("{text}, wanted {wanted}") }
            }
            (Some(known), _) if stays || known == self.wanted => format!("{}: {}{assumed}", self.load, word(known)),
            (Some(known), _) => format!("{}: {}{assumed}, wanted {wanted}", self.load, word(known)),
            (None, _) if stays => format!("{}: not known", self.load),
            (None, _) => format!("{}: not known, wanted {wanted}", self.load),
        };
        if let Some(RunView::Waits { why }) = &self.run {
            let _ = write!(text, ", waits {why}");
        }
        let _ = write!(text, ", {}", self.cause.sentence(zone));
        if let Some(proof) = &self.proof {
            let _ = write!(text, "; {}", proof.sentence());
        }
        if let Some(rotation) = &self.rotation {
            let _ = write!(text, "; {}", rotation.sentence());
        }
        text
    }
}

/// What an actuator does on its way to an end.
pub(super) const fn going(to: State) -> &'static str {
    match to {
        State::On => "opening",
        State::Off => "closing",
    }
}

/// `06:12:03` on the site's clock.
fn clock_seconds(at: WallTime, zone: &TimeZone) -> String {
    at.instant().to_zoned_datetime(zone.clone()).strftime("%H:%M:%S").to_string()
}

/// `Wed 22:30` on the site's clock: a hold or a window ends within days, and the weekday tells which.
pub(super) fn clock(at: WallTime, zone: &TimeZone) -> String {
    at.instant().to_zoned_datetime(zone.clone()).strftime("%a %H:%M").to_string()
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

/// ` until Wed 22:30`, or nothing where it is so for ever.
pub(super) fn until(next: Option<WallTime>, zone: &TimeZone) -> String {
    next.map_or_else(String::new, |next| format!(" until {}", clock(next, zone)))
}

/// Whole seconds, rounded up: nobody waits for milliseconds.
pub(super) fn whole(left: Span) -> Span {
    Span::from_s(left.0.div_ceil(1000))
}
