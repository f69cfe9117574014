//! What becomes of a contact as its board is in another boot, or starts over in the same one. It never tells in which boot a
//! board is.

use super::Contact;
use crate::units::BootTime;
use crate::wire::RelayReport;

impl Contact {
    /// Whether the reset of its board was a change, too, before those that the new boot counts. A welded contact does not
    /// fall, and what it does after that is not what a coil does that was released.
    pub(super) fn fell_at_reset(&self, report: &RelayReport, since: u32) -> bool {
        self.was_reset && self.last_reported == Some(true) && (since % 2 == 1) == report.energised
    }

    /// Its board has a boot, whose counts start again: known to start from zero where it was in another one `before`. Its reset
    /// released the relay, at the latest at `now`.
    pub fn reboot(&mut self, before: Option<u32>, boot: u32, now: BootTime) {
        let from_zero = before.is_some_and(|before| before != boot);
        self.changed_latest = now.into();
        self.unmoved_since = None;
        self.reported = None;
        self.taken = 0;
        self.found_late = None;
        self.hand_after = None;
        self.first_word = None;
        self.changes = from_zero.then_some(0);
        self.hands = from_zero.then_some(0);
        self.was_reset = from_zero;
        self.said = None;
        self.overtaken.clear();
        self.timed = None;
        if let Some(before) = before.filter(|_| from_zero) {
            self.part_from_boot(before, boot);
        }
    }

    /// Orders for the old boot are dead, whatever is still under way, unless it is believed again: then they are not.
    fn part_from_boot(&mut self, before: u32, boot: u32) {
        let said_in = std::mem::take(&mut self.said_in);
        self.said_anew = Default::default();
        self.turned_over = None;
        let later =
            self.put_aside.take().filter(|(later, _)| *later >= boot).or((before > boot).then_some((before, said_in)));
        match later {
            Some((later, said_in)) if later == boot => self.said_in = said_in,
            later => self.put_aside = later,
        }
    }
}
