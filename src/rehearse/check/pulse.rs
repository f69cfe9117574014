//! pulse: each changed demand calls for one pulse at most, and none is ever repeated, whatever is lost on the way.
//!
//! A crash may take the memory of a pulse, which the next controller knows by what the board counts. Where a board counts no
//! changes, or a reset took its counts before it told the next controller of them, or that has no memory to compare them with,
//! nobody knows of such a pulse, and it may be repeated. Nor does anybody of one that orders for a board made which was
//! exchanged since: in a boot of the same number the new one takes them, and is taken for it.

use std::collections::BTreeMap;

use super::super::happening::{Happening, Mover, What};
use super::ledger::{Spot, spot_of};
use super::{Checker, Scene, Tally};
use crate::house::{LoadId, State};
use crate::units::BootTime;

/// Watches the relays of loads that are pulsed.
#[derive(Debug, Default)]
pub struct Pulses {
    last: BTreeMap<Spot, Last>,
    /// By load, where it was last wanted off, and on.
    wanted: BTreeMap<String, [u64; 2]>,
    /// When a controller stopped whose last memory was not stored.
    forgot_at: Option<BootTime>,
    /// By board that the house names, the place from which on the controller knows what it counts.
    heard: BTreeMap<usize, u64>,
}

/// The last pulse of a relay.
#[derive(Debug)]
struct Last {
    load: String,
    /// What it was for.
    wanted: State,
    /// Its board counts it, unless a reset has set its counts to zero since.
    is_counted: bool,
    /// The controller that sent it may have forgotten it: the place from which on a report tells the next one of it.
    forgotten: Option<u64>,
}

impl Checker for Pulses {
    fn id(&self) -> &'static str {
        "pulse"
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            What::Stopped { unsaved: true, .. } => {
                self.forgot_at = Some(seen.at);
                let stored = scene.ledger.stored();
                self.heard.retain(|_, from| *from <= stored);
                self.last.retain(|spot, last| {
                    last.is_counted &= self.heard.contains_key(&spot.0);
                    last.forget(seen.place, tally)
                });
            }
            What::ReportHeard { board, .. } => {
                self.heard.entry(*board).or_insert(seen.place);
            }
            // Who remembers nothing knows of none, and another house may mean another thing.
            What::Started { restored: false, .. } => {
                self.last.clear();
                self.heard.clear();
            }
            What::Started { .. } => self.forget_gone(scene),
            What::House { taken: true } => {
                self.last.clear();
                self.forget_gone(scene);
            }
            What::BoardUp { board, .. } => self.lose_counts(*board, scene, tally),
            // What it wants while the link is gone it tells nobody.
            What::Linked { up: false } => self.last.clear(),
            // Another demand calls for another pulse, whatever became of the one in between.
            What::Wanted { load, state } => {
                self.last.retain(|_, last| last.load != *load || last.wanted == *state);
                self.wanted.entry(load.clone()).or_default()[usize::from(*state == State::On)] = seen.place;
            }
            // A hand asks once more for what is wanted already.
            What::Held(hold) => self.last.retain(|_, last| last.load != hold.load),
            What::RelayFault { board, relay, .. } => {
                self.last.remove(&(*board, *relay));
            }
            What::Contact { board, relay, energised: true, mover: Mover::Orders(number) } => {
                return self.judge(seen, (*board, *relay), *number, scene, tally);
            }
            What::Contact { board, relay, energised: true, .. } => {
                self.last.remove(&(*board, *relay));
            }
            _ => {}
        }
        Ok(())
    }
}

impl Last {
    /// The controller that sent it stopped before what it knew of it was stored; whether the next one can know of it, by what is
    /// reported after `place`.
    fn forget(&mut self, place: u64, tally: &mut Tally) -> bool {
        self.forgotten = Some(place);
        tally.count(if self.is_counted {
            "pulses that a crash may have forgotten"
        } else {
            "pulses that nobody can know of"
        });
        self.is_counted
    }
}

impl Pulses {
    /// Orders closed a relay.
    fn judge(
        &mut self,
        seen: &Happening,
        spot: Spot,
        number: u32,
        scene: &Scene<'_>,
        tally: &mut Tally,
    ) -> Result<(), String> {
        let Some(load) = self.pulsed(scene, spot) else { return Ok(()) };
        let Some(sent) = scene.ledger.orders(spot.0, number) else { return Ok(()) };
        let Some(Some(charge)) = sent.charges.get(usize::from(spot.1) - 1) else { return Ok(()) };
        if charge.load != load {
            // Another load hung there by the house that these orders go by.
            self.last.remove(&spot);
            return Ok(());
        }
        tally.count("pulses");
        if scene.ledger.is_for_former(spot.0, sent) || scene.ledger.is_mistaken(spot.0) {
            tally.count("pulses of a board that was exchanged, and may be taken for the one before");
            self.last.remove(&spot);
            return Ok(());
        }
        let is_counted = !scene.stage.panels()[spot.0].board().faults().hides_changes;
        let mut last = Last { load, wanted: charge.wanted, is_counted, forgotten: None };
        if let Some(before) = self.last.remove(&spot)
            && (&before.load, before.wanted) == (&last.load, last.wanted)
        {
            return Err(format!(
                "load {:?} was pulsed again by orders {number}, and it was {} that was wanted both times",
                last.load, last.wanted
            ));
        }
        let is_forgotten = self.forgot_at.is_some_and(|stopped| sent.at <= stopped);
        // What was wanted otherwise since it went out calls for another one.
        let otherwise = usize::from(last.wanted == State::Off);
        let is_over = self.wanted.get(&last.load).is_some_and(|places| places[otherwise] > sent.place);
        if !is_over && (!is_forgotten || last.forget(seen.place, tally)) {
            self.last.insert(spot, last);
        }
        Ok(())
    }

    /// Of a board that the house does not name nothing is remembered.
    fn forget_gone(&mut self, scene: &Scene<'_>) {
        self.heard.retain(|board, _| scene.stage.running_board(*board).is_some());
    }

    /// A board starts, and counts from zero.
    fn lose_counts(&mut self, board: usize, scene: &Scene<'_>, tally: &mut Tally) {
        self.last.retain(|spot, last| {
            if spot.0 != board {
                return true;
            }
            last.is_counted = false;
            let is_told = last.forgotten.is_none_or(|place| scene.ledger.told_at(board, place).is_some());
            if !is_told {
                tally.count("pulses that nobody can know of");
            }
            is_told
        });
    }

    /// The pulsed load on a relay.
    fn pulsed(&self, scene: &Scene<'_>, spot: Spot) -> Option<String> {
        let house = scene.stage.house();
        let loads = (0..house.loads.len()).map(|load| house.load(LoadId(load as u32)));
        let mut pulsed = loads.filter(|load| load.pulse.is_some() && spot_of(scene.stage, house, load) == Some(spot));
        pulsed.next().map(|load| load.name.clone())
    }
}
