//! I1 for actuators: the relays of both directions are never closed together nor within the dead time, and none is closed by
//! orders for longer than the run that was ordered; except by hands at the board and by a weld. A hand excuses only what was
//! ordered before the controller was told of it.

use std::collections::BTreeMap;

use super::super::happening::{Happening, Mover, What};
use super::known::Known;
use super::ledger::{Spot, Track};
use super::{Checker, Scene, Tally};
use crate::house::State;
use crate::units::{BootTime, Span};
use crate::wire::RelayOrder;

/// A board's clock may be slow by one part in a hundred.
const DRIFT_DIVISOR: u64 = 100;

/// Watches both relays of every actuator.
#[derive(Debug, Default)]
pub struct Drives {
    /// A relay, the one of the other direction, and the dead time between them in ms.
    pairs: Known<(Spot, Spot, u64)>,
    /// Runs under way: when each must be over.
    runs: BTreeMap<Spot, BootTime>,
}

impl Checker for Drives {
    fn id(&self) -> &'static str {
        "I1"
    }

    fn time_passes(&mut self, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        let now = scene.stage.now();
        self.runs.retain(|spot, _| scene.ledger.contact(*spot).closed);
        for ((board, relay), over) in &self.runs {
            if now <= *over {
                continue;
            }
            if scene.ledger.contact((*board, *relay)).fault.is_some() {
                tally.count("I1 excused by a relay that is stuck in a run");
                continue;
            }
            return Err(format!("b{board}/{relay} drives on after its run was to be over at {}", over.0));
        }
        Ok(())
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        self.pairs.follow(seen, || pairs(scene));
        // Its coil may have been driven again while it was stuck, and from here on it follows that.
        if let What::RelayFault { board, relay, fault: None } = &seen.what {
            self.runs.remove(&(*board, *relay));
        }
        let What::Contact { board, relay, energised: true, mover: Mover::Orders(number) } = &seen.what else {
            return Ok(());
        };
        let spot = (*board, *relay);
        let Some(sent) = scene.ledger.orders(*board, *number) else { return Ok(()) };
        let pairs: Vec<(Spot, u64, u64)> =
            self.pairs.iter().filter(|((one, ..), _)| *one == spot).map(|((_, b, c), (_, d))| (*b, *c, *d)).collect();
        for (other, dead_time, since) in pairs {
            if sent.place < since {
                continue;
            }
            tally.count("runs of actuators");
            match sent.orders.relays.get(usize::from(*relay) - 1) {
                Some(RelayOrder::Pulse(ms)) => {
                    let length = Span(u64::from(*ms));
                    self.runs.insert(spot, seen.at + length + Span(length.0 / DRIFT_DIVISOR + 50));
                }
                word => return Err(format!("b{board}/{relay} drives an actuator by orders {number}, {word:?}")),
            }
            let track = scene.ledger.contact(other);
            let opened = track.opening.map(|opening| seen.at.since(opening.at));
            if !track.closed && opened.is_none_or(|opened| opened >= Span(dead_time)) {
                tally.count("runs of actuators after the other direction was off for long enough");
                continue;
            }
            if is_excused(other, &track, sent.place, scene) {
                tally.count("I1 excused by a hand or a weld at an actuator");
                continue;
            }
            return Err(format!(
                "b{board}/{relay} was closed by orders {number}, sent at {}, and b{}/{} of the other direction: {track:?}",
                sent.at.0, other.0, other.1
            ));
        }
        Ok(())
    }
}

fn is_excused(other: Spot, track: &Track, sent: u64, scene: &Scene<'_>) -> bool {
    let by_fault = track.changed().is_some_and(|change| change.mover == Mover::Fault);
    let hand = [track.closing, track.opening].into_iter().flatten().filter(|change| change.mover == Mover::Hand);
    let unknown = hand.map(|change| change.place).any(|place| !scene.ledger.knew(other.0, place, sent));
    track.fault.is_some() || by_fault || unknown
}

fn pairs(scene: &Scene<'_>) -> Vec<(Spot, Spot, u64)> {
    let house = scene.stage.house();
    let mut pairs = Vec::new();
    for actuator in &house.actuators {
        let Some(place) = scene.stage.place(&house.board(actuator.open.board).name) else { continue };
        let spot = |to: State| (place, actuator.relay(to).number);
        for to in [State::On, State::Off] {
            pairs.push((spot(to), spot(to.opposite()), actuator.dead_time.0));
        }
    }
    pairs
}
