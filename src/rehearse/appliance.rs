//! Boards of other firmware on the stage: they obey words on topics of their own, report where they can, and know neither boots
//! nor beats. They never decide what is done to them.

use std::collections::BTreeSet;

use super::happening::What;
use super::link::{Client, Parcel, Way};
use super::stage::{Due, Stage};
use crate::house::{Ear, Foreign, House, LEASE_SECONDS};
use crate::units::Span;

/// How long one needs from power until it talks to the network.
const START: Span = Span(2_000);

/// A board of other firmware.
#[derive(Clone, Debug)]
pub struct Appliance {
    name: String,
    habits: Foreign,
    lease: Option<Span>,
    powered: bool,
    /// Its relays, and the turn that counts for what lets them go.
    relays: Vec<(bool, u32)>,
}

impl Appliance {
    /// Those of a house, without power.
    pub(super) fn all(house: &House) -> Vec<Appliance> {
        let foreign = house.boards.iter().filter_map(|board| Some((board, board.foreign.clone()?)));
        foreign
            .map(|(board, habits)| Appliance {
                name: board.name.clone(),
                relays: vec![(false, 0); habits.relays.len()],
                habits,
                lease: board.lease,
                powered: false,
            })
            .collect()
    }

    /// The name of its board.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Whether the NO contact of a relay, from 1, is closed.
    pub fn is_closed(&self, relay: u8) -> bool {
        self.relays.get(usize::from(relay).wrapping_sub(1)).is_some_and(|(closed, _)| *closed)
    }

    pub(super) fn is_powered(&self) -> bool {
        self.powered
    }

    pub(super) fn reads(&self) -> impl Iterator<Item = String> {
        self.habits.said_on().map(str::to_owned).collect::<BTreeSet<String>>().into_iter()
    }

    pub(super) fn will(&self) -> Option<Parcel> {
        self.habits.alive.as_ref().map(|ear| said(ear, false, true))
    }

    /// The relay that an order speaks to, and its word.
    fn order(&self, topic: &str, payload: &[u8]) -> Option<(usize, bool)> {
        let seconds = self.lease.map_or(0, |lease| lease.0 / 1000).to_string();
        self.habits.relays.iter().enumerate().filter(|(_, relay)| relay.topic == topic).find_map(|(place, relay)| {
            let fits = |text: &String| text.replace(LEASE_SECONDS, &seconds).as_bytes() == payload;
            relay.payloads.iter().position(fits).map(|word| (place, word == 1))
        })
    }
}

/// What one says where it is listened to: a word, in JSON where it is looked for in a field.
fn said(ear: &Ear, is_so: bool, retained: bool) -> Parcel {
    let word = &ear.words[usize::from(is_so)];
    let text = match &ear.field {
        Some(field) => format!("{{\"{}\": \"{word}\"}}", field.trim_start_matches('/')),
        None => word.clone(),
    };
    Parcel { topic: ear.topic.as_str().into(), payload: text.as_bytes().into(), retained, qos: 1, stamp: 0 }
}

impl Stage {
    /// The boards of other firmware.
    pub fn appliances(&self) -> &[Appliance] {
        &self.appliances
    }

    /// One gets power; its relays are released.
    pub fn power_appliance(&mut self, place: usize) {
        self.unpower_appliance(place);
        self.appliances[place].powered = true;
        let due = self.now() + START;
        self.put(due, Due::Connect(Client::Appliance(place)));
    }

    /// One loses power.
    pub fn unpower_appliance(&mut self, place: usize) {
        self.appliances[place].powered = false;
        for relay in 0..self.appliances[place].relays.len() {
            self.set_appliance(place, relay, false);
        }
        self.lose_wire(Client::Appliance(place), Span::from_s(30), None);
    }

    fn set_appliance(&mut self, place: usize, relay: usize, closed: bool) {
        let appliance = &mut self.appliances[place];
        let (is, turn) = &mut appliance.relays[relay];
        *turn += 1;
        if std::mem::replace(is, closed) != closed {
            let name = appliance.name.clone();
            self.see(What::Act(format!("{name}/{} {}", relay + 1, if closed { "closes" } else { "opens" })));
        }
    }

    fn appliance_reports(&mut self, place: usize, relay: usize) {
        let appliance = &self.appliances[place];
        let closed = appliance.relays[relay].0;
        if let Some(parcel) = appliance.habits.relays[relay].report.as_ref().map(|ear| said(ear, closed, false)) {
            self.send(Client::Appliance(place), Way::Up, parcel);
        }
    }

    pub(super) fn appliance_linked(&mut self, place: usize) {
        if let Some(parcel) = self.appliances[place].habits.alive.as_ref().map(|ear| said(ear, true, true)) {
            self.send(Client::Appliance(place), Way::Up, parcel);
        }
        (0..self.appliances[place].relays.len()).for_each(|relay| self.appliance_reports(place, relay));
    }

    /// A message reaches one.
    pub(super) fn appliance_hears(&mut self, place: usize, parcel: &Parcel) {
        let appliance = &self.appliances[place];
        if !appliance.powered {
            return;
        }
        if appliance.habits.ask.as_ref().is_some_and(|ask| ask.topic == *parcel.topic) {
            return (0..appliance.relays.len()).for_each(|relay| self.appliance_reports(place, relay));
        }
        let Some((relay, closed)) = appliance.order(&parcel.topic, &parcel.payload) else { return };
        self.set_appliance(place, relay, closed);
        let appliance = &self.appliances[place];
        if let Some(lease) = appliance.lease.filter(|_| closed) {
            let turn = appliance.relays[relay].1;
            let due = self.now() + lease;
            self.put(due, Due::LetGo { place, relay, turn });
        }
        self.appliance_reports(place, relay);
    }

    pub(super) fn appliance_lets_go(&mut self, place: usize, relay: usize, turn: u32) {
        if self.appliances[place].relays[relay] == (true, turn) {
            self.set_appliance(place, relay, false);
            self.appliance_reports(place, relay);
        }
    }
}
