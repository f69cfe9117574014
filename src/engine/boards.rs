//! Boards: births, deaths, reports and losses. What they are told stands in `orders`; nothing is sent from here.

use serde::{Deserialize, Serialize};

use super::contact::{Alone, Contact};
use super::foreign::ForeignState;
use super::lapse::UnderWay;
use super::news::Insistent;
use super::presence::lease_end;
use super::relays::Return;
use super::timers::Timer;
use super::unrest::Count;
use super::{Effect, Engine};
use crate::house::{Board, BoardId, Load, LoadId, Relay, Source, State};
use crate::units::BootTime;
use crate::wire::{Life, Report};

/// What is known of a board.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct BoardState {
    pub presence: Presence,
    /// Its present boot; `None` until it is heard.
    pub boot: Option<u32>,
    /// The boot of its last birth, until a report follows.
    pub born: Option<u32>,
    /// It was found after its lease may have run out, and orders with this number or a later one have not been taken since.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub found_late: Option<u32>,
    /// The boot of another board that hung there before it: of one that is gone, reports may still come.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub former_boot: Option<u32>,
    /// Reports that were no news while it is lost.
    #[serde(skip)]
    pub insistent: Option<Insistent>,
    /// Reports that were no news while it is heard.
    #[serde(skip)]
    pub namesake: Option<Insistent>,
    /// The beat of its last report in that boot; 0 before one.
    pub beat: u32,
    /// When its last report came; of a board that came with a change of the house, when that was.
    pub heard_at: BootTime,
    /// When the beat was heard, at the latest, that the orders answered which it took last.
    #[serde(default)]
    pub obeyed_at: BootTime,
    /// The number of the next orders.
    pub next_number: u32,
    /// Orders with lower numbers went out before this engine began, which need not know of them; `None` once others were taken.
    #[serde(skip)]
    pub own_from: Option<u32>,
    /// Until then nothing tells when it took orders last: before a start of the machine that nobody timed.
    #[serde(skip)]
    pub untimed: bool,
    /// Numbers up to here are reserved on disk.
    pub reserved: u32,
    /// Where its next block of numbers begins, once that is on disk.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub block: Option<u32>,
    /// By then every lease that it may hold has run out.
    pub lease_bound: BootTime,
    pub contacts: Vec<Contact>,
    /// Orders that it is not known to have taken.
    #[serde(skip)]
    pub under_way: UnderWay,
    /// How often it started anew of late.
    #[serde(default)]
    pub restarts: Count,
    /// What is going on with it where it is a board of other firmware.
    #[serde(skip)]
    pub foreign: ForeignState,
}

/// Whether a board is heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Presence {
    /// Not heard since the start, and not missed yet.
    Unheard,
    /// Its reports come.
    Present,
    /// It said that it dies, or its reports stay away.
    Lost,
}

impl BoardState {
    /// As it is kept: what is watched of its contacts is watched anew, and so is what is under way.
    pub fn unwatched(mut self) -> BoardState {
        self.contacts.iter_mut().for_each(|contact| contact.proof.unwatch());
        self.forget_leases();
        self.foreign = ForeignState::default();
        self
    }

    /// Whether its lease had run out before it was heard last, so that what a hand did there stays.
    pub fn was_alone(&self, board: &Board) -> Alone {
        match board.lease {
            Some(_) if self.untimed => Alone::Perhaps,
            Some(lease) if self.obeyed_at + lease > self.heard_at => Alone::No,
            Some(_) if board.foreign.is_none() => Alone::Yes,
            Some(_) => Alone::Perhaps,
            None => Alone::No,
        }
    }

    pub fn new(board: &Board) -> BoardState {
        BoardState {
            presence: Presence::Unheard,
            boot: None,
            born: None,
            found_late: None,
            former_boot: None,
            insistent: None,
            namesake: None,
            beat: 0,
            heard_at: BootTime(0),
            obeyed_at: BootTime(0),
            next_number: 1,
            own_from: None,
            untimed: false,
            reserved: 0,
            block: None,
            lease_bound: BootTime(0),
            contacts: vec![Contact::default(); usize::from(board.relays)],
            under_way: UnderWay::default(),
            restarts: Count::default(),
            foreign: ForeignState::new(usize::from(board.relays)),
        }
    }
}

impl Engine {
    /// Whether a board is heard.
    pub fn presence(&self, board: BoardId) -> Presence {
        self.boards[board.index()].presence
    }

    pub(super) fn contact(&self, relay: Relay) -> &Contact {
        &self.boards[relay.board.index()].contacts[usize::from(relay.number) - 1]
    }

    pub(super) fn contact_mut(&mut self, relay: Relay) -> &mut Contact {
        &mut self.boards[relay.board.index()].contacts[usize::from(relay.number) - 1]
    }

    /// The contact behind a load's own relay; `None` for a load without one.
    pub(super) fn contact_of(&self, load: LoadId) -> Option<&Contact> {
        self.house.load(load).relay().map(|relay| self.contact(relay))
    }

    /// The states that a relay's coil may be in.
    pub fn possible(&self, relay: Relay) -> super::Possible {
        self.contact(relay).possible()
    }

    pub(super) fn of_lost_board(&self, sensor: crate::house::SensorId) -> bool {
        match &self.house.sensor(sensor).source {
            Source::Board { board, .. } => self.presence(*board) == Presence::Lost,
            Source::Topic { .. } | Source::Derived(_) => false,
        }
    }

    pub(super) fn of_absent_board(&self, sensor: crate::house::SensorId) -> bool {
        match &self.house.sensor(sensor).source {
            Source::Board { board, .. } => self.presence(*board) != Presence::Present,
            Source::Topic { .. } | Source::Derived(_) => false,
        }
    }

    pub(super) fn handle_link_up(&mut self, out: &mut Vec<Effect>) {
        self.link = true;
        if self.linked_first.is_none() {
            self.linked_first = Some(self.now.boot);
            self.start_settling();
        }
        for number in 0..self.boards.len() {
            let board = BoardId(number as u32);
            if self.boards[number].presence == Presence::Unheard
                && let Some(silence) = self.silence_now(board)
            {
                // A link that comes and goes does not put off that the board is missed.
                self.boot_timers.set_lazily(Timer::BoardLost(board), self.now.boot + silence);
            }
            self.publish_fallback(board, out);
            self.link_foreign(board, out);
        }
        for number in 0..self.loads.len() {
            self.loads[number].published = None;
            self.loads[number].staggered = true;
            self.dirty_loads.insert(LoadId(number as u32));
        }
        // What came to be wanted meanwhile was never ordered, and what was ordered last may be lost: it takes its turn.
        for relay in self.house.clone().loads.iter().filter_map(Load::relay) {
            let contact = self.contact_mut(relay);
            let is_done = contact.said == contact.wish && contact.reported == contact.wish && !contact.in_flight();
            contact.wish = contact.wish.filter(|_| is_done);
        }
        while let Some(retained) = self.stale_topics.pop_first() {
            out.push(Effect::ClearRetained(retained));
        }
        for (id, alarm) in &self.alarms {
            out.push(Effect::PublishAlarm { id: id.clone(), alarm: alarm.clone() });
        }
    }

    pub(super) fn handle_life(&mut self, board: BoardId, life: &Life, out: &mut Vec<Effect>) {
        let state = &self.boards[board.index()];
        match life {
            Life::Birth { boot, .. } => {
                // A birth of an earlier boot, or of that of another board that hung there before, may be one that the broker
                // had kept from long ago: only a report of that boot shows that the board was replaced, has lost its flash and
                // counts from one again, or has grown as old.
                let is_news = state.boot.is_none_or(|known| *boot > known) && state.former_boot != Some(*boot);
                self.boards[board.index()].born = Some(*boot);
                if is_news {
                    self.adopt_boot(board, *boot, out);
                    self.forget_contacts(board);
                    self.touch_loads(board);
                }
            }
            // A late death of an earlier boot cannot kill a newer one.
            Life::Death { boot } if state.boot.is_none_or(|known| known == *boot) => self.lose_board(board, out),
            Life::Death { .. } => {}
        }
    }

    /// The board is in another boot than was known.
    fn adopt_boot(&mut self, board: BoardId, boot: u32, out: &mut Vec<Effect>) {
        let now = self.now.boot;
        let state = &mut self.boards[board.index()];
        // A board that was known before has counted its hands from zero since its reset; of one that was never heard
        // nobody knows which of its hands are news.
        let before = state.boot;
        let known_before = before.is_some_and(|known| known != boot);
        state.part_from_former(boot);
        state.boot = Some(boot);
        state.beat = 0;
        state.found_late = None;
        state.forget_leases();
        self.forget_runs(board);
        let state = &mut self.boards[board.index()];
        state.contacts.iter_mut().for_each(|contact| contact.reboot(before, boot, now));
        if known_before {
            self.count_restart(board, out);
        }
        if before.is_none() {
            return;
        }
        for port in self.index.clone().ports_of_board[board.index()].iter() {
            self.ports[port.index()].count = None;
        }
    }

    /// What a board was ordered to start before its reset may have started without a word, once by each order of it that is
    /// under way, and once more by what repeats the last of them where its lease was over by then; and nothing is on now.
    fn forget_runs(&mut self, board: BoardId) {
        let now = self.now.boot;
        let (house, index) = (self.house.clone(), self.index.clone());
        let (definition, obeyed_at) = (house.board(board), self.boards[board.index()].obeyed_at);
        let ran_out = definition.foreign.is_none() && definition.lease.is_some_and(|lease| obeyed_at + lease <= now);
        let fallback = self.told_fallback(board);
        for ((relay, load), fallback) in index.relays(board).zip(&fallback.relays) {
            let runs = load.is_some_and(|load| house.load(load).energised(State::On));
            // What was reported on may have gone with its lease, and come back, unless it falls back on.
            let ran_out = ran_out && fallback.word.energised() != Some(runs);
            let contact = self.contact_mut(relay);
            let may_have_been_off = contact.last_reported != Some(runs) || ran_out || contact.may_have_lapsed();
            let once = may_have_been_off && contact.said_in[usize::from(runs)] > contact.taken;
            let each = contact.under_way(runs) + u32::from(ran_out && contact.is_repeated_under_way(runs));
            contact.runs.started(now.into(), each.max(u32::from(once)));
            if load.is_some() {
                // Its reset opened it: to close it once more takes its turn.
                contact.wish = None;
            }
        }
    }

    /// Contacts may have moved before a board started; it repeats them between its birth and its first report.
    fn forget_contacts(&mut self, board: BoardId) {
        for port in self.index.clone().ports_of_board[board.index()].iter() {
            self.ports[port.index()].aside = None;
            self.set_contact(*port, None);
        }
    }

    /// The same where no birth was heard of the boot that follows `before`. The report may be a late one of a board that is
    /// gone, and the one that is there repeats nothing once it is believed again.
    fn put_contacts_aside(&mut self, board: BoardId, before: Option<u32>) {
        for port in self.index.clone().ports_of_board[board.index()].iter() {
            let state = &mut self.ports[port.index()];
            state.aside = before.zip(state.state).or(state.aside);
            self.set_contact(*port, None);
        }
    }

    /// A board is believed again to be in a boot of before: what it told of its contacts in it counts again.
    fn take_contacts_back(&mut self, board: BoardId, boot: u32) {
        for port in self.index.clone().ports_of_board[board.index()].iter() {
            let state = &mut self.ports[port.index()];
            if let Some((_, known)) = state.aside.take_if(|(before, _)| *before == boot)
                && state.state.is_none()
            {
                self.set_contact(*port, Some(known));
            }
        }
    }

    pub(super) fn touch_loads(&mut self, board: BoardId) {
        let index = self.index.clone();
        for load in index.relays(board).filter_map(|(_, load)| load) {
            self.dirty_loads.insert(load);
            self.dirty_loads.extend(index.peers_of_load[load.index()].iter().copied());
        }
    }

    /// Marks the loads of a board whose contacts may turn over at any moment as to be decided again.
    pub(super) fn touch_loads_in_flight(&mut self, board: BoardId) {
        let index = self.index.clone();
        for (relay, load) in index.relays(board) {
            if self.contact(relay).in_flight() {
                self.dirty_loads.extend(load);
            }
        }
    }

    /// Takes a report: narrows what its contacts may be, finds hands and mismatches, and answers with orders.
    pub(super) fn handle_report(&mut self, board: BoardId, report: &Report, out: &mut Vec<Effect>) {
        if report.relays.len() != self.boards[board.index()].contacts.len() || !self.believes(board, report, out) {
            return;
        }
        let insists = !self.is_news(board, report) && self.insists(board, report);
        if !insists && !self.is_news(board, report) {
            return self.hear_namesake(board, report, out);
        }
        // Its birth may have told already.
        let state = &self.boards[board.index()];
        let rebooted = state.boot.is_some_and(|known| known != report.boot || state.beat == 0);
        let starts_over = insists || (state.boot == Some(report.boot) && state.beat >= report.beat);
        // A board that insists has told of its contacts ever since it connected.
        let announced = insists || state.born == Some(report.boot);
        if state.boot != Some(report.boot) || starts_over {
            let before = state.boot;
            self.adopt_boot(board, report.boot, out);
            if announced {
                self.take_contacts_back(board, report.boot);
            } else {
                self.put_contacts_aside(board, before);
            }
        }
        let lease = self.house.board(board).lease;
        let now = self.now.boot;
        let silence_max = Engine::silence_max(self.house.board(board));
        let state = &mut self.boards[board.index()];
        let ran_out = state.presence != Presence::Present && state.lease_bound <= now && lease.is_some();
        let before = std::mem::replace(&mut state.presence, Presence::Present);
        let found = before != Presence::Present;
        state.beat = report.beat;
        state.born = None;
        state.insistent = None;
        let heard_before = std::mem::replace(&mut state.heard_at, now);
        if state.contacts.first().is_none_or(|contact| report.taken > contact.taken) {
            // They answered no later beat than the one before this.
            state.obeyed_at = heard_before;
        }
        let next_before = state.next_number;
        state.next_number = next_before.max(report.taken.saturating_add(1));
        state.under_way.hear(state.next_number);
        if let Some(lease) = lease {
            state.lease_bound = state.lease_bound.max(lease_end(now, lease));
        }
        self.due_boards.insert(board);
        self.boot_timers.set_lazily(Timer::BoardLost(board), now + silence_max);
        self.boot_timers.clear(Timer::LeaseOut(board));
        if found {
            self.handle_found(board, out);
        } else if rebooted {
            self.stagger_loads(board);
        }
        if ran_out {
            let state = &mut self.boards[board.index()];
            state.found_late = Some(state.next_number);
        }
        self.follow_leases(board, report);
        let absence = self.absence(board, report, before, next_before);
        let index = self.index.clone();
        for ((relay, load), said) in index.relays(board).zip(&report.relays) {
            let heard = self.contact_mut(relay).hear(said, report.taken, now);
            self.take_contact(relay, load, heard, Return { found, rebooted, ran_out, heard_before, absence }, out);
            if before == Presence::Unheard {
                self.forget_stored_cause(relay);
            }
        }
        let state = &mut self.boards[board.index()];
        state.own_from = state.own_from.filter(|own| report.taken < *own);
        state.untimed &= state.own_from.is_some();
        self.tell_words_held_back(board, out);
        self.touch_loads(board);
        self.compare_memories(board, next_before, report.taken, out);
    }
}
