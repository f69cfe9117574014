//! What would turn a condition over, in words: the reading, the moment, the hand that it waits for. It never decides and never
//! looks at the engine.

use jiff::tz::TimeZone;

use super::explain::Evidence;
use super::reasons::RuleView;
use super::render::{gone, near, reading, shown};
use crate::house::Truth;
use crate::units::{Finite, WallTime};

/// So many things are told at most of what would turn a condition over; the first way is told where it is no longer.
const TOLD: usize = 3;

/// When and where something is said.
#[derive(Clone, Copy, Debug)]
pub(super) struct Said<'a> {
    /// The site's zone.
    pub zone: &'a TimeZone,
    /// The moment.
    pub now: WallTime,
}

impl Said<'_> {
    /// `14:02` today, with the day else.
    pub fn near(&self, at: WallTime) -> String {
        near(at, self.now, self.zone)
    }
}

impl RuleView {
    /// The ways that are worth telling: of those that the clock brings only the next one, and no more than are read in one
    /// sentence.
    pub(super) fn ways_to_tell(&self) -> Vec<&[usize]> {
        let next = self.ways.iter().filter_map(|way| self.comes_by(way)).min();
        let mut room = TOLD;
        let mut ways = Vec::new();
        for way in self.ways.iter().filter(|way| self.comes_by(way).is_none_or(|at| Some(at) == next)) {
            if way.is_empty() || way.len() > room {
                break;
            }
            room -= way.len();
            ways.push(way.as_slice());
        }
        ways
    }

    /// When the clock brings a way by itself; `None` where it does not, or not alone.
    pub(super) fn comes_by(&self, way: &[usize]) -> Option<WallTime> {
        let [place] = way else { return None };
        self.rule.evidence.get(*place)?.comes().map(|(at, _)| at)
    }

    /// What would turn its condition over: "when lux, now 30, reaches 65, or at 22:30, when window … closes"; `None` where
    /// nothing that is known would. What was `told` just before needs no number again.
    pub(super) fn turning(&self, told: &[usize], said: Said<'_>) -> Option<String> {
        let way = |way: &&[usize]| -> Option<String> {
            let mut needs = Vec::new();
            for place in *way {
                let is_plain = way.len() == 1 && told == [*place];
                let need = self.rule.evidence.get(*place)?.needs(is_plain, told.contains(place), said)?;
                // One condition may stand in a rule twice.
                if !needs.contains(&need) {
                    needs.push(need);
                }
            }
            Some(needs.join(" and "))
        };
        let mut ways: Vec<String> = self.ways_to_tell().iter().filter_map(way).collect();
        ways.dedup();
        (!ways.is_empty()).then(|| ways.join(", or "))
    }

    /// What would turn its condition over, for whoever reads all of its conditions: "turns false when …".
    pub fn turns(&self, zone: &TimeZone, now: WallTime) -> Option<String> {
        let all: Vec<usize> = (0..self.rule.evidence.len()).collect();
        // One condition alone says so itself.
        let turning = self.turning(&all, Said { zone, now }).filter(|_| all.len() > 1)?;
        Some(format!("turns {} {turning}", if self.rule.truth == Truth::True { "false" } else { "true" }))
    }
}

impl Evidence {
    /// What would turn it over: "when lux, now 30, reaches 65"; in short, for who knows what is spoken of, "at 65". `None`
    /// where nothing is known to.
    fn needs(&self, short: bool, told: bool, said: Said<'_>) -> Option<String> {
        let now = |value: &Finite, unit: &str| match told {
            true => String::new(),
            false => format!(", now {},", reading(*value, unit)),
        };
        match self {
            Evidence::Threshold { sensor, unit, value, cut_in, cut_out, truth, .. } => {
                let next = if *truth == Truth::True { cut_out } else { cut_in };
                let now = now(value.as_ref()?, unit);
                Some(if short { format!("at {next}") } else { format!("when {sensor}{now} reaches {next}") })
            }
            Evidence::Rise { sensor, unit, value, back_at: Some(back), .. } => {
                let (back, now) = (shown(*back), now(value.as_ref()?, unit));
                Some(if short { format!("at {back}") } else { format!("when {sensor}{now} is back at {back}") })
            }
            Evidence::Rise { sensor, unit, value, trend, by, within, .. } => {
                let now = now(value.as_ref()?, unit);
                Some(format!("when {sensor}{now} has {} by {by} within {within}", gone(*trend)))
            }
            Evidence::Window { .. }
            | Evidence::Cycle { .. }
            | Evidence::Sun { .. }
            | Evidence::Selector { until: Some(_), truth: Truth::True, .. } => {
                let (at, what) = self.comes()?;
                let at = said.near(at);
                Some(if short { format!("at {at}") } else { format!("at {at}, when {what}") })
            }
            Evidence::Selector { selector, is, truth, .. } => {
                let way = if *truth == Truth::True { "from" } else { "to" };
                Some(format!("when selector {selector} is turned {way} {is}"))
            }
            Evidence::Unknown { sensor, truth: Truth::True } => Some(format!("when {sensor} is known again")),
            Evidence::Unknown { sensor, .. } => Some(format!("when {sensor} is not known")),
            Evidence::Input { input, state, .. } => {
                Some(format!("when input {input} is {}", state.as_ref()?.opposite()))
            }
            Evidence::Load { load, state, words, .. } => {
                Some(format!("when {load} is {}", words.word(state.as_ref()?.opposite())))
            }
            Evidence::Alarm { alarm, unacknowledged, standing, truth } => Some(match (truth, alarm) {
                (Truth::True, _) => {
                    let is = if *unacknowledged { "acknowledged or cleared" } else { "cleared" };
                    format!("when {} {} {is}", standing.join(", "), if standing.len() == 1 { "is" } else { "are" })
                }
                (_, Some(alarm)) => format!("when alarm {alarm} is raised"),
                (_, None) => "when an alarm is raised".to_owned(),
            }),
        }
    }
}
