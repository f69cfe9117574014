//! Proof: whether a load does what its contact says, by what is measured of it. It alarms on a load that does not prove on,
//! and on one that does not prove off, whose contact may be welded; what still shows that it runs counts as on, whatever
//! its contact reports. It never believes a reading from before the contact changed, and an unknown one says nothing.

use serde::{Deserialize, Serialize};

use super::explain::{ProofSeen, ProofView};
use super::reload::is_new_sensor;
use super::{Answer, Effect, Engine};
use crate::house::{Drive, House, LoadId, OnFailure, Proof, ProofBy, Relay, SensorId, State};
use crate::units::{BootTime, Moment, WallTime};

/// How a load failed to prove.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unproved {
    /// Its contact is closed and nothing shows that it runs; until it is seen to run.
    On,
    /// Its contact is open and it is shown to run; until it is seen not to.
    Off,
}

/// What is kept of a proof with the relay.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct ProofMemory {
    pub fault: Option<Fault>,
    /// When it was last seen to run with its contact open: until then it was not off.
    pub seen: Option<Moment>,
    #[serde(skip)]
    watch: Option<Watch>,
    /// Its contact changed since it was watched last.
    #[serde(skip)]
    turned: bool,
    /// Whether it was shown to run when it was looked at last, and whether by what was seen since its contact changed.
    #[serde(skip)]
    shows: [bool; 2],
}

/// A load that has not proved, until it does.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Fault {
    /// The load, lest another one on the relay is blamed.
    load: String,
    what: Unproved,
    /// When that was found.
    at: Moment,
}

/// A contact that is watched since it changed, or since it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Watch {
    state: State,
    /// The change that it is watched since.
    changed: Moment,
    since: Moment,
    proved: bool,
    /// After a proof: since when readings say otherwise.
    against: Option<BootTime>,
    /// When it will have failed if nothing is read until then.
    due: Option<BootTime>,
}

impl ProofMemory {
    /// Its contact was found to have changed: it is to prove anew.
    pub fn turn(&mut self) {
        self.watch = None;
        self.turned = true;
    }

    /// As it is kept: the contact is watched from when it is heard again.
    pub fn unwatch(&mut self) {
        (self.watch, self.turned, self.shows) = (None, false, [false; 2]);
    }

    /// Moves its times onto another boot's clock.
    pub fn move_times(&mut self, past: impl Fn(Moment) -> Moment) {
        self.seen = self.seen.map(&past);
        if let Some(fault) = &mut self.fault {
            fault.at = past(fault.at);
        }
    }
}

/// What a look at a proof came to.
enum Judgement {
    Nothing,
    Proved,
    Failed,
}

impl Watch {
    /// Holds what is shown now against the contact's state; `alone` is since when nothing else can explain it.
    fn judge(&mut self, proof: &Proof, shown: Option<State>, alone: Option<Moment>, now: BootTime) -> Judgement {
        self.due = None;
        let Some(shown) = shown else {
            self.against = None;
            return Judgement::Nothing;
        };
        if shown == self.state {
            (self.proved, self.against) = (true, None);
            return Judgement::Proved;
        }
        let since = if self.proved { (*self.against.get_or_insert(now)).into() } else { self.since };
        let since = if shown == State::On { alone.map_or(since, |alone| since.max(alone)) } else { since };
        let due = since.after(proof.within);
        if due <= now {
            return Judgement::Failed;
        }
        self.due = Some(due);
        Judgement::Nothing
    }
}

impl Engine {
    /// What is shown of a load, and when that was heard; `None` while it is unknown.
    fn says(&self, proof: &Proof) -> Option<(State, Moment)> {
        let state = |runs| if runs { State::On } else { State::Off };
        match proof.by {
            ProofBy::Reading { sensor, at_least } => {
                let (value, at) = self.reading(sensor)?;
                Some((state(value.get() >= at_least), at))
            }
            // A contact speaks when it changes, so what it said last is so now.
            ProofBy::Contact { port, is } => {
                self.known_contact(port).map(|known| (state(known == is), self.now.boot.into()))
            }
        }
    }

    /// What is shown of this load: that something runs counts for none of those that share what shows it while another of
    /// them may be on, nor what was read before the other went off.
    pub(super) fn shown_of(&self, load: LoadId) -> Option<(State, Moment)> {
        let shown = self.says(self.house.load(load).proof.as_ref()?)?;
        let is_anothers = |other: &LoadId| self.contact_may_be_on(*other) || self.changed_at(*other) > Some(shown.1);
        let others = &self.index.provers_beside[load.index()];
        (shown.0 == State::Off || !others.iter().any(is_anothers)).then_some(shown)
    }

    pub(super) fn changed_at(&self, load: LoadId) -> Option<Moment> {
        self.contact_of(load).map(|contact| contact.changed_latest)
    }

    /// Whether a load is shown to run, or was when its contact opened and nothing has shown since that it stopped.
    pub(super) fn shows_current(&self, load: LoadId) -> bool {
        self.house.load(load).proof.is_some()
            && (self.shown_of(load).is_some_and(|(state, _)| state == State::On)
                || self.unproved(load) == Some(Unproved::Off))
    }

    /// How a load failed to prove, until it does.
    pub(super) fn unproved(&self, load: LoadId) -> Option<Unproved> {
        let definition = self.house.load(load);
        definition.proof.as_ref()?;
        let fault = self.contact_of(load)?.proof.fault.as_ref()?;
        (fault.load == definition.name).then_some(fault.what)
    }

    /// When a load was found to have failed to prove.
    pub(super) fn failed_at(&self, load: LoadId) -> Option<Moment> {
        Some(self.contact_of(load)?.proof.fault.as_ref()?.at)
    }

    /// When a load will have failed to prove if nothing else is read until then.
    pub(super) fn proof_due(&self, load: LoadId) -> Option<BootTime> {
        self.contact_of(load)?.proof.watch?.due
    }

    /// Lets the loads be decided again that a sensor proves.
    pub(super) fn touch_proofs(&mut self, sensor: SensorId) {
        let index = self.index.clone();
        self.dirty_loads.extend(&index.proofs_of_sensor[sensor.index()]);
        for derived in &index.derived_of_sensor[sensor.index()] {
            self.dirty_loads.extend(&index.proofs_of_sensor[derived.index()]);
        }
    }

    /// Holds what is shown of a load against its contact: alarms when that has not fitted for too long, clears when it does.
    pub(super) fn follow_proof(&mut self, load: LoadId, out: &mut Vec<Effect>) {
        let house = self.house.clone();
        let definition = house.load(load);
        let (Some(proof), Some(relay)) = (&definition.proof, definition.relay()) else {
            return self.end_proof_alarm(load, out);
        };
        let now = self.now.boot;
        let (reported, changed) = (self.reported(load), self.contact(relay).changed_latest);
        let shown = self.shown_of(load);
        let shows = self.shows_current(load);
        let before = self.contact(relay).proof.watch;
        if shows && reported != Some(State::On) {
            self.contact_mut(relay).proof.seen = Some(now.into());
        }
        let shows = [shows, self.is_found_running(load)];
        if std::mem::replace(&mut self.contact_mut(relay).proof.shows, shows) != shows {
            self.touch_peers(load);
        }
        let Some(state) = reported else {
            let memory = &mut self.contact_mut(relay).proof;
            (memory.watch, memory.turned) = (None, false);
            return;
        };
        let turned = std::mem::take(&mut self.contact_mut(relay).proof.turned);
        let mut watch = before.unwrap_or_else(|| {
            // What is heard for the first time has its time from now on.
            Watch {
                state,
                changed,
                since: if turned { changed } else { now.into() },
                proved: false,
                against: None,
                due: None,
            }
        });
        // What was measured before the contact changed tells nothing of what it does now, nor does against its report what an
        // order under way may explain.
        let may_turn = self.contact(relay).in_flight();
        let fresh = shown.filter(|(_, at)| *at >= watch.changed).map(|(state, _)| state);
        let fresh = fresh.filter(|shown| *shown == state || !may_turn);
        // What others may have drawn until then says nothing of this load.
        let alone = self.index.provers_beside[load.index()].iter().filter_map(|other| self.changed_at(*other)).max();
        let judgement = watch.judge(proof, fresh, alone, now);
        self.contact_mut(relay).proof.watch = Some(watch);
        match judgement {
            Judgement::Nothing => {}
            Judgement::Proved => self.prove(load, relay, state, out),
            Judgement::Failed => self.fail_proof(load, relay, state, proof, out),
        }
        if self.unproved(load).is_none() {
            self.end_proof_alarm(load, out);
        }
    }

    /// It does what its contact says: a fault of that kind is over.
    fn prove(&mut self, load: LoadId, relay: Relay, state: State, out: &mut Vec<Effect>) {
        let over = match self.unproved(load) {
            Some(Unproved::On) => state == State::On,
            Some(Unproved::Off) => state == State::Off,
            None => false,
        };
        if over {
            self.forget_fault(load, relay, out);
        }
    }

    fn forget_fault(&mut self, load: LoadId, relay: Relay, out: &mut Vec<Effect>) {
        self.contact_mut(relay).proof.fault = None;
        self.save = true;
        self.end_proof_alarm(load, out);
        self.touch_peers(load);
    }

    fn fail_proof(&mut self, load: LoadId, relay: Relay, state: State, proof: &Proof, out: &mut Vec<Effect>) {
        let what = if state == State::On { Unproved::On } else { Unproved::Off };
        if self.unproved(load) == Some(what) {
            return;
        }
        let text = self.proof_text(load, what, proof);
        let name = self.house.load(load).name.clone();
        let withdraws = what == Unproved::On && proof.on_failure == OnFailure::Withdraw;
        self.contact_mut(relay).proof.fault = Some(Fault { load: name, what, at: self.now.boot.into() });
        self.save = true;
        self.touch_peers(load);
        self.dirty_loads.insert(load);
        self.raise_alarm(self.proof_alarm(load), text, out);
        if withdraws {
            self.withdraw(load, "it did not prove on".to_owned(), None, out);
        }
    }

    /// What a person should know of a load that has not proved.
    fn proof_text(&self, load: LoadId, what: Unproved, proof: &Proof) -> String {
        let definition = self.house.load(load);
        let seen = self.proof_seen(proof).words();
        let since = self.since_words(load);
        let name = &definition.name;
        match what {
            Unproved::On => {
                let end = match proof.on_failure {
                    OnFailure::Alarm => "",
                    OnFailure::Withdraw => ". It is withdrawn until somebody restores it; this is no isolation",
                };
                format!("load {name:?} is on{since} but {seen}: look at the appliance, its fuse and its wiring{end}")
            }
            Unproved::Off => format!(
                "load {name:?} is off{since} but {seen}: its contact may be welded, or it is fed another way. Switch it off at \
                 its isolator; an order cannot"
            ),
        }
    }

    /// ` since 14:02`, or nothing while no clock tells.
    fn since_words(&self, load: LoadId) -> String {
        let changed = self.contact_of(load).map(|contact| contact.changed_latest).filter(|_| self.now.trusted);
        changed.map_or_else(String::new, |changed| {
            let at: WallTime = self.now.wall - changed.age(self.now.boot);
            at.instant().to_zoned_datetime(self.house.site.zone.clone()).strftime(" since %H:%M").to_string()
        })
    }

    /// What a proof rests on now.
    fn proof_seen(&self, proof: &Proof) -> ProofSeen {
        match proof.by {
            ProofBy::Reading { sensor, at_least } => ProofSeen::Reading {
                sensor: self.house.sensor(sensor).name.clone(),
                unit: self.house.sensor(sensor).unit.clone(),
                value: self.known_reading(sensor),
                at_least,
            },
            ProofBy::Contact { port, is } => {
                ProofSeen::Contact { input: self.port_name(port), state: self.known_contact(port), is }
            }
        }
    }

    /// What is to be said of a load's proof: that it failed, or that the load is shown to run with its contact open.
    pub(super) fn proof_view(&self, load: LoadId) -> Option<ProofView> {
        let definition = self.house.load(load);
        let proof = definition.proof.as_ref()?;
        let fault = self.unproved(load);
        let runs_on = self.shows_current(load) && !self.contact_may_be_on(load);
        let view = || ProofView { load: definition.name.clone(), seen: self.proof_seen(proof), fault };
        (fault.is_some() || runs_on).then(view)
    }

    /// A person has looked: a load that did not prove on is tried again, and one that did not prove off counts by its
    /// contact again unless it is still shown to run.
    pub(super) fn reset_proof(&mut self, load: LoadId, out: &mut Vec<Effect>) -> Answer {
        if let Drive::Rotation(id) = self.house.load(load).drive {
            let answers = self.house.rotation(id).loads.map(|member| self.reset_proof(member, out));
            return answers.into_iter().find(|answer| *answer != Answer::Nothing).unwrap_or(Answer::Nothing);
        }
        let Some(what) = self.unproved(load) else { return Answer::Nothing };
        let (Some(proof), Some(relay)) = (self.house.load(load).proof, self.house.load(load).relay()) else {
            return Answer::Nothing;
        };
        if what == Unproved::Off && self.shown_of(load).is_some_and(|(state, _)| state == State::On) {
            let seen = self.proof_seen(&proof).words();
            return Answer::Refused(format!("{seen} with the contact open; remove the cause first"));
        }
        self.contact_mut(relay).proof.watch = None;
        self.forget_fault(load, relay, out);
        self.dirty_loads.insert(load);
        Answer::Done
    }

    /// Under another house a proof goes on as it was; one that is not the same any more starts anew.
    pub(super) fn carry_proofs(&mut self, before: &Engine) {
        let house = self.house.clone();
        for load in &house.loads {
            let Some(relay) = load.relay() else { continue };
            let old = before.house.load_named(&load.name).map(|old| before.house.load(old));
            let key = |house: &House, load: &crate::house::Load| {
                let by = load.proof.map(|proof| (proof_name(house, proof.by), proof.within));
                (by, load.relay().map(|relay| house.relay_name(relay)))
            };
            let same = old.filter(|old| key(&before.house, old) == key(&house, load));
            let Some(was) = same.and_then(|old| old.relay()) else {
                self.contact_mut(relay).proof = ProofMemory::default();
                continue;
            };
            let is_measured_anew = load.proof.is_some_and(|proof| match proof.by {
                ProofBy::Reading { sensor, .. } => is_new_sensor(&before.house, &house, sensor),
                ProofBy::Contact { .. } => false,
            });
            if !is_measured_anew {
                let ProofMemory { watch, turned, shows, .. } = before.contact(was).proof;
                let memory = &mut self.contact_mut(relay).proof;
                (memory.watch, memory.turned, memory.shows) = (watch, turned, shows);
            }
        }
    }

    fn end_proof_alarm(&mut self, load: LoadId, out: &mut Vec<Effect>) {
        if self.has_alarm_of("proof-") {
            let id = self.proof_alarm(load);
            self.clear_alarm(&id, out);
        }
    }

    fn proof_alarm(&self, load: LoadId) -> String {
        Engine::proof_alarm_of(&self.house.load(load).name)
    }

    /// The id of the alarm for a load that has not proved.
    pub(super) fn proof_alarm_of(load: &str) -> String {
        format!("proof-{load}")
    }
}

/// What proves, by names, which mean the same in another house.
fn proof_name(house: &House, by: ProofBy) -> String {
    match by {
        ProofBy::Reading { sensor, at_least } => format!("{} >= {at_least}", house.sensor(sensor).name),
        ProofBy::Contact { port, is } => {
            let port = &house.ports[port.index()];
            format!("{}/{} is {is}", house.board(port.board).name, port.name)
        }
    }
}
