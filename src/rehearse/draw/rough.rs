//! A network that loses, delays, doubles and overtakes, as its mix says. It never does what MQTT rules out: the order of kept
//! messages, and their silent loss.

use super::super::link::{Fate, Network, Parcel, Way};
use super::super::rng::Rng;
use super::mix::Mix;
use crate::units::{BootTime, Span};

/// A rough network.
#[derive(Clone, Debug)]
pub struct Rough {
    rng: Rng,
    mix: Mix,
}

impl Rough {
    /// A network that draws from a generator of its own.
    pub fn new(rng: Rng, mix: Mix) -> Rough {
        Rough { rng, mix }
    }
}

impl Network for Rough {
    fn fate(&mut self, _: BootTime, _: Way, _: &Parcel) -> Fate {
        let rng = &mut self.rng;
        let lost = rng.in_ten_thousand(self.mix.lost);
        let late = rng.in_ten_thousand(self.mix.late);
        let doubled = rng.in_ten_thousand(self.mix.doubled);
        let mut delay = rng.span(Span(1), self.mix.delay_max);
        if late {
            delay = delay + rng.span(Span::ZERO, self.mix.late_max);
        }
        let again = doubled.then(|| rng.span(Span(1), self.mix.late_max));
        Fate { delay, lost, out_of_order: late || doubled, again }
    }
}
