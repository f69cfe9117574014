//! States as they are written: `on` and `off`, of an actuator `open` and `closed`. It never demands one.

use super::context::Context;
use super::fields::{Fields, Refused, clip};
use super::near::nearest;
use crate::house::{State, Words};

/// All words for states.
pub(super) static STATES: [&str; 4] = ["on", "off", "open", "closed"];

/// The state behind a key, in the words of a load; in any words where the load is not known.
pub(super) fn of_load(context: &mut Context<'_>, fields: &Fields<'_>, key: &str, load: Option<u32>) -> Option<State> {
    let words = load.map(|load| context.words_of(load));
    fields.parsed(context, key, |text| {
        read(text, words).map_err(|(cause, word)| {
            Refused::new(
                cause,
                match word {
                    Some(word) => format!("write {key} = \"{word}\""),
                    None => {
                        let words = words.unwrap_or_default();
                        format!("write {key} = \"{}\" or {key} = \"{}\"", words.word(State::On), words.word(State::Off))
                    }
                },
            )
        })
    })
}

/// A state from a word; else what is wrong with it, and the word that was probably meant.
pub(super) fn read(text: &str, words: Option<Words>) -> Result<State, (String, Option<&'static str>)> {
    let known = |words: Words| words.state(text);
    let Some(words) = words else {
        let state = known(Words::OnOff).or(known(Words::OpenClosed));
        return state.ok_or_else(|| (format!("\"{}\" is no state", clip(text)), nearest(text, STATES)));
    };
    if let Some(state) = known(words) {
        return Ok(state);
    }
    match (words, known(Words::OnOff), known(Words::OpenClosed)) {
        (Words::OpenClosed, Some(_), _) => Err(("an actuator is open or closed, not on or off".to_owned(), None)),
        (Words::OnOff, _, Some(state)) => Err((
            format!("only an actuator is open or closed; this is a load, and is {state} then"),
            Some(state.word()),
        )),
        _ => {
            let near = nearest(text, [State::On, State::Off].map(|state| words.word(state)));
            Err((format!("\"{}\" is no state of it", clip(text)), near))
        }
    }
}
