//! The account of a load: what it does, since when and why, in one sentence with the numbers of then and now and what would
//! turn it. For who stands before it; causes are worded in `render`, and it never looks at the engine.

use std::fmt::Write;

use jiff::tz::TimeZone;

use super::explain::{Cause, Evidence, RuleCause, RunView};
use super::modes_view::quantity;
use super::reasons::{Reasons, RuleView};
use crate::house::{State, Truth, Words};
use crate::units::WallTime;

impl Reasons {
    /// "on since 14:02, when sunroom-air 28.1 °C reached 28; now 27.2; off at 26.5 (rule sunroom-vents-when-hot)", told at
    /// `now`.
    pub fn account(&self, zone: &TimeZone, now: WallTime) -> String {
        let explanation = &self.explanation;
        let mut text = self.doing(zone, now);
        let _ = match self.by_the_numbers(zone, now) {
            Some(numbers) => write!(text, "{numbers}"),
            None => write!(text, ", {}", explanation.cause.sentence(zone)),
        };
        if matches!(explanation.cause, Cause::Resting) {
            text.push_str(&self.awaited().unwrap_or_default());
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
    fn doing(&self, zone: &TimeZone, now: WallTime) -> String {
        let explanation = &self.explanation;
        let word = |state| explanation.words.word(state);
        let wanted = word(explanation.wanted);
        if let Some(RunView::Runs { to, .. }) = &explanation.run {
            let going = super::render::going(*to);
            return if *to == explanation.wanted { going.to_owned() } else { format!("{going}, wanted {wanted}") };
        }
        let mut text = explanation.known.map_or("not known", word).to_owned();
        if let Some(since) = explanation.known.and(explanation.since.as_ref()) {
            let _ = write!(text, " since {}", near(since.at, now, zone));
        }
        if explanation.assumed {
            text.push_str(" (assumed)");
        }
        // A withdrawn actuator is driven nowhere.
        let stays = explanation.words == Words::OpenClosed && matches!(explanation.cause, Cause::Withdrawn { .. });
        if explanation.known != Some(explanation.wanted) && !stays {
            let _ = write!(text, ", wanted {wanted}");
        }
        if let Some(RunView::Waits { why }) = &explanation.run {
            let _ = write!(text, ", waits {why}");
        }
        text
    }

    /// For a rule that rests on one thing that it knows: what brought it about, what is so now, and what would turn it.
    fn by_the_numbers(&self, zone: &TimeZone, now: WallTime) -> Option<String> {
        let Cause::Rule(rule) = &self.explanation.cause else { return None };
        let ([evidence], false, None) = (rule.evidence.as_slice(), rule.latched, rule.delay_left) else { return None };
        // Behind a `not` what is true is worded the other way round.
        if rule.truth == Truth::Unknown || evidence.truth() != rule.truth {
            return None;
        }
        let turned = self.without_rule.filter(|state| *state != rule.state);
        let turned = turned.map(|state| self.explanation.words.word(state));
        let mut text = String::new();
        match evidence {
            Evidence::Threshold { sensor, unit, value: Some(value), cut_in, cut_out, truth, .. } => {
                let (passed, verb, next) = match truth {
                    Truth::True => (cut_in, "reached", cut_out),
                    _ => (cut_out, "came back to", cut_in),
                };
                match self.turned_at(rule, evidence) {
                    Some(then) => {
                        let _ = write!(text, ", when {sensor} {} {verb} {passed}", quantity(then, unit));
                        let _ = write!(text, "; now {}", value.get());
                    }
                    None => _ = write!(text, ", as {sensor} is {}", quantity(value.get(), unit)),
                }
                if let Some(turned) = turned {
                    let _ = write!(text, "; {turned} at {next}");
                }
            }
            Evidence::Window { window: what, next: Some(next), truth } => {
                let open = if *truth == Truth::True { "open" } else { "closed" };
                let _ = write!(text, ", as window {what} is {open}");
                let _ = match turned {
                    Some(turned) => write!(text, "; {turned} at {}", near(*next, now, zone)),
                    None => write!(text, " until {}", near(*next, now, zone)),
                };
            }
            _ => return None,
        }
        let _ = write!(text, " (rule {})", rule.rule);
        Some(text)
    }

    /// What the sensor of a threshold read when its rule turned the load; `None` where something else did.
    fn turned_at(&self, rule: &RuleCause, evidence: &Evidence) -> Option<f64> {
        let explanation = &self.explanation;
        explanation.known.filter(|known| *known == explanation.wanted)?;
        let Some(Cause::Rule(then)) = explanation.since.as_ref()?.why.as_ref() else { return None };
        let is_same = then.rule == rule.rule && then.truth == rule.truth && then.state == rule.state;
        match (then.evidence.as_slice(), evidence) {
            (
                [Evidence::Threshold { sensor, value: Some(value), cut_in, cut_out, .. }],
                Evidence::Threshold { sensor: now, cut_in: in_now, cut_out: out_now, .. },
            ) if is_same && sensor == now && (cut_in, cut_out) == (in_now, out_now) => Some(value.get()),
            _ => None,
        }
    }

    /// Of a load that rests: the reading that would turn it, where one rule waits for one reading.
    fn awaited(&self) -> Option<String> {
        let waits = |view: &&RuleView| {
            view.rule.truth == Truth::False
                && view.rule.state != self.explanation.wanted
                && matches!(view.rule.evidence.as_slice(), [one] if one.truth() == Truth::False)
        };
        let RuleView { rule, .. } = self.rules.iter().find(waits)?;
        let [Evidence::Threshold { sensor, unit, value: Some(value), cut_in, .. }] = rule.evidence.as_slice() else {
            return None;
        };
        let state: State = rule.state;
        let turned = self.explanation.words.word(state);
        let value = quantity(value.get(), unit);
        Some(format!("; {turned} when {sensor}, now {value}, reaches {cut_in} (rule {})", rule.rule))
    }
}

/// `14:02` today, `Tue 14:02` within six days, `14:02 on 3 May` else.
fn near(at: WallTime, now: WallTime, zone: &TimeZone) -> String {
    let (at, now) = (at.instant().to_zoned_datetime(zone.clone()), now.instant().to_zoned_datetime(zone.clone()));
    let days = (at.timestamp().as_second() - now.timestamp().as_second()).abs() / 86_400;
    let form = match days {
        _ if at.date() == now.date() => "%H:%M",
        0..6 => "%a %H:%M",
        _ => "%H:%M on %-d %b",
    };
    at.strftime(form).to_string()
}
