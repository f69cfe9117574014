//! `pulse`, `pulse_at` and `feedback` of a load: a relay that is energised for a moment only. It never sends a pulse.

use super::super::context::Context;
use super::super::fields::Fields;
use super::super::keys::Section;
use super::super::tree::Value;
use super::actuator::contact_named;
use super::load::LOAD;
use crate::house::{Contact, Pulse, PulseAt, State};
use crate::units::Span;

/// The shortest and the longest pulse. A relay takes some 10 ms to close (common practice, from memory).
const LENGTH: (Span, Span) = (Span(20), Span::from_min(1));

const AT_WORDS: [(&str, PulseAt); 2] = [("on", PulseAt::On), ("change", PulseAt::Change)];

/// What goes by how long a load is on, which says nothing of one that is pulsed.
const LIMITS: [&str; 6] = ["min_on", "min_off", "max_on", "rest", "max_starts", "proof"];

/// The pulse of a load, `Some(None)` for a load without one. `wired` is what else bears on it: contact, safe, resting.
pub(super) fn decode(
    context: &mut Context<'_>,
    fields: &Fields<'_>,
    wired: (Option<Contact>, Option<State>, Option<State>),
) -> Option<Option<Pulse>> {
    if !fields.has("pulse") {
        for key in ["pulse_at", "feedback"].into_iter().filter(|key| fields.has(key)) {
            let message = format!("{} is not pulsed, so `{key}` means nothing", fields.title);
            refuse(context, fields, key, message, "", &format!("write pulse = \"400ms\", or leave `{key}` out"));
        }
        let alone = !fields.has("pulse_at") && !fields.has("feedback");
        return alone.then_some(None);
    }
    let length = fields.duration(context, "pulse", LENGTH.0, LENGTH.1);
    let at = if fields.has("pulse_at") { fields.word(context, "pulse_at", &AT_WORDS) } else { Some(PulseAt::On) };
    let (contact, safe, resting) = wired;
    let mut fits = true;
    for key in LIMITS.into_iter().filter(|key| fields.has(key)) {
        let cause = "its relay is energised for the pulse only, so there is no time on that this could bear on";
        refuse(context, fields, key, format!("`{key}` does not go with `pulse`"), cause, &format!("leave `{key}` out"));
        fits = false;
    }
    if contact == Some(Contact::Nc) {
        let cause = "on the NC contact it would be on at all times but for the pulse";
        refuse(
            context,
            fields,
            "contact",
            "a pulsed load is wired to NO",
            cause,
            "wire it to NO, and leave `contact` out",
        );
        fits = false;
    }
    if at == Some(PulseAt::On) {
        for (key, state) in [("safe", safe), ("resting", resting)] {
            if state == Some(State::On) {
                let cause = "it is on for a moment only, and then off by itself";
                let help = format!("leave `{key}` out, or write pulse_at = \"change\" for a latching relay");
                refuse(context, fields, key, format!("`{key}` cannot be on"), cause, &help);
                fits = false;
            }
        }
        if fields.has("feedback") {
            let cause = "a feedback tells on and off, and this load is off by itself";
            let help = "leave `feedback` out, or write pulse_at = \"change\" for a latching relay";
            refuse(context, fields, "feedback", "`feedback` goes with pulse_at = \"change\"", cause, help);
            fits = false;
        }
    }
    let pulse = Pulse { length: length?, at: at?, feedback: None };
    fits.then_some(Some(pulse))
}

fn refuse(
    context: &mut Context<'_>,
    fields: &Fields<'_>,
    key: &str,
    message: impl Into<String>,
    cause: &str,
    help: &str,
) {
    let diagnostic = context.error("contradiction", fields.key_spot_of(key), message, "").because(cause).help(help);
    context.push(diagnostic);
}

/// Gives pulsed loads their feedback, now that the inputs are read.
pub(super) fn join_feedback(context: &mut Context<'_>) {
    let section: &'static Section = &LOAD;
    for item in context.items.get(section.word).cloned().unwrap_or_default() {
        let Value::Table(table) = &item.node.value else { continue };
        if table.get("feedback").is_none() {
            continue;
        }
        let title = format!("load \"{}\"", item.name);
        let fields = Fields::again(title, item.name_spot, table, section.keys);
        let port = contact_named(context, &fields, "feedback");
        let Some(place) = context.index(section.word, item.name) else { continue };
        match &mut context.draft.loads[place as usize] {
            Some(load) if port.is_some() => {
                if let Some(pulse) = &mut load.pulse {
                    pulse.feedback = port;
                }
            }
            load => *load = None,
        }
    }
}
