//! Chance from a seed: the same seed gives the same numbers for ever, on every machine. It never asks anybody else for
//! randomness.
//!
//! The generator is xoshiro256** 1.0 by Blackman and Vigna, seeded through splitmix64 as its authors advise
//! (prng.di.unimi.it); both are public domain.

use crate::units::Span;

/// A generator.
#[derive(Clone, Debug)]
pub struct Rng {
    state: [u64; 4],
}

impl Rng {
    /// A generator for a seed.
    pub fn new(seed: u64) -> Rng {
        let mut state = seed;
        let mut next = || {
            state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let z = (state ^ (state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            z ^ (z >> 31)
        };
        Rng { state: [next(), next(), next(), next()] }
    }

    /// A generator of its own, so that what one part draws does not depend on how often another does.
    pub fn fork(&mut self) -> Rng {
        Rng::new(self.draw())
    }

    /// Any number.
    pub fn draw(&mut self) -> u64 {
        let result = self.state[1].wrapping_mul(5).rotate_left(7).wrapping_mul(9);
        let shifted = self.state[1] << 17;
        self.state[2] ^= self.state[0];
        self.state[3] ^= self.state[1];
        self.state[1] ^= self.state[2];
        self.state[0] ^= self.state[3];
        self.state[2] ^= shifted;
        self.state[3] = self.state[3].rotate_left(45);
        result
    }

    /// A number from 0 up to, not including, `end`; 0 where `end` is 0.
    pub fn below(&mut self, end: u64) -> u64 {
        // The high half of the product is even to within end / 2^64.
        ((u128::from(self.draw()) * u128::from(end)) >> 64) as u64
    }

    /// A number from `low` to `high`, both included; `low` where `high` is lower.
    pub fn between(&mut self, low: u64, high: u64) -> u64 {
        low + self.below(high.saturating_sub(low).saturating_add(1))
    }

    /// True so many times in a hundred.
    pub fn percent(&mut self, percent: u64) -> bool {
        self.below(100) < percent
    }

    /// True so many times in ten thousand.
    pub fn in_ten_thousand(&mut self, times: u64) -> bool {
        self.below(10_000) < times
    }

    /// One of several; `None` of none.
    pub fn pick<'a, T>(&mut self, of: &'a [T]) -> Option<&'a T> {
        of.get(self.below(of.len() as u64) as usize)
    }

    /// One of several numbers; 0 of none.
    pub fn one_of(&mut self, of: &[u64]) -> u64 {
        self.pick(of).copied().unwrap_or_default()
    }

    /// A span between two, both included, in milliseconds.
    pub fn span(&mut self, low: Span, high: Span) -> Span {
        Span(self.between(low.0, high.0))
    }

    /// A number from 0 up to, not including, 1.
    pub fn unit(&mut self) -> f64 {
        (self.draw() >> 11) as f64 / (1u64 << 53) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first outputs of the reference code of xoshiro256** 1.0 for the state 1, 2, 3, 4, as the `rand_xoshiro` crate's
    /// own test quotes them.
    #[test]
    fn follows_the_reference() {
        let mut rng = Rng { state: [1, 2, 3, 4] };
        let expected = [
            11520,
            0,
            1_509_978_240,
            1_215_971_899_390_074_240,
            1_216_172_134_540_287_360,
            607_988_272_756_665_600,
            16_172_922_978_634_559_625,
            8_476_171_486_693_032_832,
            10_595_114_339_597_558_777,
            2_904_607_092_377_533_576,
        ];
        assert_eq!(expected.map(|_| rng.draw()), expected);
    }

    #[test]
    fn keeps_its_bounds() {
        let mut rng = Rng::new(7);
        let drawn: Vec<u64> = (0..1000).map(|_| rng.between(3, 6)).collect();
        assert!((3..=6).all(|n| drawn.contains(&n)) && drawn.iter().all(|n| (3..=6).contains(n)));
        assert_eq!((rng.below(0), rng.between(5, 2), rng.pick::<u8>(&[])), (0, 5, None));
        assert!((0..1000).all(|_| (0.0..1.0).contains(&rng.unit())));
    }
}
