//! The stage: boards, links, broker and the controller on one queue of virtual time. It never draws a fault and never judges
//! what happens; scripts and checkers do. Time is true time: milliseconds since the curtain rose, which no clock on the
//! stage need agree with.

use std::cmp::{Ordering, Reverse};
use std::collections::{BTreeMap, BinaryHeap};
use std::sync::Arc;

use super::appliance::Appliance;
use super::broker::{Broker, Comeback};
use super::clock::Machine;
use super::controller::Controller;
use super::happening::{Happening, What};
use super::link::{Client, Link, Network, Parcel};
use super::panel::Panel;
use super::stroke::Stroke;
use super::weaken::Weakness;
use crate::board::{Faults, Setup};
use crate::engine::{Settings, Snapshot};
use crate::house::{BoardId, House};
use crate::units::{BootTime, WallTime};
use crate::wire::{Prefix, Topics};

/// Everything that a trial plays with.
#[derive(Debug)]
pub struct Stage {
    now: BootTime,
    placed: u64,
    stamps: u64,
    queue: BinaryHeap<Queued>,
    seen: Vec<Happening>,
    pub(super) network: Box<dyn Network>,
    pub(super) broker: Broker,
    pub(super) links: BTreeMap<Client, Link>,
    pub(super) panels: Vec<Panel>,
    /// Boards of other firmware.
    pub(super) appliances: Vec<Appliance>,
    /// What actuators move.
    pub(super) strokes: Vec<Stroke>,
    /// Places of boards by name.
    pub(super) places: BTreeMap<String, usize>,
    pub(super) controller: Controller,
    pub(super) prefix: Prefix,
    pub(super) topics: Topics,
}

/// What is due, when, and its place in the order of all that happened, which nothing else has. The soonest is the greatest.
#[derive(Debug)]
struct Queued {
    due: BootTime,
    place: u64,
    what: Due,
}

impl Queued {
    fn key(&self) -> Reverse<(BootTime, u64)> {
        Reverse((self.due, self.place))
    }
}

impl PartialEq for Queued {
    fn eq(&self, other: &Queued) -> bool {
        self.key() == other.key()
    }
}

impl Eq for Queued {}

impl PartialOrd for Queued {
    fn partial_cmp(&self, other: &Queued) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Queued {
    fn cmp(&self, other: &Queued) -> Ordering {
        self.key().cmp(&other.key())
    }
}

/// What is due at some time.
#[derive(Debug)]
pub(super) enum Due {
    Arrive { client: Client, way: super::link::Way, epoch: u32, parcel: Parcel },
    Connect(Client),
    BrokerNotices(Client, u32),
    ClientNotices(Client, u32),
    Tick(usize),
    LetGo { place: usize, relay: usize, turn: u32 },
    End { place: usize, turn: u32 },
    Wake(u64),
    Thaw,
    Stored { life: u32, of: u64, snapshot: Box<Snapshot> },
    Reserved { life: u32, board: String, through: u32 },
}

/// How a stage begins.
#[derive(Clone, Debug)]
pub struct Opening {
    /// The house; its boards are hung up.
    pub house: Arc<House>,
    /// What the wall clock shows at true time zero.
    pub wall: WallTime,
    /// How the engine starts.
    pub settings: Settings,
    /// By board in the order of names: how fast its clock runs, in millionths, and what is odd about it.
    pub boards: Vec<(i32, Faults)>,
    /// A protection that is switched off, to see whether anybody notices.
    pub weakness: Option<Weakness>,
}

impl Stage {
    /// Sets the stage: everything is in its place and nothing has power yet.
    pub fn new(opening: Opening, network: Box<dyn Network>) -> Stage {
        let Opening { house, wall, settings, boards, weakness } = opening;
        let prefix = Prefix::default();
        let own = house.boards.iter().filter(|board| board.foreign.is_none());
        let names: Vec<String> = own.map(|board| board.name.clone()).collect();
        let appliances = Appliance::all(&house);
        let panels = names.iter().enumerate().map(|(place, name)| {
            let (ppm, faults) = boards.get(place).cloned().unwrap_or_default();
            let setup = Setup::of_house(&house, BoardId(place as u32), &prefix);
            Panel::new(name, setup, ppm, Weakness::faults(weakness, faults))
        });
        let mut broker = Broker::new(prefix.clone(), &names);
        for (place, appliance) in appliances.iter().enumerate() {
            broker.subscribe(Client::Appliance(place), appliance.reads());
        }
        let others = (0..appliances.len()).map(Client::Appliance);
        let clients = (0..names.len()).map(Client::Board).chain(others).chain([Client::Controller]);
        Stage {
            now: BootTime(0),
            placed: 0,
            stamps: 0,
            queue: BinaryHeap::new(),
            seen: Vec::new(),
            network,
            broker,
            links: clients.map(|client| (client, Link::default())).collect(),
            panels: panels.collect(),
            strokes: Stroke::all(&house),
            appliances,
            places: names.iter().cloned().enumerate().map(|(place, name)| (name, place)).collect(),
            controller: Controller::new(house, Machine::new(wall), settings, weakness),
            topics: Topics::new(prefix.clone()),
            prefix,
        }
    }

    /// True time.
    pub fn now(&self) -> BootTime {
        self.now
    }

    /// The boards, in the order of their names.
    pub fn panels(&self) -> &[Panel] {
        &self.panels
    }

    /// The place of a board by name.
    pub fn place(&self, board: &str) -> Option<usize> {
        self.places.get(board).copied()
    }

    /// When the next thing happens by itself.
    pub fn next_due(&self) -> Option<BootTime> {
        self.queue.peek().map(|next| next.due)
    }

    /// Lets the next thing happen.
    pub fn advance(&mut self) {
        let Some(Queued { due, what, .. }) = self.queue.pop() else { return };
        self.now = self.now.max(due);
        match what {
            Due::Arrive { client, way, epoch, parcel } => self.arrive(client, way, epoch, parcel),
            Due::Connect(client) => self.connect(client),
            Due::BrokerNotices(client, epoch) => self.broker_notices(client, epoch),
            Due::ClientNotices(client, epoch) => self.client_notices(client, epoch),
            Due::Tick(place) => self.tick(place),
            Due::LetGo { place, relay, turn } => self.appliance_lets_go(place, relay, turn),
            Due::End { place, turn } => self.reach_end(place, turn),
            Due::Wake(wake) => self.wake(wake),
            Due::Thaw => self.thaw(),
            Due::Stored { life, of, snapshot } => self.stored(life, of, snapshot),
            Due::Reserved { life, board, through } => self.reserved(life, board, through),
        }
    }

    /// Lets time pass up to a moment at which the script acts; nothing may be due before it.
    pub fn pass_to(&mut self, at: BootTime) {
        self.now = self.now.max(at);
    }

    /// Takes what happened since the last time.
    pub fn take_seen(&mut self) -> Vec<Happening> {
        std::mem::take(&mut self.seen)
    }

    /// Has every step of the engine told, or not.
    pub fn record_steps(&mut self, on: bool) {
        self.controller.records_steps = on;
    }

    /// Whether every step of the engine is told.
    pub fn records_steps(&self) -> bool {
        self.controller.records_steps
    }

    /// Exchanges the network.
    pub fn set_network(&mut self, network: Box<dyn Network>) {
        self.network = network;
    }

    /// Says what the script did.
    pub fn say(&mut self, act: String) {
        self.see(What::Act(act));
    }

    /// The broker writes what it retains to its disk.
    pub fn broker_writes(&mut self) {
        self.broker.write();
    }

    /// The broker comes back, if it was away.
    pub fn broker_comes_back(&mut self, how: Comeback) {
        if !self.broker.up {
            self.broker.come_back(how);
        }
    }

    /// A house with errors was read: nothing else happens.
    pub fn refuse_house(&mut self) {
        self.see(What::House { taken: false });
    }

    pub(super) fn see(&mut self, what: What) {
        self.placed += 1;
        self.seen.push(Happening { at: self.now, place: self.placed, what });
    }

    /// The place of what happened last.
    pub(super) fn placed(&self) -> u64 {
        self.placed
    }

    pub(super) fn put(&mut self, due: BootTime, what: Due) {
        self.placed += 1;
        self.queue.push(Queued { due, place: self.placed, what });
    }

    pub(super) fn stamp(&mut self) -> u64 {
        self.stamps += 1;
        self.stamps
    }
}
