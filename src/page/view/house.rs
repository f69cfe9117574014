//! The page of the house: which revision of the rules runs, what a waiting change would do, boards and whether they are
//! heard. It never reads the house itself.

use maud::{Markup, html};

use super::gather::Shown;
use super::symbol::{Lamp, lamp};
use crate::daemon::protocol::{Response, ResponseOutcome};
use crate::daemon::status::presence_words;
use crate::engine::Presence;
use crate::house::{Board, BoardId, Foreign};
use crate::units::counted;

/// The page.
pub fn main(shown: &Shown) -> Markup {
    let house = shown.house();
    let waits = shown.engine.alarms().get("house-waits");
    html! {
        section #rules data-live aria-labelledby="rules-heading" {
            h2 #rules-heading { "Rules" }
            dl.facts {
                div { dt { "revision" } dd { code { (shown.revision) } } }
                div { dt { "rules" } dd { (house.rules.len()) } }
                div { dt { "loads" } dd { (house.loads.len()) } }
                div { dt { "sensors" } dd { (house.sensors.len()) } }
                div { dt { "version" } dd { "standfast " (env!("CARGO_PKG_VERSION")) } }
            }
            @if let Some(alarm) = waits { p.amiss { (lamp(Lamp::Withdrawn)) (alarm.text) } }
            p { "Which files: " @for (place, file) in house.files.iter().enumerate() { @if place > 0 { ", " } code { (file) } } }
        }
        p { a.button href="/house/waiting" { "What a change would do" } }
        section #boards data-live aria-labelledby="boards-heading" {
            h2 #boards-heading { "Boards" }
            ul.boards {
                @for (number, board) in house.boards.iter().enumerate() {
                    li { (one_board(board, shown.engine.presence(BoardId(number as u32)), shown.linked)) }
                }
            }
        }
    }
}

fn one_board(board: &Board, presence: Presence, linked: bool) -> Markup {
    let is_heard = board.foreign.as_ref().is_none_or(Foreign::is_heard);
    let sign = match presence {
        Presence::Present if !is_heard => Lamp::Off,
        Presence::Present if linked => Lamp::Well,
        _ => Lamp::Abnormal,
    };
    let words = presence_words(board, presence, linked);
    html! {
        div.plate {
            (lamp(sign))
            h3 { (board.name) }
            p.word { (words) }
        }
        p.small {
            (counted(usize::from(board.relays), "relay")) ", "
            @match board.lease {
                Some(lease) => { "lease " (lease) ": without orders for so long its relays go to their fallback" },
                None => "no lease: without orders its relays stay as they are",
            }
        }
    }
}

/// What a change that waits would do, out of a preview.
pub fn waiting(preview: &Response) -> Markup {
    html! {
        section aria-labelledby="change" {
            h2 #change { "The house as it is written now" }
            @if preview.outcome != ResponseOutcome::Done { p.amiss { (lamp(Lamp::Abnormal)) "It cannot be taken." } }
            pre tabindex="0" aria-label="What it would change" { (preview.text) }
            @if preview.outcome == ResponseOutcome::Done {
                form method="post" action="/house/apply" {
                    p { "Taking it acts at once. What it takes away is opened first." }
                    button.must type="submit" { "Take it" }
                }
            }
        }
        p { a.button href="/house" { "Back to the house" } }
    }
}
