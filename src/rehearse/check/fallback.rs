//! I4: a relay is in its fallback at lease × 1.01 + 1 s after the beat that its last orders quoted, except `keep` and a later
//! hand. Before first orders the lease in flash counts, from the reset; another one that comes when that has run out changes
//! nothing, and while it may have, a hand may stay.

use std::collections::BTreeMap;

use super::super::happening::{Happening, What};
use super::{Checker, Scene, Tally};
use crate::board::LEASE_DEFAULT_S;
use crate::units::{BootTime, Span};
use crate::wire::{Fallback, FallbackWord, RelayOrder};

/// By then a lease that began at `sent` has run out on every board, however slow its clock.
pub(super) fn bound(sent: BootTime, lease_s: u32) -> BootTime {
    let lease = Span::from_s(u64::from(lease_s));
    sent + lease + Span(lease.0 / 100) + Span::from_s(1)
}

/// By then it may have run out on a board whose clock is fast.
fn may_have_run_out(began: BootTime, lease_s: u32, at: BootTime) -> bool {
    at >= began + Span(u64::from(lease_s) * 990)
}

#[derive(Clone, Debug, Default)]
struct Watched {
    /// When its lease began, and how long it is.
    lease: Option<(BootTime, u32)>,
    /// The lease that counted from the reset may have run out before another one came.
    may_be_alone: bool,
    hand: bool,
    faulty: bool,
}

#[derive(Clone, Debug, Default)]
struct Panel {
    powered: bool,
    fallback: Option<Fallback>,
    reset_at: BootTime,
    has_orders: bool,
    relays: BTreeMap<u8, Watched>,
    /// Before then no further lease can have run out, and what did was right.
    look_at: BootTime,
}

/// Watches every relay's lease.
#[derive(Debug, Default)]
pub struct FallbackInTime {
    panels: BTreeMap<usize, Panel>,
}

impl Panel {
    /// The lease in flash, in s; 0 for none.
    fn lease_s(&self) -> u32 {
        self.fallback.as_ref().map_or(LEASE_DEFAULT_S, |fallback| fallback.lease_s)
    }

    fn wait_from_reset(&mut self) {
        let lease_s = self.lease_s();
        for relay in self.relays.values_mut() {
            relay.lease = (lease_s > 0).then_some((self.reset_at, lease_s));
            relay.may_be_alone = false;
        }
    }

    fn word(&self, relay: u8) -> FallbackWord {
        let heard = self.fallback.as_ref().and_then(|fallback| fallback.relays.get(usize::from(relay) - 1));
        heard.map_or(FallbackWord::Off, |relay| relay.word)
    }
}

impl Checker for FallbackInTime {
    fn id(&self) -> &'static str {
        "I4"
    }

    fn time_passes(&mut self, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        let now = scene.stage.now();
        for (board, panel) in self.panels.iter_mut().filter(|(_, panel)| panel.powered && panel.look_at <= now) {
            panel.look_at = BootTime(u64::MAX);
            for (number, relay) in &panel.relays {
                let Some((began, lease_s)) = relay.lease.filter(|_| !relay.hand && !relay.faulty) else { continue };
                let lapses = bound(began, lease_s);
                if now < lapses {
                    panel.look_at = panel.look_at.min(lapses);
                    continue;
                }
                let expected = match panel.word(*number) {
                    FallbackWord::On => true,
                    FallbackWord::Off => false,
                    FallbackWord::Keep => continue,
                };
                tally.count("I4 lapsed relays looked at");
                if scene.stage.panels()[*board].is_closed(*number) != expected {
                    let state = if expected { "open" } else { "closed" };
                    return Err(format!(
                        "b{board}/{number} is still {state} {} after the beat that its last orders quoted; its lease is {lease_s} s",
                        now.since(began)
                    ));
                }
            }
        }
        Ok(())
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        if let Some(panel) = touched(&seen.what).and_then(|board| self.panels.get_mut(&board)) {
            panel.look_at = BootTime(0);
        }
        match &seen.what {
            What::BoardUp { board, is_new, .. } => {
                tally.count("board started");
                let relays = scene.stage.panels()[*board].board().setup().relays;
                let panel = self.panels.entry(*board).or_default();
                if *is_new {
                    panel.fallback = None;
                }
                (panel.powered, panel.reset_at, panel.has_orders) = (true, seen.at, false);
                for number in 1..=relays {
                    panel.relays.entry(number).or_default().hand = false;
                }
                panel.wait_from_reset();
            }
            What::BoardDown { board } => {
                tally.count("board lost power");
                self.panels.entry(*board).or_default().powered = false;
            }
            What::FallbackKept { board, fallback } => {
                let panel = self.panels.entry(*board).or_default();
                let (before, reset_at) = (panel.lease_s(), panel.reset_at);
                panel.fallback = Some(fallback.clone());
                if !panel.has_orders && (before == 0 || seen.at < bound(reset_at, before)) {
                    panel.wait_from_reset();
                    let ran_out = before > 0 && may_have_run_out(reset_at, before, seen.at);
                    panel.relays.values_mut().for_each(|relay| relay.may_be_alone |= ran_out);
                }
            }
            What::Obeyed { board, orders, .. } => self.obeyed(*board, orders, scene),
            What::Switched { board, relay } => {
                let relay = self.panels.entry(*board).or_default().relays.entry(*relay).or_default();
                // While the lease may still run, the lapse to come undoes what a hand did.
                let free = |(began, lease_s): (BootTime, u32)| may_have_run_out(began, lease_s, seen.at);
                relay.hand |= relay.may_be_alone || relay.lease.is_some_and(free);
            }
            What::RelayFault { board, relay, fault } => {
                let relay = self.panels.entry(*board).or_default().relays.entry(*relay).or_default();
                relay.faulty = fault.is_some();
            }
            _ => {}
        }
        Ok(())
    }
}

/// The board at which something happened by which a relay may be other than it was, or ought to be.
fn touched(what: &What) -> Option<usize> {
    match what {
        What::Contact { board, .. }
        | What::BoardUp { board, .. }
        | What::FallbackKept { board, .. }
        | What::Obeyed { board, .. }
        | What::Switched { board, .. }
        | What::RelayFault { board, .. } => Some(*board),
        _ => None,
    }
}

impl FallbackInTime {
    fn obeyed(&mut self, board: usize, orders: &crate::wire::Orders, scene: &Scene<'_>) {
        let panel = self.panels.entry(board).or_default();
        panel.has_orders = true;
        let Some((sent, _)) = scene.ledger.beat(board, orders.boot, orders.beat) else { return };
        for (number, order) in (1..).zip(&orders.relays) {
            if *order != RelayOrder::None {
                let relay = panel.relays.entry(number).or_default();
                relay.lease = (orders.lease_s > 0).then_some((sent, orders.lease_s));
                (relay.hand, relay.may_be_alone) = (false, false);
            }
        }
    }
}
