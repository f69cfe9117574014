//! `[board.<name>]`: a relay board. It never decides how orders reach it.

use super::super::context::{Context, Item};
use super::super::fields::{Fields, Refused, within};
use super::super::keys::{Form, Key, Section};
use super::{foreign, foreign_keys};
use crate::house::{BOARD_NAME_MAX, Board, RELAYS_MAX};
use crate::units::{Amperes, Span};

/// No relay's data sheet promises more.
const OPERATIONS_MAX: i64 = 1_000_000_000;

pub(super) static BOARD: Section = Section {
    word: "board",
    a: "a board",
    named: Some(BOARD_NAME_MAX),
    meaning: "A relay board; its name is also its name on the wire. One whose firmware does not know Standfast's wire is \
              adapted with `order` and `report`.",
    keys: &[
        Key::required("relays", Form::Whole, "8", "How many relays the board has, 1 to 16."),
        Key::optional(
            "lease",
            Form::Duration,
            "\"90s\"",
            "How long the board obeys its last orders without fresh ones, from 5 s to 1 h; then each relay goes to its \
             fallback. \"none\" keeps the last state for ever.",
        )
        .guessed(&["timeout"])
        .or_word(&["none"])
        .or("90s"),
        Key::optional("coil", Form::Current, "\"72 mA\"", "The current of one energised coil, from the data sheet."),
        Key::optional("supply", Form::Current, "\"1 A\"", "The current that the board's supply can give."),
        Key::optional(
            "endurance",
            Form::Whole,
            "100000",
            "Electrical endurance of its relays: the operations under load that their data sheet gives. With it, the share of \
             a contact's life that is used up is shown.",
        ),
        foreign_keys::KEYS[0],
        foreign_keys::KEYS[1],
        foreign_keys::KEYS[2],
        foreign_keys::KEYS[3],
        foreign_keys::KEYS[4],
        foreign_keys::KEYS[5],
        foreign_keys::KEYS[6],
    ],
    is_condition: false,
    example: "[board.yard]\nrelays = 8\nlease = \"90s\"\n",
    decode,
    after: None,
};

fn decode(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) {
    let board = board(context, item, fields);
    context.draft.boards.push(board);
}

fn board(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) -> Option<Board> {
    let relays = fields.whole(context, "relays", 1, i64::from(RELAYS_MAX)).map(|relays| relays as u8);
    let lease = fields.parsed(context, "lease", |text| match text {
        "none" => Ok(None),
        _ => within(text, Span::from_s(5), Span::from_h(1)).map(Some).map_err(|refused| {
            Refused::new(refused.cause, format!("{}, or \"none\" for no lease at all", refused.help))
        }),
    });
    let coil = fields.parsed(context, "coil", Amperes::parse);
    let supply = fields.parsed(context, "supply", Amperes::parse);
    let endurance = operations(context, fields);
    // With a wrong number of relays its topics can be read all the same, and what is wrong with them be said.
    let foreign = foreign::foreign(context, fields, relays.unwrap_or(1), lease);
    let (name, relays) = (item.name.to_owned(), relays?);
    Some(Board { name, relays, lease: lease?, coil, supply, endurance, foreign: foreign? })
}

/// `endurance`: operations under load.
pub(super) fn operations(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<u32> {
    fields.whole(context, "endurance", 1, OPERATIONS_MAX).and_then(|operations| u32::try_from(operations).ok())
}
