//! `[board.<name>]`: a relay board. It never decides how orders reach it.

use jiff::civil::Date;

use super::super::context::{Context, Item};
use super::super::fields::{Fields, Refused, clip, within};
use super::super::keys::{Form, Key, Section};
use super::super::tree::Value;
use super::{foreign, foreign_keys};
use crate::house::{BOARD_NAME_MAX, Board, RELAYS_MAX, Replaced};
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
        Key::optional(
            "replaced",
            Form::Texts,
            "[\"3 on 2026-05-12\"]",
            "Relays that were replaced, by number or `all`, and the day. The operations of a contact are counted anew from when \
             Standfast reads of a later day than before.",
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
    let replaced = replaced(context, fields, relays);
    // With a wrong number of relays its topics can be read all the same, and what is wrong with them be said.
    let foreign = foreign::foreign(context, fields, relays.unwrap_or(1), lease);
    let (name, relays) = (item.name.to_owned(), relays?);
    Some(Board { name, relays, lease: lease?, coil, supply, endurance, replaced: replaced?, foreign: foreign? })
}

/// `endurance`: operations under load.
pub(super) fn operations(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<u32> {
    fields.whole(context, "endurance", 1, OPERATIONS_MAX).and_then(|operations| u32::try_from(operations).ok())
}

/// `replaced`: relays by number, each with a day.
fn replaced(context: &mut Context<'_>, fields: &Fields<'_>, relays: Option<u8>) -> Option<Vec<Replaced>> {
    let Some(node) = fields.node("replaced") else { return Some(Vec::new()) };
    let Value::List(items) = &node.value else {
        fields.report_type(context, "replaced", node);
        return None;
    };
    let mut all = Some(Vec::new());
    for item in items {
        let Value::Text(text) = &item.value else {
            fields.report_type(context, "replaced", node);
            return None;
        };
        match one_replaced(text, relays) {
            Ok(one) => all.iter_mut().for_each(|all| all.push(one)),
            Err(Refused { cause, help }) => {
                let diagnostic = context.error("bad-replaced", item.spot, cause, "").help(help);
                context.push(diagnostic);
                all = None;
            }
        }
    }
    all
}

fn one_replaced(text: &str, relays: Option<u8>) -> Result<Replaced, Refused> {
    let help = "write the relay's number, or \"all\", and the day, such as \"3 on 2026-05-12\"";
    let refused = |cause: String| Refused::new(cause, help);
    let words: Vec<&str> = text.split_whitespace().collect();
    let [relay, "on", day] = words[..] else {
        return Err(refused(format!("\"{}\" is no relay with a day", clip(text))));
    };
    let relay = match relay {
        "all" => None,
        number => match number.parse().ok().filter(|number| (1..=relays.unwrap_or(RELAYS_MAX)).contains(number)) {
            Some(number) => Some(number),
            None => return Err(refused(format!("the board has no relay {}", clip(number)))),
        },
    };
    // 2026-5-12 is understood by nobody for sure.
    let is_whole = day.len() == 10 && day.bytes().all(|byte| byte.is_ascii_digit() || byte == b'-');
    match day.parse::<Date>().ok().filter(|_| is_whole) {
        Some(day) => Ok(Replaced { relay, day }),
        None => Err(refused(format!("\"{}\" is no day", clip(day)))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expected: Result<(Option<u8>, &str), &str>) {
        let got = one_replaced(text, Some(8)).map(|one| (one.relay, one.day.to_string())).map_err(|error| error.cause);
        match (got, expected) {
            (Ok((relay, day)), Ok(expected)) => assert_eq!((relay, day.as_str()), expected, "{text}"),
            (Err(cause), Err(part)) => assert!(cause.contains(part), "{text}: {cause}"),
            (got, expected) => panic!("{text}: {got:?}, expected {expected:?}"),
        }
    }

    #[test]
    fn a_replaced_relay_has_a_number_and_a_day() {
        check("3 on 2026-05-12", Ok((Some(3), "2026-05-12")));
        check(" all  on 2024-02-29 ", Ok((None, "2024-02-29")));
        check("9 on 2026-05-12", Err("no relay 9"));
        check("0 on 2026-05-12", Err("no relay 0"));
        check("yard/3 on 2026-05-12", Err("no relay yard/3"));
        check("3 on 2026-02-29", Err("no day"));
        check("3 on 2026-5-12", Err("no day"));
        check("3 on 2026-05-12T10:00", Err("no day"));
        check("3 2026-05-12", Err("no relay with a day"));
        check("", Err("no relay with a day"));
    }
}
