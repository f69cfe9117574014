//! `[input.<name>]`: push buttons, keys of remotes, on/off contacts. It never acts on a press.

use super::super::address;
use super::super::context::{Context, Item};
use super::super::fields::{Fields, Refused, clip};
use super::super::keys::{Form, Key, Section};
use super::super::state;
use crate::house::{Action, Input, LoadId, NAME_MAX, Port, PortId, State, Term};

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
            "hold_for",
            Form::Term,
            "\"1h\"",
            "How long the hold lasts that a press makes; as the load says where it is not given.",
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
    if fields.has("hold_for") && !fields.has("toggles") && !fields.has("holds") {
        let diagnostic = context
            .error("contradiction", fields.key_spot_of("hold_for"), format!("{} makes no hold", fields.title), "")
            .help("leave `hold_for` out, or say what a press does: toggles = \"...\" or holds = \"... on\"");
        context.push(diagnostic);
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
    let written: Vec<&str> = ["toggles", "holds", "releases"].into_iter().filter(|key| fields.has(key)).collect();
    if let [first, second, ..] = written[..] {
        let (first, second) = (fields.key_spot_of(first), fields.key_spot_of(second));
        let diagnostic = context
            .error("contradiction", second, format!("{} does two things at one press", fields.title), "the second")
            .also(context.file(first), first.range(), "the first")
            .help("keep one of `toggles`, `holds` and `releases`; define a second input for the other");
        context.push(diagnostic);
        return None;
    }
    match written.first() {
        None => Some(None),
        Some(&"holds") => load_state(context, fields).map(Some),
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
}
