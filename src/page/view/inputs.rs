//! The page of inputs: what buttons, remotes and contacts said lately, the latest first, and sections to paste for what the
//! house does not name. It never decides what a press does.

use maud::{Markup, html};

use super::gather::Shown;
use super::symbol;
use crate::daemon::seen::{Offered, Said, SeenOne};

/// So many are shown.
const SHOWN: usize = 60;

/// The page.
pub fn main(shown: &Shown) -> Markup {
    let inputs: Vec<&SeenOne> = shown.seen.iter().filter(|one| !matches!(one.said, Said::Reading { .. })).collect();
    let strangers: Vec<&SeenOne> = shown.seen.iter().filter(|one| one.named.is_empty()).collect();
    let mut offered = Offered::beside(shown.house());
    let sections: Vec<String> =
        strangers.iter().map(|one| one.toml(&mut offered)).filter(|text| text.lines().count() > 1).collect();
    html! {
        section aria-labelledby="lately" {
            h2 #lately { "Said lately" }
            p.small { "Press a button or a key of a remote, and it appears here." }
            div #said data-live {
                @if inputs.is_empty() { p { "Nothing was pressed since the daemon started." } }
                ol.journal {
                    @for one in inputs.iter().rev().take(SHOWN) {
                        li {
                            time { (shown.day.clock(one.at)) } " " (one.place) ": "
                            @match &one.said {
                                Said::Press => { (symbol::on_off()) "press" },
                                Said::Code { code } => { "code " code { (code) } },
                                Said::Contact { on } => { @if *on { (symbol::on()) "on" } @else { (symbol::off()) "off" } },
                                Said::Reading { value } => (value),
                            }
                            @if one.named.is_empty() { ", " strong { "not named in the house" } }
                            @else { span.small { " " (one.named.join(", ")) } }
                        }
                    }
                }
            }
        }
        section aria-labelledby="strange" {
            h2 #strange { "To paste into the house" }
            div #paste data-live {
                @if sections.is_empty() { p { "Whatever was said lately is named in the house." } }
                @else {
                    p.small { "What was said lately and the house does not name, as TOML. Give each a name of your own." }
                    pre tabindex="0" aria-label="Sections to paste" { code { @for section in &sections { (section) } } }
                }
            }
        }
    }
}
