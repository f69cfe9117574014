//! The controller on the stage: the engine as a process with a store that is always a little behind, on a machine with
//! clocks of its own. Messages come and go as bytes, through the same codecs as in earnest.

use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

use super::clock::Machine;
use super::happening::{What, Why};
use super::link::{Client, Parcel, Way};
use super::panel::Panel;
use super::stage::{Due, Stage};
use super::weaken::{Disguise, Weakness};
use crate::engine::{By, Engine, Event, Hand, HandOrder, HoldView, Presence, Settings, Snapshot};
use crate::house::{BoardId, House, SelectorId, SetpointId, State};
use crate::units::{BootTime, Span, WallTime};
use crate::wire::{ControllerLife, RelayOrder, Router, Word};

/// How long a write to the store takes, unless the script says otherwise.
const WRITE: Span = Span(20);

/// What a selector or a setpoint is set to.
#[derive(Clone, Debug, PartialEq)]
pub struct ModeNow {
    /// Its name.
    pub name: String,
    /// The position, or the value.
    pub value: String,
    /// When it was set, by the wall clock of then.
    pub began: WallTime,
}

/// What survives the process.
#[derive(Clone, Debug, Default)]
struct Store {
    /// The last snapshot, with the machine's count of starts. It becomes JSON, as in earnest, once it is read: writing each
    /// would take longer than all the rest of a trial.
    snapshot: Option<(Box<Snapshot>, u32)>,
    reserved: BTreeMap<String, u32>,
}

/// The process, its store and its machine.
#[derive(Debug)]
pub(super) struct Controller {
    pub machine: Machine,
    machine_starts: u32,
    store: Store,
    /// The house as the person wrote it.
    pub house: Arc<House>,
    settings: Settings,
    pub weakness: Option<Weakness>,
    /// How long a write to the store takes.
    pub write: Span,
    pub process: Option<Process>,
    /// Counts the lives of the process, so that a write of an earlier one is not taken for one of this.
    pub life: u32,
    wake: u64,
    /// Until then the process does not get to run.
    pub frozen_until: BootTime,
    pub frozen: VecDeque<Parcel>,
    pub records_steps: bool,
}

/// By relay: why it was last ordered as it was, and what was wanted.
type Whys = Vec<Option<(Why, State)>>;

/// What a crash takes.
#[derive(Debug)]
pub(super) struct Process {
    pub engine: Engine,
    pub router: Router,
    /// By place of a board, what the engine's house knows it as.
    boards: Vec<Option<BoardId>>,
    linked: bool,
    /// Writes under way.
    unsaved: u32,
    pub token: u64,
    /// By board: what the last orders said, and why.
    pub said: BTreeMap<usize, (Vec<RelayOrder>, Whys)>,
    /// By board: what it reported last.
    pub heard: BTreeMap<usize, Vec<bool>>,
    pub disguise: Disguise,
}

impl Controller {
    pub fn new(house: Arc<House>, machine: Machine, settings: Settings, weakness: Option<Weakness>) -> Controller {
        Controller {
            machine,
            machine_starts: 0,
            store: Store::default(),
            house,
            settings,
            weakness,
            write: WRITE,
            process: None,
            life: 0,
            wake: 0,
            frozen_until: BootTime(0),
            frozen: VecDeque::new(),
            records_steps: false,
        }
    }
}

impl Stage {
    /// The running engine; `None` while the controller is down.
    pub fn engine(&self) -> Option<&Engine> {
        self.controller.process.as_ref().map(|process| &process.engine)
    }

    /// The house as the person wrote it last.
    pub fn house(&self) -> &Arc<House> {
        &self.controller.house
    }

    /// The machine that the controller runs on.
    pub fn machine(&self) -> &Machine {
        &self.controller.machine
    }

    /// How long is waited at most after a start.
    pub fn settle(&self) -> Span {
        self.controller.settings.settle
    }

    /// Whether the controller's process does not get to run.
    pub fn is_frozen(&self) -> bool {
        self.controller.frozen_until > self.now()
    }

    /// What the running engine's house knows the board in a place as.
    pub fn running_board(&self, place: usize) -> Option<BoardId> {
        self.controller.process.as_ref()?.boards[place]
    }

    /// Whether the running engine takes the board in a place for present.
    pub fn is_present(&self, place: usize) -> bool {
        let engine = self.engine();
        engine.zip(self.running_board(place)).is_some_and(|(engine, board)| engine.presence(board) == Presence::Present)
    }

    /// The boards by place, as an engine's house knows them.
    fn boards_of(panels: &[Panel], house: &House) -> Vec<Option<BoardId>> {
        panels.iter().map(|panel| house.board_named(&panel.name)).collect()
    }

    /// The hold that the engine keeps on a load.
    pub fn hold_of(&self, load: &str) -> Option<HoldView> {
        let engine = self.engine()?;
        engine.explain(engine.house().load_named(load)?).hold
    }

    /// What the engine says that selectors and setpoints are set to; those that are as the file has them are left out.
    pub fn modes_set(&self) -> Vec<ModeNow> {
        let Some(engine) = self.engine() else { return Vec::new() };
        let house = engine.house();
        let selectors = (0..house.selectors.len() as u32).map(|number| engine.selector_view(SelectorId(number)));
        let selectors = selectors.filter_map(|view| {
            let began = view.set?.began;
            Some(ModeNow { name: view.selector, value: view.position, began })
        });
        let setpoints = (0..house.setpoints.len() as u32).map(|number| engine.setpoint_view(SetpointId(number)));
        let setpoints = setpoints.filter_map(|view| {
            let began = view.set?.began;
            Some(ModeNow { name: view.setpoint, value: view.value.to_string(), began })
        });
        selectors.chain(setpoints).collect()
    }

    /// Starts the controller from what is stored.
    pub fn start_controller(&mut self) {
        if self.controller.process.is_some() {
            return;
        }
        let now = self.now();
        let controller = &mut self.controller;
        let clocks = controller.machine.now(now);
        let weakness = controller.weakness;
        let settings = Weakness::settings(weakness, controller.settings);
        let house = Arc::new(Weakness::house(weakness, &controller.house));
        let stored = controller.store.snapshot.as_ref();
        let same_boot = stored.is_none_or(|(_, starts)| *starts == controller.machine_starts);
        let snapshot = stored.and_then(|(snapshot, _)| {
            let json = serde_json::to_string(snapshot).expect("a snapshot is maps with text keys, and numbers");
            serde_json::from_str::<Snapshot>(&json).ok()
        });
        let restored = snapshot.is_some();
        // Reservations are kept apart and may be there without a snapshot.
        let mut snapshot = snapshot.unwrap_or_else(|| Engine::new(house.clone(), settings, clocks).snapshot());
        for (board, through) in &controller.store.reserved {
            snapshot.reserve(board, *through);
        }
        let mut engine = Engine::restore(house.clone(), settings, clocks, snapshot, same_boot);
        // As the shell does, which waits for the disk before it tells the engine anything.
        if weakness != Some(Weakness::ReservationsForgotten) {
            controller.store.reserved.extend(engine.reserve());
        }
        let router = Router::new(engine.house(), self.prefix.clone());
        let boards = Stage::boards_of(&self.panels, engine.house());
        controller.life += 1;
        controller.process = Some(Process {
            engine,
            router,
            boards,
            linked: false,
            unsaved: 0,
            token: 0,
            said: BTreeMap::new(),
            heard: BTreeMap::new(),
            disguise: Disguise::default(),
        });
        let machine = &self.controller.machine;
        let ahead = machine.trusted().then(|| machine.error(now));
        self.see(What::Started { restored, same_boot, ahead });
        // What fell due while it was down is due now.
        self.tell(Event::Woken, 0);
        self.put(now + Span(50), Due::Connect(Client::Controller));
    }

    /// The controller ends without a word.
    pub fn crash_controller(&mut self) {
        let Some(process) = self.controller.process.take() else { return };
        self.controller.frozen.clear();
        self.controller.frozen_until = self.now();
        let ahead = self.controller.machine.error_of(process.engine.now());
        self.see(What::Stopped { unsaved: process.unsaved > 0, ahead });
        self.lose_wire(Client::Controller, Span(30), None);
    }

    /// The controller's machine loses power; its clocks go on as `clock` says once it starts again.
    pub fn restart_machine(&mut self, clock: impl FnOnce(&mut Machine, BootTime)) {
        self.crash_controller();
        let now = self.now();
        let controller = &mut self.controller;
        controller.machine_starts += 1;
        controller.machine.restart(now);
        clock(&mut controller.machine, now);
    }

    /// Sets how long a write to the store takes from now on.
    pub fn set_write_time(&mut self, write: Span) {
        self.controller.write = write;
    }

    /// The process does not get to run for so long.
    pub fn freeze_controller(&mut self, span: Span) {
        self.controller.frozen_until = self.now() + span;
        self.put(self.controller.frozen_until, Due::Thaw);
    }

    pub(super) fn thaw(&mut self) {
        if self.is_frozen() {
            return;
        }
        while let Some(parcel) = self.controller.frozen.pop_front() {
            self.controller_hears(parcel);
        }
        self.tell(Event::Woken, 0);
    }

    /// Something is done to the machine's clocks; the engine is told at once, as the kernel tells.
    pub fn set_clock(&mut self, clock: impl FnOnce(&mut Machine, BootTime)) {
        let now = self.now();
        clock(&mut self.controller.machine, now);
        if !self.is_frozen() {
            self.tell(Event::Woken, 0);
        }
    }

    /// A person gives an order on the command line.
    pub fn order(&mut self, order: HandOrder, by: By) -> Option<u64> {
        if self.is_frozen() {
            return None;
        }
        let process = self.controller.process.as_mut()?;
        process.token += 1;
        let token = process.token;
        let stamp = self.stamp();
        self.see(What::Asked { order: order.clone() });
        self.tell(Event::Hand(Hand { token, by, order }), stamp);
        Some(token)
    }

    /// The person's house is another now, and checked.
    pub fn reload(&mut self, house: House) {
        let now = self.controller.machine.now(self.now());
        let mut effects = Vec::new();
        // A house is taken at the time of a step, in which the one of before still decides.
        if let Some(process) = self.controller.process.as_mut() {
            process.engine.step(now, Event::Woken, &mut effects);
            self.carry_out(None, std::mem::take(&mut effects), 0);
        }
        self.controller.house = Arc::new(house);
        let house = Weakness::house(self.controller.weakness, &self.controller.house);
        let prefix = self.prefix.clone();
        let Some(process) = self.controller.process.as_mut() else { return };
        process.engine.reload(house, &mut effects);
        process.router = Router::new(process.engine.house(), prefix);
        process.boards = Stage::boards_of(&self.panels, process.engine.house());
        self.see(What::House { taken: true });
        self.carry_out(None, effects, 0);
        self.plan_wake();
    }

    pub(super) fn controller_linked(&mut self) {
        let Some(process) = self.controller.process.as_mut() else { return };
        process.linked = true;
        let birth = ControllerLife::Birth { version: Word::nearest("0.1.0"), revision: Word::nearest("stage") };
        let topic = self.topics.controller();
        self.publish(&topic, &birth.encode(), true);
        self.see(What::Linked { up: true });
        self.tell(Event::LinkUp, 0);
    }

    pub(super) fn controller_unlinked(&mut self) {
        if let Some(process) = self.controller.process.as_mut() {
            process.linked = false;
            self.see(What::Linked { up: false });
            self.tell(Event::LinkDown, 0);
        }
    }

    pub(super) fn will_of_controller(&self) -> Parcel {
        parcel(&self.topics.controller(), &ControllerLife::Death.encode(), true)
    }

    pub(super) fn publish(&mut self, topic: &str, payload: &str, retained: bool) {
        self.publish_with(topic, payload, retained, 1);
    }

    /// The same with another quality of service.
    pub(super) fn publish_with(&mut self, topic: &str, payload: &str, retained: bool, qos: u8) {
        if self.controller.process.as_ref().is_some_and(|process| process.linked) {
            self.send(Client::Controller, Way::Up, Parcel { qos, ..parcel(topic, payload, retained) });
        }
    }

    pub(super) fn save(&mut self) {
        let Some(process) = self.controller.process.as_mut() else { return };
        process.unsaved += 1;
        let snapshot = Box::new(process.engine.snapshot());
        let due = self.now() + self.controller.write;
        self.put(due, Due::Stored { life: self.controller.life, of: self.placed(), snapshot });
    }

    pub(super) fn stored(&mut self, life: u32, of: u64, snapshot: Box<Snapshot>) {
        let starts = self.controller.machine_starts;
        if life == self.controller.life
            && let Some(process) = self.controller.process.as_mut()
        {
            process.unsaved -= 1;
            if self.controller.weakness == Some(Weakness::SnapshotsForgotten) {
                return;
            }
            self.controller.store.snapshot = Some((snapshot, starts));
            self.see(What::Stored { of });
        }
    }

    pub(super) fn reserved(&mut self, life: u32, board: String, through: u32) {
        let controller = &mut self.controller;
        let forgets = controller.weakness == Some(Weakness::ReservationsForgotten);
        if life != controller.life || controller.process.is_none() || forgets {
            return;
        }
        controller.store.reserved.insert(board.clone(), through);
        // One that does not get to run is not told any more, and goes on as before.
        let board = self.engine().and_then(|engine| engine.house().board_named(&board)).filter(|_| !self.is_frozen());
        if let Some(board) = board {
            self.tell(Event::Reserved { board, through }, 0);
        }
    }

    /// Plans the next step that happens by itself.
    pub(super) fn plan_wake(&mut self) {
        let now = self.now();
        let controller = &mut self.controller;
        let Some(process) = &controller.process else { return };
        let deadline = process.engine.next_deadline();
        let boot = deadline.boot.map(|boot| controller.machine.when_boot(boot));
        let wall = deadline.wall.map(|wall| controller.machine.when_wall(now, wall));
        controller.wake += 1;
        let wake = controller.wake;
        if let Some(due) = [boot, wall].into_iter().flatten().min() {
            self.put(due.max(now), Due::Wake(wake));
        }
    }

    pub(super) fn wake(&mut self, wake: u64) {
        if wake == self.controller.wake && !self.is_frozen() {
            self.tell(Event::Woken, 0);
        }
    }
}

pub(super) fn parcel(topic: &str, payload: &str, retained: bool) -> Parcel {
    Parcel { topic: topic.into(), payload: payload.as_bytes().into(), retained, qos: 1, stamp: 0 }
}
