//! stagger: the site's stagger lies between the closings that follow a start or a reconnect, a circuit's between any two on it.
//! It is seen in the orders that turn loads on first: how they arrive depends on the links.

use std::collections::{BTreeMap, BTreeSet};

use super::super::happening::{Happening, What, Why};
use super::known::Known;
use super::ledger::spot_of;
use super::{Checker, Scene, Tally};
use crate::engine::JournalEntry;
use crate::house::{House, Load, State};
use crate::units::BootTime;
use crate::wire::RelayOrder;

/// Watches orders that turn loads on.
#[derive(Debug, Default)]
pub struct Staggers {
    circuits: Known<(String, u64, Vec<String>)>,
    /// By board: boot and words of the last orders.
    said: BTreeMap<usize, (u32, Vec<RelayOrder>)>,
    /// Loads of which no closing was ordered since a start or a reconnect.
    waiting: BTreeSet<String>,
    /// The last closing that followed a start or a reconnect.
    last: Option<(String, BootTime)>,
    /// By circuit.
    last_on: BTreeMap<String, (String, BootTime)>,
}

impl Checker for Staggers {
    fn id(&self) -> &'static str {
        "stagger"
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        let house = scene.stage.house();
        self.circuits.follow(seen, || {
            let name = |load: &crate::house::LoadId| house.load(*load).name.clone();
            let key = |circuit: &crate::house::Circuit| {
                (circuit.name.clone(), circuit.stagger.0, circuit.loads.iter().map(name).collect())
            };
            house.circuits.iter().map(key).collect()
        });
        match &seen.what {
            What::Started { .. } => {
                *self = Staggers { circuits: std::mem::take(&mut self.circuits), ..Staggers::default() };
                self.waiting = own_loads(scene).map(|load| load.name.clone()).collect();
            }
            What::Linked { up: true } => {
                // One that was last heard on closes only after it has opened.
                let is_on = |load: &Load| {
                    let heard = spot_of(scene.stage, house, load).and_then(|spot| scene.ledger.heard(spot));
                    heard.is_some_and(|energised| load.state(energised) == State::On)
                };
                self.waiting = own_loads(scene).filter(|load| !is_on(load)).map(|load| load.name.clone()).collect();
            }
            What::House { taken: true } => {
                // One that went and came back meanwhile is a new load.
                self.waiting.retain(|load| house.load_named(load).is_some());
            }
            What::Journal(row) => {
                if let JournalEntry::BoardFound { board } = &row.entry {
                    self.await_board(board, house);
                }
            }
            What::Sent { board, orders, charges } => {
                let before = self.said.insert(*board, (orders.boot, orders.relays.clone()));
                if before.as_ref().is_some_and(|(boot, _)| *boot != orders.boot) {
                    self.await_board(&scene.stage.panels()[*board].name, house);
                }
                for (index, (word, charge)) in orders.relays.iter().zip(charges).enumerate() {
                    let Some(charge) = charge else { continue };
                    let energised = match word {
                        RelayOrder::On | RelayOrder::Pulse(_) => true,
                        RelayOrder::Off => false,
                        RelayOrder::None => continue,
                    };
                    if charge.state(energised) == State::Off {
                        continue;
                    }
                    let reported = scene.ledger.heard((*board, index as u8 + 1));
                    let said = before.as_ref().filter(|(boot, _)| *boot == orders.boot);
                    let is_news = said.is_none_or(|(_, words)| words.get(index) != Some(word));
                    let closes = is_news && reported == Some(!energised) && !scene.ledger.is_strange(*board);
                    self.judge(&charge.load, charge.why, closes, seen, scene, tally)?;
                }
            }
            _ => {}
        }
        Ok(())
    }
}

/// Loads on boards of the contract: what others are ordered is not seen here.
fn own_loads<'a>(scene: &Scene<'a>) -> impl Iterator<Item = &'a Load> {
    let stage = scene.stage;
    let house = stage.house();
    house.loads.iter().filter(move |load| spot_of(stage, house, load).is_some())
}

impl Staggers {
    /// The next closings on a board follow a reconnect; on one of other firmware they are not seen.
    fn await_board(&mut self, board: &str, house: &House) {
        let board = house.board_named(board).filter(|board| house.board(*board).foreign.is_none());
        if board.is_none() {
            return;
        }
        let own = house.loads.iter().filter(|load| load.relay().map(|relay| relay.board) == board);
        self.waiting.extend(own.map(|load| load.name.clone()));
    }

    fn judge(
        &mut self,
        load: &str,
        why: Why,
        closes: bool,
        seen: &Happening,
        scene: &Scene<'_>,
        tally: &mut Tally,
    ) -> Result<(), String> {
        let waited = self.waiting.remove(load);
        if !closes {
            return Ok(());
        }
        if waited {
            tally.count("closings after a start or a reconnect");
            let before = self.last.replace((load.to_owned(), seen.at));
            let stagger = scene.stage.house().site.stagger;
            if let Some((other, at)) = before.filter(|(other, at)| other != load && seen.at.since(*at) < stagger) {
                let apart = seen.at.since(at);
                return Err(format!(
                    "after a start or a reconnect load {load:?} was ordered on {apart} after load {other:?}; the stagger is {stagger}"
                ));
            }
        }
        for ((name, stagger, loads), (_, since)) in self.circuits.iter() {
            if !loads.iter().any(|one| one == load) {
                continue;
            }
            tally.count("closings on a circuit with a stagger");
            let before = self.last_on.insert(name.clone(), (load.to_owned(), seen.at));
            let is_bound = why != Why::Trip && seen.place > *since;
            if let Some((other, at)) =
                before.filter(|(other, at)| is_bound && other != load && seen.at.since(*at).0 < *stagger)
            {
                let apart = seen.at.since(at);
                return Err(format!(
                    "on circuit {name:?} load {load:?} was ordered on {apart} after load {other:?}; its stagger is {stagger} ms"
                ));
            }
        }
        Ok(())
    }
}
