//! All that speaks to a load, not only what decides: every slot, every rule with every condition, what would change it and
//! when. Data, and the one place that words it. It never changes anything.

use std::collections::BTreeSet;
use std::fmt::Write;

use jiff::tz::TimeZone;
use serde::Serialize;

use super::decide::{Decider, Dwell};
use super::modes_view::quantity;
use super::render::{near, whole};
use super::slots::{Demand, SLOT_DWELL, SLOT_HOLD, SLOT_LIMIT, SLOT_RULES, SLOT_TRIP, SLOT_WITHDRAWN};
use super::{Cause, Engine, Evidence, Explanation, RuleCause, RunView};
use crate::condition::for_each_atom;
use crate::house::{Atom, LoadId, SetpointId, State, ThresholdSide, Truth, Words};
use crate::units::WallTime;

/// Everything that speaks to a load at one moment.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reasons {
    /// What it does and what decides.
    pub explanation: Explanation,
    /// The slots that are set, lowest number first.
    pub slots: Vec<SlotView>,
    /// Every rule of it, by slot, also those that give way.
    pub rules: Vec<RuleView>,
    /// What comes by itself, soonest first.
    pub coming: Vec<Coming>,
    /// What the array would say if the rule that decides gave up what it demands; `None` where no ordinary rule decides.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub without_rule: Option<State>,
}

/// A slot that is set.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SlotView {
    /// Its number.
    pub slot: u8,
    /// What it says.
    pub state: State,
    /// Whether it decides.
    pub decides: bool,
    /// What set it.
    pub by: String,
}

/// A rule with what would turn its conditions.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RuleView {
    /// The rule with what it sees.
    #[serde(flatten)]
    pub rule: RuleCause,
    /// Whether it demands anything now.
    pub demands: bool,
    /// What would turn its condition over: sets of places in `evidence`, each of which suffices; some of them where there are
    /// many, and none while it is unknown.
    pub ways: Vec<Vec<usize>>,
}

/// Something that comes by itself.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Coming {
    /// When, at the earliest.
    pub at: WallTime,
    /// What.
    pub what: String,
}

impl Engine {
    /// Everything that speaks to a load now.
    pub fn reasons(&self, load: LoadId) -> Reasons {
        let explanation = self.explain(load);
        let mut rules: Vec<RuleView> = self.index.rules_of_load[load.index()]
            .iter()
            .map(|rule| RuleView {
                rule: self.rule_cause(*rule),
                demands: self.rules[rule.index()].demand != Demand::None,
                ways: self.ways_to_turn(*rule),
            })
            .collect();
        rules.sort_by_key(|view| view.rule.priority);
        let slots = self.slot_views(load, &explanation, &rules);
        let coming = self.coming(load, &explanation, &rules);
        let without_rule = self.without_rule(load, &explanation);
        Reasons { explanation, slots, rules, coming, without_rule }
    }

    /// What a load does and why, in one sentence with the numbers, behind its name.
    pub fn account(&self, load: LoadId) -> String {
        let account = self.reasons(load).account(&self.house.site.zone, self.now.wall);
        format!("{}: {account}", self.house.load(load).name)
    }

    fn without_rule(&self, load: LoadId, explanation: &Explanation) -> Option<State> {
        let Cause::Rule(deciding) = &explanation.cause else { return None };
        explanation.slot.filter(|slot| *slot >= SLOT_RULES)?;
        let definition = self.house.load(load);
        let rule = self.house.rules.iter().find(|rule| rule.name == deciding.rule)?;
        // What it demands once its condition turns; where it demands that already, it would demand the other.
        let instead = rule.otherwise.map(|otherwise| if deciding.state == otherwise { rule.demand } else { otherwise });
        let others = explanation.others.iter().filter(|other| slot_of(other) >= SLOT_RULES);
        let strongest = others.clone().map(slot_of).min();
        match (instead, strongest) {
            (Some(state), None) => Some(state),
            (Some(state), Some(slot)) if slot_of(deciding) < slot => Some(state),
            (_, Some(slot)) => {
                let mut states = others.filter(|other| slot_of(other) == slot).map(|other| other.state).chain(instead);
                let first = states.next()?;
                Some(if states.all(|state| state == first) { first } else { definition.safe })
            }
            (None, None) => Some(definition.resting),
        }
    }

    fn slot_views(&self, load: LoadId, explanation: &Explanation, rules: &[RuleView]) -> Vec<SlotView> {
        let definition = self.house.load(load);
        let state = &self.loads[load.index()];
        let mut slots = Vec::new();
        let mut set = |slot, state, by: String| {
            slots.push(SlotView { slot, state, decides: explanation.slot == Some(slot), by });
        };
        if let Some(why) = &state.withdrawn {
            let why = if why.is_empty() { String::new() } else { format!(" ({why})") };
            set(SLOT_WITHDRAWN, State::Off, format!("withdrawn{why}; this is no isolation"));
        }
        let mut speak = |slot: u8| {
            let speaking = rules.iter().filter(|view| view.demands && slot_of(&view.rule) == slot);
            let speaking: Vec<&RuleCause> = speaking.map(|view| &view.rule).collect();
            let Some(first) = speaking.first() else { return };
            let agree = speaking.iter().all(|rule| rule.state == first.state);
            let names: Vec<&str> = speaking.iter().map(|rule| rule.rule.as_str()).collect();
            // Of two that disagree in one slot the safe state wins.
            let verdict = if agree { first.state } else { definition.safe };
            set(slot, verdict, format!("rule {}", names.join(", ")));
        };
        speak(SLOT_TRIP);
        (SLOT_RULES..=super::SLOTS).for_each(&mut speak);
        match self.limited(load) {
            Some((Decider::MaxOn, _)) => set(SLOT_LIMIT, State::Off, "max on".to_owned()),
            Some(_) => set(SLOT_LIMIT, State::Off, "max starts".to_owned()),
            None => {
                if let Cause::Circuit { circuit, .. } = &explanation.cause {
                    set(SLOT_LIMIT, State::Off, format!("circuit {circuit}"));
                }
            }
        }
        if let Dwell::Keep(kept, until) = self.dwell(load) {
            let limit = if kept == State::On { "min on" } else { "min off" };
            set(SLOT_DWELL, kept, format!("{limit}, {} more", whole(until.since(self.now.boot))));
        }
        if let Some(hold) = &explanation.hold {
            set(SLOT_HOLD, hold.state, format!("a hold by {}", hold.by.words()));
        }
        slots.sort_by_key(|view| view.slot);
        slots
    }

    /// What comes by itself and may turn the load: ends of holds, delays and limits, windows and the like.
    fn coming(&self, load: LoadId, explanation: &Explanation, rules: &[RuleView]) -> Vec<Coming> {
        let (now, boot) = (self.now.wall, self.now.boot);
        let mut coming = Vec::new();
        let mut comes = |at: Option<WallTime>, what: String| coming.extend(at.map(|at| Coming { at, what }));
        comes(explanation.hold.as_ref().map(|hold| hold.until), "the hold ends".to_owned());
        if let Some(RunView::Runs { since, length, .. }) = &explanation.run {
            comes(Some(*since + *length), "its run is over".to_owned());
        }
        if let Dwell::Keep(kept, until) = self.dwell(load) {
            let limit = if kept == State::On { "min on" } else { "min off" };
            comes(Some(now + until.since(boot)), format!("{limit} is over"));
        }
        let cut = self.max_on_end(load).filter(|end| *end > boot && explanation.known == Some(State::On));
        comes(cut.map(|end| now + end.since(boot)), "max on is reached".to_owned());
        if let Cause::MaxOn { left: Some(left) } | Cause::MaxStarts { left: Some(left) } = &explanation.cause {
            comes(Some(now + *left), "it may start again".to_owned());
        }
        for RuleView { rule, .. } in rules {
            comes(rule.delay_left.map(|left| now + left), format!("the delay of rule {} is over", rule.rule));
            for evidence in &rule.evidence {
                if let Some((at, what)) = evidence.comes() {
                    comes(Some(at), format!("{what} (rule {})", rule.rule));
                }
            }
        }
        for setpoint in self.setpoints_of(load) {
            let view = self.setpoint_view(setpoint);
            let what = format!("setpoint {} goes back to {}", view.setpoint, quantity(view.written, &view.unit));
            comes(view.set.and_then(|set| set.until), what);
        }
        coming.sort_by(|a, b| (a.at, &a.what).cmp(&(b.at, &b.what)));
        coming.dedup();
        coming
    }

    /// The setpoints that the rules of a load rest on.
    fn setpoints_of(&self, load: LoadId) -> BTreeSet<SetpointId> {
        let mut setpoints = BTreeSet::new();
        for rule in &self.index.rules_of_load[load.index()] {
            for_each_atom(&self.house, &self.house.rule(*rule).condition, &mut |atom| {
                if let Atom::Threshold(threshold) = self.house.atom(atom) {
                    setpoints.extend(threshold.setpoints());
                }
            });
        }
        setpoints
    }
}

fn slot_of(rule: &RuleCause) -> u8 {
    if rule.priority < SLOT_RULES { SLOT_TRIP } else { rule.priority }
}

impl RuleView {
    /// What the rule says now: "demands on", "gives way; would demand on".
    pub fn speaks(&self, words: Words) -> String {
        let speaks = match (self.demands, self.rule.latched) {
            (true, true) => "has tripped and demands",
            (true, false) => "demands",
            (false, _) => "gives way; would demand",
        };
        format!("{speaks} {}", words.word(self.rule.state))
    }

    /// The slot that it fills.
    pub fn slot(&self) -> u8 {
        slot_of(&self.rule)
    }
}

impl Evidence {
    /// When the clock brings it something, and what.
    pub(super) fn comes(&self) -> Option<(WallTime, String)> {
        match self {
            Evidence::Window { next, window, truth } => {
                let turn = if *truth == Truth::True { "closes" } else { "opens" };
                next.map(|at| (at, format!("window {window} {turn}")))
            }
            Evidence::Cycle { next, cycle, .. } => next.map(|at| (at, format!("the cycle {cycle} turns"))),
            Evidence::Sun { next, bound, .. } => next.map(|at| (at, format!("the sun passes {bound}°"))),
            Evidence::Selector { until, selector, .. } => {
                until.map(|at| (at, format!("selector {selector} goes back")))
            }
            _ => None,
        }
    }

    /// What would turn it over, in words; `None` where its own sentence says so already.
    pub fn turn(&self) -> Option<String> {
        match self {
            Evidence::Threshold { value: None, sensor, .. } => Some(format!("known again once {sensor} reads well")),
            Evidence::Threshold { side, cut_in, cut_out, unit, truth, .. } => {
                let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
                let rises = (*side == ThresholdSide::High) != (*truth == Truth::True);
                let (word, at) = if *truth == Truth::True { ("false", cut_out) } else { ("true", cut_in) };
                Some(format!("{word} when it {} to {at}{unit}", if rises { "rises" } else { "falls" }))
            }
            Evidence::Input { input, state: None, .. } => Some(format!("known again once {input} reports")),
            Evidence::Selector { is, truth: Truth::False, .. } => Some(format!("true when it is turned to {is}")),
            _ => None,
        }
    }
}

/// `true`, `false`, `unknown`.
pub const fn truth_word(truth: Truth) -> &'static str {
    match truth {
        Truth::True => "true",
        Truth::False => "false",
        Truth::Unknown => "unknown",
    }
}

impl Reasons {
    /// All of it in lines for a person, told at `now`.
    pub fn text(&self, zone: &TimeZone, now: WallTime) -> String {
        let words: Words = self.explanation.words;
        let mut text = format!("{}: {}", self.explanation.load, self.account(zone, now));
        text.push_str("\n\nSlots, the lowest decides:\n");
        for view in &self.slots {
            let mark = if view.decides { ">" } else { " " };
            let _ = writeln!(text, "{mark} {:>2}  {}: {}", view.slot, words.word(view.state), view.by);
        }
        if self.slots.is_empty() {
            text.push_str("  none is set, so it rests\n");
        }
        if !self.rules.is_empty() {
            text.push_str("\nRules:\n");
        }
        for view in &self.rules {
            let RuleView { rule, .. } = view;
            let (slot, truth, speaks) = (view.slot(), truth_word(rule.truth), view.speaks(words));
            let _ = writeln!(text, "  {} ({}, slot {slot}) is {truth}: {speaks}", rule.rule, rule.place);
            for evidence in &rule.evidence {
                let _ = write!(text, "    {}: {}", truth_word(evidence.truth()), evidence.sentence(zone));
                let _ = match evidence.turn() {
                    Some(turn) => writeln!(text, "; {turn}"),
                    None => writeln!(text),
                };
            }
            if let Some(turns) = view.turns(zone, now) {
                let _ = writeln!(text, "    {turns}");
            }
        }
        if !self.coming.is_empty() {
            text.push_str("\nComing by itself:\n");
        }
        for coming in &self.coming {
            let _ = writeln!(text, "  {}  {}", near(coming.at, now, zone), coming.what);
        }
        text.trim_end().to_owned()
    }
}
