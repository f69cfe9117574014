//! I6: no orders take effect after their lease. With it what keeps that true: orders are obeyed only in the boot that they
//! speak to, only once, and answer a beat that was sent; and no number is given twice.

use std::collections::BTreeMap;

use super::super::happening::{Happening, What};
use super::fallback::bound;
use super::{Checker, Scene, Tally};

/// Watches what boards take.
#[derive(Debug, Default)]
pub struct Lease {
    /// By board: the boot, and the number of the last orders taken in it.
    taken: BTreeMap<usize, (u32, u32)>,
    /// By board: the number of the last orders sent.
    sent: BTreeMap<usize, u32>,
}

impl Checker for Lease {
    fn id(&self) -> &'static str {
        "I6"
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        let (board, boot, orders) = match &seen.what {
            What::BoardUp { board, .. } => {
                self.taken.remove(board);
                return Ok(());
            }
            What::Ignored { why, .. } => {
                let reasons = ["older than their lease", "no newer", "which does not run", "never sent"];
                if let Some(reason) = reasons.into_iter().find(|reason| why.contains(reason)) {
                    tally.count(&format!("orders ignored: {reason}"));
                }
                return Ok(());
            }
            What::Sent { board, orders, .. } => {
                let before = self.sent.insert(*board, orders.number);
                return match before.filter(|before| *before >= orders.number) {
                    Some(before) => Err(format!("orders {orders} for b{board} follow orders {before}")),
                    None => Ok(()),
                };
            }
            What::Obeyed { board, boot, orders } => (*board, *boot, orders),
            _ => return Ok(()),
        };
        tally.count("orders taken");
        if orders.boot != boot {
            return Err(format!("b{board} in boot {boot} took orders {orders}, which speak to boot {}", orders.boot));
        }
        let Some((sent, _)) = scene.ledger.beat(board, orders.boot, orders.beat) else {
            return Err(format!("b{board} took orders {orders}, which answer a beat that was never sent"));
        };
        if orders.lease_s > 0 && seen.at > bound(sent, orders.lease_s) {
            return Err(format!(
                "b{board} took orders {orders} {} after the beat that they answer",
                seen.at.since(sent)
            ));
        }
        if let Some((_, last)) = self.taken.insert(board, (boot, orders.number))
            && orders.number <= last
        {
            return Err(format!("b{board} took orders {orders} after orders {last}"));
        }
        Ok(())
    }
}
