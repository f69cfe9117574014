//! Orders that a board times by itself: `on:400`, one of which goes out once and is then followed until it is known what
//! became of it. It never sends one and never calls for another.
//!
//! While one is followed its relay has no order, because `off` would cut it short and `on` would begin it anew.

use serde::{Deserialize, Serialize};

use super::contact::{Contact, Heard};
use crate::units::{BootTime, Moment, Span};

/// A board's clock may be slow by one part in a hundred, and it says whole seconds only.
const SLACK: Span = Span::from_s(1);

/// A timed order whose end is not known yet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Timed {
    /// The number of the orders that it went out with.
    pub number: u32,
    /// When it went out.
    pub at: BootTime,
    /// For how long the relay is energised.
    pub length: Span,
    /// How often the relay had changed before.
    changes: Option<u32>,
    /// Since when the relay is energised by it, once that is reported.
    pub since: Option<BootTime>,
    /// It went out since this engine began, which so knows of every order behind it.
    followed: bool,
}

/// What became of a timed order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TimedEnd {
    /// The relay was energised for the whole length.
    Whole,
    /// A later order of `off` ended it early.
    Stopped,
    /// It ended early, or may have: by a hand, a lease that ran out, an order that nobody remembers.
    Cut,
    /// The board never took it, and never will.
    Untaken,
    /// Nobody can tell whether the board took it.
    Unknown,
}

impl Timed {
    /// One that goes out now.
    pub fn new(number: u32, at: BootTime, length: Span, contact: &Contact) -> Timed {
        Timed { number, at, length, changes: contact.changes, since: None, followed: true }
    }

    /// On the clock of another boot of this machine, before which it went out. Since when it is energised the next report
    /// says, by the board's own account.
    pub fn of_another_boot(self) -> Timed {
        Timed { at: BootTime(0), since: None, followed: false, ..self }
    }

    /// Since when it can be told that the board does not take it: not while nobody was there to hear.
    pub fn untaken_since(&self, now: BootTime) -> BootTime {
        if self.followed { self.at } else { now }
    }

    /// Whether its time was over when the relay was released, as far as seconds tell. What was ordered meanwhile nobody may know, so
    /// that this is no proof of a whole run.
    pub fn was_over(&self, released: Moment) -> bool {
        let ran = self.since.map(|since| released.after(Span::ZERO).since(since));
        ran.is_some_and(|ran| ran + SLACK >= self.length && ran <= longest(self.length))
    }

    /// When the relay is energised for longer than it should be; `None` until it is known to be energised.
    pub fn overdue(&self) -> Option<BootTime> {
        Some(self.since? + longest(self.length))
    }
}

/// For how long a relay may be seen energised by a timed order of this length.
pub(super) fn longest(length: Span) -> Span {
    length + Span(length.0 / 100) + SLACK
}

impl Contact {
    /// Follows the timed order by a report that was taken in just now. `ran_out` says that a lease ended meanwhile.
    pub fn follow_timed(&mut self, heard: Heard, ran_out: bool, now: BootTime) -> Option<TimedEnd> {
        let timed = self.timed.as_mut().filter(|timed| timed.number <= self.taken)?;
        let ours = |changes: Option<u32>| Some(changes?.saturating_sub(timed.changes?));
        // Where nothing is counted, a change that lies before the order shows that none has followed it.
        let is_unmoved = heard.earliest.is_some() && self.changed_latest.after(Span::ZERO) < timed.at;
        let moved = ours(self.changes).or(is_unmoved.then_some(0));
        if self.reported == Some(true) {
            let is_it = moved != Some(0) && !heard.by_hand;
            if is_it && timed.since.is_none() {
                timed.since = Some(now.back(heard.at.age(now)).max(timed.at));
            }
            return None;
        }
        let timed = self.timed.take()?;
        let stopped = self.said_in[0] > timed.number;
        let was_seen = timed.since.is_some();
        // By its own account: the report that it had begun may have been lost on the way.
        let ran = heard.at.after(Span::ZERO).since(timed.since.unwrap_or(timed.at));
        let end = match moved {
            Some(0) => TimedEnd::Untaken,
            None if !was_seen => TimedEnd::Unknown,
            Some(1) if !was_seen => TimedEnd::Unknown,
            _ if heard.by_hand || ran_out || !timed.followed => TimedEnd::Cut,
            // Orders that waited together may have ended it as soon as it began: how long ago they went out tells nothing of
            // how long it ran.
            _ if stopped && (!was_seen || ran < timed.length) => TimedEnd::Stopped,
            _ if ran.0 < timed.length.0 / 2 => TimedEnd::Cut,
            _ => TimedEnd::Whole,
        };
        if end != TimedEnd::Untaken && !stopped {
            // It is off as it should be, though the last that was said was on.
            self.said = None;
        }
        Some(end)
    }

    /// How many of the pulses that a report told of were none of the timed order that was `followed` before it, with what
    /// became of it by it. While that is not known, none is; nor where nothing is counted, since seconds that are too few only
    /// show that the report may have come late.
    pub fn pulses_beside(&self, followed: (Option<Timed>, Option<TimedEnd>), pulses: u32) -> u32 {
        let pulses = if self.changes.is_some() { pulses } else { 0 };
        let (Some(timed), end) = followed else { return pulses };
        let Some(end) = end else { return 0 };
        let moved = self.changes.zip(timed.changes).map_or(0, |(now, then)| now.saturating_sub(then));
        (moved / 2).saturating_sub(u32::from(end != TimedEnd::Untaken))
    }

    /// The engine begins anew: orders may have gone out since of which it does not know.
    pub fn lose_track_of_timed(&mut self) {
        if let Some(timed) = &mut self.timed {
            timed.followed = false;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::Cause;
    use crate::engine::lapse::Late;
    use crate::wire::RelayReport;

    const START: BootTime = BootTime(1_000_000);

    /// A relay that has changed four times and was sent a pulse of 18 s with orders 11.
    fn pulsed() -> Contact {
        let mut contact = Contact::default();
        hear(&mut contact, 0, 10, (false, 500, Some(4)));
        contact.wish = Some(true);
        contact.order(11, Late::default(), || Cause::Resting);
        contact.timed = Some(Timed::new(11, START, Span::from_s(18), &contact));
        contact.wish = None;
        contact
    }

    fn hear(
        contact: &mut Contact,
        at_s: u64,
        taken: u32,
        (energised, seconds, changes): (bool, u32, Option<u32>),
    ) -> Option<TimedEnd> {
        let now = START + Span::from_s(at_s);
        let report = RelayReport { energised, seconds: Some(seconds), changes, hands: Some(0) };
        let heard = contact.hear(&report, taken, now);
        contact.follow_timed(heard, false, now)
    }

    #[test]
    fn a_pulse_that_is_seen_to_begin_and_to_end_was_whole() {
        let mut contact = pulsed();
        assert_eq!(hear(&mut contact, 1, 11, (true, 0, Some(5))), None);
        let overdue = contact.timed.and_then(|timed| timed.overdue());
        assert_eq!(overdue, Some(START + Span(1000 + 18_000 + 180 + 1000)));
        assert_eq!(hear(&mut contact, 19, 11, (false, 0, Some(6))), Some(TimedEnd::Whole));
        assert_eq!(contact.timed, None);
    }

    #[test]
    fn one_of_which_only_the_end_is_seen_was_whole_by_the_count() {
        assert_eq!(hear(&mut pulsed(), 25, 11, (false, 6, Some(6))), Some(TimedEnd::Whole));
        assert_eq!(hear(&mut pulsed(), 25, 11, (false, 22, Some(6))), Some(TimedEnd::Cut), "off after 3 s already");
    }

    #[test]
    fn orders_that_were_not_taken_may_still_come() {
        let mut contact = pulsed();
        assert_eq!(hear(&mut contact, 1, 10, (false, 501, Some(4))), None);
        assert!(contact.in_flight() && contact.possible().energised);
        assert_eq!(hear(&mut contact, 2, 12, (false, 502, Some(4))), Some(TimedEnd::Untaken));
        assert!(!contact.possible().energised, "a board takes no orders that are lower than the last");
    }

    #[test]
    fn without_counts_only_seconds_tell_that_it_was_not_taken() {
        let mut contact = pulsed();
        contact.timed = contact.timed.map(|timed| Timed { changes: None, ..timed });
        let mut silent = contact.clone();
        assert_eq!(hear(&mut contact, 2, 12, (false, 502, None)), Some(TimedEnd::Untaken));
        let now = START + Span::from_s(2);
        let report = RelayReport { energised: false, seconds: None, changes: None, hands: Some(0) };
        let heard = silent.hear(&report, 12, now);
        assert_eq!(silent.follow_timed(heard, false, now), Some(TimedEnd::Unknown));
    }

    #[test]
    fn an_order_of_off_behind_it_stopped_it() {
        let mut contact = pulsed();
        assert_eq!(hear(&mut contact, 1, 11, (true, 0, Some(5))), None);
        contact.wish = Some(false);
        contact.order(12, Late::default(), || Cause::Resting);
        assert_eq!(hear(&mut contact, 5, 12, (false, 0, Some(6))), Some(TimedEnd::Stopped));
    }

    #[test]
    fn an_engine_that_begins_anew_does_not_vouch_for_it() {
        let mut contact = pulsed();
        contact.lose_track_of_timed();
        assert_eq!(hear(&mut contact, 25, 11, (false, 6, Some(6))), Some(TimedEnd::Cut));
    }
}
