//! The account of a load: what it does, since when and why, in one sentence with the numbers of then and now and what would
//! turn it. Wherever a person reads why, it is this sentence; causes are worded in `render`, and it never looks at the engine.

use std::collections::BTreeSet;
use std::fmt::Write;

use jiff::tz::TimeZone;

use super::Obstacle;
use super::explain::{Cause, Evidence, RuleCause, RunView};
use super::reasons::{Reasons, RuleView};
use super::render::{clock_seconds, gone, reading, shown, whole};
use super::slots::SLOT_RULES;
use super::turning::Said;
use crate::house::{Truth, Words};
use crate::units::WallTime;

/// So many things are told at most where none of them is known to have turned last.
const FACTS: usize = 3;

/// What turned a load.
struct Turn<'a> {
    /// Its place in the rule's evidence.
    place: usize,
    /// What it saw then.
    then: &'a Evidence,
    /// Whether it was seen to turn; else it was so when it came to be known.
    seen: bool,
}

impl Reasons {
    /// "on since 14:02, when sunroom-air 28.1 °C reached 28; now 27.2; off at 26.5 (rule sunroom-vents-when-hot)", told at
    /// `now`.
    pub fn account(&self, zone: &TimeZone, now: WallTime) -> String {
        let (explanation, said) = (&self.explanation, Said { zone, now });
        let mut text = self.doing(said);
        match &explanation.cause {
            Cause::Rule(rule) => {
                let numbers = self.by_the_numbers(rule, said);
                text.push_str(&numbers.unwrap_or_else(|| format!(", {}", explanation.cause.sentence(zone))));
            }
            Cause::Hold(hold) => {
                let (state, end) = (hold.words.word(hold.state), hold.end(&said.near(hold.until)));
                let _ = write!(text, ", held {state} by {} {end}", hold.by.words());
            }
            cause => _ = write!(text, ", {}", cause.sentence(zone)),
        }
        if matches!(explanation.cause, Cause::Resting) {
            text.push_str(&self.awaited(said).unwrap_or_default());
        }
        if let Some(proof) = &explanation.proof {
            let _ = write!(text, "; {}", proof.sentence());
        }
        if let Some(rotation) = &explanation.rotation {
            let _ = write!(text, "; {}", rotation.sentence());
        }
        text
    }

    /// "on since 14:02", "off since 13:40, wanted on": what it does, and what is wanted where that differs.
    fn doing(&self, said: Said<'_>) -> String {
        let explanation = &self.explanation;
        let word = |state| explanation.words.word(state);
        let wanted = word(explanation.wanted);
        if let Some(RunView::Runs { to, since, length, .. }) = &explanation.run {
            let (since, length) = (clock_seconds(*since, said.zone), whole(*length));
            let text = format!("{} since {since}, for {length} at most", super::render::going(*to));
            return if *to == explanation.wanted { text } else { format!("{text}, wanted {wanted}") };
        }
        let mut text = explanation.known.map_or("not known", word).to_owned();
        let unheard = explanation.unheard.as_ref().map(|board| Obstacle::Unheard { board: board.clone() });
        if let Some(unheard) = &unheard {
            let _ = write!(text, " ({})", unheard.words());
        }
        if let Some(since) = explanation.known.and(explanation.since.as_ref()) {
            let _ = write!(text, " since {}", said.near(since.at));
        }
        if explanation.assumed {
            text.push_str(" (assumed)");
        }
        // A withdrawn actuator is driven nowhere.
        let stays = explanation.words == Words::OpenClosed && matches!(explanation.cause, Cause::Withdrawn { .. });
        if explanation.known != Some(explanation.wanted) && !stays {
            let _ = write!(text, ", wanted {wanted}");
            if let Some(obstacle) = explanation.obstacle.as_ref().filter(|one| unheard.as_ref() != Some(*one)) {
                let _ = write!(text, " ({})", obstacle.words());
            }
        }
        if let Some(RunView::Waits { why }) = &explanation.run {
            let _ = write!(text, ", waits {why}");
        }
        text
    }

    /// For a rule that knows: what brought it about, what is so now, and what would turn it. `None` where its own sentence
    /// says more.
    fn by_the_numbers(&self, rule: &RuleCause, said: Said<'_>) -> Option<String> {
        if rule.latched || rule.delay_left.is_some() || rule.truth == Truth::Unknown {
            return None;
        }
        let view = self.rules.iter().find(|view| view.rule.rule == rule.rule)?;
        let rests_on: BTreeSet<usize> = view.ways.iter().flatten().copied().collect();
        let (mut text, told) = match self.turned_by(rule, &rests_on) {
            Some(Turn { place, then, seen }) => {
                (format!(", {}", then.then_and_now(&rule.evidence[place], seen)), vec![place])
            }
            None => {
                // What is told to turn it, or else the first of what it rests on.
                let turns: BTreeSet<usize> = view.ways_to_tell().concat().into_iter().collect();
                let told = if turns.is_empty() { rests_on } else { turns };
                let told: Vec<usize> = told.into_iter().take(FACTS).collect();
                let facts: Vec<String> = told.iter().map(|place| rule.evidence[*place].fact()).collect();
                (if facts.is_empty() { return None } else { format!(", as {}", facts.join(" and ")) }, told)
            }
        };
        let verdict = match self.without_rule {
            // A trip lets go, and the slots behind it decide.
            None if rule.priority < SLOT_RULES => Some("lets go"),
            None => None,
            Some(state) => Some(self.explanation.words.word(state)).filter(|_| state != rule.state),
        };
        if let Some((verdict, turning)) = verdict.zip(view.turning(&told, said)) {
            let _ = write!(text, "; {verdict} {turning}");
        }
        let _ = write!(text, " (rule {})", rule.rule);
        Some(text)
    }

    /// Which of what a rule rests on turned the load; `None` where something else did.
    fn turned_by(&self, rule: &RuleCause, rests_on: &BTreeSet<usize>) -> Option<Turn<'_>> {
        let explanation = &self.explanation;
        explanation.known.filter(|known| *known == explanation.wanted)?;
        let Some(Cause::Rule(then)) = explanation.since.as_ref()?.why.as_ref() else { return None };
        let is_same = then.rule == rule.rule && then.truth == rule.truth && then.state == rule.state;
        // Where nobody saw it turn, one thing alone is not mistaken for another.
        let only = rests_on.first().copied().filter(|_| rests_on.len() == 1);
        let place = then.turned.or(only).filter(|place| is_same && rests_on.contains(place))?;
        let (was, is) = (then.evidence.get(place)?, rule.evidence.get(place)?);
        was.is_of_one_condition_with(is).then_some(Turn { place, then: was, seen: then.turned.is_some() })
    }

    /// Of a load that rests: what would turn it, by the rule that waits for the least.
    fn awaited(&self, said: Said<'_>) -> Option<String> {
        let waits = |view: &&RuleView| {
            view.rule.truth == Truth::False
                && view.rule.delay_left.is_none()
                && view.rule.state != self.explanation.wanted
        };
        let waiting = self.rules.iter().filter(waits);
        let told = waiting.filter_map(|view| {
            let least = view.ways.iter().map(Vec::len).min()?;
            // What a reading brings may come at once; of what the clock brings the next is told.
            let at = view.ways_to_tell().iter().map(|way| view.comes_by(way).unwrap_or(said.now)).min()?;
            Some(((least, at), view, view.turning(&[], said)?))
        });
        let (_, view, turning) = told.min_by_key(|(first, ..)| *first)?;
        let turned = self.explanation.words.word(view.rule.state);
        Some(format!("; {turned} {turning} (rule {})", view.rule.rule))
    }
}

impl Evidence {
    /// Whether two are of the same condition at different times: it may have been written anew in between.
    fn is_of_one_condition_with(&self, other: &Evidence) -> bool {
        match (self, other) {
            (
                Evidence::Threshold { sensor, cut_in, cut_out, .. },
                Evidence::Threshold { sensor: other, cut_in: other_in, cut_out: other_out, .. },
            ) => (sensor, cut_in, cut_out) == (other, other_in, other_out),
            (Evidence::Rise { sensor, by, .. }, Evidence::Rise { sensor: other, by: other_by, .. }) => {
                (sensor, by) == (other, other_by)
            }
            (Evidence::Sun { bound, .. }, Evidence::Sun { bound: other, .. }) => bound == other,
            (Evidence::Window { window, .. }, Evidence::Window { window: other, .. }) => window == other,
            (Evidence::Cycle { cycle, .. }, Evidence::Cycle { cycle: other, .. }) => cycle == other,
            (Evidence::Selector { selector, .. }, Evidence::Selector { selector: other, .. }) => selector == other,
            (Evidence::Unknown { sensor, .. }, Evidence::Unknown { sensor: other, .. }) => sensor == other,
            (Evidence::Input { input, .. }, Evidence::Input { input: other, .. }) => input == other,
            (Evidence::Alarm { alarm, .. }, Evidence::Alarm { alarm: other, .. }) => alarm == other,
            (Evidence::Load { load, .. }, Evidence::Load { load: other, .. }) => load == other,
            _ => false,
        }
    }

    /// Of what it saw when it turned the load, and what it sees now: "when sunroom-air 28.1 °C reached 28; now 27.2".
    fn then_and_now(&self, now: &Evidence, seen: bool) -> String {
        match (self, now) {
            (
                Evidence::Threshold { sensor, unit, value: Some(then), cut_in, cut_out, truth, .. },
                Evidence::Threshold { value: Some(now), .. },
            ) => {
                let (verb, passed) =
                    if *truth == Truth::True { ("reached", cut_in) } else { ("came back to", cut_out) };
                let (then, now) = (reading(*then, unit), shown(*now));
                match seen {
                    true => format!("when {sensor} {then} {verb} {passed}; now {now}"),
                    false => format!("when {sensor} was {then}; now {now}"),
                }
            }
            (
                Evidence::Rise { sensor, unit, value: Some(then), trend, moved, truth: Truth::True, .. },
                Evidence::Rise { value: Some(now), .. },
            ) => {
                let (then, moved) = (reading(*then, unit), moved.map_or(0.0, shown));
                format!("when {sensor} {then} had {} by {moved}; now {}", gone(*trend), shown(*now))
            }
            (Evidence::Sun { bound, degrees: Some(then), truth, .. }, Evidence::Sun { degrees: Some(now), .. })
                if seen =>
            {
                let verb = if *truth == Truth::True { "reached" } else { "left" };
                format!("when the sun at {}° {verb} {bound}°; now {}°", then.get(), now.get())
            }
            (_, now) => format!("as {}", now.fact()),
        }
    }
}
