//! When a load is published again: once something that its published state rests on has changed. It never makes the payload.

use super::decide::Decision;
use super::hold::Hold;
use super::travel::Run;
use super::{Effect, Engine, Obstacle, Unproved};
use crate::house::{LoadId, State};

/// What a published state of a load rests on: it is published again when this changes.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Published {
    decision: Decision,
    ordered: Option<State>,
    reported: Option<State>,
    run: Option<Run>,
    hold: Option<Hold>,
    withdrawn: bool,
    unproved: Option<Unproved>,
    runner: Option<usize>,
    obstacle: Option<Obstacle>,
}

impl Engine {
    /// Publishes a load unless what was published of it still holds.
    pub(super) fn publish_if_changed(&mut self, load: LoadId, out: &mut Vec<Effect>) {
        let (ordered, reported) = (self.ordered(load), self.reported(load));
        let (run, obstacle) = (self.run_of_load(load), self.obstacle(load));
        let state = &self.loads[load.index()];
        let Some(decision) = state.decision else { return };
        let same = state.published.as_ref().is_some_and(|published| {
            published.decision == decision
                && published.ordered == ordered
                && published.reported == reported
                && published.run == run
                && published.hold == state.hold
                && published.withdrawn == state.withdrawn.is_some()
                && published.unproved == self.unproved(load)
                && published.runner == self.runner(load)
                && published.obstacle == obstacle
        });
        if same || !self.link {
            return;
        }
        let published = Published {
            decision,
            ordered,
            reported,
            run,
            hold: state.hold.clone(),
            withdrawn: state.withdrawn.is_some(),
            unproved: self.unproved(load),
            runner: self.runner(load),
            obstacle,
        };
        self.loads[load.index()].published = Some(published);
        out.push(Effect::PublishLoad { load });
    }
}
