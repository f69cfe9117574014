//! Graphical symbols, drawn here after IEC 60417: 5007 ON, 5008 OFF, 5010 ON/OFF; a triangle for what needs a look, as on
//! warning signs; an octagon for what a safety trip has stopped, as on stop signs. Lamps carry one of them beside their
//! colour, which follows IEC 60073 and is never the only sign: red danger, yellow abnormal, green normal, blue a mandatory
//! action, grey and white neutral. Symbols and colours are from memory of those standards.

use maud::{Markup, html};

/// What a lamp says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lamp {
    /// On, and that is as it should be.
    On,
    /// Off, and that is as it should be.
    Off,
    /// There, and all is well.
    Well,
    /// On its way.
    Moving,
    /// Not as it should be, or nobody knows.
    Abnormal,
    /// A safety trip keeps it off.
    Danger,
    /// A person took it out of service, and a person has to put it back.
    Withdrawn,
}

impl Lamp {
    const fn class(self) -> &'static str {
        match self {
            Lamp::On => "on",
            Lamp::Off => "off",
            Lamp::Well => "on",
            Lamp::Moving => "moving",
            Lamp::Abnormal => "abnormal",
            Lamp::Danger => "danger",
            Lamp::Withdrawn => "withdrawn",
        }
    }
}

/// A lamp; the words beside it say the same, so it is silent to who hears the page.
pub fn lamp(lamp: Lamp) -> Markup {
    html! {
        svg class={ "lamp " (lamp.class()) } viewBox="0 0 32 32" width="32" height="32" aria-hidden="true" {
            @match lamp {
                Lamp::Danger => {
                    path.plate d="M10.4 2.5h11.2L29.5 10.4v11.2L21.6 29.5H10.4L2.5 21.6V10.4Z" {}
                    path.mark d="M16 8v10M16 22.5v1.5" {}
                }
                Lamp::Abnormal => {
                    path.plate d="M16 3 30 28 2 28Z" {}
                    path.mark d="M16 12v8M16 23.5v1.5" {}
                }
                Lamp::Withdrawn => {
                    rect.plate x="3" y="3" width="26" height="26" rx="2" {}
                    path.mark d="M9 9 23 23M23 9 9 23" {}
                }
                _ => {
                    circle.plate cx="16" cy="16" r="13.5" {}
                    @match lamp {
                        Lamp::On => path.mark d="M16 9v14" {},
                        Lamp::Well => path.mark d="M9.5 16.5l4.5 4.5 8.5-10" {},
                        Lamp::Moving => path.mark d="M9 16h14M18 11l5 5-5 5" {},
                        _ => circle.mark cx="16" cy="16" r="6" {},
                    }
                }
            }
        }
    }
}

/// IEC 60417-5007, ON.
pub fn on() -> Markup {
    glyph(&html! { path d="M12 4v16" {} })
}

/// IEC 60417-5008, OFF.
pub fn off() -> Markup {
    glyph(&html! { circle cx="12" cy="12" r="7.5" {} })
}

/// IEC 60417-5010, ON/OFF by one actuator: here for what an input toggles.
pub fn on_off() -> Markup {
    glyph(&html! { circle cx="12" cy="12" r="8.5" {} path d="M12 7.5v9" {} })
}

fn glyph(drawing: &Markup) -> Markup {
    html! { svg.glyph viewBox="0 0 24 24" width="20" height="20" aria-hidden="true" { (drawing) } }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_lamps_are_drawn_alike_whatever_their_colours() {
        let all = [Lamp::On, Lamp::Off, Lamp::Well, Lamp::Moving, Lamp::Abnormal, Lamp::Danger, Lamp::Withdrawn];
        let drawn = all.map(|one| {
            let svg = lamp(one).into_string();
            svg.split_once('>').map_or(String::new(), |(_, drawing)| drawing.to_owned())
        });
        for (place, drawing) in drawn.iter().enumerate() {
            assert!(drawing.contains("class=\"plate\"") && drawing.contains("class=\"mark\""), "{drawing}");
            assert!(!drawn[..place].contains(drawing), "{:?}: {drawing}", all[place]);
        }
    }
}
