//! What somebody meant who wrote what the language does not have: words of everyday for the trade's, a key of another
//! table, a condition as it is spoken. It never changes what was written.

use super::condition::KINDS;
use super::fields::{clip, list};
use super::keys::Key;
use super::section::SECTIONS;
use crate::calendar::WindowEnd;

/// Words of everyday, and the word of the language that is meant, where a key has it.
const MEANT: [(&str, &str); 32] = [
    ("heater", "resistive"),
    ("heating", "resistive"),
    ("immersion", "resistive"),
    ("kettle", "resistive"),
    ("light", "lamp"),
    ("bulb", "lamp"),
    ("halogen", "lamp"),
    ("strip", "led"),
    ("tube", "fluorescent"),
    ("neon", "fluorescent"),
    ("pump", "motor"),
    ("fan", "motor"),
    ("ventilator", "motor"),
    ("fridge", "compressor"),
    ("freezer", "compressor"),
    ("dehumidifier", "compressor"),
    ("valve", "solenoid"),
    ("lock", "solenoid"),
    ("bell", "transformer"),
    ("computer", "electronics"),
    ("charger", "electronics"),
    ("hand", "manual"),
    ("by hand", "manual"),
    ("auto", "automatic"),
    ("true", "on"),
    ("yes", "on"),
    ("running", "on"),
    ("false", "off"),
    ("no", "off"),
    ("stopped", "off"),
    ("of", "off"),
    ("ignore", "release"),
];

/// The word of the language for a word of everyday, where it is among those that fit.
pub(super) fn meant<'w>(text: &str, words: impl IntoIterator<Item = &'w str>) -> Option<&'w str> {
    let lower = text.to_lowercase();
    let (_, meant) = MEANT.iter().find(|(everyday, _)| *everyday == lower)?;
    words.into_iter().find(|word| word == meant)
}

/// What to do with a key that a table does not have and nothing in it resembles.
pub(super) fn stranger(key: &str, a: &str, keys: &[Key]) -> String {
    let takes_condition = keys.iter().find(|own| own.form == super::keys::Form::Condition);
    let leading = KINDS.into_iter().find(|kind| kind.lead.contains(&key));
    let kind = leading.or_else(|| KINDS.into_iter().find(|kind| kind.keys.iter().any(|own| own.name == key)));
    if let (Some(own), Some(kind)) = (takes_condition, kind) {
        return format!("`{key}` belongs to {}: put it into the braces of {} = {}", kind.a, own.name, kind.example);
    }
    let owner = SECTIONS.into_iter().find(|section| section.keys.iter().any(|own| own.name == key));
    match (owner, kind) {
        (Some(owner), _) if owner.named.is_some() => {
            format!("`{key}` belongs to {}: write it below a header [{}.some-name]", owner.a, owner.word)
        }
        (Some(owner), _) => format!("`{key}` belongs to {}: write it below [{}]", owner.a, owner.word),
        (None, Some(kind)) => format!("`{key}` belongs to {}: write it behind `while` of a rule", kind.a),
        (None, None) if keys.len() > 12 => format!("`standfast reference` has the keys of {a}"),
        (None, None) => format!("its keys are {}", list(keys.iter().map(|key| key.name))),
    }
}

/// Whether a table that takes a condition has, beside it, a key of one: then the condition is there, in the wrong place.
pub(super) fn is_of_condition(key: &str) -> bool {
    KINDS.into_iter().any(|kind| kind.lead.contains(&key))
}

/// How to write a condition that was spoken, such as `warm and evening`, `air > 28` or `22:00 to 06:00`.
pub(super) fn spoken(text: &str) -> Option<String> {
    let listed = |word: &str, between: &str| {
        let names: Vec<String> = text.split(between).map(|name| format!("\"{}\"", clip(name.trim()))).collect();
        (names.len() > 1).then(|| format!("combine conditions so: {{ {word} = [{}] }}", names.join(", ")))
    };
    let turned =
        || text.strip_prefix("not ").map(|name| format!("turn a condition round so: {{ not = \"{}\" }}", name.trim()));
    window(text)
        .or_else(|| threshold(text))
        .or_else(|| listed("any", " or "))
        .or_else(|| listed("all", " and "))
        .or_else(turned)
}

/// `22:00-06:00`, `sunset to sunrise`.
fn window(text: &str) -> Option<String> {
    let ends = [" to ", " until ", "..", "–", "-"].into_iter().find_map(|between| {
        let (from, to) = text.split_once(between)?;
        let from = from.trim().trim_start_matches("from ");
        Some((WindowEnd::parse(from).ok()?, WindowEnd::parse(to).ok()?))
    });
    ends.map(|(from, to)| format!("a window is written so: {{ from = \"{from}\", to = \"{to}\" }}"))
}

/// `sunroom-air > 28`.
fn threshold(text: &str) -> Option<String> {
    let at = text.find(['<', '>'])?;
    let sensor = clip(text[..at].trim());
    let number = text[at..].trim_start_matches(['<', '>', '=', ' ']);
    let number = if number.is_empty() { "28" } else { number };
    let (sign, other) = if text[at..].starts_with('>') { (">=", "<=") } else { ("<=", ">=") };
    let ends = format!("cut_in = \"{sign} {}\", cut_out = \"{other} ...\"", clip(number));
    Some(format!(
        "a threshold is written so, with the end at which it becomes false again: {{ sensor = \"{sensor}\", {ends} }}"
    ))
}

/// The comparator that somebody meant, and what it is held against, in `28 <=`, `=> 28` or `below -3`.
pub(super) fn comparison(text: &str) -> (Option<&'static str>, String) {
    const LOW: [&str; 6] = ["below", "under", "less", "most", "max", "until"];
    const HIGH: [&str; 6] = ["above", "over", "more", "least", "min", "from"];
    let is = |words: &[&str]| text.split_whitespace().any(|word| words.contains(&word.to_lowercase().as_str()));
    let sign = if text.contains(['<', '≤']) || is(&LOW) {
        Some("<=")
    } else if text.contains(['>', '≥']) || is(&HIGH) {
        Some(">=")
    } else {
        None
    };
    let without_signs = text.replace(['<', '>', '=', '≤', '≥'], " ");
    let filler = |word: &&str| {
        let lower = word.to_lowercase();
        LOW.contains(&lower.as_str()) || HIGH.contains(&lower.as_str()) || matches!(lower.as_str(), "than" | "at")
    };
    let rest: Vec<&str> = without_signs.split_whitespace().filter(|word| !filler(word)).collect();
    (sign, if rest.is_empty() { "28".to_owned() } else { clip(&rest.join(" ")) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_of_everyday() {
        assert_eq!(meant("Pump", ["motor", "led"]), Some("motor"));
        assert_eq!(meant("pump", ["on", "off"]), None);
        assert!(MEANT.iter().all(|(everyday, meant)| everyday != meant));
    }

    #[test]
    fn conditions_as_they_are_spoken() {
        let check = |text: &str, expected: Option<&str>| {
            let said = spoken(text);
            assert_eq!(
                said.as_deref().map(|said| said.contains(expected.unwrap_or("never"))),
                expected.map(|_| true),
                "{said:?}"
            );
        };
        check("22:00-06:00", Some("{ from = \"22:00\", to = \"06:00\" }"));
        check("sunset to sunrise", Some("{ from = \"sunset\", to = \"sunrise\" }"));
        check("air > 28", Some("{ sensor = \"air\", cut_in = \">= 28\", cut_out = \"<= ...\" }"));
        check("warm and evening", Some("{ all = [\"warm\", \"evening\"] }"));
        check("not warm", Some("{ not = \"warm\" }"));
        check("dark-outside", None);
    }

    #[test]
    fn comparators_as_they_are_spoken() {
        let check = |text: &str, sign: Option<&str>, number: &str| {
            assert_eq!(comparison(text), (sign, number.to_owned()), "{text}");
        };
        check("28 <=", Some("<="), "28");
        check("=> 28.5", Some(">="), "28.5");
        check("below -3", Some("<="), "-3");
        check("28", None, "28");
        check("> sunroom - 1.5", Some(">="), "sunroom - 1.5");
        check("more than 5 lx", Some(">="), "5 lx");
        check("", None, "28");
    }
}
