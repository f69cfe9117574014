//! `[input.<name>]`: push buttons, keys of remotes, on/off contacts. It never acts on a press.

use super::super::address;
use super::super::context::{Context, Item};
use super::super::fields::{Fields, Refused, clip};
use super::super::keys::{Form, Key, Section};
use super::super::state;
use super::instead_of;
use crate::house::{Action, Input, LoadId, NAME_MAX, Port, PortId, SelectorId, State, Term};

pub(super) static INPUT: Section = Section {
    word: "input",
    a: "an input",
    named: Some(NAME_MAX),
    meaning: "A push button, a key of an infrared remote, or an on/off contact.",
    keys: &[
        Key::required("at", Form::Endpoint, "\"hall/2\"", "The board that reports it, and its name on the wire.")
            .guessed(&["reading", "pin", "source", "input"]),
        Key::optional("code", Form::Text, "\"20DF40BF\"", "The code that the key of a remote sends."),
        Key::optional(
            "toggles",
            Form::Name("load"),
            "\"hall-lamp\"",
            "A press holds this load in the opposite of what is wanted now.",
        )
        .guessed(&["load"]),
        Key::optional(
            "holds",
            Form::LoadState,
            "\"porch-lamps off\"",
            "A press holds this load in this state: `on` or `off`, an actuator `open` or `closed`.",
        ),
        Key::optional("releases", Form::Name("load"), "\"porch-lamps\"", "A press ends this load's hold."),
        Key::optional(
            "selects",
            Form::Text,
            "\"house away\"",
            "A press turns this selector to this position; to the next one where none is named.",
        )
        .guessed(&["selector", "select"]),
        Key::optional(
            "hold_for",
            Form::Term,
            "\"1h\"",
            "How long what a press makes lasts; where it is not given, a hold as the load says, a selector's position \
             without end.",
        ),
    ],
    is_condition: false,
    example: "[input.hall-2]\nat = \"hall/2\"\ntoggles = \"hall-lamp\"\nhold_for = \"1h\"\n",
    decode,
    after: Some(number_ports),
};

fn decode(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) {
    let input = input(context, item, fields);
    context.draft.inputs.push(input);
}

fn input(context: &mut Context<'_>, item: &Item<'_>, fields: &Fields<'_>) -> Option<(Input, Port)> {
    let at = address::endpoint(context, fields, "at");
    let code = optional(fields.has("code"), || fields.parsed(context, "code", code));
    let action = action(context, fields);
    let hold_for = optional(fields.has("hold_for"), || fields.parsed(context, "hold_for", Term::parse));
    if fields.has("hold_for") && !["toggles", "holds", "selects"].iter().any(|key| fields.has(key)) {
        let diagnostic = context
            .error("contradiction", fields.key_spot_of("hold_for"), format!("{} makes no hold", fields.title), "")
            .help("leave `hold_for` out, or say what a press does: toggles = \"...\" or holds = \"... on\"");
        context.push(diagnostic);
    }
    if let (Some(Some(Term::NextChange)), true) = (&hold_for, fields.has("selects")) {
        let diagnostic = context
            .error("contradiction", fields.spot_of("hold_for"), "a selector knows no next change", "")
            .because("\"next change\" is about what rules demand of a load")
            .help("leave `hold_for` out for no end, or say for how long, as in \"3d\"");
        context.push(diagnostic);
        return None;
    }
    let (board, name) = at?;
    let input = Input {
        name: item.name.to_owned(),
        port: PortId(0), // numbered once all ports are known
        code: code?,
        action: action?,
        hold_for: hold_for?,
    };
    Some((input, Port { board, name }))
}

/// `Some(None)` where a key was not written, `None` where it was and could not be read.
fn optional<T>(written: bool, read: impl FnOnce() -> Option<T>) -> Option<Option<T>> {
    if written { read().map(Some) } else { Some(None) }
}

fn code(text: &str) -> Result<String, Refused> {
    if text.is_empty() || text.len() > 32 || !text.bytes().all(|byte| byte.is_ascii_alphanumeric()) {
        return Err(Refused::new(
            format!("\"{}\" is no code of a remote's key", clip(text)),
            "write 1 to 32 letters and digits, as the board reports them when the key is pressed",
        ));
    }
    if matches!(text, "press" | "on" | "off") {
        return Err(Refused::new(
            format!("\"{text}\" is a word of the wire"),
            "leave `code` out for a button or a contact",
        ));
    }
    Ok(text.to_owned())
}

/// What a press does: `Some(None)` for nothing.
fn action(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Option<Action>> {
    let written: Vec<&str> =
        ["toggles", "holds", "releases", "selects"].into_iter().filter(|key| fields.has(key)).collect();
    if let [first, second, ..] = written[..] {
        let (first, second) = (fields.key_spot_of(first), fields.key_spot_of(second));
        let diagnostic = context
            .error("contradiction", second, format!("{} does two things at one press", fields.title), "the second")
            .also(context.file(first), first.range(), "the first")
            .help("keep one of `toggles`, `holds`, `releases` and `selects`; define a second input for the other");
        context.push(diagnostic);
        return None;
    }
    match written.first() {
        None => Some(None),
        Some(&"holds") => load_state(context, fields).map(Some),
        Some(&"selects") => selection(context, fields).map(Some),
        Some(&key) => {
            let load = LoadId(fields.resolved(context, key, "load")?);
            Some(Some(if key == "toggles" { Action::Toggles(load) } else { Action::Releases(load) }))
        }
    }
}

fn load_state(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Action> {
    let text = fields.text(context, "holds")?;
    let written: Vec<&str> = text.split_whitespace().collect();
    let known = written.first().and_then(|load| context.index("load", load));
    let words = known.map(|load| context.words_of(load));
    let state = match written[..] {
        [_, word] => state::read(word, words).map_err(|(cause, _)| cause),
        _ => Err(format!("\"{}\" is not a load and a state", clip(&text))),
    };
    match state {
        Ok(state) => {
            let load = context.resolve("load", written[0], fields.spot_of("holds"))?;
            Some(Action::Holds(LoadId(load), state))
        }
        Err(cause) => {
            let load = written.first().copied().unwrap_or("porch-lamps");
            let [on, off] = [State::On, State::Off].map(|state| words.unwrap_or_default().word(state));
            let help = format!("write a load and a state: holds = \"{load} {on}\" or holds = \"{load} {off}\"");
            fields.refuse(context, "holds", Refused::new(cause, help));
            None
        }
    }
}

/// A selector, and perhaps one of its positions.
fn selection(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Action> {
    let text = fields.text(context, "selects")?;
    let written: Vec<&str> = text.split_whitespace().collect();
    let (name, position) = match written[..] {
        [name] => (name, None),
        [name, position] => (name, Some(position)),
        _ => {
            let cause = format!("\"{}\" is not a selector and one of its positions", clip(&text));
            let help = "write for example selects = \"house away\", or selects = \"house\" for the next position";
            fields.refuse(context, "selects", Refused::new(cause, help));
            return None;
        }
    };
    let index = context.resolve("selector", name, fields.spot_of("selects"))?;
    let id = SelectorId(index);
    let Some(position) = position else { return Some(Action::Steps(id)) };
    // Where the selector itself failed that has been reported, and the house fails with it.
    let selector = context.draft.selectors.get(id.index()).and_then(Option::as_ref)?;
    match selector.position(position) {
        Some(place) => Some(Action::Selects(id, place as u32)),
        None => {
            let cause = format!("selector \"{name}\" has no position \"{}\"", clip(position));
            let refused = Refused::new(cause, instead_of(&selector.positions, position));
            fields.refuse(context, "selects", refused);
            None
        }
    }
}

/// Gives the ports their numbers, sorted by board and name, now that all inputs are read.
fn number_ports(context: &mut Context<'_>) {
    let draft = &mut context.draft;
    let mut ports: Vec<Port> = draft.inputs.iter().flatten().map(|(_, port)| port.clone()).collect();
    ports.sort();
    ports.dedup();
    for (input, port) in draft.inputs.iter_mut().flatten() {
        if let Ok(index) = ports.binary_search(port) {
            input.port = PortId(index as u32);
        }
    }
    draft.ports = ports;
    super::proof::number_contacts(context);
    super::pulse::join_feedback(context);
}
