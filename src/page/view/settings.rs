//! The page of selectors and setpoints: how they stand, and forms to change them that work without any script. It never
//! decides whether a value may be set.

use maud::{Markup, html};

use super::gather::Shown;
use super::hand::enter_presses_nothing;
use crate::engine::{SelectorView, SetpointView};
use crate::house::{RELEASE, SelectorId, SetpointId};
use crate::syntax::capital;

/// The page.
pub fn main(shown: &Shown) -> Markup {
    let house = shown.house();
    let selectors = (0..house.selectors.len() as u32).map(|id| shown.engine.selector_view(SelectorId(id)));
    let setpoints = (0..house.setpoints.len() as u32).map(|id| shown.engine.setpoint_view(SetpointId(id)));
    html! {
        @if house.selectors.is_empty() && house.setpoints.is_empty() {
            p { "The house has no selectors and no setpoints." }
        }
        ul.settings {
            @for view in selectors { li { (selector(shown, &view)) } }
            @for view in setpoints { li { (setpoint(shown, &view)) } }
        }
    }
}

fn selector(shown: &Shown, view: &SelectorView) -> Markup {
    let name = &view.selector;
    html! {
        h2 { (capital(&view.label)) }
        p id={ "selector-" (name) } data-live { (view.sentence(shown.zone())) }
        form method="post" action={ "/selector/" (name) } {
            (enter_presses_nothing())
            (term(&format!("selector-{name}"), "until it is turned again"))
            div.positions role="group" aria-label={ "Turn " (view.label) } {
                @for position in &view.positions {
                    button type="submit" name="position" value=(position)
                        aria-pressed=((*position == view.position).to_string()) { (position) }
                }
            }
        }
    }
}

fn setpoint(shown: &Shown, view: &SetpointView) -> Markup {
    let (name, (least, greatest)) = (&view.setpoint, view.range);
    let unit = if view.unit.is_empty() { String::new() } else { format!(" in {}", view.unit) };
    html! {
        h2 { (capital(&view.label)) }
        p id={ "setpoint-" (name) } data-live { (view.sentence(shown.zone())) }
        form method="post" action={ "/setpoint/" (name) } {
            div.ends {
                div.field {
                    label for={ "value-" (name) } { "Value" (unit) ", " (least) " to " (greatest) }
                    input id={ "value-" (name) } name="value" inputmode="decimal" maxlength="20" autocomplete="off"
                        value=(view.value);
                }
            }
            (term(&format!("setpoint-{name}"), "until its value in the file changes"))
            div.positions role="group" aria-label={ "Set " (view.label) } {
                button type="submit" name="do" value="set" { "Set" }
                button type="submit" name="do" value=(RELEASE) { "Back to " (view.written) ", as written" }
            }
        }
    }
}

/// For how long, in the words of the command line.
fn term(id: &str, usual: &str) -> Markup {
    html! {
        div.ends {
            div.field {
                label for={ "said-" (id) } { "For how long; left empty, " (usual) }
                input id={ "said-" (id) } name="said" maxlength="60" autocomplete="off" autocapitalize="none"
                    placeholder="3d, 22:30, sunset+30m";
            }
        }
    }
}
