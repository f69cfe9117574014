//! Since when the house says what it says: what was ordered before it did breaks nothing. It never judges.

use std::collections::BTreeMap;

use super::super::happening::{Happening, What};
use crate::units::BootTime;

/// By a statement of the house, when and in which place of all that happened it came to be said.
#[derive(Debug)]
pub struct Known<K>(Vec<(K, (BootTime, u64))>);

impl<K> Default for Known<K> {
    fn default() -> Known<K> {
        Known(Vec::new())
    }
}

impl<K: Ord> Known<K> {
    /// Takes what a house says once one is taken, or runs.
    pub fn follow(&mut self, seen: &Happening, says: impl FnOnce() -> Vec<K>) {
        if matches!(seen.what, What::House { taken: true } | What::Started { .. }) {
            let mut before: BTreeMap<K, (BootTime, u64)> = std::mem::take(&mut self.0).into_iter().collect();
            let now = (seen.at, seen.place);
            let since = says().into_iter().map(|key| {
                let since = before.remove(&key).unwrap_or(now);
                (key, since)
            });
            // Statements are looked at all the time, and change seldom.
            self.0 = since.collect::<BTreeMap<K, (BootTime, u64)>>().into_iter().collect();
        }
    }

    /// All that it says.
    pub fn iter(&self) -> impl Iterator<Item = (&K, &(BootTime, u64))> {
        self.0.iter().map(|(key, since)| (key, since))
    }
}
