//! I11: a circuit's limit is never exceeded by what Standfast switched on, except by slots 1 and 2, hands and fallback: these
//! excuse only what was ordered before the controller was told of them.
//!
//! Not counted among those that are on: relays that do not follow their coil, those of boards that are gone, and those whose
//! board still has the fallback of an earlier house. Two that were ordered before the house had the limit are let be.

use std::collections::BTreeMap;

use super::super::happening::{Happening, Mover, What, Why};
use super::known::Known;
use super::ledger::{Sent, Spot, is_on, spot_of};
use super::{Checker, Scene, Tally};
use crate::house::{Circuit, State};

/// What a circuit is: its name, the limit in mW, and the members with their power.
type Supply = (String, u64, Vec<(Spot, u64)>);

/// Watches every contact on a circuit.
#[derive(Debug, Default)]
pub struct Circuits {
    known: Known<Supply>,
    /// By relay, the place of its last change that no orders made.
    unordered: BTreeMap<Spot, u64>,
}

impl Checker for Circuits {
    fn id(&self) -> &'static str {
        "I11"
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        self.known.follow(seen, || scene.stage.house().circuits.iter().map(|circuit| key(circuit, scene)).collect());
        // A coil whose contact did not follow has moved all the same, and orders may move it back once that is mended.
        let (What::Contact { board, relay, energised, mover } | What::Unfollowed { board, relay, energised, mover }) =
            &seen.what
        else {
            return Ok(());
        };
        let Mover::Orders(number) = mover else {
            self.unordered.insert((*board, *relay), seen.place);
            return Ok(());
        };
        if matches!(seen.what, What::Unfollowed { .. }) {
            return Ok(());
        }
        let Some(sent) = scene.ledger.orders(*board, *number) else { return Ok(()) };
        let Some(Some(charge)) = sent.charges.get(usize::from(*relay) - 1) else { return Ok(()) };
        if charge.state(*energised) == State::Off {
            return Ok(());
        }
        for (key, (_, since)) in self.known.iter() {
            let (name, limit, members) = key;
            let Some((_, own)) = members.iter().find(|(spot, _)| *spot == (*board, *relay)) else { continue };
            tally.count("closings on a circuit");
            let others = members.iter().filter(|(spot, _)| *spot != (*board, *relay));
            let counted: Vec<(Spot, u64, u64)> =
                others.filter_map(|(spot, watts)| Some((*spot, *watts, counts(*spot, sent, scene)?))).collect();
            let sum: u64 = own + counted.iter().map(|(_, watts, _)| watts).sum::<u64>();
            let latest = counted.iter().map(|(.., place)| *place).max().unwrap_or(0).max(sent.place);
            // All of it may have been ordered before the house had this limit.
            if sum <= *limit || latest < *since {
                continue;
            }
            if charge.why == Why::Trip {
                tally.count("I11 excused by slots 1 and 2");
                continue;
            }
            // What was to stay on had gone off without the controller's knowledge, and came on once more.
            let unordered = self.unordered.get(&(*board, *relay));
            if unordered.is_some_and(|place| !scene.ledger.knew(*board, *place, sent.place)) {
                tally.count("I11 excused by a hand or a fallback");
                continue;
            }
            return Err(format!(
                "load {:?} closed by orders {number}, sent at {}, with {} on circuit {name:?} of {}: on are {counted:?}",
                charge.load,
                sent.at.0,
                sum / 1000,
                limit / 1000
            ));
        }
        Ok(())
    }
}

/// Whether a load that is on counts against one that `sent` switched on, and the place of the orders that switched it on.
fn counts(spot: Spot, sent: &Sent, scene: &Scene<'_>) -> Option<u64> {
    let house = scene.stage.house();
    let load = house.loads.iter().find(|load| spot_of(scene.stage, house, load) == Some(spot))?;
    let track = scene.ledger.contact(spot);
    // No board can tell of a relay that does not follow its coil, and one that is gone told of its own.
    if !is_on(load, &track) || track.fault.is_some() || scene.ledger.is_strange(spot.0) {
        return None;
    }
    let was_lost = || was_lost_at(spot.0, sent, scene);
    if scene.falls_back_otherwise(spot) || (scene.keeps_another_fallback(spot) && was_lost()) {
        return None;
    }
    // Of one that did not follow, the coil is what its board told of.
    let Some(change) = track.driven(track.closed) else {
        // It never moved, so it is on because its relay has never been energised, unless somebody reported otherwise.
        let is_told_off = scene.ledger.heard(spot).is_some_and(|energised| load.state(energised) == State::Off);
        return (!is_told_off).then_some(0);
    };
    match scene.ledger.sent_for(spot, change) {
        Some(other) => {
            let charge = other.charges.get(usize::from(spot.1) - 1)?.as_ref()?;
            (charge.why != Why::Trip || other.place < sent.place).then_some(other.place)
        }
        None => scene.ledger.knew(spot.0, change.place, sent.place).then_some(0),
    }
}

/// Whether a board was taken for lost as orders were sent to another, though it may be heard again since.
fn was_lost_at(board: usize, sent: &Sent, scene: &Scene<'_>) -> bool {
    let house = scene.stage.house();
    let lease = house.board_named(&scene.stage.panels()[board].name).and_then(|board| house.board(board).lease);
    let silence = scene.ledger.heard_before(board, sent.at).map(|last| sent.at.since(last));
    lease.zip(silence).is_some_and(|(lease, silence)| silence.0 >= lease.0 * 2 / 3)
}

fn key(circuit: &Circuit, scene: &Scene<'_>) -> Supply {
    let house = scene.stage.house();
    let milliwatts = |watts: f64| (watts * 1000.0).round() as u64;
    let members = circuit.loads.iter().filter_map(|load| {
        let load = house.load(*load);
        Some((spot_of(scene.stage, house, load)?, milliwatts(load.power.map_or(0.0, |power| power.0))))
    });
    (circuit.name.clone(), milliwatts(circuit.limit.0), members.collect())
}
