//! `{ on_for = "10m", off_for = "2h" }`: on for a while, off for a while, counted from local midnight. It never asks what
//! time it is.

use super::super::context::Context;
use super::super::fields::Fields;
use super::super::keys::{ConditionKind, Form, Key};
use crate::calendar::Cycle;
use crate::house::Atom;
use crate::units::Span;

/// The shortest time on, and off: a contact is no metronome.
const TURN_MIN: Span = Span::from_s(1);

/// Time on and time off together: each midnight begins anew, so nothing longer has a meaning.
const WHOLE_MAX: Span = Span::from_h(24);

pub(super) static CYCLE: ConditionKind = ConditionKind {
    word: "cycle",
    a: "a cycle",
    lead: &["on_for", "off_for"],
    meaning: "True for a while, false for a while, and so on; every day begins at midnight with the time on, and what is \
              under way then is cut off. Times are lengths: a day of 23 hours has fewer turns.",
    keys: &[
        Key::required("on_for", Form::Duration, "\"10m\"", "How long it is true.").guessed(&["run_for", "for"]),
        Key::required("off_for", Form::Duration, "\"2h\"", "How long it is false then.").guessed(&["every", "pause"]),
    ],
    example: "{ on_for = \"10m\", off_for = \"2h\" }",
    decode,
};

fn decode(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Atom> {
    let on_for = fields.duration(context, "on_for", TURN_MIN, WHOLE_MAX);
    let off_for = fields.duration(context, "off_for", TURN_MIN, WHOLE_MAX);
    let cycle = Cycle { on_for: on_for?, off_for: off_for? };
    if cycle.on_for + cycle.off_for > WHOLE_MAX {
        let message = "`on_for` and `off_for` together are longer than a day";
        let diagnostic = context
            .error("bad-duration", fields.spot_of("off_for"), message, "")
            .because("a cycle is counted from midnight and begins anew each day")
            .help("make them shorter; for once a day write a window, { from = \"03:00\", to = \"03:10\" }");
        context.push(diagnostic);
        return None;
    }
    Some(Atom::Cycle { cycle, place: context.place(fields.spot) })
}
