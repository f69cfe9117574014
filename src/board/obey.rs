//! What a board does with a message for it: orders, fallback, the controller's life. It never answers by itself.

use super::event::{Effect, Ignored};
use super::machine::Board;
use super::relay::Lease;
use crate::units::{BootTime, Span};
use crate::wire::{ControllerLife, Fallback, Orders, ToBoard};

impl Board {
    pub(super) fn obey(&mut self, message: ToBoard, effects: &mut Vec<Effect>) -> Result<(), Ignored> {
        match message {
            ToBoard::Orders(orders) => self.take(&orders),
            ToBoard::Fallback(fallback) => {
                self.keep_fallback(fallback, effects);
                Ok(())
            }
            ToBoard::Controller(ControllerLife::Birth { .. }) => {
                self.introduce(effects);
                Ok(())
            }
            // The leases carry the board.
            ToBoard::Controller(ControllerLife::Death) => Ok(()),
        }
    }

    fn take(&mut self, orders: &Orders) -> Result<(), Ignored> {
        if orders.boot != self.boot() && !self.faults.ignores_boot {
            return Err(Ignored::OtherBoot { quoted: orders.boot });
        }
        if orders.number <= self.ram.taken && !self.faults.ignores_number {
            return Err(Ignored::NotHigher { number: orders.number });
        }
        let lease = self.lease_of(orders)?;
        self.ram.taken = orders.number;
        self.ram.lease_s = orders.lease_s;
        if self.faults.idles {
            return Ok(());
        }
        for (relay, order) in self.ram.relays.iter_mut().zip(&orders.relays) {
            let before = relay.energised();
            relay.obey(self.ram.now, *order, lease);
            self.ram.report_due |= relay.energised() != before;
        }
        self.let_leases_be_ignored();
        Ok(())
    }

    pub(super) fn let_leases_be_ignored(&mut self) {
        if self.faults.ignores_lease {
            self.ram.relays.iter_mut().for_each(|relay| relay.wait_for_orders(Lease::Endless));
        }
    }

    /// The lease runs from the moment at which the quoted beat was sent, so bytes that waited somewhere cannot extend it.
    fn lease_of(&self, orders: &Orders) -> Result<Lease, Ignored> {
        let beat = orders.beat;
        if self.faults.ignores_age {
            return Ok(lease_from(self.ram.now, orders.lease_s));
        }
        if beat > self.ram.beats.last() {
            return Err(Ignored::NeverSent { beat });
        }
        if orders.lease_s == 0 {
            return Ok(Lease::Endless);
        }
        let lease = self.ram.beats.sent(beat).map(|sent| lease_from(sent, orders.lease_s));
        match lease {
            Some(Lease::Until(end)) if end > self.ram.now => Ok(Lease::Until(end)),
            _ => Err(Ignored::TooOld { beat }),
        }
    }

    /// Flash is written only when something changed: it wears. A relay whose lease has run out already follows a word that is
    /// new for it, because that is what its owner says is safe now; the same word again leaves alone what a hand did since.
    fn keep_fallback(&mut self, fallback: Fallback, effects: &mut Vec<Effect>) {
        if self.flash.fallback.as_ref() == Some(&fallback) {
            return;
        }
        let before: Vec<_> = (0..self.ram.relays.len()).map(|index| self.flash.fallback_of(index)).collect();
        self.flash.fallback = Some(fallback);
        effects.push(Effect::Store);
        if self.ram.taken == 0 {
            self.ram.lease_s = self.flash.lease_s();
            let lease = lease_from(self.ram.reset_at, self.ram.lease_s);
            self.ram.relays.iter_mut().for_each(|relay| relay.wait_for_orders(lease));
            self.let_leases_be_ignored();
            self.advance();
        }
        for (index, relay) in self.ram.relays.iter_mut().enumerate() {
            let word = self.flash.fallback_of(index);
            if relay.run_out() && word != before[index] {
                let was = relay.energised();
                relay.fall_back(self.ram.now, word);
                self.ram.report_due |= relay.energised() != was;
            }
        }
    }
}

/// The lease that runs for so many seconds from a moment; 0 means for ever.
pub(super) fn lease_from(start: BootTime, lease_s: u32) -> Lease {
    if lease_s == 0 { Lease::Endless } else { Lease::Until(start + Span::from_s(u64::from(lease_s))) }
}
