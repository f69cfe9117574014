//! Rules whose `otherwise` leaves nothing to what it stands beside: a safety trip that never gives way, and a rule that
//! demands one state in either case.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{PRIORITY_TRIP, Rule};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let found = subject.house.rules.iter().filter_map(|rule| {
        let load = subject.house.load(rule.load);
        let (name, otherwise) = (&rule.name, load.word(rule.otherwise?));
        let diagnostic = if rule.otherwise == Some(rule.demand) {
            same(rule, otherwise)
        } else if rule.priority == PRIORITY_TRIP {
            let message = format!("safety trip \"{name}\" never lets go of load \"{}\"", load.name);
            let cause = format!(
                "slot 2 comes before limits, min on and min off, holds and all rules, and with `otherwise` it says {otherwise} there \
                 whenever nothing is wrong"
            );
            Diagnostic::warning("endless-trip", message).because(cause).help(format!(
                "leave `otherwise` out, so that the load is as other rules and hands say; what is to be {otherwise} by itself, \
                 say with a rule of its own or with `resting`"
            ))
        } else {
            return None;
        };
        Some(subject.at(diagnostic, "rule", name, "otherwise", ""))
    });
    found.collect()
}

fn same(rule: &Rule, state: &str) -> Diagnostic {
    let message = format!("rule \"{}\" demands {state} whether its condition is true or false", rule.name);
    Diagnostic::warning("same-otherwise", message)
        .because("only while the condition is unknown may it say something else")
        .help(
            "write the other state, or leave `otherwise` out, so that the rule gives way while its condition is false",
        )
}
