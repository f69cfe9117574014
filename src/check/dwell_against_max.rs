//! Limits of one load that contradict each other, or of which one leaves nothing to the other.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Action, Load, State, Term};
use crate::units::Span;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let of_load = [longer_than_max_on, starts_that_never_count, rest_that_does_nothing, hold_that_is_cut];
    let loads = subject.house.loads.iter();
    let mut found: Vec<Diagnostic> =
        loads.flat_map(|load| of_load.iter().filter_map(|find| find(subject, load))).collect();
    found.extend(presses_that_are_cut(subject));
    found
}

fn longer_than_max_on(subject: &Subject<'_>, load: &Load) -> Option<Diagnostic> {
    let max_on = load.max_on.filter(|max_on| *max_on < load.min_on)?;
    let message = format!("load \"{}\" is to be on for at least {} and at most {max_on}", load.name, load.min_on);
    let diagnostic = Diagnostic::error("contradicting-limits", message)
        .because("max on cuts it before min on is over, every time")
        .help("make `max_on` at least as long as `min_on`");
    Some(subject.at(diagnostic, load.section(), &load.name, "max_on", ""))
}

/// Starts of a load follow one another by min on and min off at least.
fn starts_that_never_count(subject: &Subject<'_>, load: &Load) -> Option<Diagnostic> {
    let limit = load.max_starts?;
    let cycle = load.min_on.0.saturating_add(load.min_off.0);
    let possible = limit.within.0.checked_div(cycle)?.saturating_add(1);
    if possible > u64::from(limit.most) {
        return None;
    }
    let message = format!("`max_starts` of load \"{}\" never counts", load.name);
    let because = format!(
        "min on and min off leave room for {possible} starts within {} at most, and it allows {}",
        limit.within, limit.most
    );
    let diagnostic = Diagnostic::warning("idle-limit", message)
        .because(because)
        .help("allow fewer starts, or leave `max_starts` out");
    Some(subject.at(diagnostic, load.section(), &load.name, "max_starts", ""))
}

/// Where no rest is given it is min off, so one that differs has been written.
fn rest_that_does_nothing(subject: &Subject<'_>, load: &Load) -> Option<Diagnostic> {
    let (because, help) = if load.max_on.is_none() && load.rest != load.min_off {
        ("it follows a run that max on has ended, and there is no max on", "add `max_on`, or leave `rest` out")
    } else if load.rest < load.min_off {
        ("min off is longer and holds after every run", "make `rest` longer than `min_off`, or leave it out")
    } else {
        return None;
    };
    let message = format!("`rest` of load \"{}\" does nothing", load.name);
    let diagnostic = Diagnostic::warning("idle-limit", message).because(because).help(help);
    Some(subject.at(diagnostic, load.section(), &load.name, "rest", ""))
}

fn hold_that_is_cut(subject: &Subject<'_>, load: &Load) -> Option<Diagnostic> {
    let (max_on, hold_for) = cut(load, &load.hold_for)?;
    let message = format!("a hold of load \"{}\" lasts {hold_for}, and max on is {max_on}", load.name);
    Some(subject.at(shorter_hold(message), load.section(), &load.name, "hold_for", ""))
}

/// Presses that hold a load on for longer than it may be.
fn presses_that_are_cut(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let found = subject.house.inputs.iter().filter_map(|input| {
        let (Action::Toggles(id) | Action::Holds(id, State::On)) = input.action? else { return None };
        let load = subject.house.load(id);
        let (max_on, hold_for) = cut(load, input.hold_for.as_ref()?)?;
        let message =
            format!("input \"{}\" holds load \"{}\" for {hold_for}, and max on is {max_on}", input.name, load.name);
        Some(subject.at(shorter_hold(message), "input", &input.name, "hold_for", ""))
    });
    found.collect()
}

/// Max on and the length of a hold that is longer.
fn cut(load: &Load, term: &Term) -> Option<(Span, Span)> {
    let Term::For(hold_for) = *term else { return None };
    load.max_on.filter(|max_on| *max_on < hold_for).map(|max_on| (max_on, hold_for))
}

fn shorter_hold(message: String) -> Diagnostic {
    Diagnostic::warning("hold-is-cut", message)
        .because(
            "max on comes before a hand: it goes off while the hold still says on, and may come back after its rest",
        )
        .help("hold it for no longer than `max_on`")
}
