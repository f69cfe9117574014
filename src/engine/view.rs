//! Builds explanations from the engine's state. It never changes anything and never renders.

use super::boards::Presence;
use super::decide::Decider;
use super::explain::{RunView, Since};
use super::slots::{Demand, SLOT_RULES, SLOT_TRIP};
use super::travel::Wait;
use super::{Cause, Engine, Evidence, Explanation, RuleCause};
use crate::condition::for_each_atom;
use crate::house::{AlarmState, Atom, AtomId, Drive, LoadId, RuleId, State, Threshold};
use crate::units::{Finite, Span, WallTime};

impl Engine {
    /// Everything about a load now.
    pub fn explain(&self, load: LoadId) -> Explanation {
        let definition = self.house.load(load);
        let state = &self.loads[load.index()];
        let decision = state.decision;
        let cause = self.cause(load);
        Explanation {
            load: definition.name.clone(),
            label: definition.label.clone(),
            wanted: self.wanted(load),
            words: definition.words(),
            ordered: self.ordered(load),
            known: self.reported(load),
            unheard: self.unheard(load),
            obstacle: self.obstacle(load),
            assumed: self.is_assumed(load),
            run: self.run_view(load),
            since: self.since(load),
            slot: decision.and_then(|decision| Engine::deciding_slot(decision.by)),
            hold: self.hold_view(load),
            others: self.others(load, &cause),
            proof: self.proof_view(load),
            rotation: self.rotation_view(load).filter(|view| view.rotation == definition.name),
            cause,
        }
    }

    /// When its contact changed last, and why. Of a pulse that tells nothing of the load.
    fn since(&self, load: LoadId) -> Option<Since> {
        let definition = self.house.load(load);
        let contact = self.contact_of(load).filter(|_| definition.pulse.is_none())?;
        contact.reported?;
        // What stands on a relay is remembered by relay, and may be of a load that was there before.
        let is_ours = |cause: &Cause| match cause {
            Cause::Rule(rule) => self.house.rules.iter().any(|ours| ours.name == rule.rule && ours.load == load),
            _ => true,
        };
        let at = self.now.wall - contact.changed_latest.age(self.now.boot);
        Some(Since { at, why: contact.turned_by.clone().filter(is_ours) })
    }

    /// The first board of a load that is not heard.
    fn unheard(&self, load: LoadId) -> Option<String> {
        let boards = self.house.relays_of(self.house.load(load)).into_iter().map(|relay| relay.board);
        let unheard = boards.into_iter().find(|board| self.presence(*board) != Presence::Present)?;
        Some(self.house.board(unheard).name.clone()).filter(|_| self.reported(load).is_none())
    }

    /// Since when a load is known to be on; `None` where it is not, or where no contact of its own tells.
    pub fn on_since(&self, load: LoadId) -> Option<WallTime> {
        self.since(load).filter(|_| self.reported(load) == Some(State::On)).map(|since| since.at)
    }

    /// Whether nothing measures what a load is.
    fn is_assumed(&self, load: LoadId) -> bool {
        let definition = self.house.load(load);
        if definition.relay().is_some_and(|relay| self.house.board(relay.board).is_assumed()) {
            return true;
        }
        match definition.drive {
            Drive::Actuator(id) => {
                let actuator = self.house.actuator(id);
                self.stands(id).is_some_and(|end| actuator.end(end).is_none())
            }
            _ => definition.pulse.is_some_and(|pulse| pulse.feedback.is_none()),
        }
    }

    /// The run of an actuator that is under way, or what one that is owed waits for.
    fn run_view(&self, load: LoadId) -> Option<RunView> {
        let Drive::Actuator(id) = self.house.load(load).drive else { return None };
        let now = self.now;
        if let Some(run) = self.run_of(id) {
            let ran = now.boot.since(run.began);
            return Some(RunView::Runs { to: run.to, since: now.wall - ran, ran, length: run.length });
        }
        let decision = self.loads[load.index()].decision?;
        let is_owed = !matches!(decision.by, Decider::Withdrawn | Decider::Settling)
            && self.travels[id.index()].served != Some(decision.state);
        let wait = self.waits_to_run(id, decision.state).filter(|_| is_owed)?;
        let why = match wait {
            Wait::Relay(relay) => format!("until {} is surely released", self.house.relay_name(relay)),
            Wait::Former => "until the relays that drove it before are surely released".to_owned(),
            Wait::DeadTime(_) => "for its dead time".to_owned(),
            Wait::Turn(_) => "for its turn".to_owned(),
            Wait::Report | Wait::Board => "until its board reports".to_owned(),
        };
        Some(RunView::Waits { why })
    }

    /// What a load is to be now.
    pub fn wanted(&self, load: LoadId) -> State {
        self.loads[load.index()].decision.map_or(self.house.load(load).resting, |decision| decision.state)
    }

    /// What decides a load now: a part of [`Engine::explain`] that costs much less than all of it.
    pub fn cause(&self, load: LoadId) -> Cause {
        let state = &self.loads[load.index()];
        let Some(decision) = state.decision else { return Cause::Resting };
        match decision.by {
            Decider::Withdrawn => Cause::Withdrawn { why: state.withdrawn.clone().unwrap_or_default() },
            Decider::Trip => self.deciding_rule(load, SLOT_TRIP, decision.state),
            Decider::Rules(slot) => self.deciding_rule(load, slot, decision.state),
            Decider::Dwell(until) => Cause::Dwell { state: decision.state, left: Some(until.since(self.now.boot)) },
            Decider::Still => Cause::Dwell { state: decision.state, left: None },
            Decider::Hold => self.hold_view(load).map_or(Cause::Resting, Cause::Hold),
            Decider::Settling => Cause::Settling { waits_for: self.waits_for(load) },
            Decider::Resting => Cause::Resting,
            Decider::Rotation(id, _) => self.rotation_view(load).map_or(Cause::Resting, |duty| {
                let why = Box::new(self.cause(self.house.rotation(id).load));
                Cause::Rotation { duty, why }
            }),
            Decider::Stagger | Decider::StaggerStill => Cause::Stagger,
            Decider::MaxOn => Cause::MaxOn { left: self.limit_left(load) },
            Decider::MaxStarts => Cause::MaxStarts { left: self.limit_left(load) },
            Decider::Circuit(id) => {
                let circuit = &self.house.circuits[id.index()];
                Cause::Circuit {
                    circuit: circuit.name.clone(),
                    limit_w: circuit.limit.0,
                    others: self.on_among(&circuit.loads, load),
                }
            }
            Decider::Interlock(id) | Decider::InterlockStill(id) => {
                let interlock = &self.house.interlocks[id.index()];
                let others = interlock.loads.iter().filter(|other| **other != load);
                Cause::Interlock {
                    interlock: interlock.name.clone(),
                    waits_for: self.gives_way_to(interlock, load),
                    shown: others
                        .filter(|other| !self.contact_may_be_on(**other))
                        .filter_map(|other| self.proof_view(*other).filter(|_| self.shows_current(*other)))
                        .collect(),
                }
            }
        }
    }

    /// For how much longer max on or max starts keeps a load off.
    fn limit_left(&self, load: LoadId) -> Option<Span> {
        self.limited(load).and_then(|(_, again)| again).map(|again| again.since(self.now.boot))
    }

    /// The loads of a group that may be on, without one.
    pub(super) fn on_among(&self, group: &[LoadId], without: LoadId) -> Vec<String> {
        let others = group.iter().filter(|load| **load != without && self.may_be_on(**load));
        others.map(|load| self.house.load(*load).name.clone()).collect()
    }

    /// The first rule, in the order of names, that puts the deciding state into the slot.
    fn deciding_rule(&self, load: LoadId, slot: u8, state: State) -> Cause {
        let safe = self.house.load(load).safe;
        let speaks = |rule: &&RuleId| {
            let demands = match self.rules[rule.index()].demand {
                Demand::None => None,
                Demand::Known(state) => Some(state),
                Demand::Unknown => Some(safe),
            };
            self.slot_of(**rule) == slot && demands == Some(state)
        };
        let rules = &self.index.rules_of_load[load.index()];
        // One that knows explains better than one that does not.
        let known = |rule: &&RuleId| matches!(self.rules[rule.index()].demand, Demand::Known(_));
        let rule = rules.iter().filter(speaks).find(known).or_else(|| rules.iter().find(speaks));
        rule.map_or(Cause::Resting, |rule| Cause::Rule(self.rule_cause(*rule)))
    }

    fn slot_of(&self, rule: RuleId) -> u8 {
        let priority = self.house.rule(rule).priority;
        if priority < SLOT_RULES { SLOT_TRIP } else { priority }
    }

    /// Every rule that demands something and does not decide, strongest first.
    fn others(&self, load: LoadId, cause: &Cause) -> Vec<RuleCause> {
        let mut others: Vec<RuleCause> = self.index.rules_of_load[load.index()]
            .iter()
            .filter(|rule| self.rules[rule.index()].demand != Demand::None)
            .map(|rule| self.rule_cause(*rule))
            .filter(|other| !matches!(cause, Cause::Rule(deciding) if deciding.rule == other.rule))
            .collect();
        others.sort_by_key(|rule| rule.priority);
        others
    }

    pub(super) fn rule_cause(&self, rule: RuleId) -> RuleCause {
        let definition = self.house.rule(rule);
        let state = match self.rules[rule.index()].demand {
            Demand::Known(state) => state,
            Demand::Unknown => self.house.load(definition.load).safe,
            Demand::None => definition.demand,
        };
        let mut atoms = Vec::new();
        for_each_atom(&self.house, &definition.condition, &mut |atom| atoms.push(atom));
        RuleCause {
            rule: definition.name.clone(),
            place: self.house.place_name(definition.place),
            priority: definition.priority,
            state,
            truth: self.rules[rule.index()].truth,
            latched: definition.latches && self.rules[rule.index()].latched,
            delay_left: self.rules[rule.index()].delay_end.map(|end| end.since(self.now.boot)),
            evidence: atoms.iter().map(|atom| self.evidence(*atom)).collect(),
            turned: self.rules[rule.index()].turned.filter(|place| *place < atoms.len()),
        }
    }

    fn evidence(&self, atom: AtomId) -> Evidence {
        let truth = self.atoms[atom.index()].truth;
        match self.house.atom(atom) {
            Atom::Threshold(threshold) => {
                let sensor = self.house.sensor(threshold.sensor);
                let ends = self.ends(threshold);
                let minus = threshold.minus.map(|minus| &self.house.sensor(minus).name);
                Evidence::Threshold {
                    sensor: minus.map_or(sensor.name.clone(), |minus| format!("{} less {minus}", sensor.name)),
                    unit: sensor.unit.clone(),
                    value: self.threshold_value(threshold).and_then(|value| Finite::new(self.shown(threshold, value))),
                    side: threshold.side,
                    cut_in: ends.cut_in,
                    cut_out: ends.cut_out,
                    cut_in_by: self.house.bound_name(threshold.cut_in),
                    cut_out_by: self.house.bound_name(threshold.cut_out),
                    truth,
                }
            }
            Atom::Window { window, .. } => {
                Evidence::Window { window: window.to_string(), next: self.next_boundary(atom), truth }
            }
            Atom::Cycle { cycle, .. } => {
                Evidence::Cycle { cycle: cycle.to_string(), next: self.next_boundary(atom), truth }
            }
            Atom::Sun { bound, .. } => Evidence::Sun {
                bound: bound.to_string(),
                degrees: self.sun_now(),
                next: self.next_boundary(atom),
                truth,
            },
            Atom::Rise(rise) => self.rise_evidence(rise, &self.atoms[atom.index()]),
            Atom::Selector { selector, is, .. } => {
                let view = self.selector_view(*selector);
                let is = view.positions.get(*is as usize).cloned().unwrap_or_default();
                let until = view.set.and_then(|set| set.until);
                Evidence::Selector { selector: view.selector, position: view.position, is, until, truth }
            }
            Atom::Unknown { sensor, .. } => {
                Evidence::Unknown { sensor: self.house.sensor(*sensor).name.clone(), truth }
            }
            Atom::Alarm { alarm, is, .. } => Evidence::Alarm {
                alarm: alarm.clone(),
                unacknowledged: *is == AlarmState::Unacknowledged,
                standing: self.alarms_behind(alarm.as_deref(), *is),
                truth,
            },
            Atom::Load { load, .. } => {
                let definition = self.house.load(*load);
                let (state, words) = (self.known_state(*load), definition.words());
                Evidence::Load { load: definition.name.clone(), state, words, truth }
            }
            Atom::Input { port, .. } => {
                Evidence::Input { input: self.port_name(*port), state: self.known_contact(*port), truth }
            }
        }
    }

    /// A value as it is shown; a difference in hundredths.
    fn shown(&self, threshold: &Threshold, value: f64) -> f64 {
        let value = self.house.sensor(threshold.sensor).shown(value);
        if threshold.minus.is_some() { (value * 100.0).round() / 100.0 } else { value }
    }

    pub(super) fn port_name(&self, port: crate::house::PortId) -> String {
        self.index.port_names[port.index()].clone()
    }

    /// The sensors, endpoints and clock that a settling load waits for.
    fn waits_for(&self, load: LoadId) -> Vec<String> {
        let index = &self.index;
        let sensors = index.sensors_of_load[load.index()]
            .iter()
            .filter(|sensor| self.known_reading(**sensor).is_none())
            .map(|sensor| self.house.sensor(*sensor).name.clone());
        let ports = index.ports_of_load[load.index()]
            .iter()
            .filter(|port| self.known_contact(**port).is_none())
            .map(|port| self.port_name(*port));
        let loads = index.watched_of_load[load.index()]
            .iter()
            .filter(|load| self.known_state(**load).is_none())
            .map(|load| format!("load {}", self.house.load(*load).name));
        let clock = (index.asks_clock[load.index()] && !self.now.trusted).then(|| "the clock".to_owned());
        sensors.chain(ports).chain(loads).chain(clock).collect()
    }
}
