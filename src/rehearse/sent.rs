//! What the engine wants done, carried out on the stage: orders and fallbacks as bytes, snapshots and reservations as writes
//! that take their time. It never changes what the engine wants.

use std::collections::BTreeMap;

use super::happening::{Charge, What, Why};
use super::stage::{Due, Stage};
use crate::engine::{Effect, Event, Possible, Retained};
use crate::house::{BoardId, House, LoadId, Relay, State};
use crate::wire::{Orders, RelayOrder};

impl Stage {
    pub(super) fn carry_out(&mut self, event: Option<&Event>, effects: Vec<Effect>, stamp: u64) {
        for effect in effects {
            match effect {
                Effect::SendOrders { board, orders } => self.send_orders(board, orders),
                Effect::SetFallback { board, fallback } => {
                    let Some(engine) = self.engine() else { return };
                    let topic = self.topics.fallback(&engine.house().board(board).name);
                    self.publish(&topic, &fallback.encode(), true);
                }
                Effect::ClearRetained(Retained::Board(board)) => {
                    let topic = self.topics.fallback(&board);
                    self.publish(&topic, "", true);
                }
                Effect::SendForeign { messages, .. } => {
                    for said in messages {
                        self.publish_with(&said.topic, &said.payload, said.retain, u8::from(said.acknowledged));
                    }
                }
                Effect::ReserveOrders { board, through } => {
                    let due = self.now() + self.controller.write;
                    self.put(due, Due::Reserved { life: self.controller.life, board, through });
                }
                Effect::Save => self.save(),
                Effect::Record(row) => self.record(row, event, stamp),
                Effect::Answer { token, answer, .. } => self.see(What::Answer { token, answer }),
                Effect::PublishLoad { load } => {
                    let Some(engine) = self.engine() else { return };
                    let definition = engine.house().load(load);
                    if definition.pulse.is_some() {
                        let (load, state) = (definition.name.clone(), engine.wanted(load));
                        self.see(What::Wanted { load, state });
                    }
                }
                Effect::ClearRetained(_)
                | Effect::PublishAlarm { .. }
                | Effect::ReadingDropped { .. }
                | Effect::MessageDropped(_) => {}
            }
        }
    }

    fn send_orders(&mut self, board: BoardId, mut orders: Orders) {
        let true_house = self.controller.house.clone();
        let Some(process) = self.controller.process.as_mut() else { return };
        let house = process.engine.house().clone();
        let Some(place) = place_of(&self.places, &house, board) else { return };
        process.disguise.take_off(place, &mut orders);
        let (said, whys) = process.said.entry(place).or_default();
        let heard = process.heard.get(&place);
        let mut charges = Vec::new();
        whys.resize(orders.relays.len(), None);
        for (index, word) in orders.relays.iter().enumerate() {
            let relay = Relay { board, number: index as u8 + 1 };
            let load = house.loads.iter().position(|load| load.relay() == Some(relay));
            let energised = *word == RelayOrder::On;
            let turns = matches!(word, RelayOrder::Pulse(_))
                || said.get(index) != Some(word)
                || heard.is_none_or(|heard| heard.get(index).is_none_or(|before| *before != energised))
                || may_be(process.engine.possible(relay), !energised);
            // Under max on or a trip somebody else may have come to decide without a word that is new.
            let is_watched = load.is_some_and(|load| house.loads[load].max_on.is_some() || may_trip(&house, load));
            // A cause costs more than all the rest of an order, so it is asked for only where something turns.
            if turns || is_watched || whys[index].is_none() {
                whys[index] = load.map(|load| Why::now(&process.engine, LoadId(load as u32)));
            }
            let (why, wanted) = whys[index].unwrap_or((Why::Rules, State::Off));
            let definition = load.and_then(|load| true_house.load_named(&house.loads[load].name));
            charges.push(definition.map(|load| Charge::new(true_house.load(load), why, wanted)));
        }
        said.clone_from(&orders.relays);
        let topic = self.topics.orders(&house.board(board).name);
        self.publish(&topic, &orders.encode(), false);
        self.see(What::Sent { board: place, orders, charges });
    }
}

/// Whether earlier orders may have turned it over by now, so that these turn it back.
fn may_be(possible: Possible, energised: bool) -> bool {
    if energised { possible.energised } else { possible.released }
}

fn may_trip(house: &House, load: usize) -> bool {
    house.rules.iter().any(|rule| rule.latches && rule.load.index() == load)
}

pub(super) fn place_of(places: &BTreeMap<String, usize>, house: &House, board: BoardId) -> Option<usize> {
    places.get(&house.board(board).name).copied()
}
