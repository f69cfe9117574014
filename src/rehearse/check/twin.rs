//! I8: same events, same effects, bit for bit; seen on a copy of the engine that is told the same. And I9 in part: the same
//! house taken again changes nothing; seen on a copy that takes it and then is told the same.

use std::collections::{BTreeMap, BTreeSet};

use super::super::happening::{Happening, Step, What, Why};
use super::{Checker, Scene, Tally};
use crate::engine::{Cause, Effect, Engine, Event, Explanation, JournalEntry, JournalRow, MEMORY_ALARM, Obstacle};
use crate::house::{BoardId, House, Load, LoadId, Relay, State, alarm_about};
use crate::wire::RelayOrder;

/// How many steps a copy follows before another takes its place.
const STEPS: u32 = 300;

/// Orders that only one of two engines sent.
#[derive(Clone, Copy, Debug)]
struct Extra {
    /// The number of those before, which both sent. A block of numbers may have begun since.
    before: u32,
    /// Their number: from here on that one is ahead by one.
    number: u32,
    /// From these on it is ahead no longer, since both began the same new block of numbers.
    met: Option<u32>,
}

/// Runs copies of the engine beside it.
#[derive(Debug, Default)]
pub struct Twins {
    copy: Option<Engine>,
    reloaded: Option<Engine>,
    /// By board: the orders that only the copy with the house taken again sent.
    extra: BTreeMap<BoardId, Extra>,
    /// By board: the number of the last orders that the engine sent.
    sent: BTreeMap<BoardId, u32>,
    /// The last word for each relay, of that copy and of the engine.
    mine: BTreeMap<Relay, bool>,
    theirs: BTreeMap<Relay, bool>,
    /// Relays that only one of the two let wait for others: from then on their times differ.
    shifted: BTreeSet<Relay>,
    followed: u32,
    broken: &'static str,
}

impl Checker for Twins {
    fn id(&self) -> &'static str {
        if self.broken.is_empty() { "I8" } else { self.broken }
    }

    fn time_passes(&mut self, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        if !scene.stage.records_steps() {
            (self.copy, self.reloaded) = (None, None);
        }
        if self.copy.is_some() || !scene.stage.records_steps() {
            return Ok(());
        }
        let Some(engine) = scene.stage.engine() else { return Ok(()) };
        // What is due comes first, as it would if it were not just being started.
        if engine.next_deadline().boot.is_some_and(|due| due <= engine.now().boot) {
            return Ok(());
        }
        let mut reloaded = engine.clone();
        let mut effects = Vec::new();
        reloaded.reload((**engine.house()).clone(), &mut effects);
        let sent = effects.iter().filter_map(number_of);
        let extra = |(board, number): (BoardId, u32)| {
            let before = self.sent.get(&board).copied().unwrap_or(number - 1);
            (board, Extra { before, number, met: None })
        };
        self.extra = sent.map(extra).collect();
        (self.mine, self.theirs, self.shifted) = Default::default();
        note_words(&mut self.mine, &effects, engine.house());
        tally.count("copies of the engine");
        (self.copy, self.reloaded, self.followed) = (Some(engine.clone()), Some(reloaded), 0);
        Ok(())
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            What::Sent { board, orders, .. } => {
                self.sent.extend(scene.stage.running_board(*board).map(|board| (board, orders.number)));
                Ok(())
            }
            What::Step(step) => self.follow(step, tally),
            What::House { .. } | What::Stopped { .. } | What::Started { .. } => {
                (self.copy, self.reloaded) = (None, None);
                // One that was refused changes nothing of what was said before.
                if !matches!(seen.what, What::House { taken: false }) {
                    self.sent.clear();
                }
                Ok(())
            }
            _ => Ok(()),
        }
    }
}

impl Twins {
    fn follow(&mut self, step: &Step, tally: &mut Tally) -> Result<(), String> {
        let Some(event) = &step.event else { return Ok(()) };
        let (Some(copy), Some(reloaded)) = (&mut self.copy, &mut self.reloaded) else { return Ok(()) };
        let engines = [&*copy, &*reloaded];
        let waiting = if matches!(event, Event::Input { .. }) { waiting(engines) } else { Vec::new() };
        let mut effects = Vec::new();
        copy.step(step.now, event.clone(), &mut effects);
        if effects != step.effects {
            let difference = effects.iter().zip(&step.effects).find(|(mine, theirs)| mine != theirs);
            return Err(format!("a copy of the engine, told the same, wants something else: {difference:?}"));
        }
        tally.count("steps taken alike");
        let mut effects = Vec::new();
        reloaded.step(step.now, as_told(event, &self.extra), &mut effects);
        // A toggle asks for the opposite of what is wanted now, be it that one of the two waits.
        if waiting.iter().any(|load| hold_of(load, &effects) != hold_of(load, &step.effects)) {
            tally.count("copies of which a toggle finds one waiting");
            (self.copy, self.reloaded) = (None, None);
            return Ok(());
        }
        // It may be told of more orders than it sent, which is an alarm of its own.
        let doubts = |engine: &Engine| engine.alarms().contains_key(MEMORY_ALARM);
        if doubts(copy) != doubts(reloaded) {
            (self.copy, self.reloaded) = (None, None);
            return Ok(());
        }
        if one_is_disobeyed(copy, reloaded) {
            tally.count("copies of which one is disobeyed by what waits in the other");
            (self.copy, self.reloaded) = (None, None);
            return Ok(());
        }
        note_meetings(&mut self.extra, &effects, &step.effects);
        let house = copy.house();
        note_words(&mut self.mine, &effects, house);
        note_words(&mut self.theirs, &step.effects, house);
        // What is under way keeps a relay without a word, and the copy has sent orders of its own: only words that
        // contradict each other count.
        let engines = [&*copy, &*reloaded];
        let others =
            self.mine.iter().filter(|(relay, word)| self.theirs.get(relay).is_some_and(|other| other != *word));
        let mut differs = None;
        let mut waiting = Vec::new();
        for (relay, word) in others {
            if engines.iter().any(|engine| waits_for_others(engine, *relay)) {
                waiting.push(*relay);
            } else if !(self.shifted.contains(relay) && engines.iter().any(|engine| counts_its_time(engine, *relay))) {
                differs = differs.or(Some((relay, word)));
            }
        }
        if let Some((relay, word)) = differs {
            self.broken = "I9";
            return Err(format!(
                "after the same house was taken again, {event:?} leads to {word:?} for {relay:?} instead of {:?}: {}",
                self.theirs.get(relay),
                differences(reloaded, copy)
            ));
        }
        for relay in waiting {
            self.shifted.insert(relay);
            // A board that is lost meanwhile is ordered nothing, and what was said while they waited stays the last word.
            self.mine.remove(&relay);
            self.theirs.remove(&relay);
        }
        self.followed += 1;
        if self.followed >= STEPS {
            (self.copy, self.reloaded) = (None, None);
        }
        Ok(())
    }
}

/// Whether a relay's load waits for what other loads, or its own orders under way, may still do: the copy has more of those.
fn waits_for_others(engine: &Engine, relay: Relay) -> bool {
    let gated = [Why::Circuit, Why::Interlock, Why::InterlockShown, Why::Stagger, Why::MaxStarts];
    let rests_once_they_are_taken = |one: &Explanation| one.cause == Cause::MaxOn { left: None };
    explained(engine, relay).is_some_and(|one| {
        let is_gated = gated.contains(&Why::of(&one.cause)) || one.obstacle == Some(Obstacle::Turn);
        // A pulse goes out once nothing is under way to its relay.
        let owes_a_pulse = is_pulsed(engine, relay) && one.known != Some(one.wanted);
        is_gated || rests_once_they_are_taken(&one) || owes_a_pulse
    })
}

/// The loads that wait in one of two engines.
fn waiting(engines: [&Engine; 2]) -> Vec<String> {
    let loads = &engines[0].house().loads;
    let waits =
        |load: &&Load| load.relay().is_some_and(|relay| engines.iter().any(|engine| waits_for_others(engine, relay)));
    loads.iter().filter(waits).map(|load| load.name.clone()).collect()
}

/// Whether an alarm about a load stands in one of two engines alone, in one of which it waits: rules may rest upon alarms.
fn one_is_disobeyed(one: &Engine, other: &Engine) -> bool {
    if one.alarms().keys().eq(other.alarms().keys()) {
        return false;
    }
    let waiting = waiting([one, other]);
    let ids = one.alarms().keys().chain(other.alarms().keys());
    let mut differing = ids.filter(|id| one.alarms().contains_key(*id) != other.alarms().contains_key(*id));
    differing.any(|id| alarm_about(id).is_some_and(|(_, name)| waiting.iter().any(|load| load == name)))
}

/// What a load is held in by what a step brought.
fn hold_of(load: &str, effects: &[Effect]) -> Option<State> {
    effects.iter().rev().find_map(|effect| match effect {
        Effect::Record(JournalRow { entry: JournalEntry::Held { load: held, state, .. }, .. }) if held == load => {
            Some(*state)
        }
        _ => None,
    })
}

/// Whether what decides a relay's load counts from when its contact changed, or went out once.
fn counts_its_time(engine: &Engine, relay: Relay) -> bool {
    let why = explained(engine, relay).map(|one| Why::of(&one.cause));
    matches!(why, Some(Why::Dwell | Why::MaxOn | Why::MaxStarts)) || is_pulsed(engine, relay)
}

fn is_pulsed(engine: &Engine, relay: Relay) -> bool {
    engine.house().loads.iter().any(|load| load.relay() == Some(relay) && load.pulse.is_some())
}

fn explained(engine: &Engine, relay: Relay) -> Option<Explanation> {
    let load = engine.house().loads.iter().position(|load| load.relay() == Some(relay))?;
    Some(engine.explain(LoadId(load as u32)))
}

/// What the two say of loads that they treat differently.
fn differences(one: &Engine, other: &Engine) -> String {
    let loads =
        (0..other.house().loads.len() as u32).map(|load| (one.account(LoadId(load)), other.account(LoadId(load))));
    let different = loads.filter(|(one, other)| one != other);
    different.map(|(one, other)| format!("{one} / {other}")).collect::<Vec<String>>().join("; ")
}

/// The event as it is for a copy that sent orders of which the boards never heard: as if they had been taken with those
/// before.
fn as_told(event: &Event, extra: &BTreeMap<BoardId, Extra>) -> Event {
    match event {
        Event::Report { board, report } => {
            let mut report = report.clone();
            let is_ahead =
                |extra: &&Extra| report.taken >= extra.before && extra.met.is_none_or(|met| report.taken < met);
            if let Some(extra) = extra.get(board).filter(is_ahead) {
                report.taken = (report.taken + 1).max(extra.number);
            }
            Event::Report { board: *board, report }
        }
        event => event.clone(),
    }
}

/// The number of orders that are sent.
fn number_of(effect: &Effect) -> Option<(BoardId, u32)> {
    match effect {
        Effect::SendOrders { board, orders } => Some((*board, orders.number)),
        _ => None,
    }
}

/// Notes where the last orders of the same step bear the same number.
fn note_meetings(extra: &mut BTreeMap<BoardId, Extra>, mine: &[Effect], theirs: &[Effect]) {
    let last = |effects: &[Effect]| effects.iter().filter_map(number_of).collect::<BTreeMap<BoardId, u32>>();
    let theirs = last(theirs);
    for (board, number) in last(mine) {
        if let Some(extra) = extra.get_mut(&board).filter(|_| theirs.get(&board) == Some(&number)) {
            extra.met.get_or_insert(number);
        }
    }
}

/// Notes the words that a step has for relays with a load, and forgets those of relays that it has none for. A relay without
/// a load that may be energised is opened once more when a house is taken.
fn note_words(words: &mut BTreeMap<Relay, bool>, effects: &[Effect], house: &House) {
    for effect in effects {
        let Effect::SendOrders { board, orders } = effect else { continue };
        for (number, order) in (1..).zip(&orders.relays) {
            let relay = Relay { board: *board, number };
            match order {
                RelayOrder::None => words.remove(&relay),
                _ if !house.loads.iter().any(|load| load.relay() == Some(relay)) => None,
                order => words.insert(relay, *order != RelayOrder::Off),
            };
        }
    }
}
