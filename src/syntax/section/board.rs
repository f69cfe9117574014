//! `[board.<name>]`: a relay board. It never decides how orders reach it.

use super::super::context::{Context, Item};
use super::super::fields::{Fields, Refused, within};
use super::super::keys::{Form, Key, Section};
use crate::house::{BOARD_NAME_MAX, Board, RELAYS_MAX};
use crate::units::{Amperes, Span};

pub(super) static BOARD: Section = Section {
    word: "board",
    a: "a board",
    named: Some(BOARD_NAME_MAX),
    meaning: "A relay board; its name is also its name on the wire.",
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
    ],
    is_condition: false,
    example: "[board.yard]\nrelays = 8\nlease = \"90s\"\n",
    decode,
    after: None,
};

fn decode(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) {
    let relays = fields.whole(context, "relays", 1, i64::from(RELAYS_MAX));
    let lease = fields.parsed(context, "lease", |text| match text {
        "none" => Ok(None),
        _ => within(text, Span::from_s(5), Span::from_h(1)).map(Some).map_err(|refused| {
            Refused::new(refused.cause, format!("{}, or \"none\" for no lease at all", refused.help))
        }),
    });
    let coil = fields.parsed(context, "coil", Amperes::parse);
    let supply = fields.parsed(context, "supply", Amperes::parse);
    let board = match (relays, lease) {
        (Some(relays), Some(lease)) => {
            Some(Board { name: item.name.to_owned(), relays: relays as u8, lease, coil, supply })
        }
        _ => None,
    };
    context.draft.boards.push(board);
}
