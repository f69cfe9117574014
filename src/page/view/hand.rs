//! Hands on a load: forms that work without any script. What they send is understood by the parser of the command line, and
//! the answer says what was understood. They never decide whether something may be done.

use maud::{Markup, html};

use super::gather::Shown;
use super::symbol;
use crate::engine::{Cause, Reasons};
use crate::house::{LoadId, State, Term};

/// Ends of a hold to choose from; each is understood as if it were typed.
const ENDS: &[(&str, &str)] = &[
    ("15m", "15 minutes"),
    ("1h", "1 hour"),
    ("2h", "2 hours"),
    ("8h", "8 hours"),
    ("until sunset", "until sunset"),
    ("until sunrise", "until sunrise"),
    ("next change", "until the rules say something else"),
];

/// The page that follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Back {
    /// That of all loads.
    List,
    /// That of the load.
    Load,
}

impl Back {
    const fn word(self) -> &'static str {
        match self {
            Back::List => "list",
            Back::Load => "load",
        }
    }
}

/// What the Enter key of a field presses in a form that has several buttons: nothing. A browser takes the first button for it,
/// and a telephone's keyboard sends the form with its last key, so that whoever only finished typing "2h" would have switched.
pub fn enter_presses_nothing() -> Markup {
    html! { button type="submit" disabled hidden {} }
}

/// Hand on, hand off, auto, with an end.
pub fn forms(shown: &Shown, id: LoadId, reasons: &Reasons, back: Back) -> Markup {
    let load = shown.house().load(id);
    let name = &load.name;
    let usual = match &load.hold_for {
        Term::NextChange => "as usual: until the rules say something else".to_owned(),
        term => format!("as usual: {term}"),
    };
    let [on, off] = [State::On, State::Off].map(|state| load.word(state));
    let held = |state: State| reasons.explanation.hold.as_ref().is_some_and(|hold| hold.state == state);
    html! {
        form.hold method="post" action={ "/load/" (name) "/hand" } {
            (enter_presses_nothing())
            input type="hidden" name="back" value=(back.word());
            div.ends {
                div.field {
                    label for={ "until-" (name) } { "For how long" }
                    select id={ "until-" (name) } name="until" {
                        option value="" { (usual) }
                        @for (value, words) in ENDS { option value=(value) { (words) } }
                    }
                }
                div.field {
                    label for={ "said-" (name) } { "or in words" }
                    input id={ "said-" (name) } name="said" maxlength="60" autocomplete="off" autocapitalize="none"
                        placeholder="45m, 22:30, sunset+30m";
                }
            }
            div.positions role="group" aria-label={ "Hand on " (load.label) } {
                button type="submit" name="do" value="on" aria-pressed=(held(State::On).to_string()) {
                    (symbol::on()) "Hand " (on)
                }
                button type="submit" name="do" value="off" aria-pressed=(held(State::Off).to_string()) {
                    (symbol::off()) "Hand " (off)
                }
                button type="submit" name="do" value="auto" aria-pressed=(reasons.explanation.hold.is_none().to_string()) {
                    "Auto"
                }
            }
        }
    }
}

/// Out of service and back.
pub fn service(shown: &Shown, id: LoadId, reasons: &Reasons) -> Markup {
    let load = shown.house().load(id);
    let name = &load.name;
    html! {
        @if let Cause::Withdrawn { why } = &reasons.explanation.cause {
            form method="post" action={ "/load/" (name) "/service" } {
                p {
                    "Withdrawn: out of service until it is restored" @if !why.is_empty() { ", because: " strong { (why) } }
                    ". " strong { "It is not isolated." }
                }
                div.field {
                    label for={ "why-" (name) } { "Why it may go back into service" }
                    input id={ "why-" (name) } name="why" maxlength="200" autocomplete="off";
                }
                button.must type="submit" name="do" value="restore" { "Restore to service" }
            }
            details.hand {
                summary { "It stays out for another reason" }
                form method="post" action={ "/load/" (name) "/service" } {
                    div.field {
                        label for={ "reason-" (name) } { "Why it stays out, for whoever comes next" }
                        input id={ "reason-" (name) } name="why" maxlength="200" required autocomplete="off";
                    }
                    button type="submit" name="do" value="withdraw" { "Write this reason instead" }
                }
            }
        } @else {
            form method="post" action={ "/load/" (name) "/service" } {
                p {
                    "A withdrawn load is ordered off until somebody restores it. "
                    strong { "That is no isolation" }
                    ": it does not make the load safe to work on. Isolate it, lock it off and prove it dead as the rules \
                     of your country say; leave mains wiring to a licensed electrician."
                }
                div.field {
                    label for={ "why-" (name) } { "Why, for whoever comes next" }
                    input id={ "why-" (name) } name="why" maxlength="200" required autocomplete="off";
                }
                button type="submit" name="do" value="withdraw" { "Withdraw from service" }
            }
        }
    }
}

/// Safety trips that stand until somebody resets them.
pub fn reset(shown: &Shown, id: LoadId, reasons: &Reasons) -> Markup {
    let name = &shown.house().load(id).name;
    let latched: Vec<_> = reasons.rules.iter().filter(|view| view.rule.latched).collect();
    html! {
        @if !latched.is_empty() {
            form.trip method="post" action={ "/load/" (name) "/reset" } {
                p {
                    "Tripped: "
                    @for (place, view) in latched.iter().enumerate() {
                        @if place > 0 { ", " }
                        strong { (view.rule.rule) }
                    }
                    ". Look at the load first; a trip goes only once its reason is gone."
                }
                button.must type="submit" { "Reset" }
            }
        }
    }
}
