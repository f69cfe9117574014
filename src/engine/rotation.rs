//! Rotation: two loads that do one job. It passes what is wanted of the rotation on to the one that leads, by hours run, and
//! to the other when the first cannot do it. It never swaps them in the middle of a run while the one that runs can do it.
//!
//! What the rotation demands fills the slot of its member that decides the rotation: on for the one that has the job, off
//! for the other. So a member's own withdrawal, trips and limits stand above it or below it as for any load; a hold on the
//! member itself, in the same slot as one on the rotation, goes first.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::boards::Presence;
use super::decide::{Decider, Decision};
use super::slots::{SLOT_TRIP, SLOT_WITHDRAWN, Verdict};
use super::{Effect, Engine, Unproved};
use crate::house::{Drive, LoadId, Rotation, RotationId, State};
use crate::units::Span;

/// Why a member of a rotation cannot do the job.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unfit {
    /// It is withdrawn.
    Withdrawn,
    /// A safety trip keeps it off.
    Tripped,
    /// It is held off by hand.
    HeldOff,
    /// It did not prove on.
    Unproved,
    /// Its board is not heard.
    BoardLost,
    /// Max on ended its run, and it rests.
    MaxOn,
    /// It started as often as it may.
    MaxStarts,
}

/// How the two members of a rotation share its job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RotationView {
    /// The rotation.
    pub rotation: String,
    /// The member that has the job.
    pub runner: String,
    /// The other one.
    pub other: String,
    /// For how long the one that has the job was on so far.
    pub runner_hours: Span,
    /// The same of the other one.
    pub other_hours: Span,
    /// Why the one that has the job took over from the other.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub took_over: Option<Unfit>,
    /// Why the one that has the job cannot do it either.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unfit: Option<Unfit>,
    /// The one that has the job waits until the other is surely off.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub waits: bool,
}

/// Which of two does the job; members by their place in the list.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Duty {
    /// By hours run.
    lead: usize,
    /// Which one has the job.
    runner: usize,
    /// Why it took over from the one that leads or ran.
    took_over: Option<Unfit>,
}

/// The same by name, as it is kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct DutyMemory {
    lead: String,
    runner: String,
    took_over: Option<Unfit>,
}

/// What a rotation looks at in its members.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Look {
    unfit: Option<Unfit>,
    may_be_on: bool,
    still_runs: bool,
    reported: Option<State>,
}

impl Engine {
    /// The rotation that a load is a member of, with the load's place in it.
    fn membership(&self, load: LoadId) -> Option<(RotationId, usize)> {
        let id = self.index.rotation_of_load[load.index()]?;
        Some((id, usize::from(self.house.rotation(id).loads[1] == load)))
    }

    /// What a load's rotation demands of it.
    pub(super) fn duty(&self, load: LoadId) -> Option<Decision> {
        let (id, place) = self.membership(load)?;
        let rotation = self.house.rotation(id).load;
        let decided = |state, by| Some(Decision { state, by });
        match self.loads[rotation.index()].decision {
            // Until its rotation has settled a member stays as it is.
            None | Some(Decision { by: Decider::Settling, .. }) => {
                decided(self.reported(load).unwrap_or_default(), Decider::Settling)
            }
            Some(decision) => {
                let has_job = self.duties[id.index()].runner == place;
                let other = self.house.rotation(id).loads[1 - place];
                let state = if has_job && !self.still_runs(other) { decision.state } else { State::Off };
                decided(state, Decider::Rotation(id, Engine::deciding_slot(decision.by)))
            }
        }
    }

    /// Whether a member that was told off may still do the job, so that the other one waits for it. One whose contact is
    /// closed and that does not run is not waited for, nor one on a board that nobody hears.
    fn still_runs(&self, member: LoadId) -> bool {
        let board = self.house.load(member).relay().map(|relay| relay.board);
        board.is_some_and(|board| self.presence(board) == Presence::Present)
            && self.unproved(member) != Some(Unproved::On)
            && self.loads[member.index()].hold.as_ref().is_none_or(|hold| hold.state == State::Off)
            && self.contact_may_be_on(member)
    }

    /// What a load's rotation demands of it in slot 1.
    pub(super) fn duty_withdrawn(&self, load: LoadId) -> Option<Decision> {
        self.duty(load).filter(|duty| Engine::deciding_slot(duty.by) == Some(SLOT_WITHDRAWN))
    }

    /// What fills a member's slot 2: a trip of its own, and what its rotation demands because of one. Where they disagree
    /// the safe state wins.
    pub(super) fn trip_or_duty(&self, load: LoadId, trip: Option<Verdict>) -> Option<Decision> {
        let trip = trip.map(|verdict| Decision { state: verdict.state, by: Decider::Trip });
        let duty = self.duty(load).filter(|duty| Engine::deciding_slot(duty.by) == Some(SLOT_TRIP));
        let safe = self.house.load(load).safe;
        match (trip, duty) {
            (Some(trip), Some(duty)) => Some(if duty.state == safe && trip.state != safe { duty } else { trip }),
            (trip, duty) => trip.or(duty),
        }
    }

    /// What the rules come to for a member: the same as for its rotation, if it has the job.
    pub(super) fn duty_verdict(&self, load: LoadId) -> Option<Verdict> {
        let (id, _) = self.membership(load)?;
        let known = self.rules_demand(self.house.rotation(id).load).known;
        // What its rotation comes to is not known before that has been decided.
        self.duty(load).map(|duty| Verdict { state: duty.state, known: known && duty.by != Decider::Settling })
    }

    /// Whether a load is out of service: withdrawn by itself, or with its rotation.
    pub(super) fn out_of_service(&self, load: LoadId) -> bool {
        let rotation = self.membership(load).map(|(id, _)| self.house.rotation(id).load);
        let withdrawn = |load: LoadId| self.loads[load.index()].withdrawn.is_some();
        withdrawn(load) || rotation.is_some_and(withdrawn)
    }

    /// Why a member cannot do the job now.
    fn unfit(&self, member: LoadId) -> Option<Unfit> {
        let definition = self.house.load(member);
        let state = &self.loads[member.index()];
        let board = definition.relay().map(|relay| relay.board);
        if state.withdrawn.is_some() {
            Some(Unfit::Withdrawn)
        } else if state.slots.trip().known_verdict(definition.safe).is_some_and(|trip| trip.state == State::Off) {
            Some(Unfit::Tripped)
        } else if state.hold.as_ref().is_some_and(|hold| hold.state == State::Off) {
            Some(Unfit::HeldOff)
        } else if self.unproved(member) == Some(Unproved::On) {
            Some(Unfit::Unproved)
        } else if board.is_some_and(|board| self.presence(board) == Presence::Lost) {
            Some(Unfit::BoardLost)
        } else {
            self.limited(member).map(|(by, _)| if by == Decider::MaxOn { Unfit::MaxOn } else { Unfit::MaxStarts })
        }
    }

    fn hours_run(&self, member: LoadId) -> Span {
        self.contact_of(member).map_or(Span::ZERO, |contact| contact.hours.run())
    }

    /// Lets a rotation look again when something of a member has changed that it looks at.
    pub(super) fn tell_rotation(&mut self, member: LoadId) {
        let Some((id, _)) = self.membership(member) else { return };
        let look = Look {
            unfit: self.unfit(member),
            may_be_on: self.may_be_on(member),
            still_runs: self.still_runs(member),
            reported: self.reported(member),
        };
        if std::mem::replace(&mut self.loads[member.index()].look, look) != look {
            let rotation = self.house.rotation(id);
            self.dirty_loads.insert(rotation.load);
            self.dirty_loads.extend(rotation.loads.into_iter().filter(|other| *other != member));
        }
    }

    /// Decides which member of a rotation has the job, now that it is decided what is wanted of it.
    pub(super) fn turn_rotation(&mut self, load: LoadId, wanted: Decision, out: &mut Vec<Effect>) {
        let Drive::Rotation(id) = self.house.load(load).drive else { return };
        let members = self.house.rotation(id).loads;
        let unfit = members.map(|member| self.unfit(member));
        let before = self.duties[id.index()];
        let runs = wanted.state == State::On || members.iter().any(|member| self.may_be_on(*member));
        let duty = match wanted.by {
            // Nothing changes hands before it is known what is wanted.
            Decider::Settling => before,
            _ if runs => before.taken_over(unfit),
            _ => self.handed_out(id, before, unfit),
        };
        self.duties[id.index()] = duty;
        let kept = (before.lead, before.runner) == (duty.lead, duty.runner);
        self.save |= !kept;
        if !kept || self.loads[load.index()].decision != Some(wanted) {
            self.dirty_loads.extend(members);
        }
        self.follow_failure(load, id, wanted, unfit, out);
    }

    /// Who has the job of the next run: the one with fewer hours run leads, and gives way if it cannot do it.
    fn handed_out(&self, id: RotationId, before: Duty, unfit: [Option<Unfit>; 2]) -> Duty {
        let rotation = self.house.rotation(id);
        let hours = rotation.loads.map(|member| self.hours_run(member));
        let (lead, other) = (before.lead, 1 - before.lead);
        let is_due = hours[lead] > hours[other] && hours[lead].less(hours[other]) >= rotation.change_after;
        let lead = if is_due { other } else { lead };
        let duty = Duty { lead, runner: lead, took_over: None }.taken_over(unfit);
        if unfit != [Some(Unfit::Unproved); 2] {
            return duty;
        }
        // Neither proved on: each is tried in turn, the one first whose failure lies further back.
        let failed = rotation.loads.map(|member| self.failed_at(member));
        let runner = if failed[1 - lead] < failed[lead] { 1 - lead } else { lead };
        Duty { runner, took_over: (runner != lead).then_some(Unfit::Unproved), ..duty }
    }

    /// Tells a person when neither member can do what is wanted.
    fn follow_failure(
        &mut self,
        load: LoadId,
        id: RotationId,
        wanted: Decision,
        unfit: [Option<Unfit>; 2],
        out: &mut Vec<Effect>,
    ) {
        let name = self.house.load(load).name.clone();
        let alarm = Engine::rotation_alarm(&name);
        let [Some(first), Some(second)] = unfit else { return self.clear_alarm(&alarm, out) };
        if wanted.state == State::Off && !self.alarms.contains_key(&alarm) {
            return;
        }
        let members = self.house.rotation(id).loads.map(|member| self.house.load(member).name.clone());
        let text = format!(
            "rotation {name:?} has nobody to do its job: {} {}, and {} {}",
            members[0],
            first.words(),
            members[1],
            second.words()
        );
        self.raise_alarm(alarm, text, out);
    }

    /// The id of the alarm for a rotation of which no member can do the job.
    pub(super) fn rotation_alarm(name: &str) -> String {
        format!("rotation-{name}")
    }

    /// Which member of a rotation has the job, for what is published.
    pub(super) fn runner(&self, load: LoadId) -> Option<usize> {
        let Drive::Rotation(id) = self.house.load(load).drive else { return None };
        Some(self.duties[id.index()].runner)
    }

    /// How the members of a rotation share the job: of the rotation, or of one of its members.
    pub(super) fn rotation_view(&self, load: LoadId) -> Option<RotationView> {
        let id = match self.house.load(load).drive {
            Drive::Rotation(id) => id,
            _ => self.membership(load)?.0,
        };
        let rotation = self.house.rotation(id);
        let duty = self.duties[id.index()];
        let (runner, other) = (rotation.loads[duty.runner], rotation.loads[1 - duty.runner]);
        let name = |load: LoadId| self.house.load(load).name.clone();
        let decision = self.loads[rotation.load.index()].decision;
        let is_wanted = decision.is_some_and(|by| by.state == State::On && by.by != Decider::Settling);
        Some(RotationView {
            rotation: name(rotation.load),
            runner: name(runner),
            other: name(other),
            runner_hours: self.hours_run(runner),
            other_hours: self.hours_run(other),
            took_over: duty.took_over,
            unfit: self.unfit(runner),
            waits: is_wanted && self.still_runs(other),
        })
    }

    /// Who does the job of each rotation, by name.
    pub(super) fn remember_duties(&self) -> BTreeMap<String, DutyMemory> {
        let remember = |(rotation, duty): (&Rotation, &Duty)| {
            let name = |load: LoadId| self.house.load(load).name.clone();
            let [lead, runner] = [duty.lead, duty.runner].map(|place| name(rotation.loads[place]));
            (name(rotation.load), DutyMemory { lead, runner, took_over: duty.took_over })
        };
        self.house.rotations.iter().zip(&self.duties).map(remember).collect()
    }

    /// The same in another house or after a restart; the first member where one is not there any more.
    pub(super) fn recall_duties(&mut self, memories: &BTreeMap<String, DutyMemory>) {
        let house = self.house.clone();
        for (rotation, duty) in house.rotations.iter().zip(&mut self.duties) {
            let Some(memory) = memories.get(&house.load(rotation.load).name) else { continue };
            let place = |name: &str| rotation.loads.iter().position(|member| house.load(*member).name == name);
            if let (Some(lead), Some(runner)) = (place(&memory.lead), place(&memory.runner)) {
                *duty = Duty { lead, runner, took_over: memory.took_over };
            }
        }
    }
}

impl Duty {
    /// The same, unless the one that has the job cannot do it and the other can, or could at least be tried.
    fn taken_over(self, unfit: [Option<Unfit>; 2]) -> Duty {
        let other = 1 - self.runner;
        let could_try = |place: usize| unfit[place].is_none_or(|unfit| unfit == Unfit::Unproved);
        match unfit[self.runner] {
            Some(why) if unfit[other].is_none() || (could_try(other) && !could_try(self.runner)) => {
                Duty { runner: other, took_over: Some(why), ..self }
            }
            _ => self,
        }
    }
}

impl Unfit {
    /// What is the matter with it, behind its name: "did not prove on".
    pub const fn words(self) -> &'static str {
        match self {
            Unfit::Withdrawn => "is withdrawn",
            Unfit::Tripped => "is kept off by a safety trip",
            Unfit::HeldOff => "is held off",
            Unfit::Unproved => "did not prove on",
            Unfit::BoardLost => "is on a board that is not heard",
            Unfit::MaxOn => "ran for as long as it may",
            Unfit::MaxStarts => "started as often as it may",
        }
    }

    /// The same of a while ago, when the other took over: by now it may be over.
    pub const fn words_then(self) -> &'static str {
        match self {
            Unfit::Withdrawn => "was withdrawn",
            Unfit::Tripped => "was kept off by a safety trip",
            Unfit::HeldOff => "was held off",
            Unfit::BoardLost => "was on a board that was not heard",
            Unfit::Unproved | Unfit::MaxOn | Unfit::MaxStarts => self.words(),
        }
    }
}
