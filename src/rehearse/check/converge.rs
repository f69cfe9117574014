//! I12: faults over and every sensor and board heard, within one lease plus running dwell, delays and stagger each load is
//! what its array says, and stays so. Relays that lost their load are open, but where a board that left the house falls back.
//! Where an actuator stands whose last run a crash took, and its board's reset with it, nobody can know.

mod forgotten;

use std::collections::{BTreeMap, BTreeSet};

use self::forgotten::Forgotten;
use super::super::happening::{Happening, Mover, What, Why};
use super::super::stage::Stage;
use super::bound::bound;
use super::delays::{self, Delays};
use super::gates::{self, Stand};
use super::ledger::spot_of;
use super::oracle::{Above, Told, wanted};
use super::{Scene, Tally};
use crate::engine::{Cause, Explanation, JournalEntry};
use crate::house::{Drive, House, Load, LoadId, Relay, Sensor, Source, State};
use crate::units::{BootTime, Span};

/// How long it may take at most until everything is heard again: a connection that nobody misses, a controller that does not
/// get to run.
const HEARD_WITHIN: Span = Span::from_min(6);

/// How often the arrays are asked.
const EVERY: Span = Span::from_s(10);

/// Watches over the quiet phase, and remembers from before what it needs.
#[derive(Debug, Default)]
pub struct Converge {
    told: Told,
    /// Loads that are withdrawn for certain, and those of which a crash may have taken the news.
    withdrawn: BTreeSet<String>,
    uncertain: BTreeSet<String>,
    /// A crash may have taken what was set with it.
    uncertain_modes: bool,
    linked: bool,
    /// Relays that a hand moved last.
    by_hand: BTreeSet<(usize, u8)>,
    /// Boards that were told a fallback while no house named them: by a broker that came back with what it had kept long
    /// ago, which nobody can put right.
    misled: BTreeSet<usize>,
    forgotten: Forgotten,
    /// Boards of which something came that was sent since the quiet began.
    heard: BTreeSet<usize>,
    /// Since the quiet began.
    read: BTreeSet<String>,
    quiet: Option<Quiet>,
}

#[derive(Debug)]
struct Quiet {
    began: BootTime,
    /// Messages that were late may come until then.
    not_before: BootTime,
    /// When everything had been heard.
    heard_at: Option<BootTime>,
    asked_at: BootTime,
    /// By load: what its array says, and since when.
    wanted: BTreeMap<String, (Option<State>, BootTime)>,
    delays: Delays,
    /// Loads that were not what their array says when they were looked at last.
    wrong: BTreeSet<String>,
}

impl Converge {
    /// Notes what happened.
    pub fn see(&mut self, seen: &Happening, scene: &Scene<'_>) {
        let stage = scene.stage;
        self.forgotten.see(seen, scene);
        match &seen.what {
            What::Read { sensor, value } => {
                if (0.0..=100.0).contains(value) {
                    self.told.readings.insert(sensor.clone(), *value);
                }
                self.read.insert(sensor.clone());
            }
            What::PortHeard { port, state } => {
                self.told.ports.insert(port.clone(), *state);
            }
            What::ReportHeard { board, boot, beat, .. } => {
                // What was sent before may have waited, and come over a connection that is dead by now.
                let sent = scene.ledger.beat(*board, *boot, *beat);
                if self.quiet.as_ref().zip(sent).is_some_and(|(quiet, (sent, _))| sent > quiet.began) {
                    self.heard.insert(*board);
                }
            }
            What::Contact { mover: Mover::Fault | Mover::Hand, .. } => {}
            What::Contact { board, relay, .. } => {
                self.by_hand.remove(&(*board, *relay));
            }
            What::Switched { board, relay } => {
                self.by_hand.insert((*board, *relay));
            }
            What::FallbackKept { board, .. } => {
                let is_named = stage.house().board_named(&stage.panels()[*board].name).is_some();
                if is_named {
                    self.misled.remove(board)
                } else {
                    self.misled.insert(*board)
                };
            }
            What::Linked { up } => self.linked = *up,
            What::Stopped { unsaved, .. } => {
                self.linked = false;
                if *unsaved {
                    self.uncertain_modes = true;
                    // Withdrawals and restorations under way may be lost, so the engine is believed from here on.
                    self.uncertain.extend(stage.house().loads.iter().map(|load| load.name.clone()));
                }
            }
            What::Set(set) => {
                self.told.modes.insert(set.name.clone(), set.value.clone());
            }
            What::Started { .. } => {
                if std::mem::take(&mut self.uncertain_modes) {
                    self.told.modes = stage.modes_set().into_iter().map(|set| (set.name, set.value)).collect();
                }
                self.forget_gone(stage);
            }
            What::Journal(row) => match &row.entry {
                JournalEntry::SelectorReturned { selector: name, .. }
                | JournalEntry::SetpointReturned { setpoint: name, .. } => {
                    self.told.modes.remove(name);
                }
                JournalEntry::Withdrawn { load, .. } => {
                    self.withdrawn.insert(load.clone());
                    self.uncertain.remove(load);
                }
                JournalEntry::Restored { load, .. } => {
                    self.withdrawn.remove(load);
                    self.uncertain.remove(load);
                }
                _ => {}
            },
            What::House { taken: true } => self.forget_gone(stage),
            _ => {}
        }
    }

    /// The quiet begins; messages that are late may come for `late_max`.
    pub fn begin(&mut self, now: BootTime, late_max: Span) {
        self.read.clear();
        let not_before = now + late_max + Span::from_s(5);
        self.quiet = Some(Quiet {
            began: now,
            not_before,
            heard_at: None,
            asked_at: BootTime(0),
            wanted: BTreeMap::new(),
            delays: Delays::default(),
            wrong: BTreeSet::new(),
        });
    }

    /// When the quiet has been looked at long enough; `None` before everything has been heard.
    pub fn ends(&self, stage: &Stage) -> Option<BootTime> {
        let heard_at = self.quiet.as_ref()?.heard_at?;
        Some(heard_at + bound(stage) + Span::from_min(2))
    }

    /// Judges what has come to be up to now.
    ///
    /// # Errors
    /// What is broken, in words.
    pub fn time_passes(&mut self, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        let stage = scene.stage;
        let now = stage.now();
        let all_heard =
            self.quiet.as_ref().is_some_and(|quiet| quiet.heard_at.is_none()) && self.missing(stage).next().is_none();
        let Some(quiet) = &mut self.quiet else { return Ok(()) };
        let Some(heard_at) = quiet.heard_at else {
            if all_heard && now >= quiet.not_before {
                quiet.heard_at = Some(now);
            } else if now > quiet.not_before.max(quiet.began + HEARD_WITHIN) {
                let missing: Vec<String> = self.missing(stage).collect();
                return Err(format!("not heard again within {HEARD_WITHIN}: {}", missing.join(", ")));
            }
            return Ok(());
        };
        if now < quiet.asked_at + EVERY {
            return Ok(());
        }
        quiet.asked_at = now;
        self.judge(scene, now >= heard_at + bound(stage), tally)
    }

    /// What has not been heard yet since the quiet began.
    fn missing<'a>(&'a self, stage: &'a Stage) -> impl Iterator<Item = String> + 'a {
        let house = stage.house();
        let is_heard = |board: &str| stage.place(board).is_none_or(|place| self.heard.contains(&place));
        let boards = house.boards.iter().filter(move |board| !is_heard(&board.name));
        let boards = boards.map(|board| format!("board {}", board.name));
        let measured = |sensor: &&Sensor| !matches!(sensor.source, Source::Derived(_));
        let sensors = house.sensors.iter().filter(measured).filter(|sensor| !self.read.contains(&sensor.name));
        let sensors = sensors.map(|sensor| format!("sensor {}", sensor.name));
        let link = (!self.linked).then(|| "the controller's link".to_owned());
        boards.chain(sensors).chain(link)
    }

    /// A load that is taken out of the house takes its withdrawal with it.
    fn forget_gone(&mut self, stage: &Stage) {
        let house = stage.house();
        self.withdrawn.retain(|load| house.load_named(load).is_some());
    }

    fn judge(&mut self, scene: &Scene<'_>, is_due: bool, tally: &mut Tally) -> Result<(), String> {
        let stage = scene.stage;
        let now = stage.now();
        let house = stage.house().clone();
        let Some(engine) = stage.engine() else {
            return Err("the controller is down though faults are over".to_owned());
        };
        let stands = self.stands(scene)?;
        let Some(quiet) = &mut self.quiet else { return Ok(()) };
        let delayed = quiet.delays.note(&house, &stands, now);
        for (number, stand) in stands.iter().enumerate() {
            let load = &house.loads[number];
            let says = stand.says.map(|(state, _)| state);
            let entry = quiet.wanted.entry(load.name.clone()).or_insert((says, now));
            if entry.0 != says {
                *entry = (says, now);
            }
            let (Some(says), since) = *entry else { continue };
            // A window that opened or a hold that ended a moment ago leaves its own time for delays and dwell.
            let Some(is) = stand.is.filter(|_| is_due && now >= since + bound(stage)) else { continue };
            tally.count(match (stand.spot, load.drive) {
                (Some(_), _) => "loads that are what their array says",
                (None, Drive::Actuator(_)) => "actuators that stand where their array says",
                (None, _) => "loads on boards of other firmware that are what their array says",
            });
            if stand.is_held {
                tally.count("loads that are what their hold says");
            }
            if self.forgotten.holds(&load.name) {
                tally.count("I12 excused by a run that a crash and a reset took");
                continue;
            }
            if is == says {
                quiet.wrong.remove(&load.name);
                continue;
            }
            let held_back = |stands: &[Stand]| gates::held_back(scene, stands, LoadId(number as u32));
            let excuse = held_back(&stands).or_else(|| {
                held_back(&delays::beside(&stands, &delayed, number)).map(|_| "the delay of a rule of another")
            });
            let excuse = excuse.or_else(|| {
                let earlier = delays::earlier(&stands, &delayed, number)?;
                held_back(&earlier).map(|_| "the delay of a stronger rule of its own")
            });
            if let Some(excuse) = excuse {
                tally.count(&format!("I12 excused by {excuse}"));
                quiet.wrong.remove(&load.name);
                continue;
            }
            // Orders may be on their way.
            if quiet.wrong.insert(load.name.clone()) {
                continue;
            }
            let id = engine.house().load_named(&load.name).unwrap_or(LoadId(0));
            let sentence = engine.account(id);
            return Err(format!(
                "load {:?} is {is} and its array has said {says} for {}; the engine says: {sentence}",
                load.name,
                now.since(since)
            ));
        }
        if is_due { self.judge_orphans(scene, &house, tally) } else { Ok(()) }
    }

    /// Where each load of the house stands.
    fn stands(&self, scene: &Scene<'_>) -> Result<Vec<Stand>, String> {
        let stage = scene.stage;
        let house = stage.house();
        let Some(engine) = stage.engine() else { return Ok(Vec::new()) };
        let running = engine.house();
        let stand = |(number, load): (usize, &crate::house::Load)| {
            let Some(id) = running.load_named(&load.name) else {
                return Err(format!("the engine does not know load {:?} of the house", load.name));
            };
            let explained = engine.explain(id);
            let above = Above {
                withdrawn: self.is_withdrawn(&load.name, &explained.cause),
                hold: explained.hold.as_ref().map(|hold| hold.state),
                latched: latched(&explained),
            };
            let says = wanted(house, LoadId(number as u32), &above, &self.told, stage.machine().now(stage.now()));
            let spot = spot_of(stage, house, load);
            // Which of a rotation does its job its array alone does not say, and what an actuator moves stays where it is while
            // it is withdrawn.
            let is_driven = matches!(load.drive, Drive::Actuator(_));
            let says = says.filter(|_| !(is_driven && above.withdrawn));
            let says = says.filter(|_| !house.rotations.iter().any(|one| one.loads.contains(&LoadId(number as u32))));
            // What a pulsed load is no contact shows.
            let is = spot
                .filter(|_| load.pulse.is_none())
                .map(|spot| load.state(stage.panels()[spot.0].is_closed(spot.1)))
                .or_else(|| elsewhere(stage, house, load));
            Ok(Stand { says, is, spot, why: Why::of(&explained.cause), is_held: above.hold.is_some() })
        };
        house.loads.iter().enumerate().map(stand).collect()
    }

    /// Relays that lost their load are open, unless a hand closed them.
    fn judge_orphans(&self, scene: &Scene<'_>, house: &House, tally: &mut Tally) -> Result<(), String> {
        for (place, panel) in scene.stage.panels().iter().enumerate() {
            let board = house.board_named(&panel.name);
            if self.misled.contains(&place) {
                continue;
            }
            for relay in 1..=panel.board().setup().relays {
                let is_it = |own: Relay| Some(own.board) == board && own.number == relay;
                let has_load = house.loads.iter().any(|load| house.relays_of(load).into_iter().any(is_it));
                // A board that the house has no more goes on by its fallback, which may leave things as they were ordered.
                let last = scene.ledger.contact((place, relay)).changed();
                let falls_back = last.is_some_and(|last| !matches!(last.mover, Mover::Orders(_)));
                let keeps = panel.board().flash().fallback.as_ref();
                let word = keeps.and_then(|keeps| keeps.relays.get(usize::from(relay) - 1)).map(|relay| relay.word);
                let stays = word.is_some_and(|word| word.energised() != Some(false));
                let is_alone = board.is_none() && (falls_back || stays);
                if has_load || is_alone || self.by_hand.contains(&(place, relay)) {
                    continue;
                }
                tally.count("relays without a load that are open");
                if panel.is_closed(relay) {
                    return Err(format!("relay {relay} of b{place} has no load and is closed"));
                }
            }
        }
        Ok(())
    }

    fn is_withdrawn(&self, load: &str, cause: &Cause) -> bool {
        if self.uncertain.contains(load) {
            matches!(cause, Cause::Withdrawn { .. })
        } else {
            self.withdrawn.contains(load)
        }
    }
}

/// What a load is that hangs on no relay of a board of the contract alone: on one of other firmware, or what an actuator moves.
fn elsewhere(stage: &Stage, house: &House, load: &Load) -> Option<State> {
    if let Some(stroke) = stage.strokes().iter().find(|stroke| stroke.actuator() == load.name) {
        // What broke in the middle of a run, or moved by itself, no board can tell of.
        return stroke.stands().filter(|_| !stroke.is_doubtful());
    }
    let relay = load.relay()?;
    let appliance = stage.appliances().iter().find(|one| one.name() == house.board(relay.board).name)?;
    Some(load.state(appliance.is_closed(relay.number)))
}

/// The safety trips of a load that have latched, by the engine's own words; whether it may say so is judged elsewhere.
fn latched(explained: &Explanation) -> BTreeSet<String> {
    let cause = match &explained.cause {
        Cause::Rule(rule) => Some(rule),
        _ => None,
    };
    cause.into_iter().chain(&explained.others).filter(|rule| rule.latched).map(|rule| rule.rule.clone()).collect()
}
