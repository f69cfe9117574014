//! What a name may look like: it stands in topics, commands and file names, so it keeps to what all of them take. It never
//! changes a name.

use super::fields::{Refused, clip};

/// What is wrong with a name, or nothing.
pub(super) fn fault(name: &str, most: usize) -> Option<Refused> {
    let fine = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
    if name.is_empty() {
        return Some(Refused::new("the name is empty", "write lower-case letters, digits and hyphens"));
    }
    if !name.bytes().all(fine) || name.starts_with('-') || name.ends_with('-') {
        let tidy = tidied(name, most);
        let help = match tidy.is_empty() {
            true => "write lower-case letters, digits and hyphens".to_owned(),
            false => format!("write lower-case letters, digits and hyphens between them: \"{tidy}\""),
        };
        return Some(Refused::new(format!("\"{}\" is not a name", clip(name)), help));
    }
    if name.len() > most {
        return Some(Refused::new(
            format!("\"{}\" is too long", clip(name)),
            format!("use at most {most} characters, so that topics stay short enough for small boards"),
        ));
    }
    None
}

/// The nearest text that is a name of at most so many bytes; a name is its own. Empty where nothing is near.
pub fn tidied(name: &str, most: usize) -> String {
    let lower = name.to_lowercase();
    let mut tidy = String::new();
    for c in lower.chars() {
        if c.is_ascii_lowercase() || c.is_ascii_digit() {
            tidy.push(c);
        } else if !tidy.is_empty() && !tidy.ends_with('-') {
            tidy.push('-');
        }
    }
    tidy.truncate(most);
    tidy.trim_end_matches('-').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(name: &str, expected: Option<&str>) {
        let said = fault(name, 16).map(|refused| format!("{}; {}", refused.cause, refused.help));
        match (said, expected) {
            (None, None) => {}
            (Some(said), Some(part)) => assert!(said.contains(part), "{name}: {said}"),
            (said, expected) => panic!("{name}: {said:?}, expected {expected:?}"),
        }
    }

    #[test]
    fn names() {
        check("sunroom-fan", None);
        check("2", None);
        check("", Some("empty"));
        check("Sun room", Some("\"sun-room\""));
        check("porch_lamps", Some("\"porch-lamps\""));
        check("-x-", Some("\"x\""));
        check("täglich", Some("\"t-glich\""));
        check("???", Some("lower-case letters"));
        check("a-very-long-name-indeed", Some("at most 16"));
    }
}
