//! Rules that may disagree in one slot of a load: then the safe state wins, which is seldom what was meant.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Rule, State};

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let rules = &subject.house.rules;
    let mut found = Vec::new();
    for (index, rule) in rules.iter().enumerate() {
        let same_slot = |other: &&Rule| other.load == rule.load && other.priority == rule.priority;
        let agree = |other: &&Rule| only_demand(other).is_some() && only_demand(other) == only_demand(rule);
        let clash = |other: &&Rule| same_slot(other) && !agree(other);
        let Some(other) = rules[..index].iter().find(clash) else { continue };
        let load = subject.house.load(rule.load);
        let message =
            format!("rules \"{}\" and \"{}\" may disagree about load \"{}\"", other.name, rule.name, load.name);
        let cause = format!(
            "both fill slot {}; when they demand different states at once, the load's safe state, {}, wins",
            rule.priority,
            load.word(load.safe)
        );
        let diagnostic = Diagnostic::warning("disagreement", message)
            .because(cause)
            .help("give the rule that is to win a lower `priority` number (9 is the strongest), or make them one rule");
        let diagnostic = subject.at(diagnostic, "rule", &rule.name, "priority", "this rule");
        found.push(subject.also(diagnostic, "rule", &other.name, "priority", "and this rule"));
    }
    found
}

/// The one state that a rule demands of its own accord, if there is only one.
fn only_demand(rule: &Rule) -> Option<State> {
    rule.otherwise.is_none_or(|otherwise| otherwise == rule.demand).then_some(rule.demand)
}
