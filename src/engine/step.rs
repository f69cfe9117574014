//! One step: time, what is due, the event, and what follows from it. It never loops without bound: every timer fires at
//! most once in a step.

use std::collections::BTreeSet;

use super::timers::{Timer, WallTimer};
use super::{Deadline, Effect, Engine, Event, JournalEntry, JournalRow, Now};
use crate::house::{Drive, LoadId, RuleId};
use crate::units::{Span, WallTime};

/// How often a step goes from rules to orders. The first time for what happened, the next for conditions about other
/// loads and about alarms that were raised meanwhile; what is left then is looked at with the next step.
const PASSES_MAX: usize = 8;

/// So often on average each load is decided at most in one go.
const DECISIONS_MAX: usize = 32;
/// What is left of a circle is looked at again after this long.
const AGAIN: Span = Span::from_s(1);

/// What the wall clock says beyond this, against the time that passed, is a step and no drift.
const STEP_MIN_MS: u64 = 1_000;

impl Engine {
    /// Takes what happened at `now` and appends what is to be done to `out`, in order.
    ///
    /// Boot time that goes back is taken as standing still.
    pub fn step(&mut self, now: Now, event: Event, out: &mut Vec<Effect>) {
        self.set_time(now);
        // Where nobody asked for it before.
        out.extend(self.reserve().into_iter().map(|(board, through)| Effect::ReserveOrders { board, through }));
        self.fire_due(out);
        let ordered = if let Event::Hand(hand) = &event { self.ordered_by_hand(&hand.order) } else { None };
        let first = out.len();
        self.handle(event, out);
        self.carry_through(out);
        if let Some(ordered) = ordered {
            self.say_what_follows(ordered, &mut out[first..]);
        }
        self.ask_for_blocks(out);
        if std::mem::take(&mut self.save) {
            out.push(Effect::Save);
        }
    }

    /// When it wants to be stepped again, even if nothing happens.
    pub fn next_deadline(&self) -> Deadline {
        Deadline { boot: self.boot_timers.next(), wall: self.wall_timers.next().filter(|_| self.now.trusted) }
    }

    fn set_time(&mut self, now: Now) {
        let before = self.now;
        self.now = Now { boot: now.boot.max(before.boot), ..now };
        // How long a restart of the machine takes is told by this clock, so what is stored has to go by it as it is now.
        let passed = self.now.boot.since(before.boot);
        self.save |= now.trusted && now.wall.0.abs_diff((before.wall + passed).0) > STEP_MIN_MS;
        // Forward steps are found by the timers; windows are computed from where the clock now stands, never replayed.
        if now.wall < before.wall || now.trusted != before.trusted {
            self.follow_all_clocks();
            self.set_wall_ends_of_holds();
            self.set_wall_ends_of_modes();
        }
    }

    fn set_wall_ends_of_holds(&mut self) {
        for (number, load) in self.loads.iter().enumerate() {
            if let Some(end) = load.hold.as_ref().and_then(|hold| hold.wall_end) {
                self.wall_timers.set(WallTimer::HoldOver(LoadId(number as u32)), end);
            }
        }
    }

    fn fire_due(&mut self, out: &mut Vec<Effect>) {
        while let Some((timer, due)) = self.boot_timers.pop_due(self.now.boot) {
            match timer {
                Timer::BoardLost(board) => self.handle_board_silent(board, due, out),
                Timer::LeaseOut(board) => self.handle_lease_out(board),
                Timer::Foreign(board) => self.handle_foreign_due(board, out),
                Timer::Numbers(board) => self.let_orders_go(board),
                Timer::Stale(sensor) => self.handle_silent_sensor(sensor, due, out),
                // The condition has held all the while, or the delay would have ended before.
                Timer::Delay(rule) => self.touch_rule(rule),
                Timer::HoldOver(load) => self.handle_hold_over(load, out),
                Timer::SelectorOver(selector) => self.handle_selector_over(selector, out),
                Timer::SetpointOver(setpoint) => self.handle_setpoint_over(setpoint, out),
                Timer::StoreTimes => self.store_times(),
                Timer::BoardCalm(board) => self.handle_board_calm(board, out),
                Timer::NamesakeGone(board) => self.handle_namesake_gone(board, out),
                Timer::LoadCalm(load) => self.handle_load_calm(load, out),
                Timer::Decide(load) => {
                    self.dirty_loads.insert(load);
                }
            }
        }
        while self.now.trusted {
            let Some((timer, _)) = self.wall_timers.pop_due(self.now.wall) else { break };
            match timer {
                WallTimer::Boundary(atom) => self.follow_clock(atom),
                WallTimer::HoldOver(load) => self.handle_hold_over(load, out),
                WallTimer::SelectorOver(selector) => self.handle_selector_over(selector, out),
                WallTimer::SetpointOver(setpoint) => self.handle_setpoint_over(setpoint, out),
            }
        }
    }

    fn handle(&mut self, event: Event, out: &mut Vec<Effect>) {
        match event {
            Event::Woken => {}
            Event::LinkUp => self.handle_link_up(out),
            Event::LinkDown => self.link = false,
            Event::Life { board, life } => self.handle_life(board, &life, out),
            Event::Report { board, report } => self.handle_report(board, &report, out),
            Event::Foreign { board, word } => self.handle_foreign(board, &word, out),
            Event::Reading { sensor, value } => self.handle_reading(sensor, value, out),
            Event::ReadingRefused { sensor } => self.handle_refused_reading(sensor, out),
            Event::Input { port, word } => self.handle_input(port, &word, out),
            Event::Hand(hand) => self.handle_hand(hand, out),
            Event::Reserved { board, through } => {
                self.take_block(board, through);
                self.follow_numbers(board, through, out);
            }
            Event::Alarm { id, text: Some(text) } => self.raise_alarm(id, text, out),
            Event::Alarm { id, text: None } => self.clear_alarm(&id, out),
        }
    }

    /// From atoms to rules to loads to orders.
    pub(super) fn carry_through(&mut self, out: &mut Vec<Effect>) {
        self.say_unsaid(out);
        for _ in 0..PASSES_MAX {
            self.follow_and_decide(out);
            if self.dirty_rules.is_empty() {
                self.send_due_orders(out);
            }
            // What a load does, or an alarm that was raised on the way, may have let a condition speak; and an order to a
            // board that cannot report tells at once what is assumed, which may free or bind others.
            if self.dirty_rules.is_empty() && self.dirty_loads.is_empty() {
                break;
            }
        }
        self.send_due_orders(out);
        while let Some(load) = self.due_loads.pop_first() {
            self.publish_if_changed(load, out);
        }
    }

    fn follow_and_decide(&mut self, out: &mut Vec<Effect>) {
        while let Some(rule) = self.dirty_rules.pop_first() {
            self.follow_rule(rule);
        }
        self.tell_of_trips(out);
        self.decide_dirty(out);
        // What is under way bears on every further order, also one that another relay of the board is the reason for.
        let mut looked_at = BTreeSet::new();
        while let Some(board) = self.due_boards.difference(&looked_at).next().copied() {
            looked_at.insert(board);
            self.touch_loads_in_flight(board);
            self.decide_dirty(out);
        }
        // A load that settled in this step may have let a trip speak.
        self.tell_of_trips(out);
    }

    /// The next load to be decided. A rotation comes before its members, which do what it comes to, and then those of a trip,
    /// which waits for nobody: the others take their turns after them. Those that work by pulses or runs come last, once every
    /// rule has spoken: what is wanted of them only for a moment within a step calls for none.
    fn take_dirty(&mut self) -> Option<LoadId> {
        let have_spoken = self.dirty_rules.is_empty();
        let is_driven = |load: LoadId| self.house.load(load).is_driven_by_runs();
        let is_rotation = |load: LoadId| matches!(self.house.load(load).drive, Drive::Rotation(_));
        let rank = |load: &LoadId| (is_driven(*load), !is_rotation(*load), self.trip_of(*load).is_none());
        let ready = self.dirty_loads.iter().copied().filter(|load| have_spoken || !is_driven(*load));
        let load = ready.min_by_key(rank)?;
        self.dirty_loads.remove(&load);
        Some(load)
    }

    fn decide_dirty(&mut self, out: &mut Vec<Effect>) {
        let most = DECISIONS_MAX * (self.loads.len() + 1);
        for _ in 0..most {
            let Some(load) = self.take_dirty() else { return };
            self.decide(load, out);
        }
        // Loads that send each other round in a circle are a fault of this program; nobody else may wait for them.
        debug_assert!(self.dirty_loads.is_empty(), "loads are decided in a circle: {:?}", self.dirty_loads);
        for load in std::mem::take(&mut self.dirty_loads) {
            tracing::error!(
                load = self.house.load(load).name,
                "a fault of this program: decided in a circle, tried again"
            );
            self.boot_timers.set(Timer::Decide(load), self.now.boot + AGAIN);
        }
    }

    /// Marks a rule as to be looked at again in this step.
    pub(super) fn touch_rule(&mut self, rule: RuleId) {
        self.dirty_rules.insert(rule);
    }

    pub(super) fn record(&self, at: WallTime, entry: JournalEntry, out: &mut Vec<Effect>) {
        out.push(Effect::Record(JournalRow { at, trusted: self.now.trusted, entry }));
    }
}
