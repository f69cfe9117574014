//! Whether a report is news: boots and beats put it after what was heard, or a board insists long enough; and whether what is
//! no news comes from a second board of that name. It never takes a report.

use std::cmp::Ordering;

use super::boards::{BoardState, Presence};
use super::timers::Timer;
use super::{Effect, Engine};
use crate::house::BoardId;
use crate::units::{BootTime, Span};
use crate::wire::Report;

/// So many reports in a row that are no news make a lost board start over.
const INSISTS: u8 = 3;

/// Reports in a row that are no news, of a board that is taken for lost or is there beside another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Insistent {
    boot: u32,
    beat: u32,
    since: BootTime,
    times: u8,
}

impl Insistent {
    /// The row with one report more; a row of one where it does not follow. `None` for the last one once more.
    fn after(row: Option<Insistent>, report: &Report, now: BootTime) -> Option<Insistent> {
        if row.is_some_and(|row| (row.boot, row.beat) == (report.boot, report.beat)) {
            return None;
        }
        let before = row.filter(|row| row.boot == report.boot && row.beat.checked_add(1) == Some(report.beat));
        let (since, times) = before.map_or((now, 1), |row| (row.since, row.times.saturating_add(1)));
        Some(Insistent { boot: report.boot, beat: report.beat, since, times })
    }

    /// Whether it has gone on for this long: messages that were late do not come one after the other for so long.
    fn lasts(self, least: Span, now: BootTime) -> bool {
        self.times >= INSISTS && now.since(self.since) >= least
    }
}

impl BoardState {
    /// It is about to be known in this boot. An earlier one than before is another board's.
    pub fn part_from_former(&mut self, boot: u32) {
        match self.boot {
            Some(known) if boot < known => self.former_boot = Some(known),
            _ => self.former_boot = self.former_boot.filter(|former| *former > boot),
        }
    }

    /// Whether a report is a late one of the board that hung there before, and not of this one grown as old: it would have been
    /// born in that boot.
    fn is_of_former(&self, report: &Report) -> bool {
        self.former_boot == Some(report.boot) && self.born != self.former_boot
    }
}

impl Engine {
    /// Whether a report is newer than what was heard: of a later boot, or a later beat of the present one. Once the board
    /// is lost and an earlier boot is born, a report of that boot counts that has taken no orders yet: the board was
    /// replaced. One that has taken some was late on its way.
    pub(super) fn is_news(&self, board: BoardId, report: &Report) -> bool {
        let state = &self.boards[board.index()];
        let Some(boot) = state.boot else { return true };
        let replaced = state.presence == Presence::Lost && state.born == Some(report.boot) && report.taken == 0;
        match report.boot.cmp(&boot) {
            Ordering::Greater => !state.is_of_former(report),
            Ordering::Equal => report.beat > state.beat,
            Ordering::Less => replaced,
        }
    }

    /// Whether a lost board goes on reporting though nothing of it is news: then what was taken for its latest report was
    /// not its own, came from a board that hung there before, or the board cannot count its boots.
    pub(super) fn insists(&mut self, board: BoardId, report: &Report) -> bool {
        let now = self.now.boot;
        let least = Span(Engine::silence_max(self.house.board(board)).0 / 2);
        let state = &mut self.boards[board.index()];
        if state.presence != Presence::Lost {
            return false;
        }
        let Some(row) = Insistent::after(state.insistent, report, now) else { return false };
        state.insistent = Some(row);
        row.lasts(least, now)
    }

    /// A report that is no news while the board is heard. Where they go on, two boards have one name: the one that is
    /// heard is obeyed by its orders, which speak to its boot, and the other falls back, unless it is in the same boot.
    pub(super) fn hear_namesake(&mut self, board: BoardId, report: &Report, out: &mut Vec<Effect>) {
        let now = self.now.boot;
        let least = Engine::silence_max(self.house.board(board));
        let state = &mut self.boards[board.index()];
        let (Presence::Present, Some(boot)) = (state.presence, state.boot) else { return };
        let Some(row) = Insistent::after(state.namesake, report, now) else { return };
        state.namesake = Some(row);
        if !row.lasts(least, now) {
            return;
        }
        let name = &self.house.board(board).name;
        let who_obeys = if row.boot == boot {
            format!(
                "Both are in their boot {boot}, so nothing tells them apart: either of them may take an order, or both may"
            )
        } else {
            format!(
                "The one in its boot {boot} gets its orders; the one in its boot {} gets none, and its relays are in their \
                 fallback",
                row.boot
            )
        };
        let text = format!("two boards call themselves {name:?}. {who_obeys}. Give each board a name of its own");
        self.raise_alarm(namesake_alarm(name), text, out);
        self.boot_timers.set(Timer::NamesakeGone(board), now + Span(2 * least.0));
    }

    pub(super) fn handle_namesake_gone(&mut self, board: BoardId, out: &mut Vec<Effect>) {
        self.clear_alarm(&namesake_alarm(&self.house.board(board).name), out);
    }

    /// Alarms of this kind that stand since before a restart go unless it is heard again.
    pub(super) fn await_namesakes(&mut self) {
        let house = self.house.clone();
        for (number, board) in house.boards.iter().enumerate() {
            if self.alarms.contains_key(&namesake_alarm(&board.name)) {
                let due = self.now.boot + Span(4 * Engine::silence_max(board).0);
                self.boot_timers.set(Timer::NamesakeGone(BoardId(number as u32)), due);
            }
        }
    }
}

/// The alarm about two boards of one name.
fn namesake_alarm(board: &str) -> String {
    format!("namesake-{board}")
}
