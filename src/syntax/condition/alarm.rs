//! `{ alarm = "any" }`: alarms, in the words of their ids. It never raises one.

use super::super::context::Context;
use super::super::fields::{Fields, Refused, clip, quoted_list};
use super::super::keys::{ConditionKind, Form, Key};
use super::super::near::nearest;
use crate::house::{ALARM_KINDS, AlarmState, Atom, OWN_ALARMS, alarm_about};

/// For every alarm that there may be.
const ANY: &str = "any";

const STATE_WORDS: [(&str, AlarmState); 2] =
    [("unacknowledged", AlarmState::Unacknowledged), ("standing", AlarmState::Standing)];

pub(super) static ALARM: ConditionKind = ConditionKind {
    word: "alarm condition",
    a: "an alarm condition",
    lead: &["alarm"],
    meaning: "True while there is an alarm: until a person has acknowledged it, or until its reason is gone.",
    keys: &[
        Key::required(
            "alarm",
            Form::Alarm,
            "\"board-yard\"",
            "`any`, or an alarm's id as `standfast status` shows it: `board-`, `restarts-` or `namesake-` before a board's name, \
             `sensor-` before a sensor's, `obey-`, `proof-`, `reach-`, `switching-` or `fault-` before a load's, `rotation-` before a \
             rotation's, `trip-` before a rule's, or one of Standfast's own, such as `clock`, `broker` or `memory`.",
        )
        .or_word(&[ANY]),
        Key::optional(
            "is",
            Form::OneOf(&["unacknowledged", "standing"]),
            "\"standing\"",
            "`unacknowledged` counts alarms that nobody has acknowledged yet, which suits a buzzer; `standing` all until their \
             reason is gone, which suits a lamp.",
        )
        .guessed(&["state"])
        .or("unacknowledged"),
    ],
    example: "{ alarm = \"any\" }",
    decode,
};

fn decode(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Atom> {
    let text = fields.text(context, "alarm");
    let is = fields.word(context, "is", &STATE_WORDS);
    let text = text?;
    if let Some(help) = fault(context, &text) {
        let cause = format!("\"{}\" is no alarm of this house", clip(&text));
        fields.refuse(context, "alarm", Refused::new(cause, help));
        return None;
    }
    let alarm = (text != ANY).then(|| text.into_owned());
    Some(Atom::Alarm { alarm, is: is?, place: context.place(fields.spot) })
}

/// What to write instead of an id that no alarm of the house can have.
fn fault(context: &Context<'_>, id: &str) -> Option<String> {
    if id == ANY || OWN_ALARMS.contains(&id) {
        return None;
    }
    if alarm_about(id).is_some_and(|(section, name)| context.index(section, name).is_some()) {
        return None;
    }
    // The name of a thing alone: which of its alarms?
    let of_thing: Vec<String> = ALARM_KINDS
        .into_iter()
        .filter(|(_, section)| context.index(section, id).is_some())
        .map(|(kind, _)| format!("{kind}-{id}"))
        .collect();
    if !of_thing.is_empty() {
        return Some(format!("write {}", quoted_list(of_thing.iter().map(String::as_str))));
    }
    let ids = ALARM_KINDS
        .into_iter()
        .flat_map(|(kind, section)| context.names(section).into_iter().map(move |name| format!("{kind}-{name}")));
    let ids: Vec<String> = ids.chain(OWN_ALARMS.map(str::to_owned)).chain([ANY.to_owned()]).collect();
    if let Some(near) = nearest(id, ids.iter().map(String::as_str)) {
        return Some(format!("did you mean \"{near}\"?"));
    }
    let kinds: Vec<String> = ALARM_KINDS.into_iter().map(|(kind, section)| format!("{kind}-<{section}>")).collect();
    let known = kinds.iter().map(String::as_str).chain(OWN_ALARMS);
    Some(format!("write \"any\", or one of {}", quoted_list(known)))
}
