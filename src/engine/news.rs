//! Whether a report is news: boots and beats put it after what was heard, or a board insists long enough. It never takes a
//! report.

use std::cmp::Ordering;

use super::Engine;
use super::boards::Presence;
use crate::house::BoardId;
use crate::units::{BootTime, Span};
use crate::wire::Report;

/// So many reports in a row that are no news make a lost board start over.
const INSISTS: u8 = 3;

/// Reports in a row of a board that is taken for lost.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Insistent {
    boot: u32,
    beat: u32,
    since: BootTime,
    times: u8,
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
            Ordering::Greater => true,
            Ordering::Equal => report.beat > state.beat,
            Ordering::Less => replaced,
        }
    }

    /// Whether a lost board goes on reporting though nothing of it is news: then what was taken for its latest report was
    /// not its own, came from a board that hung there before, or the board cannot count its boots. Messages that were late do
    /// not come one after the other for so long.
    pub(super) fn insists(&mut self, board: BoardId, report: &Report) -> bool {
        let now = self.now.boot;
        let least = Span(Engine::silence_max(self.house.board(board)).0 / 2);
        let state = &mut self.boards[board.index()];
        if state.presence != Presence::Lost {
            return false;
        }
        if state.insistent.is_some_and(|row| (row.boot, row.beat) == (report.boot, report.beat)) {
            return false;
        }
        let before =
            state.insistent.filter(|row| row.boot == report.boot && row.beat.checked_add(1) == Some(report.beat));
        let (since, times) = before.map_or((now, 1), |row| (row.since, row.times.saturating_add(1)));
        state.insistent = Some(Insistent { boot: report.boot, beat: report.beat, since, times });
        times >= INSISTS && now.since(since) >= least
    }
}
