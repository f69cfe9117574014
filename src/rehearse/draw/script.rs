//! The script of a trial: when sensors measure, when faults happen and when they are over. It never looks at what the
//! engine makes of it.

use std::collections::BTreeMap;

use super::super::link::{Client, Way};
use super::super::rng::Rng;
use super::super::stage::Stage;
use super::draft::{Draft, DraftSensor};
use super::house::Season;
use super::mix::{Kind, Mix};
use crate::units::{BootTime, Span};

/// What a script does next.
#[derive(Clone, Debug)]
pub(super) enum Act {
    /// A sensor measures, and will again.
    Measure(usize),
    /// Something of a kind happens, and will again.
    Again(Kind, Span),
    /// A stalled way flows again.
    Flow(Client, Way),
    /// A board's power comes back.
    PowerOn(usize),
    /// The broker comes back.
    BrokerBack,
    /// The controller starts again.
    Start,
    /// The wall clock is set right.
    Synchronise,
    /// A relay is mended.
    Mend(usize, u8),
    /// The power of a board of other firmware comes back.
    ApplianceOn(usize),
}

/// How a sensor behaves.
#[derive(Clone, Debug)]
pub(super) struct Gauge {
    pub value: f64,
    /// How far it moves at most between two readings.
    pub step: f64,
    pub every: Span,
    pub silent_until: BootTime,
}

/// A script.
#[derive(Debug)]
pub struct Script {
    pub(super) rng: Rng,
    pub(super) season: Season,
    pub(super) mix: Mix,
    /// The house as it is now.
    pub(super) draft: Draft,
    pub(super) original: Draft,
    pub(super) gauges: Vec<Gauge>,
    pub(super) calm: bool,
    queue: BTreeMap<(BootTime, u64), Act>,
    placed: u64,
    /// How often each kind happened.
    pub(super) counts: BTreeMap<Kind, u64>,
}

impl Script {
    /// A script for a house.
    pub fn new(mut rng: Rng, season: Season, mix: Mix, draft: Draft) -> Script {
        let gauge = |sensor: &DraftSensor| Gauge {
            value: rng.between(0, 1000) as f64 / 10.0,
            step: if sensor.strays { 0.5 } else { rng.one_of(&[3, 10, 40, 150]) as f64 / 10.0 },
            every: Span::from_s(rng.between(5, 25)),
            silent_until: BootTime(0),
        };
        let gauges: Vec<Gauge> = draft.sensors.iter().map(gauge).collect();
        let mut script = Script {
            rng,
            season,
            mix,
            original: draft.clone(),
            draft,
            gauges,
            calm: false,
            queue: BTreeMap::new(),
            placed: 0,
            counts: BTreeMap::new(),
        };
        for sensor in 0..script.gauges.len() {
            script.put(BootTime(3_000), Act::Measure(sensor));
        }
        for (kind, mean) in script.mix.every.clone() {
            let first = BootTime(10_000) + script.wait(mean);
            script.put(first, Act::Again(kind, mean));
        }
        script
    }

    /// Gives everything power and starts the controller.
    pub fn begin(&mut self, stage: &mut Stage) {
        stage.set_write_time(self.mix.write);
        for place in 0..stage.panels().len() {
            stage.reset(place, "power-on");
        }
        (0..stage.appliances().len()).for_each(|place| stage.power_appliance(place));
        stage.start_controller();
    }

    /// When it acts next.
    pub fn next_due(&self) -> Option<BootTime> {
        self.queue.first_key_value().map(|((due, _), _)| *due)
    }

    /// How often each kind of fault or hand happened, by name.
    pub fn counts(&self) -> impl Iterator<Item = (String, u64)> + '_ {
        self.counts.iter().map(|(kind, count)| (format!("act {kind:?}"), *count))
    }

    /// The house as the person has it now.
    pub fn draft(&self) -> &Draft {
        &self.draft
    }

    /// Does what is due next.
    pub fn perform(&mut self, stage: &mut Stage) {
        let Some(((due, _), act)) = self.queue.pop_first() else { return };
        stage.pass_to(due);
        match act {
            Act::Measure(sensor) => {
                self.measure(stage, sensor);
                let next = due + self.gauges[sensor].every;
                self.put(next, Act::Measure(sensor));
            }
            Act::Again(..) if self.calm => {}
            Act::Again(kind, mean) => {
                *self.counts.entry(kind).or_default() += 1;
                self.happen(stage, kind);
                let next = due + self.wait(mean);
                self.put(next, Act::Again(kind, mean));
            }
            other => self.mend(stage, other),
        }
    }

    /// Ends what went wrong, all of it: from now on nothing does.
    pub fn calm(&mut self, stage: &mut Stage) {
        self.calm = true;
        stage.say("faults are over".to_owned());
        let open: Vec<Act> = std::mem::take(&mut self.queue)
            .into_values()
            .filter(|act| match act {
                Act::Measure(_) => true,
                Act::Again(..) => false,
                _ => {
                    self.mend(stage, act.clone());
                    false
                }
            })
            .collect();
        // The sensors go on from here.
        for act in open {
            self.put(stage.now() + Span::from_s(1), act);
        }
        stage.set_clock(|machine, now| machine.synchronise(now));
        self.settle_gauges();
    }

    fn mend(&mut self, stage: &mut Stage, act: Act) {
        match act {
            Act::Flow(client, way) => {
                stage.say(format!("bytes flow again: {client:?} {way:?}"));
                stage.stall(client, way, false);
            }
            Act::PowerOn(place) if !stage.panels()[place].is_powered() => stage.reset(place, "power-on"),
            Act::BrokerBack => self.bring_broker_back(stage),
            Act::Start => stage.start_controller(),
            Act::Synchronise => {
                stage.say("the wall clock is set right".to_owned());
                stage.set_clock(|machine, now| machine.synchronise(now));
            }
            Act::ApplianceOn(place) => stage.power_appliance(place),
            Act::Mend(place, relay) => stage.break_relay(place, relay, None),
            Act::PowerOn(_) | Act::Measure(_) | Act::Again(..) => {}
        }
    }

    pub(super) fn put(&mut self, due: BootTime, act: Act) {
        self.placed += 1;
        self.queue.insert((due, self.placed), act);
    }

    /// A waiting time with that mean, at most four times it.
    pub(super) fn wait(&mut self, mean: Span) -> Span {
        let drawn = -(1.0 - self.rng.unit()).ln();
        Span((mean.0 as f64 * drawn.min(4.0)) as u64 + 1)
    }
}
