//! Alarms: what a person must see. One is raised once, stays until its reason is gone, and is never lost on the way.

use super::{Alarm, Answer, Effect, Engine, JournalEntry, Retained};

impl Engine {
    /// Raises an alarm, or gives one that stands a new text.
    pub(super) fn raise_alarm(&mut self, id: String, text: String, out: &mut Vec<Effect>) {
        match self.alarms.get_mut(&id) {
            Some(alarm) if alarm.text == text => return,
            Some(alarm) => alarm.text.clone_from(&text),
            None => {
                let alarm = Alarm { text: text.clone(), raised: self.now.wall, acknowledged: false };
                self.alarms.insert(id.clone(), alarm);
                self.record(self.now.wall, JournalEntry::AlarmRaised { alarm: id.clone(), text }, out);
            }
        }
        self.publish_alarm(&id, out);
        self.save = true;
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
        self.clear_retained(Retained::Alarm(id.to_owned()), out);
        self.save = true;
    }

    /// Notes that a person has seen an alarm; it stands until its reason is gone.
    pub(super) fn acknowledge(&mut self, id: &str, out: &mut Vec<Effect>) -> Answer {
        match self.alarms.get_mut(id) {
            Some(alarm) if !alarm.acknowledged => {
                alarm.acknowledged = true;
                self.publish_alarm(id, out);
                self.save = true;
                Answer::Done
            }
            _ => Answer::Nothing,
        }
    }
}
