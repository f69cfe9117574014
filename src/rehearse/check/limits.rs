//! I3: no load is on longer than max on + 1 s, except by slot 2, a lost board until its lease ends, fallback, hands at the
//! board, a weld. With it what makes max on worth having: after a run that it ended the load is off for its rest, and it
//! starts no more often than max starts says.
//!
//! A board that orders do not reach is as good as lost; so the order to open must go out in time, and no lease may be renewed
//! after it. What a hand or a fallback switched on counts from when the controller was told, and so does what orders switched on
//! that a crash took from the controller's memory. Let be is what the controller lost sight of: runs and starts of before a
//! crash that took what was not stored, of before a clock that was stepped while the machine was off, and of before a late
//! report of an earlier boot, which passes for a restart, or of a backlog that insists as another board does while the board is
//! lost; starts that no report told of before the board was exchanged for one in a boot of the same number, and starts of that one
//! by orders for the one before. Slot 2 goes on behind an interlock that keeps
//! from ordering anew what was ordered by it last.

mod sight;

use std::collections::BTreeMap;

use self::sight::{Lost, Sight};
use super::super::happening::{Charge, Happening, Mover, What, Why};
use super::known::Known;
use super::ledger::{Change, Sent, Spot, spot_of};
use super::{Checker, Scene, Tally};
use crate::board::RelayFault;
use crate::house::{LoadId, State};
use crate::units::{BootTime, Span};
use crate::wire::RelayOrder;

/// How late an opening may be.
const SLACK: Span = Span::from_s(1);

/// What a load's limits are: the relay, max on, rest, max starts.
type Limits = (String, Spot, Option<Span>, Span, Option<(u32, Span)>);

/// Orders that a relay took.
#[derive(Clone, Copy, Debug)]
struct Taken {
    sent: BootTime,
    word: RelayOrder,
    by_trip: bool,
}

/// Orders closed a contact.
#[derive(Clone, Copy, Debug)]
struct Start {
    at: BootTime,
    place: u64,
    /// The controller knows of them; otherwise a crash took them while they were under way.
    is_known: bool,
}

/// Watches how long loads run and how often they start.
#[derive(Debug, Default)]
pub struct RunLimits {
    known: Known<Limits>,
    /// When the controller was first told of a run that it had not ordered.
    told: BTreeMap<Spot, (u64, BootTime)>,
    /// By relay: the orders that it took last.
    taken: BTreeMap<Spot, Taken>,
    /// When a safety trip demanded that it be on, last.
    tripped: BTreeMap<Spot, BootTime>,
    /// By board, since when orders can be sent to it.
    able: Vec<Option<BootTime>>,
    linked: bool,
    /// By relay: the last run of which max on was the end, by its load.
    cuts: BTreeMap<Spot, (String, Change)>,
    /// By load, when orders closed its contact.
    starts: BTreeMap<String, Vec<Start>>,
    /// By relay, the place of its last change that no orders made.
    unordered: BTreeMap<Spot, u64>,
    /// The last time at which the controller lost sight of all that was before.
    forgot: u64,
    sight: Sight,
}

impl Checker for RunLimits {
    fn id(&self) -> &'static str {
        "I3"
    }

    fn time_passes(&mut self, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        self.follow_boards(scene);
        let now = scene.stage.now();
        let known = std::mem::take(&mut self.known);
        let verdict = known.iter().try_for_each(|((load, spot, max_on, ..), (since, _))| {
            let Some(max_on) = *max_on else { return Ok(()) };
            let track = scene.ledger.contact(*spot);
            let Some(closing) = track.closing.filter(|_| track.closed) else { return Ok(()) };
            // Whoever else closed it: when the controller was told is to be noted.
            let is_due = now > closing.at + max_on + SLACK || !self.sight.is_its_own(*spot, closing, scene);
            if !is_due {
                return Ok(());
            }
            let is_late = self.judge_run(load, *spot, closing, max_on, *since, scene, tally);
            is_late.map_or(Ok(()), |how| {
                let ran = now.since(closing.at);
                Err(format!("load {load:?} has been on for {ran}, its max on is {max_on}, {how}"))
            })
        });
        self.known = known;
        verdict
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        self.known.follow(seen, || limits(scene));
        match self.sight.follow(seen, scene, tally) {
            Some(Lost::All) => self.forget(seen),
            Some(Lost::Unsaved(stored)) => {
                self.told.retain(|spot, (closing, _)| scene.ledger.knew(spot.0, *closing, stored + 1));
                self.forget(seen);
            }
            Some(Lost::Board(board)) => self.forget_board(board),
            None => {}
        }
        match &seen.what {
            What::Linked { up } => self.linked = *up,
            What::Stopped { .. } => self.linked = false,
            What::Obeyed { board, orders, .. } => {
                let Some(sent) = scene.ledger.orders(*board, orders.number) else { return Ok(()) };
                let words = (1..).zip(orders.relays.iter().zip(&sent.charges));
                for (number, (word, charge)) in words.filter(|(_, (word, _))| **word != RelayOrder::None) {
                    let by_trip = charge.as_ref().is_some_and(|charge| charge.why == Why::Trip);
                    self.taken.insert((*board, number), Taken { sent: sent.at, word: *word, by_trip });
                }
            }
            What::BoardUp { board, boot, .. } => self.forget_untold_starts(seen, *board, *boot, scene),
            What::RelayFault { board, relay, .. } => {
                self.unordered.insert((*board, *relay), seen.place);
            }
            What::Contact { board, relay, energised, mover } if !matches!(mover, Mover::Orders(_)) => {
                if !energised {
                    self.cuts.remove(&(*board, *relay));
                }
                self.forget_unseen_start(seen, (*board, *relay), *energised, scene);
                self.unordered.insert((*board, *relay), seen.place);
            }
            What::Contact { board, relay, energised, mover: Mover::Orders(number) } => {
                if !energised {
                    self.note_cut(seen, (*board, *relay), *number, scene);
                }
                let Some(sent) = scene.ledger.orders(*board, *number) else { return Ok(()) };
                let Some(Some(charge)) = sent.charges.get(usize::from(*relay) - 1) else { return Ok(()) };
                if charge.state(*energised) == State::Off {
                    return Ok(());
                }
                return self.judge_start(seen, (*board, *relay), sent, charge, scene, tally);
            }
            _ => {}
        }
        Ok(())
    }
}

impl RunLimits {
    fn follow_boards(&mut self, scene: &Scene<'_>) {
        let stage = scene.stage;
        let can_send = self.linked && !stage.is_frozen();
        self.able.resize(stage.panels().len(), None);
        for (place, able) in self.able.iter_mut().enumerate() {
            // One that was exchanged is ordered nothing that it takes until the controller has found out.
            let is_able = can_send && stage.is_present(place) && !scene.ledger.is_strange(place);
            *able = is_able.then(|| able.unwrap_or(stage.now()));
        }
    }

    /// What is wrong with a run that has lasted too long.
    #[expect(clippy::too_many_arguments, reason = "one run, and where it is looked at")]
    fn judge_run(
        &mut self,
        load: &str,
        spot: Spot,
        closing: Change,
        max_on: Span,
        since: BootTime,
        scene: &Scene<'_>,
        tally: &mut Tally,
    ) -> Option<String> {
        let now = scene.stage.now();
        let mut end = (closing.at + max_on).max(since);
        if !self.sight.is_its_own(spot, closing, scene) {
            if self.told.get(&spot).is_none_or(|(place, _)| *place != closing.place) {
                let goes_by_it = scene.stage.engine().is_some() && scene.ledger.heard(spot) == Some(true);
                let is_heard = scene.ledger.heard_before(spot.0, now + Span(1)) >= scene.ledger.started();
                if !goes_by_it || !is_heard || !scene.ledger.knew(spot.0, closing.place, u64::MAX) {
                    return None;
                }
                self.told.insert(spot, (closing.place, now));
            }
            // Nothing says how long a report was under way.
            end = end.max(self.told[&spot].1 + max_on);
        }
        if now <= end + SLACK {
            return None;
        }
        if closing.place < scene.ledger.misled() {
            tally.count("I3 excused by a clock that was stepped while the machine was off");
            return None;
        }
        if scene.ledger.contact(spot).fault == Some(RelayFault::Welded) {
            tally.count("I3 excused by a weld");
            return None;
        }
        if is_by_trip(load, spot, scene) {
            tally.count("I3 excused by slot 2");
            self.tripped.insert(spot, now);
            return None;
        }
        end = end.max(self.tripped.get(&spot).copied().unwrap_or_default());
        let taken = self.taken.get(&spot).filter(|taken| taken.word == RelayOrder::On && taken.sent > end + SLACK);
        match taken {
            // It is over by now, and what it ordered came late.
            Some(taken) if taken.by_trip => {
                tally.count("I3 excused by slot 2");
                return None;
            }
            Some(taken) => return Some(format!("and it took orders to be on that were sent at {}", taken.sent.0)),
            None => {}
        }
        tally.count("I3 excused by a lost board");
        let able = self.able[spot.0]?;
        let last = scene.ledger.last_orders(spot.0)?.orders.relays.get(usize::from(spot.1) - 1)?;
        (now > end.max(able) + SLACK && *last == RelayOrder::On).then(|| "and it is still ordered to be on".to_owned())
    }

    /// Notes whether max on ended a run. Orders that were sent before the controller knew of the run were about another one.
    fn note_cut(&mut self, seen: &Happening, spot: Spot, number: u32, scene: &Scene<'_>) {
        self.cuts.remove(&spot);
        let Some(sent) = scene.ledger.orders(spot.0, number) else { return };
        let Some(Some(charge)) = sent.charges.get(usize::from(spot.1) - 1) else { return };
        let closing = scene.ledger.contact(spot).closing;
        let was_known = closing.is_none_or(|closing| {
            matches!(closing.mover, Mover::Orders(_)) || scene.ledger.knew(spot.0, closing.place, sent.place)
        });
        if charge.why == Why::MaxOn && was_known {
            let ended = Change { at: seen.at, place: seen.place, mover: Mover::Orders(number) };
            self.cuts.insert(spot, (charge.load.clone(), ended));
        }
    }

    /// Where a board counts no changes, nothing tells of a start whose end was not ordered either and came before its report.
    fn forget_unseen_start(&mut self, seen: &Happening, spot: Spot, energised: bool, scene: &Scene<'_>) {
        if !scene.stage.panels()[spot.0].board().faults().hides_changes {
            return;
        }
        let Some(((load, ..), _)) = self.known.iter().find(|((_, at, ..), _)| *at == spot) else { return };
        let house = scene.stage.house();
        let runs = house.load_named(load).map(|id| house.load(id).energised(State::On));
        if runs != Some(!energised) {
            return;
        }
        if let Some(starts) = self.starts.get_mut(load) {
            let begun = scene.ledger.contact(spot).turned(!energised);
            let is_last = |start: &Start| begun.is_some_and(|begun| begun.place == start.place);
            starts.pop_if(|start| is_last(start) && !scene.ledger.knew(spot.0, start.place, seen.place));
        }
    }

    /// A reset takes the counts that could have told of what a crash took; and where a board hangs there that nothing tells from the
    /// one before, all that this one had started untold went with it.
    fn forget_untold_starts(&mut self, seen: &Happening, board: usize, boot: u32, scene: &Scene<'_>) {
        let is_mistaken = scene.ledger.would_be_mistaken(board, boot);
        for (load, spot, ..) in self.known.iter().map(|(limits, _)| limits).filter(|(_, spot, ..)| spot.0 == board) {
            if let Some(starts) = self.starts.get_mut(load) {
                starts.retain(|start| {
                    (start.is_known && !is_mistaken) || scene.ledger.knew(spot.0, start.place, seen.place)
                });
            }
        }
    }

    /// What was before of a board is nothing that the controller can go by.
    fn forget_board(&mut self, board: usize) {
        self.told.retain(|spot, _| spot.0 != board);
        self.cuts.retain(|spot, _| spot.0 != board);
        for (load, ..) in self.known.iter().map(|(limits, _)| limits).filter(|(_, spot, ..)| spot.0 == board) {
            self.starts.remove(load);
        }
    }

    /// Starts and cuts of before are nothing that the controller can go by.
    fn forget(&mut self, seen: &Happening) {
        self.forgot = seen.place;
        self.starts.clear();
    }

    fn judge_start(
        &mut self,
        seen: &Happening,
        spot: Spot,
        sent: &Sent,
        charge: &Charge,
        scene: &Scene<'_>,
        tally: &mut Tally,
    ) -> Result<(), String> {
        let found = self.known.iter().find(|((load, at, ..), _)| *load == charge.load && *at == spot);
        let Some(((load, _, max_on, rest, max_starts), (_, since))) = found else { return Ok(()) };
        let load = load.clone();
        if scene.ledger.is_for_former(spot.0, sent) {
            tally.count("starts excused by orders for an exchanged board");
            return Ok(());
        }
        // Orders may start what a hand or the end of a lease has stopped meanwhile.
        let unordered = self.unordered.get(&spot).is_some_and(|place| !scene.ledger.knew(spot.0, *place, sent.place));
        if unordered {
            tally.count("starts excused by what the controller could not know");
        }
        let is_excused = unordered || charge.why == Why::Trip;
        let cut = self.cuts.get(&spot).filter(|(cut, ended)| ended.place > self.forgot && *cut == load);
        // A load that left the house and came back is another one.
        if let Some((_, ended)) = cut.filter(|(_, ended)| max_on.is_some() && ended.place > *since) {
            tally.count("starts after max on had ended a run");
            let rested = seen.at.since(ended.at);
            if rested < *rest && !is_excused {
                return Err(format!(
                    "load {load:?} started {rested} after max on had ended its run; its rest is {rest}"
                ));
            }
        }
        let starts = self.starts.entry(load.clone()).or_default();
        let closing = Change { at: seen.at, place: seen.place, mover: Mover::Orders(sent.orders.number) };
        let is_known = self.sight.is_its_own(spot, closing, scene);
        starts.push(Start { at: seen.at, place: seen.place, is_known });
        if let Some((most, within)) = max_starts {
            let counts = |start: &&Start| {
                let is_told = || start.place == seen.place || scene.ledger.knew(spot.0, start.place, sent.place);
                start.place > *since && seen.at.since(start.at) < *within && (start.is_known || is_told())
            };
            let recent = starts.iter().filter(counts).count();
            tally.count("starts looked at");
            if recent == *most as usize {
                tally.count("starts up to the limit");
            }
            if recent > *most as usize && !is_excused {
                return Err(format!("load {load:?} started {recent} times within {within}, and {most} are allowed"));
            }
        }
        Ok(())
    }
}

/// Whether a safety trip wants a load on, be it behind an interlock that keeps from ordering it anew.
fn is_by_trip(load: &str, spot: Spot, scene: &Scene<'_>) -> bool {
    match why(load, scene) {
        Some((Why::Trip, State::On)) => true,
        Some((Why::Interlock, _)) => {
            let last = scene.ledger.last_orders(spot.0);
            let charge = last.and_then(|sent| sent.charges.get(usize::from(spot.1) - 1)?.as_ref());
            charge.is_some_and(|charge| charge.why == Why::Trip)
        }
        _ => false,
    }
}

/// What decides a load now, by the engine's own words, and what it decides.
fn why(load: &str, scene: &Scene<'_>) -> Option<(Why, State)> {
    let engine = scene.stage.engine()?;
    Some(Why::now(engine, engine.house().load_named(load)?))
}

fn limits(scene: &Scene<'_>) -> Vec<Limits> {
    let house = scene.stage.house();
    let loads = (0..house.loads.len()).map(|load| house.load(LoadId(load as u32)));
    let limited = loads.filter(|load| load.max_on.is_some() || load.max_starts.is_some());
    let limits = limited.filter_map(|load| {
        let starts = load.max_starts.map(|starts| (starts.most, starts.within));
        Some((load.name.clone(), spot_of(scene.stage, house, load)?, load.max_on, load.rest, starts))
    });
    limits.collect()
}
