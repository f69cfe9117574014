//! Selectors and setpoints: what people set, and when that ends. What was set never lasts longer than was said, whatever the
//! clocks do, and never lies outside of what the house allows.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::answer::Answer;
use super::effect::{JournalEntry, ReturnReason};
use super::event::By;
use super::hold::{NEXT_CHANGE_MAX, STORED_EVERY, UNSTORED_MAX, shown_end, untrusted};
use super::timers::{Timer, WallTimer};
use super::{Effect, Engine};
use crate::house::{Ends, SelectorId, SetpointId, Term, Threshold};
use crate::units::{BootTime, Finite, Span, WallTime};

/// Something that a person set.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Chosen<T> {
    pub value: T,
    /// When it ends; `None`: when somebody sets it again.
    pub end: Option<End>,
    pub by: By,
    /// When it was set, by the wall clock of then.
    pub began: WallTime,
}

/// When something that was set ends.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct End {
    /// At this boot time, whatever the wall clock does.
    pub boot: BootTime,
    /// When the wall clock shows this, if that is earlier.
    pub wall: Option<WallTime>,
}

/// A setpoint that was set.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Adjusted {
    pub chosen: Chosen<Finite>,
    /// The file's value at that time, as text, which keeps it exactly: without an end, a change of it ends what was set.
    pub written: String,
    /// The file's unit at that time.
    pub unit: String,
}

impl End {
    /// Moves it onto another boot's clock, on which `ahead` places what lies ahead. Where nothing tells how long nobody
    /// looked, it keeps the time that it had left, less what may not have been stored of it.
    pub fn move_times(&mut self, now: BootTime, elapsed_known: bool, ahead: impl Fn(BootTime) -> BootTime) {
        let unstored = if elapsed_known { Span::ZERO } else { UNSTORED_MAX };
        self.boot = ahead(self.boot).back(unstored).max(now);
    }
}

impl Engine {
    /// The name of the position that a selector is in.
    pub fn position(&self, selector: SelectorId) -> &str {
        match &self.selectors[selector.index()] {
            Some(chosen) => &chosen.value,
            None => self.first_position(selector),
        }
    }

    fn first_position(&self, selector: SelectorId) -> &str {
        // Decoding has made sure that there are two at least.
        self.house.selector(selector).positions.first().map_or("", String::as_str)
    }

    /// What a setpoint is now, in its unit.
    pub fn setpoint_value(&self, setpoint: SetpointId) -> f64 {
        let written = self.house.setpoint(setpoint).value;
        self.setpoints[setpoint.index()].as_ref().map_or(written, |adjusted| adjusted.chosen.value.get())
    }

    /// Where the ends of a threshold lie now.
    pub fn ends(&self, threshold: &Threshold) -> Ends {
        threshold.ends(|setpoint| self.setpoint_value(setpoint))
    }

    /// Turns a selector to a position.
    pub(super) fn select(
        &mut self,
        id: SelectorId,
        position: &str,
        term: Option<&Term>,
        by: By,
        out: &mut Vec<Effect>,
    ) -> Answer {
        let house = self.house.clone();
        let selector = house.selector(id);
        if selector.position(position).is_none() {
            let (name, positions) = (&selector.name, selector.positions.join(", "));
            return Answer::Refused(format!("selector {name:?} has no position {position:?}; it has: {positions}"));
        }
        let end = match self.end_of(term, &by) {
            Ok(end) => end,
            Err(why) => return Answer::Refused(why),
        };
        let before = &self.selectors[id.index()];
        if end.is_none() && before.as_ref().is_some_and(|chosen| chosen.value == position && chosen.end.is_none()) {
            return Answer::Nothing;
        }
        let was = self.position(id) == position;
        self.watch_end(Timer::SelectorOver(id), WallTimer::SelectorOver(id), end);
        let until = end.map(|end| self.over_at(end));
        let entry = JournalEntry::Selected {
            selector: selector.name.clone(),
            position: position.to_owned(),
            by: by.clone(),
            until,
        };
        self.record(self.now.wall, entry, out);
        let chosen = Chosen { value: position.to_owned(), end, by, began: self.now.wall };
        self.selectors[id.index()] = Some(chosen);
        self.save = true;
        if !was {
            self.selector_changed(id);
        }
        Answer::Selected { selector: id, position: position.to_owned(), until }
    }

    /// Turns a selector to the position behind the one that it is in, from the last to the first.
    pub(super) fn step_selector(&mut self, id: SelectorId, term: Option<&Term>, by: By, out: &mut Vec<Effect>) {
        let positions = &self.house.selector(id).positions;
        let place = positions.iter().position(|position| position == self.position(id)).unwrap_or_default();
        let Some(next) = positions.get(place + 1).or(positions.first()).cloned() else { return };
        self.select(id, &next, term, by, out);
    }

    /// Puts a selector back to its first position.
    pub(super) fn return_selector(&mut self, id: SelectorId, why: ReturnReason, out: &mut Vec<Effect>) -> Answer {
        let Some(chosen) = self.selectors[id.index()].take() else { return Answer::Nothing };
        self.watch_end(Timer::SelectorOver(id), WallTimer::SelectorOver(id), None);
        self.record(self.now.wall, self.selector_returned(id, why), out);
        self.save = true;
        if chosen.value != self.position(id) {
            self.selector_changed(id);
        }
        Answer::Done
    }

    fn selector_returned(&self, id: SelectorId, why: ReturnReason) -> JournalEntry {
        let selector = self.house.selector(id).name.clone();
        JournalEntry::SelectorReturned { selector, position: self.first_position(id).to_owned(), why }
    }

    fn selector_changed(&mut self, id: SelectorId) {
        for atom in &self.index.clone().atoms_of_selector[id.index()] {
            self.follow_atom(*atom);
        }
    }

    /// Sets a setpoint.
    pub(super) fn adjust(
        &mut self,
        id: SetpointId,
        value: Finite,
        term: Option<&Term>,
        by: By,
        out: &mut Vec<Effect>,
    ) -> Answer {
        let house = self.house.clone();
        let setpoint = house.setpoint(id);
        let (least, greatest) = setpoint.range;
        if !(least..=greatest).contains(&value.get()) {
            return Answer::Refused(format!(
                "{} is outside of the range of setpoint {:?}; set it from {least} to {}, or widen its range at {}",
                setpoint.shown(value.get()),
                setpoint.name,
                setpoint.shown(greatest),
                house.place_name(setpoint.place)
            ));
        }
        let end = match self.end_of(term, &by) {
            Ok(end) => end,
            Err(why) => return Answer::Refused(why),
        };
        let before = self.setpoints[id.index()].as_ref().map(|adjusted| &adjusted.chosen);
        if end.is_none() && before.is_some_and(|chosen| chosen.value == value && chosen.end.is_none()) {
            return Answer::Nothing;
        }
        self.watch_end(Timer::SetpointOver(id), WallTimer::SetpointOver(id), end);
        let until = end.map(|end| self.over_at(end));
        let (name, unit) = (setpoint.name.clone(), setpoint.unit.clone());
        let entry = JournalEntry::SetpointSet { setpoint: name, value, unit: unit.clone(), by: by.clone(), until };
        self.record(self.now.wall, entry, out);
        let chosen = Chosen { value, end, by, began: self.now.wall };
        let was = self.setpoint_value(id);
        self.setpoints[id.index()] = Some(Adjusted { chosen, written: setpoint.value.to_string(), unit });
        self.save = true;
        self.setpoint_changed(id, was);
        Answer::SetTo { setpoint: id, value, until }
    }

    /// Puts a setpoint back to the file's value.
    pub(super) fn return_setpoint(&mut self, id: SetpointId, why: ReturnReason, out: &mut Vec<Effect>) -> Answer {
        let Some(adjusted) = self.setpoints[id.index()].take() else { return Answer::Nothing };
        self.watch_end(Timer::SetpointOver(id), WallTimer::SetpointOver(id), None);
        self.record(self.now.wall, self.setpoint_returned(id, why), out);
        self.save = true;
        self.setpoint_changed(id, adjusted.chosen.value.get());
        Answer::Done
    }

    fn setpoint_returned(&self, id: SetpointId, why: ReturnReason) -> JournalEntry {
        let setpoint = self.house.setpoint(id);
        let (name, unit) = (setpoint.name.clone(), setpoint.unit.clone());
        let value = Finite::new(setpoint.value).unwrap_or_default();
        JournalEntry::SetpointReturned { setpoint: name, value, unit, why }
    }

    /// Its thresholds are other thresholds now: what they passed last counts no more.
    fn setpoint_changed(&mut self, id: SetpointId, was: f64) {
        if self.setpoint_value(id) == was {
            return;
        }
        for atom in &self.index.clone().atoms_of_setpoint[id.index()] {
            self.atoms[atom.index()].memory = None;
            self.follow_atom(*atom);
        }
    }

    /// When something ends that is set now.
    fn end_of(&self, term: Option<&Term>, by: &By) -> Result<Option<End>, String> {
        let now = self.now;
        let after = |span| Some(End { boot: now.boot + span, wall: None });
        match term {
            None => Ok(None),
            Some(Term::For(span)) => Ok(after(*span)),
            Some(Term::NextChange) => Err(
                "\"next change\" is about what rules demand of a load; leave the end out, or say for how long, as in \"3d\""
                    .to_owned(),
            ),
            Some(term) if !now.trusted => match by.reads_answers() {
                // Nobody reads a refusal at a button.
                false => Ok(after(NEXT_CHANGE_MAX)),
                true => Err(untrusted(term)),
            },
            Some(term) => {
                let end = self.end_by_wall(term, now.wall)?;
                let span = Span(end.0.saturating_sub(now.wall.0).max(0) as u64);
                Ok(Some(End { boot: now.boot + span, wall: Some(end) }))
            }
        }
    }

    /// Waits for an end, or for none any more.
    fn watch_end(&mut self, timer: Timer, wall_timer: WallTimer, end: Option<End>) {
        self.boot_timers.clear(timer);
        self.wall_timers.clear(wall_timer);
        let Some(end) = end else { return };
        self.boot_timers.set(timer, end.boot);
        self.boot_timers.set_lazily(Timer::StoreTimes, self.now.boot + STORED_EVERY);
        if let Some(wall) = end.wall {
            self.wall_timers.set(wall_timer, wall);
        }
    }

    /// When it ends at the latest, by the present wall clock.
    pub(super) fn over_at(&self, end: End) -> WallTime {
        let by_boot = self.now.wall + end.boot.since(self.now.boot);
        shown_end(end.wall, by_boot)
    }

    fn is_over(&self, end: Option<End>) -> bool {
        let by_wall = |end: &End| end.wall.is_some_and(|wall| self.now.trusted && self.now.wall >= wall);
        end.is_some_and(|end| end.boot <= self.now.boot || by_wall(&end))
    }

    /// The time of a selector's position may be up.
    pub(super) fn handle_selector_over(&mut self, id: SelectorId, out: &mut Vec<Effect>) {
        if self.is_over(self.selectors[id.index()].as_ref().and_then(|chosen| chosen.end)) {
            self.return_selector(id, ReturnReason::TimeUp, out);
        }
    }

    /// The time of what a setpoint was set to may be up.
    pub(super) fn handle_setpoint_over(&mut self, id: SetpointId, out: &mut Vec<Effect>) {
        if self.is_over(self.setpoints[id.index()].as_ref().and_then(|adjusted| adjusted.chosen.end)) {
            self.return_setpoint(id, ReturnReason::TimeUp, out);
        }
    }

    /// The ends that run, with their timers.
    fn mode_ends(&self) -> Vec<(Timer, WallTimer, End)> {
        let selectors = self.selectors.iter().enumerate().filter_map(|(number, chosen)| {
            let id = SelectorId(number as u32);
            Some((Timer::SelectorOver(id), WallTimer::SelectorOver(id), chosen.as_ref()?.end?))
        });
        let setpoints = self.setpoints.iter().enumerate().filter_map(|(number, adjusted)| {
            let id = SetpointId(number as u32);
            Some((Timer::SetpointOver(id), WallTimer::SetpointOver(id), adjusted.as_ref()?.chosen.end?))
        });
        selectors.chain(setpoints).collect()
    }

    /// Whether something that was set has an end of which the rest is to be stored.
    pub(super) fn has_mode_ends(&self) -> bool {
        !self.mode_ends().is_empty()
    }

    /// The wall clock went back, so what it ended may lie ahead again.
    pub(super) fn set_wall_ends_of_modes(&mut self) {
        for (_, timer, end) in self.mode_ends() {
            if let Some(wall) = end.wall {
                self.wall_timers.set(timer, wall);
            }
        }
    }

    /// Takes what was set from a snapshot, by name. What this house does not allow any more is dropped, and the journal
    /// will say so.
    pub(super) fn recall_modes(
        &mut self,
        mut selectors: BTreeMap<String, Chosen<String>>,
        mut setpoints: BTreeMap<String, Adjusted>,
    ) {
        let house = self.house.clone();
        for (number, selector) in house.selectors.iter().enumerate() {
            let Some(chosen) = selectors.remove(&selector.name) else { continue };
            let id = SelectorId(number as u32);
            if selector.position(&chosen.value).is_none() {
                self.unsaid.push(self.selector_returned(id, ReturnReason::PositionGone));
            } else {
                self.selectors[number] = Some(chosen);
            }
        }
        for (number, setpoint) in house.setpoints.iter().enumerate() {
            let Some(adjusted) = setpoints.remove(&setpoint.name) else { continue };
            let id = SetpointId(number as u32);
            let (least, greatest) = setpoint.range;
            let changed = adjusted.written != setpoint.value.to_string() && adjusted.chosen.end.is_none();
            if changed || adjusted.unit != setpoint.unit {
                self.unsaid.push(self.setpoint_returned(id, ReturnReason::FileChanged));
            } else if !(least..=greatest).contains(&adjusted.chosen.value.get()) {
                self.unsaid.push(self.setpoint_returned(id, ReturnReason::OutOfRange));
            } else {
                self.setpoints[number] = Some(adjusted);
            }
        }
        for (timer, wall_timer, end) in self.mode_ends() {
            self.watch_end(timer, wall_timer, Some(end));
        }
    }

    /// Writes what a change of the house or a restart ended.
    pub(super) fn say_unsaid(&mut self, out: &mut Vec<Effect>) {
        for entry in std::mem::take(&mut self.unsaid) {
            self.record(self.now.wall, entry, out);
            self.save = true;
        }
    }
}
