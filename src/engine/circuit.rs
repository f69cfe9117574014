//! Circuits: what may be on together on one supply. It counts what may be on, sheds the weaker to make room for the
//! stronger, and lets the newcomer close only once there is room. It never counts on an order having been obeyed.

use std::cmp::Reverse;

use super::Engine;
use super::decide::{Decider, Decision};
use super::peers::Claim;
use crate::house::{Circuit, LoadId, State};
use crate::units::BootTime;

/// Slots 1 and 2 are not bound by a circuit's limit.
const UNBOUND: u8 = 2;

/// Slot and place in `shed`: what is greater is weaker.
type Weakness = (u8, Reverse<usize>);

/// Nobody is stronger.
const STRONGEST: Weakness = (0, Reverse(usize::MAX));

/// A member as the limit sees it.
struct Member {
    load: LoadId,
    watts: f64,
    claim: Claim,
    may_be_on: bool,
    /// It is on by its contact, so that an order can open it.
    can_open: bool,
    /// Its min on still runs.
    dwells: bool,
    /// Its place in `shed`, later is stronger; those that are not named are the strongest.
    rank: usize,
    is_shed: bool,
}

impl Member {
    /// The weaker has the higher value: what a newcomer may outrank.
    fn weakness(&self) -> Weakness {
        (self.claim.slot, Reverse(self.rank))
    }
}

impl Engine {
    /// What the circuits leave of a decision, and when to look again.
    pub(super) fn pass_circuits(&self, load: LoadId, array: Decision) -> (Decision, Option<BootTime>) {
        let slot = Engine::deciding_slot(array.by).unwrap_or(u8::MAX);
        if array.state == State::Off || slot <= UNBOUND {
            return (array, None);
        }
        for id in &self.index.circuits_of_load[load.index()] {
            let circuit = &self.house.circuits[id.index()];
            let held = |again| (Decision { state: State::Off, by: Decider::Circuit(*id) }, again);
            if !self.has_room(circuit, load) {
                return held(None);
            }
            let turn = self.next_in_circuit[id.index()];
            if self.closes(load, array) && turn > self.now.boot {
                return held(Some(turn));
            }
        }
        (array, None)
    }

    /// Whether a load closes now, or may, by the order that follows from a decision. One that nothing is ordered takes no turn,
    /// and needs none: its board is not heard, or what is under way is waited for.
    pub(super) fn closes(&self, load: LoadId, decision: Decision) -> bool {
        let Some(relay) = self.house.load(load).relay() else { return false };
        if decision.state == State::Off || decision.by.is_still() || !self.takes_orders(relay.board) {
            return false;
        }
        let is_ordered = self.contact(relay).wish == Some(self.house.load(load).energised(State::On));
        !is_ordered && !self.is_surely_on(load)
    }

    /// A load closes now: the next in its circuits waits for the stagger.
    pub(super) fn take_circuit_turns(&mut self, load: LoadId) {
        let index = self.index.clone();
        for id in &index.circuits_of_load[load.index()] {
            self.next_in_circuit[id.index()] = self.now.boot + self.house.circuits[id.index()].stagger;
        }
    }

    /// Whether a load may be on as far as the limit goes: it is on and is not shed, or it is off and there is room.
    fn has_room(&self, circuit: &Circuit, load: LoadId) -> bool {
        let mut members: Vec<Member> = circuit.loads.iter().map(|load| self.member(circuit, *load)).collect();
        let limit = circuit.limit.0;
        let sum = |members: &[Member]| -> f64 { members.iter().filter(|m| m.may_be_on).map(|m| m.watts).sum() };
        // Too much may be on already, by hands or fallbacks: the weakest that only rules want go first.
        let excess = sum(&members) - limit;
        shed(&mut members, excess, STRONGEST);
        let mut newcomers: Vec<usize> =
            (0..members.len()).filter(|at| !members[*at].can_open && members[*at].claim.state == State::On).collect();
        newcomers.sort_by_key(|at| (members[*at].weakness(), *at));
        let (mut promised, mut is_one_left_out) = (0.0, false);
        for at in newcomers {
            let (weakness, wants) = (members[at].weakness(), members[at].load);
            // One that is shown to run with its contact open counts already. Once closed, it would be shed for a stronger one that
            // finds no room now, and so be decided in a circle.
            let counts_already = members[at].may_be_on;
            let watts = if counts_already { 0.0 } else { members[at].watts };
            let staying: f64 =
                members.iter().filter(|m| m.may_be_on && !m.is_shed).map(|m| m.watts).sum::<f64>() + promised;
            let fits_once_shed = staying + watts <= limit || {
                let missing = staying + watts - limit;
                can_shed(&members, missing, weakness) && {
                    shed(&mut members, missing, weakness);
                    true
                }
            };
            let fits_once_shed = fits_once_shed && !(counts_already && is_one_left_out);
            is_one_left_out |= !fits_once_shed;
            if fits_once_shed {
                // Its room is kept for it, so that no weaker one slips in while the shed one opens.
                promised += watts;
            }
            if wants == load {
                return fits_once_shed && sum(&members) + promised <= limit;
            }
        }
        // One that may have to close once more may not do so beside what came on meanwhile, which opens in its own time.
        let is_on = self.surely_stays_on(load);
        members.iter().any(|member| member.load == load && member.can_open && !member.is_shed)
            && (is_on || sum(&members) <= limit)
    }

    fn member(&self, circuit: &Circuit, load: LoadId) -> Member {
        let place = circuit.shed.iter().position(|shed| *shed == load);
        Member {
            load,
            watts: self.house.load(load).power.map_or(0.0, |power| power.0),
            claim: self.claim_of(load),
            may_be_on: self.may_be_on(load),
            can_open: self.contact_may_be_on(load),
            dwells: self.keeps_on(load),
            rank: place.unwrap_or(usize::MAX),
            is_shed: false,
        }
    }
}

/// What may be shed for somebody: members that are on by rules of a higher slot number, or of the same and earlier in
/// `shed`; those past their min on first, then the weakest.
fn candidates(members: &[Member], newcomer: Weakness) -> Vec<usize> {
    let mut found: Vec<usize> = (0..members.len())
        .filter(|at| {
            let member = &members[*at];
            member.may_be_on
                && member.can_open
                && !member.is_shed
                && member.claim.slot > UNBOUND
                && member.weakness() > newcomer
        })
        .collect();
    found.sort_by_key(|at| (members[*at].dwells, Reverse(members[*at].weakness()), *at));
    found
}

fn can_shed(members: &[Member], missing: f64, newcomer: Weakness) -> bool {
    candidates(members, newcomer).iter().map(|at| members[*at].watts).sum::<f64>() >= missing
}

fn shed(members: &mut [Member], mut missing: f64, newcomer: Weakness) {
    for at in candidates(members, newcomer) {
        if missing <= 0.0 {
            break;
        }
        members[at].is_shed = true;
        missing -= members[at].watts;
    }
}
