//! Alarms: what a person must see. One is raised once, stays until its reason is gone, and is never lost on the way.

use std::ops::Bound;

use super::{Alarm, Answer, By, Effect, Engine, JournalEntry, Retained};
use crate::house::{AlarmState, alarm_about};

/// How many alarms an explanation names.
const SHOWN_MAX: usize = 8;

impl Engine {
    /// Raises an alarm, or gives one that stands a new text.
    pub(super) fn raise_alarm(&mut self, id: String, text: String, out: &mut Vec<Effect>) {
        match self.alarms.get_mut(&id) {
            Some(alarm) if alarm.text == text => return,
            Some(alarm) => alarm.text.clone_from(&text),
            None => {
                let alarm =
                    Alarm { text: text.clone(), raised: self.now.wall, acknowledged: false, acknowledged_by: None };
                self.alarms.insert(id.clone(), alarm);
                self.record(self.now.wall, JournalEntry::AlarmRaised { alarm: id.clone(), text }, out);
                self.alarm_changed(&id);
            }
        }
        self.publish_alarm(&id, out);
        self.save = true;
    }

    /// Whether an alarm of a kind stands, by how the ids of that kind begin. Where none does, nobody need make an id to look for.
    pub(super) fn has_alarm_of(&self, kind: &str) -> bool {
        let mut from = self.alarms.range::<str, _>((Bound::Included(kind), Bound::Unbounded));
        from.next().is_some_and(|(id, _)| id.starts_with(kind))
    }

    /// Looks again at the conditions about an alarm.
    fn alarm_changed(&mut self, id: &str) {
        let index = self.index.clone();
        let about = index.atoms_of_alarm.get(id).into_iter().flatten();
        for atom in about.chain(&index.atoms_of_any_alarm) {
            self.follow_atom(*atom);
        }
    }

    /// The ids of the alarms that an atom about alarms rests on, a few of them at most.
    pub(super) fn alarms_behind(&self, id: Option<&str>, is: AlarmState) -> Vec<String> {
        let standing = self.alarms.iter().filter(|(known, _)| id.is_none_or(|id| id == known.as_str()));
        let unacknowledged = standing.clone().filter(|(_, alarm)| !alarm.acknowledged);
        let named = |(id, _): (&String, &Alarm)| id.clone();
        let news: Vec<String> = unacknowledged.map(named).take(SHOWN_MAX).collect();
        // Where everything is acknowledged, that is what is shown.
        if is == AlarmState::Unacknowledged && !news.is_empty() {
            news
        } else {
            standing.map(named).take(SHOWN_MAX).collect()
        }
    }

    fn publish_alarm(&self, id: &str, out: &mut Vec<Effect>) {
        if let Some(alarm) = self.alarms.get(id).filter(|_| self.link) {
            out.push(Effect::PublishAlarm { id: id.to_owned(), alarm: alarm.clone() });
        }
    }

    /// Empties a retained topic now, or once the broker is there.
    pub(super) fn clear_retained(&mut self, retained: Retained, out: &mut Vec<Effect>) {
        if self.link {
            out.push(Effect::ClearRetained(retained));
        } else {
            self.stale_topics.insert(retained);
        }
    }

    /// Clears an alarm whose reason is gone.
    pub(super) fn clear_alarm(&mut self, id: &str, out: &mut Vec<Effect>) {
        if self.alarms.remove(id).is_none() {
            return;
        }
        self.record(self.now.wall, JournalEntry::AlarmCleared { alarm: id.to_owned() }, out);
        self.alarm_changed(id);
        self.clear_retained(Retained::Alarm(id.to_owned()), out);
        self.save = true;
    }

    /// Alarms about what the house does not have any more: nobody is left to clear them.
    fn alarms_of_what_is_gone(&self) -> Vec<String> {
        let house = &self.house;
        let is_gone = |id: &String| match alarm_about(id) {
            Some(("board", name)) => house.board_named(name).is_none_or(|board| !self.is_used(board)),
            Some(("sensor", name)) => house.sensor_named(name).is_none(),
            Some(("rule", name)) => house.rule_named(name).is_none_or(|rule| !house.rule(rule).latches),
            Some((_, name)) => house.load_named(name).is_none(),
            None => false,
        };
        self.alarms.keys().filter(|id| is_gone(id)).cloned().collect()
    }

    /// The house changed while nobody looked.
    pub(super) fn drop_alarms_of_what_is_gone(&mut self) {
        for alarm in self.alarms_of_what_is_gone() {
            self.alarms.remove(&alarm);
            self.stale_topics.insert(Retained::Alarm(alarm.clone()));
            self.unsaid.push(JournalEntry::AlarmCleared { alarm });
        }
    }

    /// The house changed.
    pub(super) fn clear_alarms_of_what_is_gone(&mut self, out: &mut Vec<Effect>) {
        for alarm in self.alarms_of_what_is_gone() {
            self.clear_alarm(&alarm, out);
        }
    }

    /// Notes that a person has seen an alarm; it stands until its reason is gone.
    pub(super) fn acknowledge(&mut self, id: &str, by: By, out: &mut Vec<Effect>) -> Answer {
        match self.alarms.get_mut(id) {
            Some(alarm) if !alarm.acknowledged => {
                alarm.acknowledged = true;
                alarm.acknowledged_by = Some(by.clone());
                self.record(self.now.wall, JournalEntry::AlarmAcknowledged { alarm: id.to_owned(), by }, out);
                self.alarm_changed(id);
                self.publish_alarm(id, out);
                self.save = true;
                Answer::Done
            }
            _ => Answer::Nothing,
        }
    }
}
