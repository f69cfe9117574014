//! When a relay's lease may run out: orders without a word for it renew nothing, those with one do from the beat that they
//! answer, and a report may have been long under way. It never looks at what is wanted.

use std::collections::VecDeque;

use super::Engine;
use super::boards::BoardState;
use super::presence::lease_least;
use crate::house::{BoardId, LoadId, Relay};
use crate::units::{BootTime, Span};
use crate::wire::Report;

/// So many orders of a board are remembered until it has taken them; what more are under way renew nothing that is counted on.
const REMEMBERED: usize = 64;

/// Orders of a board that it is not known to have taken yet. Nothing of them outlives the process.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct UnderWay {
    sent: VecDeque<Sent>,
    /// The beat that was heard last was not sent before this.
    beat_after: BootTime,
    /// The number of the first orders that answer that beat.
    answers_from: u32,
}

/// Orders that went out.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Sent {
    number: u32,
    at: BootTime,
    /// For so long their lease lasts at the least.
    lasts: BootTime,
}

/// What orders that were taken since the last report are worth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Renewal {
    /// The number of the last.
    taken: u32,
    /// For so long its lease lasts at the least.
    lasts: BootTime,
    /// For so long the lease of each of them lasts.
    least: BootTime,
}

/// What may be over by the time that orders are taken.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Late {
    /// The beat that they answer may be older than a lease: the number of the first orders that answer it.
    pub beat: Option<u32>,
    /// The lease of the last word that was taken may have run out since.
    pub lease: bool,
}

impl UnderWay {
    /// A beat is heard, which orders from this number on answer.
    pub fn hear(&mut self, next_number: u32) {
        self.answers_from = next_number;
    }

    /// The number of the first orders that answer the beat that was heard last. The leases of all that do end together.
    pub fn answers_from(&self) -> u32 {
        self.answers_from
    }

    /// Orders go out that answer the beat that was heard last.
    pub fn send(&mut self, number: u32, now: BootTime, lease: Option<Span>) {
        // Where there is none, nothing runs out.
        let Some(lease) = lease else { return };
        if self.sent.len() == REMEMBERED {
            self.sent.pop_front();
        }
        let lasts = self.beat_after + lease_least(lease);
        self.sent.push_back(Sent { number, at: now, lasts });
    }

    /// The board says that these are the last orders that it has taken; `None` where that is no news.
    pub fn take(&mut self, taken: u32) -> Option<Renewal> {
        let until = self.sent.partition_point(|sent| sent.number <= taken);
        let least = self.sent.iter().take(until).map(|sent| sent.lasts).min()?;
        let last = self.sent.drain(..until).next_back()?;
        if last.number != taken {
            // Somebody else gave it orders.
            return Some(Renewal { taken, lasts: BootTime(0), least: BootTime(0) });
        }
        // It had them before it sent this.
        self.beat_after = last.at;
        Some(Renewal { taken, lasts: last.lasts, least })
    }
}

/// For how long the last word for a relay lasts that its board has taken.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Words {
    /// The first and the last number of the orders in the latest row of which each had a word for it.
    row: Option<(u32, u32)>,
    /// Orders without one followed.
    is_over: bool,
    /// Its lease lasts until then at the least.
    pub lasts: BootTime,
}

impl Words {
    /// Orders go out with a word for it.
    pub fn say(&mut self, number: u32) {
        self.row = match self.row {
            Some((first, _)) if !self.is_over => Some((first, number)),
            _ => Some((number, number)),
        };
        self.is_over = false;
    }

    /// Orders go out without one.
    pub fn say_nothing(&mut self) {
        self.is_over = true;
    }

    /// Whether the lease of the last word that was taken may have run out, where it is known when the beat was sent that it
    /// answered.
    pub fn may_be_over(&self, lease: Span, now: BootTime) -> bool {
        self.lasts > BootTime(0) + lease_least(lease) && self.lasts <= now
    }

    /// Its board has taken orders.
    pub fn take(&mut self, renewal: Renewal) {
        let had_word = self.row.is_some_and(|(first, last)| (first..=last).contains(&renewal.taken));
        // Any of those before may have been the last with a word, and a lease of before a change of the house longer.
        self.lasts = if had_word { renewal.lasts } else { self.lasts.min(renewal.least) };
    }
}

impl BoardState {
    /// What was ordered is nothing that it is leased by.
    pub fn forget_leases(&mut self) {
        self.under_way = UnderWay::default();
        self.contacts.iter_mut().for_each(|contact| contact.words = Words::default());
    }
}

impl Engine {
    /// What is under way to boards stays so across a change of the house.
    pub(super) fn carry_leases(&mut self, before: &Engine) {
        let house = self.house.clone();
        for (state, board) in self.boards.iter_mut().zip(&house.boards) {
            let Some(old) = before.house.board_named(&board.name) else { continue };
            let (definition, old) = (before.house.board(old), &before.boards[old.index()]);
            if definition.speaks_like(board) {
                state.under_way = old.under_way.clone();
                if definition.lease != board.lease {
                    // With another lease orders last for another time, whatever they answer.
                    state.under_way.hear(state.next_number);
                }
                state.contacts.iter_mut().zip(&old.contacts).for_each(|(contact, old)| contact.words = old.words);
            }
        }
    }

    /// What may be over by the time that orders which go out now for a relay are taken.
    pub(super) fn lateness(&self, relay: Relay) -> Late {
        let (state, contact) = (&self.boards[relay.board.index()], self.contact(relay));
        let lease = self.house.board(relay.board).lease;
        let is_over = lease.is_some_and(|lease| contact.words.may_be_over(lease, self.now.boot));
        // What falls back to what is wished is not ended by its lease.
        let falls_back = |number: u8| self.told_fallback(relay.board).relays[usize::from(number) - 1].word.energised();
        Late {
            beat: state.found_late.map(|_| state.under_way.answers_from()),
            lease: is_over && falls_back(relay.number) != contact.wish,
        }
    }

    /// Whether the lease of a load that is on lasts until a moment, whatever becomes of orders under way: until then what says
    /// anew that it is to be on closes nothing. Of other firmware nobody knows when it counts from.
    pub(super) fn is_leased_until(&self, load: LoadId, until: BootTime) -> bool {
        let definition = self.house.load(load);
        let Some(relay) = definition.relay().filter(|_| !definition.is_driven_by_runs()) else { return true };
        let board = self.house.board(relay.board);
        board.lease.is_none() || board.foreign.is_some() || self.contact(relay).words.lasts >= until
    }

    /// Follows which orders a board has taken by its report, and for how long its relays are leased by them.
    pub(super) fn follow_leases(&mut self, board: BoardId, report: &Report) {
        let state = &mut self.boards[board.index()];
        if let Some(renewal) = state.under_way.take(report.taken) {
            state.contacts.iter_mut().for_each(|contact| contact.words.take(renewal));
        }
        self.doubt_what_may_have_lapsed(board, report);
    }

    /// A report that comes after the end of its lease may have waited somewhere and be older than that, and so may those behind
    /// it, until one tells that new orders were taken.
    fn doubt_what_may_have_lapsed(&mut self, board: BoardId, report: &Report) {
        let fallback = self.told_fallback(board);
        let state = &mut self.boards[board.index()];
        state.found_late = state.found_late.filter(|number| report.taken < *number);
        let Some(number) = state.found_late else { return };
        for ((contact, said), fallback) in state.contacts.iter_mut().zip(&report.relays).zip(&fallback.relays) {
            if fallback.word.energised() != Some(said.energised) {
                contact.found_late = Some(number);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LEASE: Option<Span> = Some(Span::from_s(100));

    /// Orders are sent and taken by turns, every ten seconds; the relay has a word in those that are named.
    fn lasts(words: [bool; 5]) -> BootTime {
        let (mut under_way, mut relay) = (UnderWay::default(), Words::default());
        for (number, word) in (1..).zip(words) {
            under_way.send(number, BootTime(u64::from(number) * 10_000), LEASE);
            if word {
                relay.say(number)
            } else {
                relay.say_nothing()
            }
            under_way.take(number).into_iter().for_each(|renewal| relay.take(renewal));
            assert_eq!(under_way.take(number), None, "it says so again");
        }
        relay.lasts
    }

    #[test]
    fn a_lease_lasts_from_the_beat_that_the_last_word_answered() {
        // Orders 5 answer a beat that was sent once orders 4 were there, at 40 s; the clock may be fast by 1 s in 100 s.
        assert_eq!(lasts([true; 5]), BootTime(139_000));
        assert_eq!(lasts([true, true, true, true, false]), BootTime(129_000));
        assert_eq!(lasts([true, true, true, false, false]), BootTime(119_000));
        assert_eq!(lasts([true, false, true, false, false]), BootTime(119_000));
        assert_eq!(lasts([false; 5]), BootTime(0));
    }

    #[test]
    fn a_row_that_is_over_renews_nothing_that_is_counted_on() {
        let (mut under_way, mut relay) = (UnderWay::default(), Words::default());
        for number in 1..=3 {
            under_way.send(number, BootTime(5_000), LEASE);
            if number == 2 { relay.say_nothing() } else { relay.say(number) }
        }
        relay.take(under_way.take(1).expect("orders 1 were under way"));
        assert_eq!(relay.lasts, BootTime(0), "of the first row nothing is known any more");
        relay.take(under_way.take(3).expect("orders 3 were under way"));
        assert_eq!(relay.lasts, BootTime(99_000));
    }

    #[test]
    fn orders_of_somebody_else_may_have_had_any_lease() {
        let (mut under_way, mut relay) = (UnderWay::default(), Words::default());
        for number in 1..=2 {
            under_way.send(number, BootTime(5_000), LEASE);
            relay.say(number);
        }
        relay.take(under_way.take(1).expect("orders 1 were under way"));
        assert_eq!(relay.lasts, BootTime(99_000));
        relay.take(under_way.take(7).expect("orders 2 are dead"));
        assert_eq!(relay.lasts, BootTime(0));
    }

    #[test]
    fn a_shorter_lease_counts_from_when_it_may_have_been_taken() {
        let (mut under_way, mut relay) = (UnderWay::default(), Words::default());
        under_way.send(1, BootTime(5_000), LEASE);
        relay.say(1);
        relay.take(under_way.take(1).expect("orders 1 were under way"));
        under_way.send(2, BootTime(6_000), Some(Span::from_s(10)));
        relay.say(2);
        under_way.send(3, BootTime(7_000), Some(Span::from_s(10)));
        relay.say_nothing();
        relay.take(under_way.take(3).expect("orders 3 were under way"));
        assert_eq!(relay.lasts, BootTime(14_900));
    }

    #[test]
    fn only_so_many_orders_are_remembered() {
        let mut under_way = UnderWay::default();
        (1..=1000).for_each(|number| under_way.send(number, BootTime(5_000), LEASE));
        assert_eq!(under_way.sent.len(), REMEMBERED);
        assert_eq!(under_way.take(900), None);
        assert!(under_way.take(1000).is_some());
    }
}
