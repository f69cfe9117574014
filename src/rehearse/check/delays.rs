//! Which arrays may still count for what they said before, since delays of rules run that the arrays worked out in `oracle` do
//! not know of. It knows no engine.
//!
//! What a load shares a circuit or an interlock with may hold its place for as long as the delays of its own rules run after
//! its array has changed. So long a load whose array has come to say the same at a stronger slot waits for others as it did at
//! the weaker one.

use std::collections::BTreeMap;

use super::gates::{SLACK, Stand};
use crate::engine::SLOTS;
use crate::house::{House, State};
use crate::units::{BootTime, Span};

/// By load: what its array says.
#[derive(Debug, Default)]
pub struct Delays(BTreeMap<String, Said>);

/// What an array says and said.
#[derive(Debug)]
struct Said {
    /// What it says and at which slot.
    says: Option<(State, u8)>,
    /// When that was seen first.
    since: BootTime,
    /// The weakest slot at which it said something before that, as far back as delays ran.
    before: u8,
}

impl Delays {
    /// Notes what each array says; of each that may still count for what it said before, the weakest slot of then.
    pub fn note(&mut self, house: &House, stands: &[Stand], now: BootTime) -> Vec<Option<u8>> {
        let slot = |says: Option<(State, u8)>| says.map_or(SLOTS + 1, |(_, slot)| slot);
        let delayed = |(number, stand): (usize, &Stand)| {
            let own = house.rules.iter().filter(|rule| rule.load.index() == number);
            let delay = own.map(|rule| rule.on_delay.max(rule.off_delay)).max().unwrap_or(Span::ZERO);
            let runs = |since: BootTime| delay > Span::ZERO && now < since + delay + SLACK;
            let first = Said { says: stand.says, since: now, before: slot(stand.says) };
            let said = self.0.entry(house.loads[number].name.clone()).or_insert(first);
            if said.says != stand.says {
                let before = slot(said.says).max(if runs(said.since) { said.before } else { 0 });
                *said = Said { says: stand.says, since: now, before };
            }
            runs(said.since).then_some(said.before)
        };
        stands.iter().enumerate().map(delayed).collect()
    }
}

/// How all stand for one of them, where what others want is in doubt as long as a delay of theirs runs.
pub fn beside(stands: &[Stand], delayed: &[Option<u8>], own: usize) -> Vec<Stand> {
    let mut others = stands.to_vec();
    for (number, stand) in others.iter_mut().enumerate().filter(|(number, _)| *number != own) {
        stand.says = stand.says.filter(|_| delayed[number].is_none());
    }
    others
}

/// The same for one that is still at the slot of before, since a delay of its own runs; `None` where none does.
pub fn earlier(stands: &[Stand], delayed: &[Option<u8>], own: usize) -> Option<Vec<Stand>> {
    let before = delayed[own]?;
    let mut all = beside(stands, delayed, own);
    all[own].says = all[own].says.map(|(state, slot)| (state, slot.max(before)));
    Some(all)
}
