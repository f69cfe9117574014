//! One relay of a board: its coil, its own lease, its pulse, its counters. It never looks at another relay.

use crate::units::{BootTime, Span};
use crate::wire::{FallbackRelay, FallbackWord, RelayOrder, RelayReport};

/// How long a relay still obeys.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Lease {
    /// Until this time of the board.
    Until(BootTime),
    /// For ever.
    Endless,
    /// No longer: the fallback has been applied and the board's own buttons switch.
    RunOut,
}

/// One relay.
#[derive(Clone, Debug)]
pub(super) struct RelayState {
    energised: bool,
    since: BootTime,
    changes: u32,
    hands: u32,
    lease: Lease,
    pulse_ends: Option<BootTime>,
}

impl RelayState {
    /// A relay at reset: not energised, waiting for first orders for as long as a lease.
    pub fn at_reset(now: BootTime, lease: Lease) -> RelayState {
        RelayState { energised: false, since: now, changes: 0, hands: 0, lease, pulse_ends: None }
    }

    /// Whether the coil is energised.
    pub fn energised(&self) -> bool {
        self.energised
    }

    /// Whether its lease has run out.
    pub fn run_out(&self) -> bool {
        self.lease == Lease::RunOut
    }

    /// What it waits for next.
    pub fn deadline(&self) -> Option<BootTime> {
        let lease = match self.lease {
            Lease::Until(end) => Some(end),
            Lease::Endless | Lease::RunOut => None,
        };
        lease.into_iter().chain(self.pulse_ends).min()
    }

    /// Sets the lease that counts before first orders.
    pub fn wait_for_orders(&mut self, lease: Lease) {
        if !self.run_out() {
            self.lease = lease;
        }
    }

    /// Obeys an order under a lease.
    pub fn obey(&mut self, now: BootTime, order: RelayOrder, lease: Lease) {
        let energised = match order {
            RelayOrder::None => return,
            RelayOrder::On | RelayOrder::Pulse(_) => true,
            RelayOrder::Off => false,
        };
        self.lease = lease;
        self.set(now, energised);
        if let RelayOrder::Pulse(ms) = order {
            self.pulse_ends = Some(now + Span(u64::from(ms)));
        }
    }

    /// Does what is due: the end of a pulse, then the end of the lease.
    pub fn advance(&mut self, now: BootTime, fallback: FallbackRelay) {
        if self.pulse_ends.is_some_and(|end| end <= now) {
            self.set(now, false);
        }
        if matches!(self.lease, Lease::Until(end) if end <= now) {
            self.lease = Lease::RunOut;
            self.fall_back(now, fallback);
        }
    }

    /// Takes the state of its fallback. `keep` lets a running pulse end.
    pub fn fall_back(&mut self, now: BootTime, fallback: FallbackRelay) {
        match fallback.word {
            FallbackWord::On => self.set(now, true),
            FallbackWord::Off => self.set(now, false),
            FallbackWord::Keep => {}
        }
    }

    /// Is switched at the board.
    pub fn switch_by_hand(&mut self, now: BootTime) {
        self.set(now, !self.energised);
        self.hands = self.hands.saturating_add(1);
    }

    /// What a report says of it.
    pub fn report(&self, now: BootTime) -> RelayReport {
        let seconds = u32::try_from(now.since(self.since).whole_s()).unwrap_or(u32::MAX);
        RelayReport {
            energised: self.energised,
            seconds: Some(seconds),
            changes: Some(self.changes),
            hands: Some(self.hands),
        }
    }

    /// Energises the coil or not; whatever pulse was running ends with it.
    fn set(&mut self, now: BootTime, energised: bool) {
        self.pulse_ends = None;
        if self.energised != energised {
            self.energised = energised;
            self.since = now;
            self.changes = self.changes.saturating_add(1);
        }
    }
}
