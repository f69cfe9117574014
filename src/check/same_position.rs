//! Positions of a selector that no condition tells apart: turning it from one to the other changes nothing.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::Atom;

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let house = subject.house;
    let mut found = Vec::new();
    for (number, selector) in house.selectors.iter().enumerate() {
        let mut named = vec![false; selector.positions.len()];
        for atom in &house.atoms {
            if let Atom::Selector { selector, is, .. } = atom
                && selector.index() == number
            {
                named[*is as usize] = true;
            }
        }
        if !named.contains(&true) {
            // That nothing reads it is a finding of its own.
            continue;
        }
        let mut unnamed = selector.positions.iter().zip(&named).filter(|(_, named)| !**named).map(|(name, _)| name);
        let Some(first) = unnamed.next() else { continue };
        for other in unnamed {
            let name = &selector.name;
            let message = format!("nothing tells position \"{other}\" of selector \"{name}\" from \"{first}\"");
            let diagnostic = Diagnostic::warning("unused", message)
                .because("no condition names either, so turning the selector from one to the other changes nothing")
                .help(format!("use it in a condition, {{ selector = \"{name}\", is = \"{other}\" }}, or leave it out"));
            found.push(subject.at(diagnostic, "selector", name, "positions", ""));
        }
    }
    found
}
