//! What every page has around it: head, ways to the other pages, how the house is, alarms on top. Blocks with `data-live` are
//! replaced by the script when something changes; forms stand outside of them, so that nobody loses what they type.

use maud::{DOCTYPE, Markup, html};

use super::gather::Shown;
use super::notice::Notice;
use super::symbol::{Lamp, lamp};
use crate::engine::{Alarm, Engine};
use crate::units::counted;

/// The pages in the order of the ways to them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// What loads do.
    Loads,
    /// What sensors say.
    Sensors,
    /// Selectors and setpoints.
    Settings,
    /// What inputs said lately.
    Inputs,
    /// Hours, energy, switchings and the journal.
    History,
    /// Boards, rules and their revision.
    House,
}

impl Place {
    const ALL: [Place; 6] =
        [Place::Loads, Place::Sensors, Place::Settings, Place::Inputs, Place::History, Place::House];

    const fn path(self) -> &'static str {
        match self {
            Place::Loads => "/",
            Place::Sensors => "/sensors",
            Place::Settings => "/settings",
            Place::Inputs => "/inputs",
            Place::History => "/history",
            Place::House => "/house",
        }
    }

    const fn word(self) -> &'static str {
        match self {
            Place::Loads => "Loads",
            Place::Sensors => "Sensors",
            Place::Settings => "Selectors",
            Place::Inputs => "Inputs",
            Place::History => "History",
            Place::House => "House",
        }
    }
}

/// A page on its way out.
pub struct Frame<'a> {
    /// Its heading.
    pub title: &'a str,
    /// Which of the ways leads to it.
    pub here: Place,
    /// Where the script looks for what has changed; `None` for a page that costs too much to be made again and again.
    pub fresh: Option<&'a str>,
    /// What became of what was done last.
    pub notice: Option<Notice>,
}

/// The whole page.
pub fn page(frame: &Frame<'_>, shown: &Shown, main: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            (head(frame.title))
            body data-fresh=[frame.fresh] {
                a.skip href="#main" { "To the page" }
                header {
                    p.name { "Standfast" }
                    nav aria-label="Pages" {
                        ul {
                            @for place in Place::ALL {
                                li {
                                    a href=(place.path()) aria-current=[(place == frame.here).then_some("page")] {
                                        (place.word())
                                    }
                                }
                            }
                        }
                    }
                }
                main #main tabindex="-1" {
                    h1 { (frame.title) }
                    (state(shown))
                    p #link.link role="status" {}
                    @if let Some(notice) = &frame.notice {
                        p #notice class=(if notice.done { "notice done" } else { "notice refused" }) role="status" {
                            strong { (if notice.done { "Done: " } else { "Refused: " }) }
                            (notice.text)
                        }
                    }
                    (alarms(shown, frame.here))
                    (main)
                }
                footer {
                    @if shown.locked {
                        form method="post" action="/logout" { button type="submit" { "Log out" } }
                    }
                    p {
                        "Standfast is no safety controller: thermal cut-outs, residual-current devices and float switches \
                         work without it. A load that is off or withdrawn here is not isolated."
                    }
                }
            }
        }
    }
}

/// The head of every page, also of those that show no house.
pub fn head(title: &str) -> Markup {
    html! {
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta name="color-scheme" content="light dark";
            title { (title) " · Standfast" }
            link rel="icon" href="/assets/icon.svg" type="image/svg+xml";
            link rel="stylesheet" href="/assets/page.css";
            script src="/assets/live.js" defer {}
        }
    }
}

/// When this is from, and what is amiss with clock, broker and store.
fn state(shown: &Shown) -> Markup {
    let clock = shown.now().instant().to_zoned_datetime(shown.zone().clone());
    html! {
        div #state.state data-live {
            p {
                "As of "
                time datetime=(clock.strftime("%Y-%m-%dT%H:%M:%S%:z")) { (clock.strftime("%A %-d %B, %H:%M:%S")) }
            }
            @if !shown.linked {
                p.amiss { (lamp(Lamp::Abnormal)) "No broker is connected: nothing is heard and nothing is ordered." }
            }
            @if !shown.engine.now().trusted {
                p.amiss { (lamp(Lamp::Abnormal)) "The clock is not trusted: rules that ask it are unknown." }
            }
            @if let Some(why) = &shown.trouble {
                p.amiss { (lamp(Lamp::Abnormal)) "The store cannot be read, so figures show no past: " (why) }
            }
        }
    }
}

/// So many alarms are open to see; the others are folded, so that what the page is for is not pushed out of sight.
const OPEN_ALARMS: usize = 3;

/// The alarms that stand: those first that nobody has seen, of these what a safety trip has stopped, then the latest.
fn alarms(shown: &Shown, here: Place) -> Markup {
    let mut alarms: Vec<(&String, &Alarm)> = shown.engine.alarms().iter().collect();
    alarms.sort_by_key(|(id, alarm)| {
        (alarm.acknowledged, !Engine::is_trip_alarm(id), std::cmp::Reverse(alarm.raised), id.as_str())
    });
    let (first, more) = alarms.split_at(alarms.len().min(OPEN_ALARMS));
    let list = |alarms: &[(&String, &Alarm)]| {
        html! { ul { @for (id, alarm) in alarms { li { (one_alarm(shown, id, alarm, here)) } } } }
    };
    html! {
        section #alarms.alarms data-live aria-label="Alarms" {
            @if !alarms.is_empty() {
                h2 { (how_many(&alarms, "")) }
                (list(first))
                @if !more.is_empty() {
                    details #more-alarms { summary { (how_many(more, "more ")) } (list(more)) }
                }
            }
        }
    }
}

/// `5 alarms, 2 not acknowledged`
fn how_many(alarms: &[(&String, &Alarm)], more: &str) -> String {
    let open = alarms.iter().filter(|(_, alarm)| !alarm.acknowledged).count();
    let seen = if open > 0 { format!("{open} not acknowledged") } else { "all acknowledged".to_owned() };
    format!("{}, {seen}", counted(alarms.len(), &format!("{more}alarm")))
}

fn one_alarm(shown: &Shown, id: &str, alarm: &Alarm, here: Place) -> Markup {
    let raised = shown.day.clock(alarm.raised);
    html! {
        div class=(if alarm.acknowledged { "alarm seen" } else { "alarm" }) {
            (lamp(Lamp::Abnormal))
            div {
                p { (alarm.text) }
                p.small { "alarm " (id) ", raised " (raised) @if alarm.acknowledged { ", acknowledged" }
                    @if let Some(by) = &alarm.acknowledged_by { " by " (by.words()) } }
            }
            @if !alarm.acknowledged {
                form method="post" action="/alarm" {
                    input type="hidden" name="alarm" value=(id);
                    input type="hidden" name="back" value=(here.path());
                    button.must type="submit" { "Acknowledge" span.hidden { " alarm " (id) } }
                }
            }
        }
    }
}
