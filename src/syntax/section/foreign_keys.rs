//! The keys of `[board.<name>]` for boards of other firmware, and those of the tables in them. It never reads one.

use super::super::keys::{Form, Key};

/// The keys of a board of other firmware, `order` first.
pub(super) static KEYS: [Key; 7] = [
    Key::optional(
        "order",
        Form::Keys(&ORDER),
        "{ topic = \"shed/coil/{relay}\", energised = \"1\", released = \"0\" }",
        "Only for a board that speaks otherwise: where an order for one of its relays goes, and its words.",
    ),
    Key::optional(
        "report",
        Form::Keys(&REPORT),
        "{ topic = \"shed/contact/{relay}\", energised = \"1\", released = \"0\" }",
        "With `order`: where it says what its relays do, and its words; \"none\" if it never does: then their state is \
         only assumed.",
    )
    .or_word(&["none"]),
    Key::optional(
        "alive",
        Form::Keys(&ALIVE),
        "{ topic = \"shed/link\", there = \"up\", gone = \"down\" }",
        "With `order`: where it says that it is there, and its will at the broker says that it is gone.",
    ),
    Key::optional(
        "ask",
        Form::Keys(&ASK),
        "{ topic = \"shed/query\", payload = \"relays\" }",
        "With `report`: how it is asked for a report, if it gives none by itself until something changes. Where it is not \
         given, a relay of which nothing is heard for a minute is told again what it was told last, which makes it answer.",
    ),
    Key::optional(
        "active_low",
        Form::Truth,
        "true",
        "With `order`: its relays pull in while their pin is low and its firmware does not know, so that what it calls on \
         releases a relay. The words for energised and released then change places, in orders and reports.",
    ),
    Key::optional(
        "first",
        Form::Whole,
        "0",
        "With `order`: the number that the board gives to its first relay; 1 where it is not given.",
    ),
    Key::optional(
        "lost_after",
        Form::Duration,
        "\"5m\"",
        "With `report` or `alive`: after this long without a word the board is lost. Where it is not given: 5 min, or \
         with `alive` only when that says so.",
    ),
];

pub(super) static ORDER: [Key; 6] = [
    Key::required(
        "topic",
        Form::Topics,
        "\"shed/coil/{relay}\"",
        "Where an order goes; {relay} stands for the relay's number. Or a list with a topic for each relay.",
    ),
    Key::required(
        "energised",
        Form::Text,
        "\"1\"",
        "The payload that energises a relay; in it {relay} and {lease_s}, the seconds until the board is to release \
             it by itself, are filled in.",
    )
    .guessed(&["on", "payload", "close"]),
    Key::required("released", Form::Text, "\"0\"", "The payload that releases a relay.").guessed(&["off", "open"]),
    Key::optional(
        "qos",
        Form::Whole,
        "0",
        "The quality of service (MQTT 5.0, section 4.3), 0 or 1; 1 where it is not given.",
    ),
    Key::optional(
        "retain",
        Form::Truth,
        "true",
        "Whether the broker keeps the last order for a board that connects later, however old it is by then; false \
             where it is not given.",
    ),
    Key::optional(
        "repeat",
        Form::Duration,
        "\"1m\"",
        "How often standing orders are said again, or \"none\"; 1 min where it is not given, a quarter of the lease \
             with {lease_s}.",
    ),
];

pub(super) static REPORT: [Key; 4] = [
    Key::required(
        "topic",
        Form::Topics,
        "\"shed/contact/{relay}\"",
        "Where it reports; {relay} stands for the relay's number. Or a list with a topic for each relay.",
    ),
    Key::optional(
        "field",
        Form::Pointer,
        "\"/coils/{relay}\"",
        "Where the word stands in the JSON there; without it the payload is the word.",
    ),
    Key::required("energised", Form::Text, "\"1\"", "The word for energised; a number or true as JSON writes it.")
        .guessed(&["on"]),
    Key::required("released", Form::Text, "\"0\"", "The word for not energised.").guessed(&["off"]),
];

pub(super) static ALIVE: [Key; 4] = [
    Key::required("topic", Form::Topic, "\"shed/link\"", "The topic, retained by the board."),
    Key::optional("field", Form::Pointer, "\"/link\"", "Where the word stands in the JSON there."),
    Key::required("there", Form::Text, "\"up\"", "The word for being there."),
    Key::required("gone", Form::Text, "\"down\"", "The word for being gone, its will."),
];

pub(super) static ASK: [Key; 3] = [
    Key::required("topic", Form::Topic, "\"shed/query\"", "The topic."),
    Key::required("payload", Form::Text, "\"relays\"", "What is said there."),
    Key::optional("every", Form::Duration, "\"1m\"", "How often.").or("1m"),
];
