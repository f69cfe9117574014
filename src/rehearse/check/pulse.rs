//! pulse: each changed demand calls for one pulse at most, and none is ever repeated, whatever is lost on the way.

use std::collections::BTreeMap;

use super::super::happening::{Happening, Mover, What};
use super::ledger::{Spot, spot_of};
use super::{Checker, Scene, Tally};
use crate::house::{LoadId, State};

/// Watches the relays of loads that are pulsed.
#[derive(Debug, Default)]
pub struct Pulses {
    /// By relay: the load, and what its last pulse was for.
    last: BTreeMap<Spot, (String, State)>,
}

impl Checker for Pulses {
    fn id(&self) -> &'static str {
        "pulse"
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            // What nobody had stored is not remembered, and another house may mean another thing.
            What::Stopped { unsaved: true, .. } | What::House { taken: true } => self.last.clear(),
            // What it wants while the link is gone it tells nobody.
            What::Linked { up: false } => self.last.clear(),
            // Another demand calls for another pulse, whatever became of the one in between.
            What::Wanted { load, state } => self.last.retain(|_, (of, wanted)| of != load || wanted == state),
            // A hand asks once more for what is wanted already.
            What::Held(hold) => self.last.retain(|_, (load, _)| *load != hold.load),
            What::RelayFault { board, relay, .. } => {
                self.last.remove(&(*board, *relay));
            }
            What::Contact { board, relay, energised: true, mover: Mover::Orders(number) } => {
                let spot = (*board, *relay);
                let Some(load) = self.pulsed(scene, spot) else { return Ok(()) };
                let Some(sent) = scene.ledger.orders(*board, *number) else { return Ok(()) };
                let Some(Some(charge)) = sent.charges.get(usize::from(*relay) - 1) else { return Ok(()) };
                tally.count("pulses");
                let before = self.last.insert(spot, (load.clone(), charge.wanted));
                if before == Some((load.clone(), charge.wanted)) {
                    return Err(format!(
                        "load {load:?} was pulsed again by orders {number}, and it was {} that was wanted both times",
                        charge.wanted
                    ));
                }
            }
            What::Contact { board, relay, energised: true, .. } => {
                self.last.remove(&(*board, *relay));
            }
            _ => {}
        }
        Ok(())
    }
}

impl Pulses {
    /// The pulsed load on a relay.
    fn pulsed(&self, scene: &Scene<'_>, spot: Spot) -> Option<String> {
        let house = scene.stage.house();
        let loads = (0..house.loads.len()).map(|load| house.load(LoadId(load as u32)));
        let mut pulsed = loads.filter(|load| load.pulse.is_some() && spot_of(scene.stage, house, load) == Some(spot));
        pulsed.next().map(|load| load.name.clone())
    }
}
