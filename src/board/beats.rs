//! When the latest reports went out, so that the lease of orders runs from the beat that they quote. It never sends one.

use std::collections::VecDeque;

use crate::units::BootTime;

/// How many beats are remembered. Orders answer the latest reports; a beat further back counts as older than its lease.
const BEATS_KEPT: usize = 32;

/// The beats of one boot.
#[derive(Clone, Debug, Default)]
pub(super) struct Beats {
    last: u32,
    sent: VecDeque<(u32, BootTime)>,
}

impl Beats {
    /// The number of a report that goes out now.
    pub fn next(&mut self, now: BootTime) -> u32 {
        self.last = self.last.wrapping_add(1).max(1);
        if self.sent.len() == BEATS_KEPT {
            self.sent.pop_front();
        }
        self.sent.push_back((self.last, now));
        self.last
    }

    /// The last number given; 0 before the first.
    pub fn last(&self) -> u32 {
        self.last
    }

    /// When a beat went out, if that is still remembered.
    pub fn sent(&self, beat: u32) -> Option<BootTime> {
        self.sent.iter().rev().find(|(number, _)| *number == beat).map(|(_, at)| *at)
    }

    /// When the last one went out.
    pub fn last_sent(&self) -> Option<BootTime> {
        self.sent.back().map(|(_, at)| *at)
    }
}
