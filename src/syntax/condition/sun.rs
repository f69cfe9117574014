//! `{ sun = "<= -3" }`: how high the sun stands, against a bound. It never asks what time it is.

use super::super::context::Context;
use super::super::fields::{Fields, Refused, clip};
use super::super::keys::{ConditionKind, Form, Key};
use super::threshold::comparison;
use crate::house::{Atom, ThresholdSide};
use crate::sun::ElevationBound;

pub(super) static SUN: ConditionKind = ConditionKind {
    word: "elevation of the sun",
    a: "an elevation of the sun",
    lead: &["sun"],
    meaning: "True while the sun stands so high or so low. It needs no deadband: it is computed, and passes each height twice \
              a day.",
    keys: &[
        Key::required(
            "sun",
            Form::Elevation,
            "\"<= -3\"",
            "The elevation of the sun's centre, inclusive, without the air's lifting it: 0 is the horizon, sunrise and sunset \
             are near -0.8, dawn and dusk at -6.",
        )
        .unit("degrees")
        .guessed(&["elevation", "sun_elevation", "altitude"]),
    ],
    example: "{ sun = \"<= -3\" }",
    decode,
};

fn decode(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Atom> {
    let bound = fields.parsed(context, "sun", bound)?;
    Some(Atom::Sun { bound, place: context.place(fields.spot) })
}

fn bound(text: &str) -> Result<ElevationBound, Refused> {
    let help = "write degrees above the horizon, such as \"<= -3\" or \">= 10\"";
    let (side, degrees, unit) = comparison(text).map_err(|refused| {
        // An event's name is the usual slip.
        let is_event = crate::sun::SunEvent::from_word(text.trim()).is_some();
        if is_event {
            Refused::new(refused.cause, format!("{help}; events of the sun belong into a window"))
        } else {
            refused
        }
    })?;
    if !matches!(unit.as_str(), "" | "°" | "deg" | "degrees") {
        return Err(Refused::new(format!("\"{}\" is no unit of an angle", clip(&unit)), help));
    }
    if degrees.abs() > 90.0 {
        return Err(Refused::new("the sun stands between -90 and 90 degrees", help));
    }
    Ok(ElevationBound { at_least: side == ThresholdSide::High, degrees })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expected: Result<&str, &str>) {
        match (bound(text), expected) {
            (Ok(bound), Ok(shown)) => assert_eq!(bound.to_string(), shown, "{text}"),
            (Err(refused), Err(part)) => assert!(refused.help.contains(part), "{text}: {}", refused.help),
            (got, expected) => panic!("{text}: {:?}, expected {expected:?}", got.map_err(|refused| refused.help)),
        }
    }

    #[test]
    fn bounds() {
        check("<= -3", Ok("<= -3"));
        check(">= 10.5°", Ok(">= 10.5"));
        check("<=-6 deg", Ok("<= -6"));
        check("-3", Err("\"<= -3\" for this much or less"));
        check(">= 91", Err("degrees above the horizon"));
        check(">= 10 %", Err("degrees above the horizon"));
        check("dusk", Err("belong into a window"));
    }
}
