//! The page of all loads, by room: what each does and why, its timing diagram, and a hand for it. It never decides anything.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::gather::Shown;
use super::symbol::{Lamp, lamp};
use super::{hand, timing};
use crate::engine::{Cause, Engine, Reasons, RunView, SLOT_TRIP};
use crate::house::{Drive, House, LoadId, State, Truth};
use crate::syntax::capital;

/// The room of loads that name none.
const ELSEWHERE: &str = "elsewhere";

/// The page.
pub fn main(shown: &Shown) -> Markup {
    let mut rooms: BTreeMap<(bool, &str), Vec<(LoadId, Reasons)>> = BTreeMap::new();
    for (id, reasons) in shown.loads() {
        let room = shown.house().load(id).room.as_deref();
        rooms.entry((room.is_none(), room.unwrap_or(ELSEWHERE))).or_default().push((id, reasons));
    }
    html! {
        @if rooms.is_empty() { p { "The house has no loads." } }
        @for ((_, room), loads) in &rooms {
            section.room aria-label={ "Room: " (room) } {
                // A house without rooms needs no heading for what is elsewhere.
                @if rooms.len() > 1 || *room != ELSEWHERE { h2 { (capital(room)) } }
                ul.loads { @for (id, reasons) in loads { (load(shown, *id, reasons)) } }
            }
        }
    }
}

fn load(shown: &Shown, id: LoadId, reasons: &Reasons) -> Markup {
    let name = &reasons.explanation.load;
    html! {
        li.load id={ "load-" (name) } {
            div id={ "now-" (name) } data-live {
                div.plate {
                    (lamp(lamp_of(shown, id, reasons)))
                    h3 { a href={ "/load/" (name) } { (capital(&reasons.explanation.label)) } }
                    p.word { (word_of(reasons)) }
                }
                p.account { (reasons.account(shown.zone(), shown.now())) }
                (marks(shown, reasons))
                (diagram(shown, id, reasons))
            }
            details.hand {
                summary { "Hand" span.hidden { " on " (reasons.explanation.label) } }
                (hand::forms(shown, id, reasons, hand::Back::List))
            }
        }
    }
}

/// The timing diagram of a load.
pub fn diagram(shown: &Shown, id: LoadId, reasons: &Reasons) -> Markup {
    let explanation = &reasons.explanation;
    let (members, boards) = hangs_on(shown.house(), id);
    let of = timing::Of {
        id,
        name: &explanation.load,
        members: &members,
        boards: &boards,
        words: explanation.words,
        known: explanation.known,
    };
    let pieces = timing::pieces(&of, &shown.rows, &shown.forecast, &shown.day);
    timing::figure(&of, &pieces, &shown.day)
}

/// The members of a rotation, and the boards that a load hangs on, by name.
fn hangs_on(house: &House, id: LoadId) -> (Vec<String>, Vec<String>) {
    let load = house.load(id);
    let members = match load.drive {
        Drive::Rotation(rotation) => house.rotation(rotation).loads.map(|member| house.load(member)).to_vec(),
        _ => vec![load],
    };
    let names = members.iter().map(|member| member.name.clone()).filter(|name| *name != load.name).collect();
    let relays = members.into_iter().flat_map(|member| house.relays_of(member));
    let mut boards: Vec<String> = relays.map(|relay| house.board(relay.board).name.clone()).collect();
    boards.sort();
    boards.dedup();
    (names, boards)
}

/// What a lamp says of a load.
pub fn lamp_of(shown: &Shown, id: LoadId, reasons: &Reasons) -> Lamp {
    let explanation = &reasons.explanation;
    let is_unknown =
        |cause: &Cause| matches!(cause, Cause::Rule(rule) if rule.truth == Truth::Unknown && !rule.latched);
    let disobeys = shown.engine.alarms().contains_key(&Engine::obey_alarm(&shown.house().load(id).name));
    match (&explanation.cause, &explanation.run, explanation.known) {
        (Cause::Withdrawn { .. }, ..) => Lamp::Withdrawn,
        (Cause::Rule(rule), ..) if explanation.slot == Some(SLOT_TRIP) && !is_unknown(&explanation.cause) => {
            if rule.state == State::On { Lamp::Abnormal } else { Lamp::Danger }
        }
        _ if disobeys || explanation.proof.is_some() || is_unknown(&explanation.cause) => Lamp::Abnormal,
        (_, Some(RunView::Runs { .. }), _) => Lamp::Moving,
        (_, _, None) => Lamp::Abnormal,
        (_, _, Some(known)) if known != explanation.wanted => Lamp::Moving,
        (_, _, Some(State::On)) => Lamp::On,
        (_, _, Some(State::Off)) => Lamp::Off,
    }
}

/// What a load does, in a word.
fn word_of(reasons: &Reasons) -> String {
    let explanation = &reasons.explanation;
    let word = |state| explanation.words.word(state).to_owned();
    match (&explanation.run, explanation.known) {
        (Some(RunView::Runs { to: State::On, .. }), _) => "opening".to_owned(),
        (Some(RunView::Runs { .. }), _) => "closing".to_owned(),
        (_, Some(known)) => word(known),
        (_, None) => "not known".to_owned(),
    }
}

/// Short signs that a hand is on it, that it is out of service, that rules want it otherwise.
fn marks(shown: &Shown, reasons: &Reasons) -> Markup {
    let explanation = &reasons.explanation;
    let word = |state| explanation.words.word(state);
    let losing: Vec<_> =
        reasons.slots.iter().filter(|slot| !slot.decides && slot.state != explanation.wanted).collect();
    html! {
        @if explanation.hold.is_some() || matches!(explanation.cause, Cause::Withdrawn { .. }) || !losing.is_empty() {
            ul.marks {
                @if let Some(hold) = &explanation.hold {
                    li.mark {
                        "hand " (word(hold.state)) " " (hold.end(&shown.day.clock(hold.until)))
                    }
                }
                @if matches!(explanation.cause, Cause::Withdrawn { .. }) {
                    li.mark.withdrawn { "withdrawn, not isolated" }
                }
                @for slot in losing {
                    li.mark.loses { (slot.by) " wants " (word(slot.state)) " and loses" }
                }
            }
        }
    }
}
