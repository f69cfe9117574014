//! Relays, endpoints on the wire, topics and JSON pointers as they are written. It never connects to anything.

use super::context::Context;
use super::fields::{Fields, Refused, clip};
use super::name;
use crate::house::{BOARD_NAME_MAX, BoardId, RELAYS_MAX, Relay, WIRE_NAME_MAX};

/// `yard/2`: a board that exists and one of its relays.
pub(super) fn relay(context: &mut Context<'_>, fields: &Fields<'_>, key: &str) -> Option<Relay> {
    let text = fields.text(context, key)?;
    let number = text.split_once('/').and_then(|(board, number)| Some((board, plain_number(number)?)));
    let Some((board, number)) = number else {
        let board = some_board(context);
        let help = format!("write board/number, counted from 1, such as \"{board}/2\"");
        fields.refuse(context, key, Refused::new(format!("\"{}\" is no relay", clip(&text)), help));
        return None;
    };
    let spot = fields.spot_of(key);
    let board = BoardId(context.resolve("board", board, spot)?);
    let known = context.draft.boards.get(board.index()).and_then(Option::as_ref);
    let relays = known.map_or(RELAYS_MAX, |known| known.relays);
    match u8::try_from(number) {
        Ok(number) if (1..=relays).contains(&number) => Some(Relay { board, number }),
        _ => {
            let name = context.names("board").get(board.index()).copied().unwrap_or_default();
            let message = format!("board \"{name}\" has no relay {number}");
            let help = match relays {
                1 => format!("write \"{name}/1\""),
                _ => format!("its relays are \"{name}/1\" to \"{name}/{relays}\"; `relays` of the board says how many"),
            };
            let diagnostic = context.error("unknown-relay", spot, message, "").help(help);
            context.push(diagnostic);
            None
        }
    }
}

/// A board to show in an example.
fn some_board(context: &Context<'_>) -> String {
    let named = context.names("board").first().map(|board| name::tidied(board, BOARD_NAME_MAX));
    named.filter(|board| !board.is_empty()).unwrap_or_else(|| "yard".to_owned())
}

/// Digits without a sign.
fn plain_number(text: &str) -> Option<u32> {
    if text.is_empty() || !text.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    text.parse().ok()
}

/// `yard/t1`: a board that exists and a name on the wire.
pub(super) fn endpoint(context: &mut Context<'_>, fields: &Fields<'_>, key: &str) -> Option<(BoardId, String)> {
    let text = fields.text(context, key)?;
    let Some((board, wire_name)) = text.split_once('/') else {
        let fits = name::fault(&text, WIRE_NAME_MAX).is_none() && context.index("board", &text).is_none();
        let (board, example) = (some_board(context), if fits { &*text } else { "t1" });
        let help = format!("write board/name, such as \"{board}/{example}\"");
        fields.refuse(context, key, Refused::new(format!("\"{}\" is not board/name", clip(&text)), help));
        return None;
    };
    let fault = name::fault(wire_name, WIRE_NAME_MAX);
    if let Some(fault) = fault {
        fields.refuse(context, key, fault);
        return None;
    }
    let wire_name = wire_name.to_owned();
    let board = context.resolve("board", board, fields.spot_of(key))?;
    Some((BoardId(board), wire_name))
}

/// A topic name without wildcards (MQTT 5.0, sections 4.7.1 and 4.7.3), short enough for small firmware.
pub(super) fn topic(text: &str) -> Result<String, Refused> {
    let help = "write one whole topic, such as \"roof/weather\"";
    if text.is_empty() || text.chars().any(char::is_control) {
        return Err(Refused::new("it is empty or has a control character", help));
    }
    if text.contains(['+', '#']) {
        return Err(Refused::new("it has a wildcard; one exact topic is wanted", help));
    }
    if text.starts_with('$') {
        return Err(Refused::new("topics that begin with $ belong to the broker", help));
    }
    if text.len() > 256 {
        return Err(Refused::new("it is longer than 256 bytes", help));
    }
    Ok(text.to_owned())
}

/// A JSON pointer (RFC 6901): empty, or parts with a slash before each, `~` only as `~0` or `~1`.
pub(super) fn pointer(text: &str) -> Result<String, Refused> {
    if !text.is_empty() && !text.starts_with('/') {
        let help = format!("write a slash before each part: \"/{}\"", clip(&text.replace('.', "/")));
        return Err(Refused::new("a JSON pointer begins with a slash", help));
    }
    let mut rest = text;
    while let Some((_, after)) = rest.split_once('~') {
        if !after.starts_with(['0', '1']) {
            return Err(Refused::new("a lone ~ is not allowed", "write ~0 for ~ and ~1 for a slash within a part"));
        }
        rest = after;
    }
    if text.len() > 256 {
        return Err(Refused::new("it is longer than 256 bytes", "shorten it"));
    }
    Ok(text.to_owned())
}
