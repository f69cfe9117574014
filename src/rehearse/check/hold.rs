//! I5: a hold's running time never exceeds what was said, across restart, step and DST. Running time is the time in which an
//! engine keeps the hold; whether it does is asked of the engine only once the time that was said is over.

use std::collections::BTreeMap;

use super::super::happening::{Happening, HoldBegun, What};
use super::{Checker, Scene, Tally};
use crate::engine::JournalEntry;
use crate::house::Term;
use crate::units::{BootTime, Span, WallTime};

/// After a restart of the machine the wall clock tells how long it took, to within this.
const WALL_SLACK: Span = Span::from_s(5);

/// A hold that runs, or ran.
#[derive(Clone, Debug)]
struct Run {
    span: Span,
    /// The wall time until which it was to last, where that was said.
    end: Option<WallTime>,
    /// How long it ran in earlier lives of the controller.
    ran: Span,
    since: BootTime,
    slack: Span,
    /// How long the controller had been frozen when it began.
    frozen: Span,
}

/// Watches holds.
#[derive(Debug, Default)]
pub struct HoldEnds {
    running: BTreeMap<String, (WallTime, Run)>,
    /// By load and beginning.
    past: BTreeMap<(String, WallTime), Run>,
    /// The largest error of the trusted wall clock seen so far, in ms.
    worst_error: u64,
    /// How long the controller did not get to run, and so could not store what is left of a hold.
    frozen: Span,
    looked_at: BootTime,
}

impl Checker for HoldEnds {
    fn id(&self) -> &'static str {
        "I5"
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
        let mut over = Vec::new();
        for (load, (began, run)) in &self.running {
            let ran = run.ran + now.since(run.since);
            let by_wall = clock.trusted && run.end.is_some_and(|end| clock.wall > end);
            if ran <= run.span + run.slack && !by_wall {
                continue;
            }
            if stage.hold_of(load).is_some_and(|hold| hold.began == *began) {
                let said = run.span;
                return Err(format!("load {load:?} has been held for {ran}, and {said} was said (by wall: {by_wall})"));
            }
            tally.count("hold over in time");
            over.push(load.clone());
        }
        over.iter().for_each(|load| self.end(load, now));
        Ok(())
    }

    fn see(&mut self, seen: &Happening, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        match &seen.what {
            What::Held(hold) => self.begin(hold, seen.at, scene),
            What::Journal(row) => {
                if let JournalEntry::HoldEnded { load, why } = &row.entry {
                    tally.count(&format!("hold ended: {why:?}"));
                    self.end(load, seen.at);
                }
            }
            What::Stopped { .. } => {
                let loads: Vec<String> = self.running.keys().cloned().collect();
                loads.iter().for_each(|load| self.end(load, seen.at));
            }
            What::Started { same_boot, .. } => return self.resume(*same_boot, seen.at, scene, tally),
            _ => {}
        }
        Ok(())
    }
}

impl HoldEnds {
    fn begin(&mut self, hold: &HoldBegun, at: BootTime, scene: &Scene<'_>) {
        // A hold may be over in the step that began it.
        let Some(view) = scene.stage.hold_of(&hold.load) else { return };
        let wall = scene.stage.machine().now(at).wall;
        let end = matches!(hold.term, Term::UntilClock(_) | Term::UntilSun(..)).then(|| wall + hold.span);
        let run = Run { span: hold.span, end, ran: Span::ZERO, since: at, slack: Span(1), frozen: self.frozen };
        self.running.insert(hold.load.clone(), (view.began, run));
    }

    fn end(&mut self, load: &str, at: BootTime) {
        if let Some((began, mut run)) = self.running.remove(load) {
            run.ran = run.ran + at.since(run.since);
            self.past.insert((load.to_owned(), began), run);
        }
    }

    /// Holds that came back from the store go on where they were.
    fn resume(&mut self, same_boot: bool, at: BootTime, scene: &Scene<'_>, tally: &mut Tally) -> Result<(), String> {
        let Some(engine) = scene.stage.engine() else { return Ok(()) };
        for load in &engine.house().loads {
            let Some(view) = scene.stage.hold_of(&load.name) else { continue };
            let key = (load.name.clone(), view.began);
            let Some(mut run) = self.past.get(&key).cloned() else {
                return Err(format!("load {:?} came back from the store with a hold that nobody made", load.name));
            };
            tally.count("hold kept over a restart");
            run.since = at;
            if !same_boot {
                tally.count("hold kept over a restart of the machine");
                run.slack = run.slack + Span(self.worst_error * 2) + WALL_SLACK + self.frozen.less(run.frozen);
            }
            self.running.insert(load.name.clone(), (view.began, run));
        }
        Ok(())
    }
}
