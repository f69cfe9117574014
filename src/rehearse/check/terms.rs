//! How long what people set may last: the running time of each thing that is set, over restarts of the controller and of its
//! machine. Running time is the time in which an engine keeps it. It never asks whether one does.

use std::collections::BTreeMap;

use super::super::stage::Stage;
use crate::units::{BootTime, Span, WallTime};

/// After a restart of the machine the wall clock tells how long it took, to within this.
const WALL_SLACK: Span = Span::from_s(5);

/// What is set, and when it was, by the wall clock of then.
pub type Key = (String, WallTime);

/// How long was said.
#[derive(Clone, Copy, Debug)]
pub struct Said {
    /// For how long; `None` where no end was said.
    pub span: Option<Span>,
    /// The wall time until which it was to last, where that was said.
    pub end: Option<WallTime>,
}

/// Something that is set, or was.
#[derive(Clone, Debug)]
struct Run {
    said: Said,
    /// How long it ran in earlier lives of the controller.
    ran: Span,
    since: BootTime,
    slack: Span,
    /// How long the controller had been frozen when it began.
    frozen: Span,
}

/// Everything that is set.
#[derive(Debug, Default)]
pub struct Terms {
    running: BTreeMap<Key, Run>,
    past: BTreeMap<Key, Run>,
    /// The largest error of the trusted wall clock seen so far, in ms.
    worst_error: u64,
    /// How long the controller did not get to run, and so could not store what is left.
    frozen: Span,
    looked_at: BootTime,
    /// Nothing that is set now can be over before either of these, by the time that passes and by the wall clock.
    next: BootTime,
    next_wall: WallTime,
}

impl Run {
    /// How long it may run, if the controller runs on; `None` where no end was said.
    fn runs_until(&self) -> Option<BootTime> {
        Some(self.since + (self.said.span? + self.slack).less(self.ran))
    }
}

impl Terms {
    /// What is to be over by now, and in words how long it lasted and was to last; nothing while no engine could end it.
    pub fn over(&mut self, stage: &Stage) -> Vec<(Key, String)> {
        let now = stage.now();
        let clock = stage.machine().now(now);
        if clock.trusted {
            self.worst_error = self.worst_error.max(stage.machine().error(now).unsigned_abs());
        }
        if stage.is_frozen() {
            self.frozen = self.frozen + now.since(self.looked_at);
        }
        self.looked_at = now;
        let may_be_over = now >= self.next || (clock.trusted && clock.wall > self.next_wall);
        if !may_be_over || stage.is_frozen() || stage.engine().is_none() {
            return Vec::new();
        }
        self.next = self.running.values().filter_map(Run::runs_until).min().unwrap_or(BootTime(u64::MAX));
        self.next_wall = self.running.values().filter_map(|run| run.said.end).min().unwrap_or(WallTime(i64::MAX));
        let over = self.running.iter().filter_map(|(key, run)| {
            let ran = run.ran + now.since(run.since);
            let by_wall = clock.trusted && run.said.end.is_some_and(|end| clock.wall > end);
            let span = run.said.span?;
            let words = || format!("for {ran}, and {span} was said (by wall: {by_wall})");
            (by_wall || ran > span + run.slack).then(|| (key.clone(), words()))
        });
        over.collect()
    }

    /// Something was set. What was set before under this name may come back after a crash.
    pub fn begin(&mut self, key: Key, said: Said, at: BootTime) {
        self.end(&key.0, at);
        self.running.insert(key, Run { said, ran: Span::ZERO, since: at, slack: Span(1), frozen: self.frozen });
        self.next = BootTime(0);
    }

    /// It is over.
    pub fn end(&mut self, name: &str, at: BootTime) {
        let ended: Vec<Key> = self.running.keys().filter(|(of, _)| of == name).cloned().collect();
        for key in ended {
            if let Some(mut run) = self.running.remove(&key) {
                run.ran = run.ran + at.since(run.since);
                self.past.insert(key, run);
            }
        }
    }

    /// The controller stops, and no engine keeps anything.
    pub fn stop(&mut self, at: BootTime) {
        let names: Vec<String> = self.running.keys().map(|(name, _)| name.clone()).collect();
        names.iter().for_each(|name| self.end(name, at));
    }

    /// What came back from the store goes on where it was; false where nobody had set it.
    pub fn resume(&mut self, key: Key, same_boot: bool, at: BootTime) -> bool {
        let Some(mut run) = self.past.get(&key).cloned() else { return false };
        run.since = at;
        if !same_boot {
            run.slack = run.slack + Span(self.worst_error * 2) + WALL_SLACK + self.frozen.less(run.frozen);
        }
        self.running.insert(key, run);
        self.next = BootTime(0);
        true
    }
}
