//! What follows of a person's order for its load, told with the answer: that it stays as it is for now and why, or what it
//! does now that nothing keeps it. It never changes what the order did.

use super::event::HandOrder;
use super::render::still;
use super::{Answer, Cause, Effect, Engine, Obstacle};
use crate::house::{LoadId, State};

/// An order about a load, and what was wanted of that before.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ordered {
    load: LoadId,
    /// The state that it is to be held in; `None` where the order takes something away that kept it.
    held: Option<State>,
    before: Option<State>,
}

impl Engine {
    /// What to look at again once an order is carried through; `None` for one of which all is said.
    pub(super) fn ordered_by_hand(&self, order: &HandOrder) -> Option<Ordered> {
        let (load, held) = match order {
            HandOrder::Hold { load, state, .. } => (*load, Some(*state)),
            HandOrder::Release { load } | HandOrder::Restore { load, .. } | HandOrder::Reset { load } => (*load, None),
            _ => return None,
        };
        let before = self.loads[load.index()].decision.map(|decision| decision.state);
        Some(Ordered { load, held, before })
    }

    /// Adds to the answer among these effects what followed.
    pub(super) fn say_what_follows(&self, ordered: Ordered, effects: &mut [Effect]) {
        for effect in effects {
            if let Effect::Answer { answer: Answer::Held { .. } | Answer::Done, then, .. } = effect {
                *then = match ordered.held {
                    Some(state) => self.why_not_yet(ordered.load, state),
                    None => self.what_it_does_now(ordered.load, ordered.before),
                };
            }
        }
    }

    /// Why a load that is held in a state is not in it for now: "it stays off for now: safety trip …"; `None` where nothing
    /// stands in the way.
    fn why_not_yet(&self, load: LoadId, state: State) -> Option<String> {
        let explanation = self.explain(load);
        let words = explanation.words;
        if explanation.wanted != state {
            let why = explanation.cause.sentence(&self.house.site.zone);
            let stays = still(words, explanation.wanted, explanation.known);
            let reset = self.is_latched(load) && matches!(explanation.cause, Cause::Rule(_));
            let advice = if reset {
                format!(". Look at it, then `standfast reset {}`", self.house.load(load).name)
            } else {
                String::new()
            };
            return Some(format!("it {stays} for now: {why}{advice}"));
        }
        match explanation.obstacle? {
            // It was ordered this moment.
            Obstacle::Unanswered { .. } => None,
            obstacle => Some(format!("it is not {} yet: {}", words.word(state), obstacle.words())),
        }
    }

    /// What a load comes to do by an order that took something away which kept it; `None` where it goes on as before.
    fn what_it_does_now(&self, load: LoadId, before: Option<State>) -> Option<String> {
        let explanation = self.explain(load);
        if before.is_none_or(|before| before == explanation.wanted) {
            return None;
        }
        let (wanted, why) =
            (explanation.words.word(explanation.wanted), explanation.cause.sentence(&self.house.site.zone));
        let obstacle = explanation.obstacle.filter(|one| !matches!(one, Obstacle::Unanswered { .. }));
        let not_yet = obstacle.map_or_else(String::new, |obstacle| format!("; not yet, {}", obstacle.words()));
        Some(format!("it is to be {wanted} now: {why}{not_yet}"))
    }
}
