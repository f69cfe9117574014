//! I10: each change of a contact that a report told of has one row with a reason, and those that no report showed have one
//! row with their number. What was reported is taken from the boards' reports, and which of them the controller went by from
//! the orders that answer them; how many changes there were, from what the contacts did. What a crash took before it was
//! stored is told anew.

use std::collections::{BTreeMap, BTreeSet};

use super::super::happening::{Happening, Mover, What};
use super::{Checker, Scene, Spot, Tally};
use crate::engine::{Cause, JournalEntry};
use crate::house::{House, State};

/// Watches the rows about contacts.
#[derive(Debug, Default)]
pub struct Journal {
    /// By relay: what was last reported of it, and before that as far back as the store may be, from which place on; `None` since
    /// its board left the house.
    known: BTreeMap<Spot, Vec<(u64, Option<Known>)>>,
    /// The stored memory is of this place in the order of all that happened.
    stored: u64,
    /// The report that was heard last, and what was written since.
    open: Option<Open>,
    /// The controller has no link: what reaches it late goes unanswered.
    unlinked: bool,
    /// Boards that a change of the house brought and that have had no orders yet: these wait for their numbers to be on disk,
    /// and what the boards report meanwhile goes unanswered.
    new: BTreeSet<usize>,
    /// By relay: the moves of its contact since the report that counts.
    moves: BTreeMap<Spot, Moves>,
    /// Relays that were broken once: their contacts did not follow their coils, which is what boards report.
    broken: BTreeSet<Spot>,
    /// Boards that were exchanged. They count boots, beats and changes as if they were the old ones, of which late words come.
    exchanged: BTreeSet<usize>,
}

/// A relay as a report told of it that the controller went by.
#[derive(Clone, Copy, Debug)]
struct Known {
    /// The place at which the report was heard.
    heard: u64,
    /// The place at which it was sent; `None` for a late one of a board that is gone.
    sent: Option<u64>,
    boot: u32,
    beat: u32,
    energised: bool,
    changes: Option<u32>,
}

/// The moves of a contact after a place in the order of all that happened; what lies before is forgotten.
#[derive(Debug, Default)]
struct Moves {
    from: u64,
    after: Vec<(u64, Mover)>,
}

/// What is known of the changes between two reports.
#[derive(Clone, Copy, Debug, Default)]
struct Between<'m> {
    /// How many there were by the board's counts.
    counted: Option<u32>,
    /// What the contact did.
    moves: Option<&'m [(u64, Mover)]>,
}

/// A report, and what followed on it.
#[derive(Debug)]
struct Open {
    board: usize,
    /// By relay.
    said: Vec<Known>,
    /// Orders answered it.
    answered: bool,
    /// The rows of changes: the relay, the state, and whether a hand did it.
    turns: Vec<(u8, bool, bool)>,
    /// The rows of changes that nobody saw.
    unseen: Vec<(u8, u32)>,
}

impl Checker for Journal {
    fn id(&self) -> &'static str {
        "I10"
    }

    fn time_passes(&mut self, _: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        self.close(tally)
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            What::ReportHeard { board, boot, beat, states, changes } => {
                self.close(tally)?;
                let sent = scene.ledger.beat(*board, *boot, *beat).map(|(_, place)| place);
                let said = states.iter().zip(changes).map(|(energised, changes)| {
                    let (boot, beat, energised, changes) = (*boot, *beat, *energised, *changes);
                    Known { heard: seen.place, sent, boot, beat, energised, changes }
                });
                let (turns, unseen) = (Vec::new(), Vec::new());
                self.open = Some(Open { board: *board, said: said.collect(), answered: false, turns, unseen });
            }
            What::Sent { board, orders, .. } => {
                self.new.remove(board);
                if let Some(open) = self.open.as_mut().filter(|open| open.board == *board) {
                    let answers = |said: &Known| (said.boot, said.beat) == (orders.boot, orders.beat);
                    open.answered |= open.said.first().is_some_and(answers);
                }
            }
            What::Journal(row) => self.note_row(&row.entry, scene)?,
            What::Stored { of } => self.stored = *of,
            What::Stopped { .. } => self.close(tally)?,
            What::Linked { up } => {
                self.close(tally)?;
                self.unlinked = !up;
            }
            What::Started { restored, .. } => {
                self.go_back(*restored);
                self.forget_gone(seen.place, scene);
            }
            What::House { taken: true } => {
                self.forget_gone(seen.place, scene);
                let is_new =
                    |place: &usize| !self.known.keys().any(|spot| spot.0 == *place && self.last(*spot).is_some());
                self.new = (0..scene.stage.panels().len()).filter(is_new).collect();
            }
            What::Contact { board, relay, mover, .. } => {
                self.moves.entry((*board, *relay)).or_default().after.push((seen.place, *mover));
            }
            What::RelayFault { board, relay, .. } => {
                self.broken.insert((*board, *relay));
            }
            What::BoardUp { board, is_new: true, .. } => {
                self.broken.retain(|(place, _)| place != board);
                self.exchanged.insert(*board);
            }
            _ => {}
        }
        Ok(())
    }
}

impl Journal {
    fn note_row(&mut self, entry: &JournalEntry, scene: &Scene<'_>) -> Result<(), String> {
        let house = scene.stage.engine().map_or(scene.stage.house(), |engine| engine.house());
        let (relay, told) = match entry {
            JournalEntry::Changed { load, relay, state, cause } => {
                let energised = energised(house, load.as_deref(), *state)?;
                (relay, Ok((energised, *cause == Cause::HandAtBoard)))
            }
            JournalEntry::Driven { relay, energised, cause, .. }
            | JournalEntry::Pulsed { relay, energised, cause, .. } => {
                (relay, Ok((*energised, *cause == Cause::HandAtBoard)))
            }
            JournalEntry::Unseen { relay, changes } => (relay, Err(*changes)),
            _ => return Ok(()),
        };
        let (name, number) = relay.split_once('/').unwrap_or_default();
        // Of boards of other firmware the stage knows no reports to hold a row against.
        if scene.stage.appliances().iter().any(|one| one.name() == name) {
            return Ok(());
        }
        let spot = scene.stage.place(name).zip(number.parse::<u8>().ok());
        let Some((board, number)) = spot else { return Err(format!("a row names relay {relay:?}, which is none")) };
        match (self.open.as_mut().filter(|open| open.board == board), told) {
            (None, _) => return Err(format!("a row tells of relay {relay}, of which no report spoke")),
            (Some(open), Ok((energised, by_hand))) => open.turns.push((number, energised, by_hand)),
            (Some(open), Err(changes)) => open.unseen.push((number, changes)),
        }
        Ok(())
    }

    /// Judges what was written of the last report.
    fn close(&mut self, tally: &mut Tally) -> Result<(), String> {
        let Some(open) = self.open.take() else { return Ok(()) };
        let has_rows = !open.turns.is_empty() || !open.unseen.is_empty();
        // Whether it went by a report that it could not answer shows in the rows alone.
        if has_rows && !open.answered && !self.unlinked {
            let board = open.board;
            return Err(format!("rows tell of a report of b{board} that the controller did not go by: {open:?}"));
        }
        if !open.answered && !has_rows {
            if self.unlinked || self.new.contains(&open.board) {
                self.remember_what_is_no_news(&open);
            }
            return Ok(());
        }
        if !open.answered {
            tally.count("rows of reports that came late over a link that is gone");
        }
        for (index, said) in open.said.iter().enumerate() {
            let (number, spot) = (index as u8 + 1, (open.board, index as u8 + 1));
            let turns: Vec<(bool, bool)> =
                open.turns.iter().filter(|row| row.0 == number).map(|row| (row.1, row.2)).collect();
            let unseen: Vec<u32> = open.unseen.iter().filter(|row| row.0 == number).map(|row| row.1).collect();
            let before = self.last(spot);
            let is_old = !self.exchanged.contains(&open.board);
            let is_followed = is_old && !self.broken.contains(&spot);
            let moves = self.moves.get(&spot).filter(|_| is_followed);
            let between = before.filter(|_| is_old).map(|before| Between {
                counted: counted(before, said),
                moves: moves.and_then(|moves| window(before, said, moves)),
            });
            judge(before, said, (&turns, &unseen), between.unwrap_or_default(), tally)
                .map_err(|why| format!("b{}/{number}: {why}", open.board))?;
            self.remember(spot, *said);
        }
        Ok(())
    }

    /// A report that led to nothing was gone by or was not: where it says nothing new both come to the same.
    fn remember_what_is_no_news(&mut self, open: &Open) {
        for (index, said) in open.said.iter().enumerate() {
            let spot = (open.board, index as u8 + 1);
            let what = |one: &Known| (one.boot, one.energised, one.changes);
            let before = self.last(spot);
            if before.is_none_or(|before| what(before) == what(said)) {
                self.remember(spot, *said);
            }
        }
    }

    /// What was last reported of a relay.
    fn last(&self, spot: Spot) -> Option<&Known> {
        self.known.get(&spot)?.last()?.1.as_ref()
    }

    fn remember(&mut self, spot: Spot, said: Known) {
        let known = self.known.entry(spot).or_default();
        known.push((said.heard, Some(said)));
        // What lies before the memory that is stored can never come back.
        let stored = known.iter().rposition(|(from, _)| *from <= self.stored).unwrap_or(0);
        known.drain(..stored);
        let oldest = known.iter().filter_map(|(_, one)| one.as_ref()?.sent).min().unwrap_or(0);
        if let Some(moves) = self.moves.get_mut(&spot) {
            moves.from = moves.from.max(oldest);
            moves.after.retain(|(place, _)| *place > oldest);
        }
    }

    /// The controller starts with what was stored.
    fn go_back(&mut self, restored: bool) {
        (self.open, self.unlinked) = (None, true);
        let stored = if restored { self.stored } else { 0 };
        self.known.values_mut().for_each(|known| known.retain(|(from, _)| *from <= stored));
    }

    /// A board that the house does not name any more is forgotten.
    fn forget_gone(&mut self, place: u64, scene: &Scene<'_>) {
        if scene.stage.engine().is_none() {
            return;
        }
        for (_, known) in self.known.iter_mut().filter(|((board, _), _)| scene.stage.running_board(*board).is_none()) {
            if known.last().is_some_and(|(_, one)| one.is_some()) {
                known.push((place, None));
            }
        }
    }
}

/// Whether rows tell of one relay what a report told of it, after the report before.
fn judge(
    before: Option<&Known>,
    said: &Known,
    (turns, unseen): (&[(bool, bool)], &[u32]),
    between: Between<'_>,
    tally: &mut Tally,
) -> Result<(), String> {
    let Some(before) = before else {
        tally.count("first reports of a relay");
        return match (turns, unseen) {
            ([], []) => Ok(()),
            _ => Err(format!("rows {turns:?} and {unseen:?} tell of a change in the first report of all")),
        };
    };
    let turned = before.energised != said.energised;
    let told: Vec<bool> = turns.iter().map(|(energised, _)| *energised).collect();
    let expected: &[bool] = if turned { &[said.energised] } else { &[] };
    if told != expected {
        return Err(format!("changes {expected:?} were reported and {told:?} written: {before:?}, then {said:?}"));
    }
    if turned {
        tally.count("changes with one row");
    }
    let by_hand = turns.iter().any(|(_, by_hand)| *by_hand);
    if by_hand && between.moves.is_some_and(|moves| !moves.iter().any(|(_, mover)| *mover == Mover::Hand)) {
        return Err(format!("a hand is written of and none was there: {before:?}, then {said:?}, {between:?}"));
    }
    let Some(changes) = between.counted else {
        tally.count("reports of relays that count no changes");
        return if unseen.len() > 1 { Err(format!("changes unseen have rows {unseen:?}")) } else { Ok(()) };
    };
    // Counted by the contact itself where it was followed all the while.
    let moved = between.moves.filter(|_| before.boot == said.boot).map(<[_]>::len);
    if moved.is_some_and(|moved| moved != changes as usize) {
        return Err(format!("the contact moved {moved:?} times and its board counts {changes}: {before:?}, {said:?}"));
    }
    let expected = changes.saturating_sub(u32::from(turned));
    match (expected, unseen) {
        (0, []) => Ok(()),
        (_, [told]) if expected > 0 && *told == expected => {
            tally.count("changes unseen with one row");
            Ok(())
        }
        _ => Err(format!("{expected} changes were not seen and {unseen:?} written: {before:?}, then {said:?}")),
    }
}

/// What a relay's contact did between two reports; `None` where that is not known.
fn window<'m>(before: &Known, said: &Known, moves: &'m Moves) -> Option<&'m [(u64, Mover)]> {
    let (from, to) = (before.sent?, said.sent?);
    if from > to || from < moves.from {
        return None;
    }
    let begin = moves.after.partition_point(|(place, _)| *place <= from);
    let end = moves.after.partition_point(|(place, _)| *place <= to);
    moves.after.get(begin..end)
}

/// How many changes lie between two reports, as far as the board's counts tell: within one boot their difference, and in a new
/// one, which began with the relay released, all that it counts.
fn counted(before: &Known, said: &Known) -> Option<u32> {
    let after = said.changes?;
    if said.boot == before.boot {
        return after.checked_sub(before.changes?).filter(|_| said.beat > before.beat);
    }
    let is_whole = (after % 2 == 1) == said.energised;
    (said.boot > before.boot).then_some(after + u32::from(before.energised && is_whole))
}

/// What a relay's coil is while its load is in a state.
fn energised(house: &House, load: Option<&str>, state: State) -> Result<bool, String> {
    let Some(name) = load else { return Ok(state == State::On) };
    let load = house.load_named(name).ok_or_else(|| format!("a row names load {name:?}, which is none"))?;
    Ok(house.load(load).energised(state))
}
