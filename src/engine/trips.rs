//! Safety trips that latch: told of when they latch, and let go by a person once their reason is gone. It never lets one go
//! by itself.

use super::rules::RuleState;
use super::{Answer, Effect, Engine, JournalEntry};
use crate::house::{House, LoadId, RuleId, Truth};

impl Engine {
    /// Tells of the trips that latched in this step.
    pub(super) fn tell_of_trips(&mut self, out: &mut Vec<Effect>) {
        while let Some(rule) = self.tripped.pop_first() {
            let definition = self.house.rule(rule);
            let (load, name) = (self.house.load(definition.load).name.clone(), definition.name.clone());
            self.record(self.now.wall, JournalEntry::Tripped { load, rule: name }, out);
            self.raise_alarm(self.trip_alarm(rule), self.trip_text(rule), out);
            self.save = true;
        }
    }

    /// Another house may call the load otherwise that a latched trip holds: the alarm names the one that a person can reset.
    pub(super) fn reword_trips(&mut self, out: &mut Vec<Effect>) {
        for rule in (0..self.rules.len()).map(|rule| RuleId(rule as u32)) {
            let id = self.trip_alarm(rule);
            if self.rules[rule.index()].latched && self.alarms.contains_key(&id) {
                self.raise_alarm(id, self.trip_text(rule), out);
            }
        }
    }

    /// Lets the latched trips of a load go, unless the reason of one still stands.
    pub(super) fn reset_trips(&mut self, load: LoadId, out: &mut Vec<Effect>) -> Answer {
        let index = self.index.clone();
        let latched = |rule: &&RuleId| self.house.rule(**rule).latches && self.rules[rule.index()].latched;
        let trips: Vec<RuleId> = index.rules_of_load[load.index()].iter().filter(latched).copied().collect();
        if trips.is_empty() {
            return self.reset_proof(load, out);
        }
        if let Some(rule) = trips.iter().find(|rule| self.condition_truth(**rule) != Truth::False) {
            let known = self.condition_truth(*rule) == Truth::True;
            let why = if known { "is still true" } else { "is not known" };
            return Answer::Refused(format!(
                "the condition of safety trip {:?} {why}; remove its cause first",
                self.house.rule(*rule).name
            ));
        }
        for rule in trips {
            self.rules[rule.index()].latched = false;
            self.touch_rule(rule);
            let id = self.trip_alarm(rule);
            self.clear_alarm(&id, out);
            let entry = JournalEntry::Reset {
                load: self.house.load(load).name.clone(),
                rule: self.house.rule(rule).name.clone(),
            };
            self.record(self.now.wall, entry, out);
        }
        self.reset_proof(load, out);
        self.save = true;
        Answer::Done
    }

    /// Whether a trip of a load has latched.
    pub(super) fn is_latched(&self, load: LoadId) -> bool {
        let rules = &self.index.rules_of_load[load.index()];
        rules.iter().any(|rule| self.house.rule(*rule).latches && self.rules[rule.index()].latched)
    }

    /// The latched trips that another house would let go, in words: it has no rule of that name that latches on that load.
    pub fn trips_let_go(&self, after: &House) -> Vec<String> {
        let words = |(rule, load): (&str, &str)| {
            format!(
                "safety trip \"{rule}\" of load \"{load}\" has tripped and would let go unseen (look at it and \
                 `standfast reset {load}` first)"
            )
        };
        self.let_go(after).map(words).collect()
    }

    /// The same as rows of the journal, as they are written once that house is taken.
    pub fn rows_of_let_go(&self, after: &House) -> Vec<JournalEntry> {
        let row =
            |(rule, load): (&str, &str)| JournalEntry::TripLetGo { rule: rule.to_owned(), load: Some(load.to_owned()) };
        self.let_go(after).map(row).collect()
    }

    /// Rules and their loads.
    fn let_go<'e>(&'e self, after: &'e House) -> impl Iterator<Item = (&'e str, &'e str)> {
        let latched = (0..).map(RuleId).zip(&self.rules).filter(|(_, state)| state.latched);
        latched.filter_map(|(rule, _)| {
            let definition = self.house.rule(rule);
            let load = &self.house.load(definition.load).name;
            // That a load is gone says more.
            let kept = after.load_named(load)?;
            let stays =
                after.rules.iter().any(|other| other.name == definition.name && other.latches && other.load == kept);
            (!stays).then_some((definition.name.as_str(), load.as_str()))
        })
    }

    /// Takes the memory of a rule. One that had latched and is no such trip any more lets go.
    pub(super) fn recall_rule(&mut self, rule: RuleId, mut memory: RuleState, running: bool) {
        let definition = self.house.rule(rule);
        if memory.latched && !definition.latches {
            memory.latched = false;
            if !running {
                let load = Some(self.house.load(definition.load).name.clone());
                self.unsaid.push(JournalEntry::TripLetGo { rule: definition.name.clone(), load });
            }
        }
        self.rules[rule.index()] = memory;
    }

    /// The house changed while nobody looked: latched trips that it does not name any more have let go.
    pub(super) fn tell_of_trips_gone<'r>(&mut self, gone: impl Iterator<Item = (&'r String, &'r RuleState)>) {
        let latched = gone.filter(|(_, memory)| memory.latched);
        self.unsaid.extend(latched.map(|(rule, _)| JournalEntry::TripLetGo { rule: rule.clone(), load: None }));
    }

    /// Whether an alarm is that of a safety trip: no other kind begins so.
    pub fn is_trip_alarm(id: &str) -> bool {
        id.starts_with("trip-")
    }

    fn trip_text(&self, rule: RuleId) -> String {
        let definition = self.house.rule(rule);
        let (load, name) = (&self.house.load(definition.load).name, &definition.name);
        format!(
            "safety trip {name:?} has tripped: load {load:?} stays {} until somebody has looked and resets it",
            definition.demand
        )
    }

    fn trip_alarm(&self, rule: RuleId) -> String {
        format!("trip-{}", self.house.rule(rule).name)
    }
}
