//! What lies behind every figure of the day: nights shaded, hours on the clock of the house. It never draws what is shown
//! there.

use maud::{Markup, html};

use super::day::Day;

/// Nights and hours down to the foot of a figure, the clock written at a height; both in px from its top.
pub fn ground(day: &Day, foot: f64, clock: f64) -> Markup {
    html! {
        @for (from, to) in &day.nights {
            rect.night x=(percent(day.x(*from))) y="0" width=(percent(day.x(*to) - day.x(*from))) height=(foot) {}
        }
        @for (at, hour) in &day.ticks {
            @let x = percent(day.x(*at));
            line.tick x1=(x) x2=(x) y1="0" y2=(foot) {}
            // At the edges a number would be cut.
            @if (6.0..94.0).contains(&day.x(*at)) {
                text.clock.minor[hour.parse::<u8>().is_ok_and(|hour| hour % 6 != 0)] x=(x) y=(clock) { (hour) }
            }
        }
        line.foot x1="0" x2="100%" y1=(foot) y2=(foot) {}
    }
}

/// `12.5%`
pub fn percent(x: f64) -> String {
    format!("{}%", (x * 100.0).round() / 100.0)
}
