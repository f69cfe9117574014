//! What a load should be doing: its array of slots, the dwell of its contact, settling after a start, and the stagger. It
//! never asks whether the load obeys.

use super::boards::Presence;
use super::slots::{RuleSlots, SLOT_DWELL, SLOT_HOLD, SLOT_LIMIT, SLOT_TRIP, SLOT_WITHDRAWN, Verdict};
use super::timers::Timer;
use super::{Effect, Engine};
use crate::house::{CircuitId, Drive, InterlockId, LoadId, RotationId, State};
use crate::units::BootTime;

/// What is known of a load.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct LoadState {
    /// Why it is withdrawn, if it is.
    pub withdrawn: Option<String>,
    pub hold: Option<super::hold::Hold>,
    /// The hold was made since the start: it does not wait for settling, for no button may be dead. One from before does.
    pub held_since_start: bool,
    pub slots: RuleSlots,
    /// Since a start, what its rules need is known or has been waited for long enough.
    pub settled: bool,
    /// When it has been waited for long enough.
    pub settle_by: Option<BootTime>,
    /// Its next closing waits for its turn: the first one after a start or a reconnect.
    pub staggered: bool,
    pub decision: Option<Decision>,
    /// What it claimed last from those that it shares something with.
    pub claim: Option<super::peers::Claim>,
    /// Of a member of a rotation, what that saw of it last.
    pub look: super::rotation::Look,
    /// Of a load with pulses, what its last one was for.
    pub pulsed: super::pulses::Pulsed,
    /// What was published of it last.
    pub published: Option<super::publish::Published>,
}

/// What is wanted of a load, and what decides.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Decision {
    pub state: State,
    pub by: Decider,
}

/// What decides.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Decider {
    Withdrawn,
    Trip,
    /// Until then.
    Dwell(BootTime),
    /// Until it is known what earlier orders did that are still under way: no order is safe but none.
    Still,
    Hold,
    Settling,
    Rules(u8),
    Resting,
    Stagger,
    /// The same while an earlier order is under way: no order is safe but none.
    StaggerStill,
    MaxOn,
    MaxStarts,
    Circuit(CircuitId),
    Interlock(InterlockId),
    /// The same while it may be within its min on: no order is safe but none.
    InterlockStill(InterlockId),
    /// What its rotation demands of a member, with the slot that decides the rotation.
    Rotation(RotationId, Option<u8>),
}

impl Decider {
    /// Whether there is to be no order at all, for what is under way.
    pub(super) fn is_still(self) -> bool {
        matches!(self, Decider::Still | Decider::StaggerStill | Decider::InterlockStill(_))
    }
}

/// What min on and min off leave open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Dwell {
    /// Either state.
    Free,
    /// This state until then.
    Keep(State, BootTime),
    /// What was said last, or no order until what is under way is confirmed.
    Said(State),
    /// No order until then. The contact changed since an order went out that would turn it over, and must stay. To repeat
    /// that order would turn it over; to order the state that is reported would turn it back if the earlier order came
    /// first. Orders without a word for the relay kill the earlier ones and move nothing.
    Still(State),
}

impl Engine {
    /// What the ordinary rules of a load demand, or its resting state.
    pub(super) fn rules_demand(&self, load: LoadId) -> Verdict {
        let definition = self.house.load(load);
        if let Some(verdict) = self.duty_verdict(load) {
            return verdict;
        }
        self.loads[load.index()]
            .slots
            .ordinary(definition.safe)
            .map_or(Verdict { state: definition.resting, known: true }, |(_, verdict)| verdict)
    }

    /// What slot 2 of a load says by its own rules.
    pub(super) fn trip_of(&self, load: LoadId) -> Option<Verdict> {
        let (state, safe) = (&self.loads[load.index()], self.house.load(load).safe);
        if state.settled {
            state.slots.trip().verdict(safe)
        } else {
            // At a start an unknown trip waits like the ordinary rules; a known one acts at once.
            state.slots.trip().known_verdict(safe)
        }
    }

    /// The array of slots, lowest number first. Slot 6 is asked only `with_dwell`, and named only where it makes a
    /// difference: a fan that its rule has just switched on is on because of the rule, not because of its min on.
    pub(super) fn resolve(&self, load: LoadId, with_dwell: bool) -> Decision {
        let state = &self.loads[load.index()];
        let decided = |state, by| Decision { state, by };
        if state.withdrawn.is_some() {
            return decided(State::Off, Decider::Withdrawn);
        }
        if let Some(duty) = self.duty_withdrawn(load) {
            return duty;
        }
        if let Some(tripped) = self.trip_or_duty(load, self.trip_of(load)) {
            return tripped;
        }
        if let Some((by, _)) = self.limited(load) {
            return decided(State::Off, by);
        }
        let wish = self.resolve_below_dwell(load);
        match self.dwell(load) {
            Dwell::Still(reported) if with_dwell => decided(reported, Decider::Still),
            Dwell::Said(said) if with_dwell && said != wish.state => decided(said, Decider::Still),
            Dwell::Keep(kept, until) if with_dwell && kept != wish.state => decided(kept, Decider::Dwell(until)),
            _ => wish,
        }
    }

    /// The slots from that of holds on.
    fn resolve_below_dwell(&self, load: LoadId) -> Decision {
        let definition = self.house.load(load);
        let state = &self.loads[load.index()];
        let decided = |state, by| Decision { state, by };
        let waits_for_none = state.settled || (state.hold.is_some() && state.held_since_start);
        if !waits_for_none && let Some(reported) = self.reported(load) {
            return decided(reported, Decider::Settling);
        }
        if !waits_for_none && definition.is_driven_by_runs() {
            // How it stands is not known, and it is not driven on a guess.
            return decided(definition.safe, Decider::Settling);
        }
        if let Some(hold) = &state.hold {
            return decided(hold.state, Decider::Hold);
        }
        if let Some(duty) = self.duty(load) {
            return duty;
        }
        match state.slots.ordinary(definition.safe) {
            Some((slot, verdict)) => decided(verdict.state, Decider::Rules(slot)),
            None => decided(definition.resting, Decider::Resting),
        }
    }

    /// What is wanted of a load, whatever its dwell keeps it at.
    pub(super) fn wanted_now(&self, load: LoadId) -> State {
        self.resolve(load, false).state
    }

    /// What a load's board last reported of it, while the board is heard; of an actuator, the end at which it stands; of a
    /// load with pulses, what its last one was for, or what its feedback says.
    pub(super) fn reported(&self, load: LoadId) -> Option<State> {
        let definition = self.house.load(load);
        if let Drive::Rotation(_) = definition.drive {
            return self.known_state(load);
        }
        if let Drive::Actuator(id) = definition.drive {
            let is_heard = self.presence(self.house.actuator(id).open.board) == Presence::Present;
            return self.stands(id).filter(|_| is_heard);
        }
        if let Some(pulse) = definition.pulse {
            return self.pulsed_state(load, pulse);
        }
        self.contact_of(load)?.reported.map(|energised| definition.state(energised))
    }

    /// What min on and min off leave open for a load's contact.
    pub(super) fn dwell(&self, load: LoadId) -> Dwell {
        let definition = self.house.load(load);
        let Some(contact) = self.contact_of(load).filter(|_| definition.pulse.is_none()) else { return Dwell::Free };
        let Some(energised) = contact.reported else { return Dwell::Free };
        let least = |state| if state == State::On { definition.min_on } else { definition.min_off };
        let reported = definition.state(energised);
        let until = contact.changed_latest.after(least(reported));
        let runs = until > self.now.boot;
        if !contact.in_flight() || (runs && least(reported.opposite()).is_zero()) {
            return if runs { Dwell::Keep(reported, until) } else { Dwell::Free };
        }
        if runs {
            return Dwell::Still(reported);
        }
        // Orders to and fro are under way, so it may have begun anew what it was reported to be, a moment ago.
        if contact.turned_over.is_some() && !least(reported).is_zero() {
            return Dwell::Still(reported);
        }
        // It may turn over at any moment, and from nobody knows when on. What was said last may be said again if that is
        // what it would turn over to.
        let said = definition.state(contact.said.unwrap_or(energised));
        if least(State::On).is_zero() && least(State::Off).is_zero() {
            Dwell::Free
        } else if said == reported {
            Dwell::Still(reported)
        } else if least(said).is_zero() {
            Dwell::Free
        } else {
            Dwell::Said(said)
        }
    }

    /// When the min on or min off of the state that a load is reported in is over.
    fn dwell_end(&self, load: LoadId) -> Option<BootTime> {
        let (definition, contact) = (self.house.load(load), self.contact_of(load)?);
        let least = match definition.state(contact.reported?) {
            State::On => definition.min_on,
            State::Off => definition.min_off,
        };
        Some(contact.changed_latest.after(least))
    }

    /// Whether everything that a load's rules ask for is known.
    fn is_informed(&self, load: LoadId) -> bool {
        self.index.sensors_of_load[load.index()].iter().all(|sensor| self.known_reading(*sensor).is_some())
            && self.index.ports_of_load[load.index()].iter().all(|port| self.known_contact(*port).is_some())
            && self.index.watched_of_load[load.index()].iter().all(|load| self.known_state(*load).is_some())
            && (self.now.trusted || !self.index.asks_clock[load.index()])
    }

    /// Whether a load has settled since the start; decides it on the way.
    fn settle(&mut self, load: LoadId) {
        let state = &self.loads[load.index()];
        if state.settled {
            return;
        }
        let waited = state.settle_by.is_some_and(|by| by <= self.now.boot);
        if waited || self.is_informed(load) {
            self.loads[load.index()].settled = true;
            self.settled_on_foreign(load);
            // What it waited for was heard this moment, and the conditions that ask it may not have followed yet.
            for watched in &self.index.clone().watched_of_load[load.index()] {
                self.follow_load(*watched);
            }
            for rule in &self.index.clone().rules_of_load[load.index()] {
                self.follow_rule(*rule);
            }
        }
    }

    /// Decides a load again and wants the orders that follow.
    pub(super) fn decide(&mut self, load: LoadId, out: &mut Vec<Effect>) {
        self.settle(load);
        self.end_overruled_hold(load, out);
        self.follow_proof(load, out);
        self.follow_runs(load);
        let array = self.resolve(load, true);
        let (passed, again) = self.pass_groups(load, array);
        let (decision, turn) = self.take_turn(load, passed);
        if self.closes(load, decision) {
            self.take_circuit_turns(load);
        }
        let (changed, driven) = self.carry_out(load, decision, out);
        let turn = [again, turn, driven].into_iter().flatten().min();
        let claim = self.claim_of(load);
        if self.loads[load.index()].claim.replace(claim) != Some(claim) || changed {
            self.touch_peers(load);
        }
        self.turn_rotation(load, decision, out);
        self.loads[load.index()].decision = Some(decision);
        self.tell_rotation(load);
        self.set_decide_timer(load, array, turn);
        self.due_loads.insert(load);
        self.follow_load(load);
    }

    /// Wants the orders for what is decided; returns whether an ordinary relay is wanted otherwise than before, and when to
    /// look again.
    fn carry_out(&mut self, load: LoadId, decision: Decision, out: &mut Vec<Effect>) -> (bool, Option<BootTime>) {
        let house = self.house.clone();
        let definition = house.load(load);
        let relay = match (definition.drive, definition.pulse) {
            (Drive::Actuator(id), _) => return (false, self.drive(id, decision, out)),
            (Drive::Relay(relay), Some(pulse)) => return (false, self.pulse(load, relay, pulse, decision, out)),
            (Drive::Relay(relay), None) => relay,
            (Drive::Rotation(_), _) => return (false, None),
        };
        // A board that is not heard is ordered nothing; what was wanted of it before it was lost is decided anew.
        let is_heard = self.takes_orders(relay.board);
        let wish = (is_heard && !decision.by.is_still()).then(|| definition.energised(decision.state));
        let changed = self.contact(relay).wish != wish;
        if changed {
            self.contact_mut(relay).wish = wish;
            self.due_boards.insert(relay.board);
        }
        (changed, None)
    }

    /// The gates below and beside the array: circuits and interlocks.
    fn pass_groups(&self, load: LoadId, array: Decision) -> (Decision, Option<BootTime>) {
        let (decision, again) = self.pass_circuits(load, array);
        let (decision, clear) = self.pass_interlocks(load, decision);
        (decision, [again, clear].into_iter().flatten().min())
    }

    /// Whether min on keeps a load on; one that may have closed already may have begun it.
    pub(super) fn keeps_on(&self, load: LoadId) -> bool {
        let definition = self.house.load(load);
        let may_have_closed = self.contact_of(load).is_some_and(|contact| {
            // A safety trip may have sent it over its min off.
            contact.in_flight() && contact.said == Some(definition.energised(State::On)) && definition.pulse.is_none()
        });
        (may_have_closed && !definition.min_on.is_zero())
            || matches!(self.dwell(load), Dwell::Keep(State::On, _) | Dwell::Still(State::On) | Dwell::Said(State::On))
    }

    fn set_decide_timer(&mut self, load: LoadId, array: Decision, turn: Option<BootTime>) {
        let state = &self.loads[load.index()];
        let settle_by = state.settle_by.filter(|_| !state.settled);
        let dwell_until = match array.by {
            Decider::Dwell(until) => Some(until),
            Decider::Still => self.dwell_end(load),
            _ => None,
        };
        let rested = self.rest_end(load);
        let (limit, cut) = (self.limited(load).and_then(|(_, again)| again), self.max_on_end(load));
        let now = self.now.boot;
        let proof = self.proof_due(load);
        let gives_way = self.may_give_way_at(load);
        match [settle_by, dwell_until, turn, limit, cut, rested, proof, gives_way]
            .into_iter()
            .flatten()
            .filter(|due| *due > now)
            .min()
        {
            Some(due) => self.boot_timers.set(Timer::Decide(load), due),
            None => self.boot_timers.clear(Timer::Decide(load)),
        }
    }

    /// When min on no longer keeps a load on beside others of an interlock or a circuit, who may be waiting for that.
    fn may_give_way_at(&self, load: LoadId) -> Option<BootTime> {
        let shares = !self.index.peers_of_load[load.index()].is_empty();
        match self.dwell(load) {
            Dwell::Keep(State::On, until) if shares => Some(until),
            _ => None,
        }
    }

    /// What a load was last told: by orders, of an actuator by the run that is under way or was the last.
    pub(super) fn ordered(&self, load: LoadId) -> Option<State> {
        let definition = self.house.load(load);
        match definition.drive {
            Drive::Actuator(id) => self.run_of(id).map(|run| run.to).or(self.travels[id.index()].served),
            _ if definition.pulse.is_some() => Some(self.loads[load.index()].pulsed.last),
            _ => self.contact_of(load)?.said.map(|energised| definition.state(energised)),
        }
    }

    /// The run of an actuator that is under way.
    pub(super) fn run_of_load(&self, load: LoadId) -> Option<super::travel::Run> {
        match self.house.load(load).drive {
            Drive::Actuator(id) => self.run_of(id),
            Drive::Relay(_) | Drive::Rotation(_) => None,
        }
    }

    /// The slot that decides a load, where one does.
    pub(super) fn deciding_slot(by: Decider) -> Option<u8> {
        match by {
            Decider::Withdrawn => Some(SLOT_WITHDRAWN),
            Decider::Trip => Some(SLOT_TRIP),
            Decider::Dwell(_) | Decider::Still => Some(SLOT_DWELL),
            Decider::Hold => Some(SLOT_HOLD),
            Decider::Rules(slot) => Some(slot),
            Decider::Rotation(_, slot) => slot,
            Decider::MaxOn | Decider::MaxStarts | Decider::Circuit(_) => Some(SLOT_LIMIT),
            Decider::Settling
            | Decider::Resting
            | Decider::Stagger
            | Decider::StaggerStill
            | Decider::Interlock(_)
            | Decider::InterlockStill(_) => None,
        }
    }
}
