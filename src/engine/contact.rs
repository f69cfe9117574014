//! One relay's contact: the set of states that it may be in, when it last changed, and how long it must stay. It never knows
//! what is wanted of it, only what was said to it and what it said.
//!
//! Protection is about contacts, not wishes: orders widen the set of possible states, reports narrow it. All states here
//! are those of the coil, energised or not.

mod hand;
mod orders;
mod reset;

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::causes::Overtaken;
use super::explain::Cause;
use super::hours::Hours;
use super::lapse::Words;
use super::proof::ProofMemory;
use super::pulse::Timed;
use super::runs::{Runs, comings};
use super::unrest::Count;
use crate::units::{BootTime, Moment, Span};
use crate::wire::{FallbackWord, RelayReport};

/// Clocks may run fast by one part in a hundred: that much of what a board says of past time is not believed.
pub(super) const DRIFT_DIVISOR: u64 = 100;

/// What is known of a contact.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Contact {
    /// What the board's present lease of life last said; `None` while the board is lost or unheard.
    pub reported: Option<bool>,
    /// What was last reported, however long ago.
    pub last_reported: Option<bool>,
    /// The latest moment at which it can have changed last.
    pub changed_latest: Moment,
    /// After a restart that nobody timed, when it had changed last at the latest if it has not changed since it was stored.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unmoved_since: Option<Moment>,
    /// What the engine wants ordered; `None` for no order.
    pub wish: Option<bool>,
    /// With a wish to energise: for how long, timed by the board.
    #[serde(skip)]
    pub length: Option<Span>,
    /// A timed order whose end is not known yet.
    #[serde(default)]
    pub timed: Option<Timed>,
    /// What the last orders said.
    pub said: Option<bool>,
    /// The highest number of orders that said released, and that said energised.
    pub said_in: [u32; 2],
    /// The numbers of those that are under way and said released, and energised, anew: each may turn it over once.
    #[serde(default, skip_serializing_if = "is_quiet")]
    pub said_anew: [VecDeque<u32>; 2],
    /// The number of orders back to what was reported while others were under way: once they are taken it may have gone and
    /// come back.
    #[serde(default)]
    pub turned_over: Option<u32>,
    /// The last orders that the board says it has taken.
    pub taken: u32,
    /// Why the last orders said what they said.
    pub cause: Option<Cause>,
    /// The number of the first orders that said what was said last.
    #[serde(default)]
    pub said_from: u32,
    /// What was ordered before that, as far as it may have been taken and why matters.
    #[serde(default, skip_serializing_if = "VecDeque::is_empty")]
    pub overtaken: VecDeque<Overtaken>,
    /// Why it changed last, where that was seen.
    #[serde(default)]
    pub turned_by: Option<Cause>,
    /// It was reported with its board after the lease had run out, in a state that it may have left since: orders of this number
    /// will tell, once they are taken.
    #[serde(default)]
    pub found_late: Option<u32>,
    /// What else it may be while the board is lost: its fallback, or released by loss of power.
    pub lost: Option<Lost>,
    /// Its count of changes in the present boot.
    pub changes: Option<u32>,
    /// Its count of hands in the present boot.
    pub hands: Option<u32>,
    /// The last orders that its board had taken when a hand there switched it, or without a word for it since: while it has
    /// taken no others nothing tells whether its lease had run out by then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hand_after: Option<u32>,
    /// The first orders that said anything after there was nothing to say, until they are taken: until then it is on its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first_word: Option<u32>,
    /// For how long the words for it last that its board has taken.
    #[serde(skip)]
    pub words: Words,
    /// What its board was told last that it falls back to, while the word of its load is held back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub word_before: Option<FallbackWord>,
    /// A reset released it and set its counts to zero since it was last reported.
    #[serde(default)]
    pub was_reset: bool,
    /// A boot after the present one that a late report may have put aside, and the numbers of `said_in` in it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub put_aside: Option<(u32, [u32; 2])>,
    /// Since when reports do not match the orders.
    pub mismatch_since: Option<BootTime>,
    /// Its runs and starts.
    #[serde(default)]
    pub runs: Runs,
    /// How often it changed of late.
    #[serde(default)]
    pub turns: Count,
    /// Whether its load has proved to do what it says.
    #[serde(default)]
    pub proof: ProofMemory,
    /// For how long its load was on.
    #[serde(default)]
    pub hours: Hours,
    /// How often it was energised, as far as was seen or counted by its board.
    #[serde(default)]
    pub operations: u64,
    /// The day on which its relay was replaced, `2026-05-12`, by the house that was counted by.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaced: Option<String>,
}

fn is_quiet(anew: &[VecDeque<u32>; 2]) -> bool {
    anew.iter().all(VecDeque::is_empty)
}

/// What a lost board's contact may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Lost {
    /// Where its fallback puts it; `None` for `keep`.
    pub fallback: Option<bool>,
    /// Whether its lease has surely run out.
    pub run_out: bool,
    /// A hand switched it after its lease had run out: it may stay so for ever.
    #[serde(default)]
    pub stays: bool,
}

/// Whether a board's lease had run out before it was heard last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Alone {
    /// It had not.
    No,
    /// Nobody can tell: other firmware does not say which orders it took, nor does anything for how long the machine was off.
    Perhaps,
    /// It had: its relays had fallen back, but for what hands did.
    Yes,
}

/// The states that a contact may be in; at least one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Possible {
    /// It may be energised.
    pub energised: bool,
    /// It may be released.
    pub released: bool,
}

/// What a report told of a contact.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Heard {
    /// It is in another state than last reported.
    pub turned: bool,
    /// It was never reported before.
    pub first: bool,
    /// How many changes happened that no report showed.
    pub unseen: u32,
    /// When it changed last, as far as the board tells.
    pub at: Moment,
    /// The earliest moment at which it can have changed last, where the board tells: its second may be nearly over, and its
    /// clock slow.
    pub earliest: Option<Moment>,
    /// A hand at the board switched it.
    pub by_hand: bool,
    /// No hand at the board switched it, as far as the board counts them.
    pub by_no_hand: bool,
    /// Where nothing is counted: how many orders were taken since that said released, and energised, anew.
    pub anew: [u32; 2],
}

impl Contact {
    /// Takes what was ordered for what it does, since its board cannot tell; whether that is a change.
    pub fn assume(&mut self, energised: bool, now: BootTime) -> bool {
        let changed = self.reported != Some(energised);
        if changed {
            self.changed_latest = now.into();
            self.operations += u64::from(energised);
        }
        self.reported = Some(energised);
        self.last_reported = self.reported;
        self.lost = None;
        changed
    }

    /// Since when it is off at the latest, where it is: what showed that its load ran with it open counts as on.
    pub fn off_since(&self) -> Moment {
        self.changed_latest.max(self.proof.seen.unwrap_or(self.changed_latest))
    }

    /// Whether what was reported may be over by now, because its board's lease may have run out between.
    pub fn may_have_lapsed(&self) -> bool {
        self.found_late.is_some_and(|number| self.taken < number)
    }

    /// Whether orders are under way that could still turn it over.
    pub fn in_flight(&self) -> bool {
        self.reported.is_some_and(|energised| self.said_in[usize::from(!energised)] > self.taken)
    }

    /// Whether it was so when it was heard last, or may be by orders that it is not known to have taken.
    pub fn was_last(&self, energised: bool) -> bool {
        self.last_reported == Some(energised) || self.said_in[usize::from(energised)] > self.taken
    }

    /// The states that it may be in.
    pub fn possible(&self) -> Possible {
        let may = |energised: bool| {
            let Some(last) = self.last_reported else { return true };
            match self.lost {
                Some(Lost { fallback: Some(fallback), run_out: true, stays }) => {
                    energised == fallback || !energised || (stays && energised == last)
                }
                Some(Lost { fallback, .. }) => !energised || self.was_last(energised) || fallback == Some(energised),
                None => self.was_last(energised),
            }
        };
        Possible { energised: may(true), released: may(false) }
    }

    /// Takes a report of the board's present boot that was received at `now`.
    pub fn hear(&mut self, report: &RelayReport, taken: u32, now: BootTime) -> Heard {
        let first = self.last_reported.is_none();
        let turned = self.last_reported.is_some_and(|last| last != report.energised);
        let counted = match (self.changes, report.changes) {
            (Some(before), Some(after)) => after.checked_sub(before),
            _ => None,
        };
        // Of one that was never reported nobody knows where it began.
        let counted =
            counted.filter(|_| !first).map(|since| since.saturating_add(u32::from(self.fell_at_reset(report, since))));
        let earliest = report.seconds.map(|seconds| {
            let at_most = Span::from_s(u64::from(seconds) + 1);
            Moment::before(now, at_most + Span(at_most.0 / DRIFT_DIVISOR))
        });
        // Where nothing is counted, seconds that are too few show that it went and came back.
        let unmoved_since = self.unmoved_since.take().unwrap_or(self.changed_latest);
        let came_back = !first && !turned && earliest.is_some_and(|earliest| earliest > unmoved_since);
        let both_taken = self.turned_over.take_if(|number| *number <= taken).is_some();
        let may_have = came_back || (turned && both_taken);
        let changes = counted.unwrap_or(u32::from(turned) + if may_have { 2 } else { 0 });
        self.operations += u64::from(comings(report.energised, changes));
        // Without counts nobody knows what a board did while it was not heard.
        let counted = counted.is_some();
        let still = !first && !turned && changes == 0 && (counted || self.lost.is_none());
        let by_clock = report.seconds.map(|seconds| {
            let said = Span::from_s(u64::from(seconds));
            Moment::before(now, said.less(Span(said.0 / DRIFT_DIVISOR)))
        });
        self.changed_latest = match by_clock {
            // Both bounds hold for the same change, so the tighter one does; whether it is the same only counts tell. What
            // came over a restart rests on the wall clock, and the board knows better.
            Some(bound) if still && counted && self.lost.is_none() => self.changed_latest.min(bound),
            Some(bound) => bound,
            None if still => self.changed_latest,
            None => now.into(),
        };
        let hands = self.hands.zip(report.hands);
        let by_hand = hands.is_some_and(|(before, after)| after > before);
        let taken_since = |numbers: &VecDeque<u32>| {
            numbers.iter().filter(|number| **number > self.taken && **number <= taken).count() as u32
        };
        let mut anew = if counted { [0; 2] } else { [0, 1].map(|state| taken_since(&self.said_anew[state])) };
        if both_taken && !turned && !counted {
            let between = &mut anew[usize::from(!report.energised)];
            *between = (*between).max(1);
        }
        let by_board = report.seconds.map(|seconds| Moment::before(now, Span::from_s(u64::from(seconds))));
        self.reported = Some(report.energised);
        self.last_reported = self.reported;
        self.taken = taken;
        // Who takes orders of after that is the board that is there.
        self.put_aside = self.put_aside.filter(|(_, said_in)| taken <= said_in[0].max(said_in[1]));
        self.first_word = self.first_word.filter(|number| *number > taken);
        self.lost = None;
        self.follow_hand(by_hand, turned || changes > 0);
        self.changes = report.changes;
        self.hands = report.hands;
        self.was_reset = false;
        Heard {
            turned,
            first,
            unseen: changes.saturating_sub(u32::from(turned)),
            at: by_board.unwrap_or(self.changed_latest),
            earliest,
            by_hand,
            by_no_hand: hands.is_some() && !by_hand,
            anew,
        }
    }

    /// Follows whether reports match the orders; returns for how long they have not.
    pub fn follow(&mut self, now: BootTime) -> Option<Span> {
        let matches = self.said.is_none() || self.reported == self.said;
        if matches {
            self.mismatch_since = None;
            return None;
        }
        Some(now.since(*self.mismatch_since.get_or_insert(now)))
    }
}

#[cfg(test)]
mod tests;
