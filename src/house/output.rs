//! What limits and joins loads: interlocks, circuits, the limits of one load. It never decides.

use super::model::{LoadId, Place};
use crate::units::{Span, Watts};

/// Index into [`super::House::interlocks`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct InterlockId(pub u32);

/// Index into [`super::House::circuits`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CircuitId(pub u32);

impl InterlockId {
    /// The id as an index into its vector.
    pub const fn index(self) -> usize {
        self.0 as usize
    }
}

impl CircuitId {
    /// The id as an index into its vector.
    pub const fn index(self) -> usize {
        self.0 as usize
    }
}

/// Loads of which at most one may be on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Interlock {
    /// Its name.
    pub name: String,
    /// Its members, in the order in which ties are decided.
    pub loads: Vec<LoadId>,
    /// The pause between one opening and another closing.
    pub dead_time: Span,
    /// Where it is defined.
    pub place: Place,
}

/// Loads that share a supply.
#[derive(Clone, Debug, PartialEq)]
pub struct Circuit {
    /// Its name.
    pub name: String,
    /// Its loads.
    pub loads: Vec<LoadId>,
    /// What may be on together.
    pub limit: Watts,
    /// The pause between two closings.
    pub stagger: Span,
    /// The order of shedding, first to go first.
    pub shed: Vec<LoadId>,
    /// Where it is defined.
    pub place: Place,
}

/// So many starts within a span, and no more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MaxStarts {
    /// How many.
    pub most: u32,
    /// Within how long.
    pub within: Span,
}
