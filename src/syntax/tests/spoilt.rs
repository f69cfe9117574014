//! Texts that nobody meant: whatever is spoilt, cut or thrown together is answered.

use proptest::prelude::*;

use super::*;

/// Pieces that houses are made of, and some that they are not.
const PIECES: [&str; 40] = [
    "[",
    "]",
    "[[",
    "{",
    "}",
    "=",
    ",",
    ".",
    "\"",
    "'",
    "\n",
    " ",
    "#",
    "\"\"\"",
    "load",
    "rule",
    "sensor",
    "site",
    "condition",
    "board",
    "while",
    "all",
    "not",
    "any",
    "relay",
    "\"yard/2\"",
    "cut_in",
    "\">= 28\"",
    "cut_out",
    "from",
    "\"sunset - 20m\"",
    "-1e999",
    "0x",
    "1979-05-27",
    "true",
    "é",
    "\u{0}",
    "\r",
    "\\u00",
    "[load.sunroom-fan]\n",
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn a_spoilt_house_is_answered(spoils in prop::collection::vec((any::<prop::sample::Index>(), 0usize..30, 0..PIECES.len()), 1..8)) {
        let mut text = ROOMS.to_owned();
        for (at, length, piece) in spoils {
            let mut start = at.index(text.len());
            while !text.is_char_boundary(start) { start -= 1; }
            let mut end = (start + length).min(text.len());
            while !text.is_char_boundary(end) { end += 1; }
            text.replace_range(start..end, PIECES[piece]);
        }
        let files = files(&[SITE, &text]);
        let (house, diagnostics) = read(&files, zones());
        prop_assert_eq!(house.is_none(), errors(&diagnostics) > 0);
        prop_assert!(diagnostics.iter().all(|diagnostic| diagnostic.code != UNEXPLAINED));
        let shown = crate::diagnostic::render::text(&diagnostics, &files, crate::diagnostic::render::Style::Plain);
        prop_assert_eq!(shown.is_empty(), diagnostics.is_empty());
    }

    #[test]
    fn a_heap_of_pieces_is_answered(pieces in prop::collection::vec(0..PIECES.len(), 0..60)) {
        let text: String = pieces.into_iter().map(|piece| PIECES[piece]).collect();
        let _ = read(&files(&[&text]), zones());
    }

    #[test]
    fn spliced_lines_are_answered(lines in prop::collection::vec(any::<prop::sample::Index>(), 0..40)) {
        let all: Vec<&str> = SITE.lines().chain(ROOMS.lines()).collect();
        let text: String = lines.iter().map(|line| format!("{}\n", all[line.index(all.len())])).collect();
        let _ = read(&files(&[&text]), zones());
    }
}
