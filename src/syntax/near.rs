//! The nearest known name to one that is not known: people mistype, swap neighbours and guess plurals. It never changes
//! what was written.

use jiff::tz::TimeZoneDatabase;

/// The candidate nearest to `word`, if one is near enough to be meant: about one slip in three letters.
pub fn nearest<'c>(word: &str, candidates: impl IntoIterator<Item = &'c str>) -> Option<&'c str> {
    let word: Vec<char> = folded(word);
    if word.len() > 64 {
        return None;
    }
    let mut best: Option<(usize, &str)> = None;
    for candidate in candidates {
        let letters = folded(candidate);
        let allowed = (word.len().max(letters.len()) / 3).max(1);
        let away = if starts_or_ends(&word, &letters) { 1 } else { distance(&word, &letters) };
        if away <= allowed && best.is_none_or(|(least, _)| away < least) {
            best = Some((away, candidate));
        }
    }
    best.map(|(_, candidate)| candidate)
}

/// The zone of a database whose name is nearest to one that it does not have.
pub fn nearest_zone(zones: &TimeZoneDatabase, name: &str) -> Option<String> {
    let names: Vec<String> = zones.available().map(|known| known.as_str().to_owned()).collect();
    // The last part counts most: people write the city alone, or put it under another continent.
    let last = |name: &str| name.rsplit('/').next().unwrap_or_default().to_owned();
    let wanted = last(name).replace(' ', "_");
    let has_the_city = |known: &&String| known.contains('/') && last(known).eq_ignore_ascii_case(&wanted);
    let city = names.iter().find(has_the_city).map(String::as_str);
    city.or_else(|| nearest(name, names.iter().map(String::as_str))).map(str::to_owned)
}

/// Lower case with `_`, blank and `-` as one, so that `Porch_Lamps` is `porch-lamps`.
fn folded(word: &str) -> Vec<char> {
    word.chars().flat_map(char::to_lowercase).map(|c| if matches!(c, '_' | ' ') { '-' } else { c }).collect()
}

/// Whether one is the other with something before or behind, such as `fan` for `sunroom-fan`.
fn starts_or_ends(a: &[char], b: &[char]) -> bool {
    let (short, long) = if a.len() < b.len() { (a, b) } else { (b, a) };
    short.len() >= 3 && short.len() < long.len() && (long.starts_with(short) || long.ends_with(short))
}

/// Edits between two words: insert, delete, replace, or swap two neighbours (optimal string alignment).
fn distance(a: &[char], b: &[char]) -> usize {
    let width = b.len() + 1;
    let mut rows = vec![0_usize; (a.len() + 1) * width];
    for (j, cell) in rows.iter_mut().enumerate().take(width) {
        *cell = j;
    }
    for i in 1..=a.len() {
        rows[i * width] = i;
        for j in 1..=b.len() {
            let replace = rows[(i - 1) * width + j - 1] + usize::from(a[i - 1] != b[j - 1]);
            let mut least = replace.min(rows[(i - 1) * width + j] + 1).min(rows[i * width + j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                least = least.min(rows[(i - 2) * width + j - 2] + 1);
            }
            rows[i * width + j] = least;
        }
    }
    rows[a.len() * width + b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(word: &str, candidates: &[&str], expected: Option<&str>) {
        assert_eq!(nearest(word, candidates.iter().copied()), expected, "{word}");
    }

    #[test]
    fn slips_are_recognised() {
        check("realy", &["relay", "label", "room"], Some("relay"));
        check("loads", &["load", "board", "rule"], Some("load"));
        check("Porch_Lamps", &["porch-lamps", "porch-lux"], Some("porch-lamps"));
        check("fan", &["pump", "sunroom-fan"], Some("sunroom-fan"));
        check("cutin", &["cut_in", "cut_out"], Some("cut_in"));
    }

    #[test]
    fn what_is_far_away_is_not_suggested() {
        check("colour", &["relay", "label"], None);
        check("x", &[], None);
        check(&"x".repeat(1000), &["relay"], None);
    }

    /// Values from the definition of optimal string alignment: a swap counts once.
    #[test]
    fn distances() {
        let away = |a: &str, b: &str| distance(&folded(a), &folded(b));
        assert_eq!(away("ca", "abc"), 3);
        assert_eq!(away("relay", "realy"), 1);
        assert_eq!(away("", "abc"), 3);
        assert_eq!(away("same", "same"), 0);
    }
}
