//! I2: no contact closes within min off, or opens within min on, except by slots 1–5, lapse, power loss, members of an
//! interlock found on together, hands at the board.
//!
//! An order that was on its way when one of these happened, or was sent before the board could say so, changes the contact
//! innocently; whether the engine could know shows in the beat that the order quotes. So does a relay that does not follow
//! its coil, which its board cannot tell, an exchanged board that nothing tells from the one before, and a crash that took the
//! orders of before because they were not stored yet. After a clock that was stepped while the machine was off every change of
//! before is forgotten.

use std::collections::BTreeMap;

use super::super::happening::{Happening, Mover, What};
use super::{Change, Checker, Scene, Tally};
use crate::house::State;

/// Watches every contact.
#[derive(Debug, Default)]
pub struct Dwell {
    last: BTreeMap<(usize, u8), Change>,
    /// The last change that no order made.
    free: BTreeMap<(usize, u8), Change>,
    /// Relays that do not follow their coil, and those mended since their coil moved last.
    faulty: BTreeMap<(usize, u8), bool>,
    /// The last crash that took orders which were not stored.
    crashed: u64,
}

impl Checker for Dwell {
    fn id(&self) -> &'static str {
        "I2"
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            What::Started { .. } if scene.ledger.misled() == seen.place => {
                self.last.clear();
                Ok(())
            }
            What::Stopped { unsaved: true, .. } => {
                self.crashed = seen.place;
                Ok(())
            }
            What::RelayFault { board, relay, fault } => {
                self.faulty.insert((*board, *relay), fault.is_some());
                // What it did before says nothing any more of when its coil moved.
                let change = Change { at: seen.at, place: seen.place, mover: Mover::Fault };
                self.last.insert((*board, *relay), change);
                self.free.insert((*board, *relay), change);
                Ok(())
            }
            What::Contact { board, relay, energised, mover } => {
                tally.count(&format!("contact moved by {}", name(*mover)));
                let verdict = self.judge(seen, (*board, *relay), *energised, *mover, scene, tally);
                let change = Change { at: seen.at, place: seen.place, mover: *mover };
                self.last.insert((*board, *relay), change);
                if !matches!(mover, Mover::Orders(_)) {
                    self.free.insert((*board, *relay), change);
                }
                verdict
            }
            _ => Ok(()),
        }
    }
}

impl Dwell {
    fn judge(
        &self,
        seen: &Happening,
        relay: (usize, u8),
        energised: bool,
        mover: Mover,
        scene: &Scene<'_>,
        tally: &mut Tally,
    ) -> Result<(), String> {
        let Mover::Orders(number) = mover else { return Ok(()) };
        let Some(before) = self.last.get(&relay) else { return Ok(()) };
        let Some(sent) = scene.ledger.orders(relay.0, number) else {
            return Err(format!("b{}/{} moved by orders {number}, which nobody sent", relay.0, relay.1));
        };
        let Some(Some(charge)) = sent.charges.get(usize::from(relay.1) - 1) else { return Ok(()) };
        let state = charge.state(energised);
        let least = charge.dwell_before(state);
        let lasted = seen.at.since(before.at);
        if lasted >= least {
            return Ok(());
        }
        let excused = if charge.why.breaks_dwell() {
            Some("slots 1 to 5")
        } else if sent.together[usize::from(relay.1) - 1] {
            Some("members found on together")
        } else if before.mover == Mover::Fault || self.faulty.get(&relay) == Some(&true) {
            Some("a faulty relay")
        } else if scene
            .ledger
            .sent_for(relay, *before)
            .is_some_and(|one| (one.place..sent.place).contains(&self.crashed))
        {
            Some("a crash that took what had been ordered")
        } else {
            self.could_not_know(relay, sent, scene)
        };
        if let Some(excuse) = excused {
            tally.count(&format!("I2 excused by {excuse}"));
            return Ok(());
        }
        let limit = if state == State::On { "min off" } else { "min on" };
        Err(format!(
            "load {:?} on b{}/{} turned {state} by orders {number} ({:?}) {lasted} after its last change, within its {limit} of {least}",
            charge.load, relay.0, relay.1, charge.why
        ))
    }

    /// Why the engine could not know how the contact stood when it sent these orders.
    fn could_not_know(&self, relay: (usize, u8), sent: &super::Sent, scene: &Scene<'_>) -> Option<&'static str> {
        if scene.ledger.is_for_former(relay.0, sent) || scene.ledger.is_mistaken(relay.0) {
            return Some("a board that nothing tells from the one before");
        }
        let free = self.free.get(&relay)?;
        let excuse = match free.mover {
            Mover::Orders(_) => return None,
            Mover::Fault => "a faulty relay",
            Mover::Lapse | Mover::Fallback => "a lapse",
            Mover::Power => "power loss",
            Mover::Hand => "a hand at the board",
        };
        let quoted = scene.ledger.beat(relay.0, sent.orders.boot, sent.orders.beat);
        quoted.is_none_or(|(_, place)| place < free.place).then_some(excuse)
    }
}

fn name(mover: Mover) -> &'static str {
    match mover {
        Mover::Orders(_) => "orders",
        Mover::Lapse => "lapse",
        Mover::Fallback => "fallback",
        Mover::Power => "power",
        Mover::Hand => "hand",
        Mover::Fault => "fault",
    }
}
