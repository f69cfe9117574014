//! mode: what a selector or a setpoint is set to never lasts longer than was said, across restart, step and DST, and comes back
//! from the store only where somebody set it. As with holds, the time counts in which an engine keeps it.

use std::collections::BTreeMap;

use super::super::happening::{Happening, ModeSet, What};
use super::super::stage::Stage;
use super::{Checker, Scene, Tally};
use crate::house::{SelectorId, SetpointId};
use crate::units::{BootTime, Span, WallTime};

/// After a restart of the machine the wall clock tells how long it took, to within this.
const WALL_SLACK: Span = Span::from_s(5);

/// Something that is set, or was.
#[derive(Clone, Debug)]
struct Run {
    span: Option<Span>,
    /// The wall time until which it was to last, where that was said.
    end: Option<WallTime>,
    /// How long it lasted in earlier lives of the controller.
    ran: Span,
    since: BootTime,
    slack: Span,
    /// How long the controller had been frozen when it began.
    frozen: Span,
}

/// Watches selectors and setpoints.
#[derive(Debug, Default)]
pub struct Modes {
    running: BTreeMap<(String, WallTime), Run>,
    past: BTreeMap<(String, WallTime), Run>,
    /// The largest error of the trusted wall clock seen so far, in ms.
    worst_error: u64,
    /// How long the controller did not get to run, and so could not store what is left.
    frozen: Span,
    looked_at: BootTime,
}

impl Checker for Modes {
    fn id(&self) -> &'static str {
        "mode"
    }

    fn time_passes(&mut self, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        let stage = scene.stage;
        let now = stage.now();
        let clock = stage.machine().now(now);
        if clock.trusted {
            self.worst_error = self.worst_error.max(stage.machine().error(now).unsigned_abs());
        }
        if stage.is_frozen() {
            self.frozen = self.frozen + now.since(self.looked_at);
        }
        self.looked_at = now;
        if stage.is_frozen() || stage.engine().is_none() {
            return Ok(());
        }
        let is_over = |run: &Run| {
            let by_wall = clock.trusted && run.end.is_some_and(|end| clock.wall > end);
            by_wall || run.span.is_some_and(|span| run.ran + now.since(run.since) > span + run.slack)
        };
        let over: Vec<(String, WallTime)> =
            self.running.iter().filter(|(_, run)| is_over(run)).map(|(key, _)| key.clone()).collect();
        for key in over {
            let ran = self.running.get(&key).map_or(Span::ZERO, |run| run.ran + now.since(run.since));
            if began(stage, &key.0) == Some(key.1) {
                let said = self.running.get(&key).and_then(|run| run.span);
                return Err(format!("{:?} has been set for {ran}, and {said:?} was said", key.0));
            }
            tally.count("selectors and setpoints over in time");
            self.end(&key, now);
        }
        Ok(())
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            What::Set(set) => {
                tally.count("selectors and setpoints set");
                self.begin(set, seen.at, scene.stage);
            }
            What::Stopped { .. } => {
                let keys: Vec<(String, WallTime)> = self.running.keys().cloned().collect();
                keys.iter().for_each(|key| self.end(key, seen.at));
            }
            What::Started { same_boot, .. } => return self.resume(*same_boot, seen.at, scene.stage, tally),
            _ => {}
        }
        Ok(())
    }
}

impl Modes {
    fn begin(&mut self, set: &ModeSet, at: BootTime, stage: &Stage) {
        // It may be over in the step that began it.
        let Some(began) = began(stage, &set.name) else { return };
        // A crash may bring back what was set before.
        let before: Vec<(String, WallTime)> =
            self.running.keys().filter(|(name, _)| *name == set.name).cloned().collect();
        before.iter().for_each(|key| self.end(key, at));
        let run = Run { span: set.span, end: set.end, ran: Span::ZERO, since: at, slack: Span(1), frozen: self.frozen };
        self.running.insert((set.name.clone(), began), run);
    }

    fn end(&mut self, key: &(String, WallTime), at: BootTime) {
        if let Some(mut run) = self.running.remove(key) {
            run.ran = run.ran + at.since(run.since);
            self.past.insert(key.clone(), run);
        }
    }

    /// What came back from the store goes on where it was.
    fn resume(&mut self, same_boot: bool, at: BootTime, stage: &Stage, tally: &mut Tally) -> Result<(), String> {
        for name in names(stage) {
            let Some(began) = began(stage, &name) else { continue };
            let Some(mut run) = self.past.get(&(name.clone(), began)).cloned() else {
                return Err(format!("{name:?} came back from the store as nobody set it"));
            };
            tally.count("selectors and setpoints kept over a restart");
            run.since = at;
            if !same_boot {
                run.slack = run.slack + Span(self.worst_error * 2) + WALL_SLACK + self.frozen.less(run.frozen);
            }
            self.running.insert((name, began), run);
        }
        Ok(())
    }
}

fn names(stage: &Stage) -> Vec<String> {
    let Some(engine) = stage.engine() else { return Vec::new() };
    let house = engine.house();
    let selectors = house.selectors.iter().map(|one| one.name.clone());
    selectors.chain(house.setpoints.iter().map(|one| one.name.clone())).collect()
}

/// When what a selector or a setpoint is set to was set; `None` where it is as the file has it.
fn began(stage: &Stage, name: &str) -> Option<WallTime> {
    let engine = stage.engine()?;
    let selectors = (0..engine.house().selectors.len() as u32).map(|number| engine.selector_view(SelectorId(number)));
    let setpoints = (0..engine.house().setpoints.len() as u32).map(|number| engine.setpoint_view(SetpointId(number)));
    let set = selectors.filter(|view| view.selector == name).find_map(|view| view.set);
    set.or_else(|| setpoints.filter(|view| view.setpoint == name).find_map(|view| view.set)).map(|set| set.began)
}
