//! Boards of other firmware, both ways: orders in their words, and their words as reports. It never guesses: a word that the
//! house does not name is refused.

use super::reading;
use super::refusal::{Excerpt, Refusal, bounded_foreign};
use crate::house::{Ask, Ear, Foreign, LEASE_SECONDS};
use crate::units::Span;

/// A message to such a board that has not been delivered after this long never is, unless the broker is to keep it.
pub const FOREIGN_EXPIRY: Span = Span::from_s(10);

/// A message to such a board.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ForeignMessage {
    /// The topic.
    pub topic: String,
    /// The payload.
    pub payload: String,
    /// QoS 1 instead of 0.
    pub acknowledged: bool,
    /// Whether the broker is to keep it.
    pub retain: bool,
}

/// What such a board said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ForeignWord {
    /// It is there, or gone.
    Alive(bool),
    /// What some of its relays do: number and energised.
    Relays {
        /// The relays, by number.
        said: Vec<(u8, bool)>,
        /// The broker had kept it, so nobody knows how old it is.
        kept: bool,
    },
}

/// The order for one relay, by number from 1; `None` for a relay that the board does not have. `lease` is the board's.
pub fn order(foreign: &Foreign, number: u8, energised: bool, lease: Option<Span>) -> Option<ForeignMessage> {
    let relay = foreign.relays.get(usize::from(number).checked_sub(1)?)?;
    let seconds = lease.map_or(0, Span::whole_s).to_string();
    Some(ForeignMessage {
        topic: relay.topic.clone(),
        payload: relay.payloads[usize::from(energised)].replace(LEASE_SECONDS, &seconds),
        acknowledged: foreign.acknowledged,
        retain: foreign.retain,
    })
}

/// The question for a report.
pub fn question(ask: &Ask) -> ForeignMessage {
    ForeignMessage { topic: ask.topic.clone(), payload: ask.payload.clone(), acknowledged: true, retain: false }
}

/// A payload that is looked at in several places; its JSON is read once, and only where somebody asks for a field.
pub(super) struct Heard<'p> {
    payload: &'p [u8],
    document: Option<Result<serde_json::Value, Refusal>>,
}

impl<'p> Heard<'p> {
    pub(super) fn new(payload: &'p [u8]) -> Heard<'p> {
        Heard { payload, document: None }
    }

    /// Which of an ear's two words is said there.
    ///
    /// # Errors
    /// A [`Refusal`] for a payload that is too long, no text or no JSON, a field that is not there, and any other word.
    pub(super) fn word(&mut self, ear: &Ear) -> Result<bool, Refusal> {
        let Some(pointer) = &ear.field else {
            let bytes = bounded_foreign(self.payload)?;
            let text = std::str::from_utf8(bytes).map_err(|_| Refusal::NotText)?;
            return which(text.trim_matches([' ', '\t', '\r', '\n']), ear);
        };
        let document = self.document.get_or_insert_with(|| reading::document(self.payload)).as_ref();
        let missing = || Refusal::NoField { pointer: Excerpt::of(pointer) };
        match document.map_err(Clone::clone)?.pointer(pointer).ok_or_else(missing)? {
            serde_json::Value::String(text) => which(text, ear),
            other => which(&other.to_string(), ear),
        }
    }
}

fn which(said: &str, ear: &Ear) -> Result<bool, Refusal> {
    match ear.words.iter().position(|word| word == said) {
        Some(place) => Ok(place == 1),
        None => Err(Refusal::ForeignWord {
            found: Excerpt::of(said),
            expected: ear.words.each_ref().map(|word| Excerpt::of(word)),
        }),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::house::ForeignRelay;

    fn ear(field: Option<&str>, released: &str, energised: &str) -> Ear {
        let words = [released.to_owned(), energised.to_owned()];
        Ear { topic: "pump-house/says".to_owned(), field: field.map(str::to_owned), words }
    }

    fn foreign(payload: &str, relays: u8) -> Foreign {
        let relay = |number: u8| ForeignRelay {
            topic: format!("pump-house/coil/{number}"),
            payloads: ["rest".to_owned(), payload.to_owned()],
            report: None,
        };
        Foreign {
            relays: (1..=relays).map(relay).collect(),
            acknowledged: true,
            retain: false,
            repeat: None,
            alive: None,
            ask: None,
            lost_after: None,
        }
    }

    fn check(ear: &Ear, payload: &str, expected: Result<bool, &str>) {
        let said = Heard::new(payload.as_bytes()).word(ear);
        assert_eq!(said.map_err(|refusal| refusal.to_string()), expected.map_err(str::to_owned), "{payload}");
    }

    #[test]
    fn a_bare_word_is_one_of_two_or_refused() {
        let ear = ear(None, "rest", "pull");
        check(&ear, "pull", Ok(true));
        check(&ear, " rest\r\n", Ok(false));
        check(&ear, "PULL", Err("says \"PULL\": expected \"rest\" or \"pull\""));
        check(&ear, "", Err("says \"\": expected \"rest\" or \"pull\""));
    }

    #[test]
    fn a_word_in_json_is_text_number_or_truth() {
        check(&ear(Some("/coils/0"), "0", "1"), r#"{"coils":[1,0]}"#, Ok(true));
        check(&ear(Some("/coils/1"), "0", "1"), r#"{"coils":[1,0]}"#, Ok(false));
        check(&ear(Some("/on"), "false", "true"), r#"{"on":true}"#, Ok(true));
        check(&ear(Some("/on"), "rest", "pull"), r#"{"on":"rest"}"#, Ok(false));
        check(&ear(Some("/on"), "rest", "pull"), r#"{"on":null}"#, Err("says \"null\": expected \"rest\" or \"pull\""));
        check(&ear(Some("/on"), "rest", "pull"), "{}", Err("the JSON has nothing at \"/on\""));
    }

    #[test]
    fn an_order_carries_its_lease_in_whole_seconds() {
        let foreign = foreign(r#"{"hold":{lease_s}}"#, 2);
        let message = order(&foreign, 2, true, Some(Span(90_900))).expect("the board has two relays");
        assert_eq!((message.topic.as_str(), message.payload.as_str()), ("pump-house/coil/2", r#"{"hold":90}"#));
        let message = order(&foreign, 2, false, Some(Span(90_900))).expect("the board has two relays");
        assert_eq!(message.payload, "rest");
    }

    #[test]
    fn there_is_no_order_for_a_relay_that_is_not_there() {
        let foreign = foreign("pull", 2);
        assert_eq!((order(&foreign, 0, true, None), order(&foreign, 3, true, None)), (None, None));
    }

    proptest! {
        #[test]
        fn what_is_ordered_in_a_boards_words_is_understood_in_the_same_words(
            words in ("[a-z0-9]{1,8}", "[A-Z]{1,8}"), number in 1u8..=4, energised: bool,
        ) {
            let mut foreign = foreign(&words.1, 4);
            foreign.relays.iter_mut().for_each(|relay| relay.payloads[0].clone_from(&words.0));
            let message = order(&foreign, number, energised, None).expect("one of its relays");
            let heard = Heard::new(message.payload.as_bytes()).word(&ear(None, &words.0, &words.1));
            prop_assert_eq!(heard, Ok(energised));
        }

        #[test]
        fn any_bytes_are_answered(payload in prop::collection::vec(any::<u8>(), 0..200), field in prop::option::of("(/[a-z~01]{0,4}){0,3}")) {
            let ear = ear(field.as_deref(), "rest", "pull");
            let mut heard = Heard::new(&payload);
            let first = heard.word(&ear);
            prop_assert_eq!(first, heard.word(&ear), "asking twice changes nothing");
        }
    }
}
