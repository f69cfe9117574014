//! What must survive a crash or a change of house, by name. It never holds an index, which another house would read wrongly.
//!
//! Restoring gives an engine that has not spoken to anybody yet: boards are unheard, loads settle again. Durations that
//! ran are moved onto the new boot's time as far as the clocks allow.

mod recall;

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::boards::BoardState;
use super::contact::DRIFT_DIVISOR;
use super::hold::{Hold, UNSTORED_MAX};
use super::inputs::PortState;
use super::modes::{Adjusted, Chosen};
use super::presence::lease_end;
use super::pulse::Timed;
use super::pulses::Pulsed;
use super::rotation::DutyMemory;
use super::rules::RuleState;
use super::sensors::SensorState;
use super::timers::Timer;
use super::travel::Travel;
use super::unrest::Count;
use super::{Alarm, Engine, Now, Settings};
use crate::condition::RiseMemory;
use crate::house::{Atom, AtomId, BoardId, Foreign, House, LoadId, RuleId, SensorId};
use crate::units::{BootTime, Moment, Span};
use crate::wire::Fallback;

/// The engine's memory. Its JSON form is what the store keeps.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Snapshot {
    /// When it was taken.
    taken: Now,
    pub(super) boards: BTreeMap<String, BoardState>,
    /// What each board was told to do once its lease has run out.
    #[serde(default)]
    pub(super) fallbacks: BTreeMap<String, Fallback>,
    /// The next order number of boards that the house does not name.
    #[serde(default)]
    pub(super) numbers: BTreeMap<String, u32>,
    /// How boards of other firmware were spoken to.
    #[serde(default)]
    pub(super) habits: BTreeMap<String, Foreign>,
    pub(super) loads: BTreeMap<String, LoadMemory>,
    #[serde(default)]
    travels: BTreeMap<String, Travel>,
    sensors: BTreeMap<String, SensorState>,
    /// By `board/name`.
    ports: BTreeMap<String, PortState>,
    /// What thresholds passed last, by owner and definition.
    thresholds: BTreeMap<String, bool>,
    /// What rises remember, likewise.
    #[serde(default)]
    rises: BTreeMap<String, RiseMemory>,
    rules: BTreeMap<String, RuleState>,
    /// Who does the job of each rotation.
    #[serde(default)]
    duties: BTreeMap<String, DutyMemory>,
    alarms: BTreeMap<String, Alarm>,
    /// What selectors were turned to.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    selectors: BTreeMap<String, Chosen<String>>,
    /// What setpoints were set to.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    setpoints: BTreeMap<String, Adjusted>,
}

/// What is kept of a load.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct LoadMemory {
    pub withdrawn: Option<String>,
    /// While it is withdrawn, the relays that it hangs on, `yard/3`: of a rotation, those of its loads.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub relays: Vec<String>,
    pub hold: Option<Hold>,
    #[serde(default)]
    pub pulsed: Pulsed,
}

impl Snapshot {
    /// Notes that order numbers up to `through` were reserved for a board, which the store knows apart.
    pub fn reserve(&mut self, board: &str, through: u32) {
        match self.boards.get_mut(board) {
            Some(state) => state.reserved = state.reserved.max(through),
            None => {
                let next = self.numbers.entry(board.to_owned()).or_default();
                *next = through.saturating_add(1).max(*next);
            }
        }
    }

    /// How much time passed since it was taken, as far as anything tells.
    fn elapsed(&self, now: Now, same_boot: bool) -> Option<Span> {
        if same_boot {
            Some(now.boot.since(self.taken.boot))
        } else if now.trusted && self.taken.trusted {
            Some(Span(now.wall.0.saturating_sub(self.taken.wall.0).max(0) as u64))
        } else {
            None
        }
    }

    /// Moves its times onto another boot's clock. What ended before that boot lies at its start.
    ///
    /// With nothing to tell how long the gap was, protections start in full and a hold keeps the time that it had left,
    /// less what may not have been stored of it. `lease` tells the lease of a board by name.
    fn move_to(&mut self, now: Now, elapsed: Option<Span>, lease: impl Fn(&str) -> Option<Span>) {
        let taken = self.taken.boot;
        let past_by = |gap: Option<Span>, age: Span| match gap {
            Some(gap) => Moment::before(now.boot, gap + age),
            None => now.boot.into(),
        };
        let past = |age: Span| past_by(elapsed, age);
        // A clock that is being set right by degrees runs fast meanwhile, and no protection is to end early for that.
        let surely_past = |age: Span| past_by(elapsed.map(|gap| gap.less(Span(gap.0 / DRIFT_DIVISOR))), age);
        let ahead = |at: BootTime| now.boot + at.since(taken).less(elapsed.unwrap_or(Span::ZERO));
        for (name, board) in &mut self.boards {
            board.heard_at = past(taken.since(board.heard_at)).after(Span::ZERO);
            board.obeyed_at = past(taken.since(board.obeyed_at)).after(Span::ZERO);
            // What still runs was renewed within its lease, and when last is not stored; nothing else bounds a gap that nobody
            // timed.
            let renewed = lease(name).map_or(Span::ZERO, |lease| lease_end(taken, lease).since(taken));
            let unseen = board.lease_bound.since(taken).max(renewed) + UNSTORED_MAX;
            if board.lease_bound > BootTime(0) {
                board.lease_bound = ahead(board.lease_bound);
            }
            board.restarts = Count::default();
            let ran = |since: Moment| Moment::before(now.boot, elapsed.unwrap_or(unseen) + since.age(taken));
            for contact in &mut board.contacts {
                contact.turns = Count::default();
                let unmoved = Moment::before(now.boot, contact.changed_latest.age(taken));
                contact.unmoved_since = elapsed.is_none().then_some(unmoved);
                contact.changed_latest = surely_past(contact.changed_latest.age(taken));
                contact.runs.move_times(ran, |at| surely_past(at.age(taken)));
                contact.proof.move_times(|at| past(at.age(taken)));
                contact.hours.move_times(|at| past(at.age(taken)));
                contact.timed = contact.timed.map(Timed::of_another_boot);
            }
        }
        for hold in self.loads.values_mut().filter_map(|load| load.hold.as_mut()) {
            let unstored = if elapsed.is_none() { UNSTORED_MAX } else { Span::ZERO };
            hold.boot_end = ahead(hold.boot_end).back(unstored).max(now.boot);
        }
        let selections = self.selectors.values_mut().filter_map(|chosen| chosen.end.as_mut());
        let adjustments = self.setpoints.values_mut().filter_map(|adjusted| adjusted.chosen.end.as_mut());
        for end in selections.chain(adjustments) {
            end.move_times(now.boot, elapsed.is_some(), ahead);
        }
        for sensor in self.sensors.values_mut() {
            sensor.move_times(|at| past(at.age(taken)), elapsed.is_some());
        }
        for rise in self.rises.values_mut() {
            let moved = |until: Moment| past(until.age(taken));
            rise.move_times(elapsed.is_some().then_some(&moved));
        }
        for rule in self.rules.values_mut() {
            rule.delay_end = rule.delay_end.map(ahead);
        }
        self.taken = now;
    }
}

impl Engine {
    /// Everything that must survive, by name.
    pub fn snapshot(&self) -> Snapshot {
        let house = &self.house;
        let boards = house.boards.iter().map(|board| board.name.clone());
        let sensors = house.sensors.iter().map(|sensor| sensor.name.clone());
        let rules = house.rules.iter().map(|rule| rule.name.clone());
        let loads = house.loads.iter().zip(&self.loads).filter_map(|(load, state)| {
            let (withdrawn, hold) = (state.withdrawn.clone(), state.hold.clone());
            let relays =
                withdrawn.iter().flat_map(|_| house.relays_of(load)).map(|relay| house.relay_name(relay)).collect();
            let memory = LoadMemory { withdrawn, relays, hold, pulsed: state.pulsed };
            (memory != LoadMemory::default()).then(|| (load.name.clone(), memory))
        });
        let rises = self.index.memories.iter().filter_map(|memory| {
            let Atom::Rise(rise) = house.atom(memory.atom) else { return None };
            let kept = self.atoms[memory.atom.index()].rise.kept(rise, self.now.boot);
            (kept != RiseMemory::default()).then(|| (self.memory_key(memory), kept))
        });
        let thresholds = self.index.memories.iter().filter_map(|memory| {
            let passed = self.atoms[memory.atom.index()].memory?;
            Some((self.memory_key(memory), passed))
        });
        let fallbacks = (0..house.boards.len()).map(|board| self.told_fallback(BoardId(board as u32)));
        Snapshot {
            taken: self.now,
            fallbacks: boards.clone().zip(fallbacks).collect(),
            habits: house.boards.iter().filter_map(|b| Some((b.name.clone(), b.foreign.clone()?))).collect(),
            numbers: self.numbers.clone(),
            boards: boards.zip(self.boards.iter().cloned().map(BoardState::unwatched)).collect(),
            loads: loads.collect(),
            travels: self.travel_memories(),
            sensors: sensors.zip(self.sensors.iter().cloned().map(SensorState::unwatched)).collect(),
            ports: self.index.port_names.iter().cloned().zip(self.ports.iter().cloned()).collect(),
            thresholds: thresholds.collect(),
            rises: rises.collect(),
            rules: rules.zip(self.rules.iter().cloned().map(RuleState::without_demand)).collect(),
            duties: self.remember_duties(),
            alarms: self.alarms.clone(),
            selectors: set_by_name(house.selectors.iter().map(|selector| &selector.name), &self.selectors),
            setpoints: set_by_name(house.setpoints.iter().map(|setpoint| &setpoint.name), &self.setpoints),
        }
    }

    /// An engine that goes on from a snapshot. `same_boot` says that the machine has not restarted since.
    ///
    /// Boards that the house does not name any more are kept as by a change of the house: see [`Engine::house`].
    pub fn restore(house: Arc<House>, settings: Settings, now: Now, mut snapshot: Snapshot, same_boot: bool) -> Engine {
        let elapsed = snapshot.elapsed(now, same_boot);
        if !same_boot {
            let lease = |board: &str| house.board_named(board).and_then(|board| house.board(board).lease);
            snapshot.move_to(now, elapsed, lease);
        }
        // Where nothing tells how long nobody looked, a rule that was true has nothing to keep on for.
        let unseen_since = match elapsed {
            Some(gap) => Moment::before(now.boot, gap),
            None => Moment(i64::MIN),
        };
        let mut kept = snapshot.boards_to_keep(&house);
        kept.extend(snapshot.readdress(&house));
        let house = if kept.is_empty() { house } else { Arc::new((*house).clone().with_boards(kept)) };
        let mut engine = Engine::new(house, settings, now);
        engine.knows_nothing = false;
        engine.recall(snapshot, false);
        // There is no link yet, so nothing comes of it but the text.
        engine.reword_trips(&mut Vec::new());
        engine.doubt_recalled_readings();
        engine.open_orphans();
        engine.rules.iter_mut().for_each(|rule| rule.unseen_since = Some(unseen_since));
        // Another such gap is bounded from here only, not together with this one.
        engine.save |= !same_boot;
        engine.boards.iter_mut().for_each(|board| board.untimed = elapsed.is_none());
        engine
    }

    /// Computes everything from what is known, as before a first step.
    pub(super) fn begin(&mut self) {
        for atom in (0..self.atoms.len()).map(|atom| AtomId(atom as u32)) {
            if self.house.atom(atom).asks_clock() {
                self.follow_clock(atom);
            } else {
                self.follow_atom(atom);
            }
        }
        self.touch_all();
    }

    /// The same once more at the same time, by what has come back since. What rests on the clock stays as it was.
    fn begin_again(&mut self) {
        for atom in (0..self.atoms.len()).map(|atom| AtomId(atom as u32)) {
            if !self.house.atom(atom).asks_clock() {
                self.follow_atom(atom);
            }
        }
        self.touch_all();
    }

    fn touch_all(&mut self) {
        self.part_from_replaced();
        self.dirty_rules.extend((0..self.rules.len()).map(|rule| RuleId(rule as u32)));
        self.dirty_loads.extend((0..self.loads.len()).map(|load| LoadId(load as u32)));
    }

    /// Lets every load wait for what its rules need, and every sensor be missed, counted from now.
    pub(super) fn start_settling(&mut self) {
        let house = self.house.clone();
        for (number, state) in self.sensors.iter().enumerate() {
            if state.value.is_none() {
                let due = self.now.boot + house.sensors[number].stale_after.max(self.settings.settle);
                self.boot_timers.set(Timer::Stale(SensorId(number as u32)), due);
            }
        }
        for load in 0..self.loads.len() {
            let by = self.now.boot + self.settling_time(LoadId(load as u32));
            self.loads[load].settle_by = Some(by);
        }
    }

    /// How long a load waits at most: `settle`, or less where all that it waits for are sensors that are missed sooner.
    fn settling_time(&self, load: LoadId) -> Span {
        let index = &self.index;
        let asks_others =
            !index.ports_of_load[load.index()].is_empty() || !index.watched_of_load[load.index()].is_empty();
        if index.asks_clock[load.index()] || asks_others {
            return self.settings.settle;
        }
        let keeps = index.sensors_of_load[load.index()].iter().map(|sensor| self.house.sensor(*sensor).stale_after);
        keeps.max().unwrap_or(Span::ZERO).min(self.settings.settle)
    }
}

/// What was set, by name.
fn set_by_name<'h, T: Clone>(names: impl Iterator<Item = &'h String>, set: &[Option<T>]) -> BTreeMap<String, T> {
    names.zip(set).filter_map(|(name, set)| Some((name.clone(), set.clone()?))).collect()
}
