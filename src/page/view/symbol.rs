//! Graphical symbols, drawn here after IEC 60417: 5007 ON, 5008 OFF, 5010 ON/OFF; and a triangle for what needs a look, as on
//! warning signs. Lamps carry one of them beside their colour, which follows IEC 60073 and is never the only sign: red danger,
//! yellow abnormal, green normal, blue a mandatory action, grey and white neutral. Symbols and colours are from memory of
//! those standards.

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
                Lamp::Abnormal | Lamp::Danger => {
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
