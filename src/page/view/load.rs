//! The page of one load: what it does and why, all that speaks to it, what is to come, hands, and what it did lately. It never
//! decides anything.

use maud::{Markup, html};

use super::gather::Shown;
use super::history::share_words;
use super::symbol::lamp;
use super::{hand, loads};
use crate::engine::{Reasons, RuleView, truth_word};
use crate::house::{Contact, LoadId, Words};

/// What the store tells of a load.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// What happened lately: when and what, the latest first.
    pub rows: Vec<(String, String)>,
    /// Hours, energy and switchings of the week, as name and value.
    pub counts: Vec<(String, String)>,
}

/// The page; `told` is `None` where the store does not tell.
pub fn main(shown: &Shown, id: LoadId, told: Option<&Told>) -> Markup {
    let reasons = shown.engine.reasons(id);
    let name = &reasons.explanation.load;
    html! {
        div.split {
            div {
                section #now.load data-live aria-label="Now" {
                    div.plate {
                        (lamp(loads::lamp_of(shown, id, &reasons)))
                        p.account { (reasons.account(shown.zone(), shown.now())) }
                    }
                    (loads::diagram(shown, id, &reasons))
                    p.small {
                        "Night is shaded; dashed is what comes by itself if every reading stays as it is"
                        @if shown.forecast.until < shown.day.to { ", foreseen until " (shown.day.clock(shown.forecast.until)) }
                        "."
                    }
                    (facts(shown, id, &reasons))
                }
                section aria-labelledby="hand" {
                    h2 #hand { "Hand" }
                    (hand::reset(shown, id, &reasons))
                    (hand::forms(shown, id, &reasons, hand::Back::Load))
                }
                section aria-labelledby="service" {
                    h2 #service { "Service" }
                    (hand::service(shown, id, &reasons))
                }
            }
            div {
                section #why data-live aria-labelledby="why-heading" {
                    h2 #why-heading { "All that speaks to it" }
                    (slots(&reasons))
                    (rules(shown, &reasons))
                    (coming(shown, id, &reasons))
                }
                section #did data-live aria-labelledby="did-heading" {
                    h2 #did-heading { "What it did" }
                    (did(told))
                    p { a href={ "/history?load=" (name) } { "Its history" } }
                }
            }
        }
    }
}

/// What the store tells, or that it does not.
fn did(told: Option<&Told>) -> Markup {
    let Some(Told { rows, counts }) = told else {
        return html! { p { "What is written of it cannot be read just now." } };
    };
    html! {
        @if !counts.is_empty() {
            dl.facts { @for (what, value) in counts { div { dt { (what) } dd { (value) } } } }
        }
        @if rows.is_empty() { p { "Nothing is written of it yet." } }
        ol.journal { @for (at, text) in rows { li { time { (at) } " " (text) } } }
    }
}

/// Wanted, ordered and known, and where it hangs.
fn facts(shown: &Shown, id: LoadId, reasons: &Reasons) -> Markup {
    let (load, explanation) = (shown.house().load(id), &reasons.explanation);
    let word = |state| explanation.words.word(state);
    let relays = shown.house().relays_of(load);
    let relays: Vec<String> = relays.into_iter().map(|relay| shown.house().relay_name(relay)).collect();
    let nothing = if load.relay().is_some() { "nothing" } else { "by its relays" };
    let (ordered, known) = (explanation.ordered.map_or(nothing, word), explanation.known.map_or("not known", word));
    let differs = |state| state != Some(explanation.wanted);
    html! {
        dl.facts {
            div { dt { "wanted" } dd { (word(explanation.wanted)) } }
            div.differs[differs(explanation.ordered) && load.relay().is_some() && load.pulse.is_none()] {
                dt { "ordered" } dd { (ordered) }
            }
            div.differs[differs(explanation.known)] {
                dt { "known" } dd { (known) @if explanation.assumed { ", assumed: its board cannot report" } }
            }
            @if let Some(hold) = &explanation.hold {
                div {
                    dt { "hand" }
                    dd {
                        (word(hold.state)) " by " (hold.by.words()) " " (hold.end(&shown.day.clock(hold.until)))
                    }
                }
            }
            div { dt { "safe state" } dd { (word(load.safe)) } }
            @if let Some(power) = load.power { div { dt { "power" } dd { (power) } } }
            @if let Some(wear) = shown.engine.wear(id) {
                div {
                    dt {
                        "operations " (wear.replaced.as_ref().map_or("counted".to_owned(), |day| format!("since {day}")))
                    }
                    dd {
                        (wear.operations)
                        @if let (Some(share), Some(endurance)) = (wear.share(), wear.endurance) {
                            ", " (share_words(share)) " of the contact's life of " (endurance)
                        }
                    }
                }
            }
            @if !relays.is_empty() {
                div {
                    dt { (if relays.len() == 1 { "relay" } else { "relays" }) }
                    dd { (relays.join(", ")) @if load.contact == Contact::Nc { ", contact NC" } }
                }
            }
        }
    }
}

/// The slots that are set; the lowest decides.
fn slots(reasons: &Reasons) -> Markup {
    let words = reasons.explanation.words;
    html! {
        h3 { "Slots, the lowest decides" }
        @if reasons.slots.is_empty() { p { "None is set, so it rests." } }
        @else {
            ol.slots {
                @for slot in &reasons.slots {
                    li.decides[slot.decides] {
                        span.slot { (slot.slot) }
                        span { strong { (words.word(slot.state)) } ": " (slot.by) }
                        span.verdict { (if slot.decides { "decides" } else { "loses" }) }
                    }
                }
            }
        }
    }
}

fn rules(shown: &Shown, reasons: &Reasons) -> Markup {
    html! {
        @if !reasons.rules.is_empty() {
            h3 { "Rules" }
            ul.rules { @for view in &reasons.rules { li { (rule(shown, view, reasons.explanation.words)) } } }
        }
    }
}

fn rule(shown: &Shown, view: &RuleView, words: Words) -> Markup {
    html! {
        p {
            strong { (view.rule.rule) }
            " is " (truth_word(view.rule.truth)) ": " (view.speaks(words))
            span.small { " (slot " (view.slot()) ", " (view.rule.place) ")" }
        }
        ul {
            @for evidence in &view.rule.evidence {
                li class=(truth_word(evidence.truth())) {
                    strong { (truth_word(evidence.truth())) } ": " (evidence.sentence(shown.zone()))
                    @if let Some(turn) = evidence.turn() { "; " (turn) }
                }
            }
        }
        @if let Some(turns) = view.turns(shown.zone(), shown.now()) { p.small { "It " (turns) "." } }
    }
}

/// What comes by itself: what the clock brings, and what the load will make of it.
fn coming(shown: &Shown, id: LoadId, reasons: &Reasons) -> Markup {
    let words = reasons.explanation.words;
    let changes: Vec<_> = shown.forecast.changes.iter().filter(|change| change.load == id).take(8).collect();
    html! {
        @if !changes.is_empty() {
            h3 { "Foreseen, if every reading stays as it is" }
            ol.journal {
                @for change in changes {
                    li {
                        time { (shown.day.clock(change.at)) } " "
                        strong { (change.state.map_or("on its way", |state| words.word(state))) }
                        ": " (change.why.sentence(shown.zone()))
                    }
                }
            }
        }
        @if !reasons.coming.is_empty() {
            h3 { "Coming by itself" }
            ol.journal {
                @for coming in &reasons.coming { li { time { (shown.day.clock(coming.at)) } " " (coming.what) } }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(told: Option<&Told>, expected: &str) {
        assert_eq!(did(told).into_string().replace("<ol class=\"journal\"></ol>", ""), format!("<p>{expected}</p>"));
    }

    #[test]
    fn what_cannot_be_read_does_not_look_like_nothing() {
        check(None, "What is written of it cannot be read just now.");
        check(Some(&Told { rows: Vec::new(), counts: Vec::new() }), "Nothing is written of it yet.");
    }
}
