//! The meaning of conditions: one tree, one three-valued combinator, generic over what its atoms yield. It never reads a
//! clock and keeps no state; what an atom remembers stands in [`threshold`] and [`rise`].
//!
//! The engine folds trees over values, the checker folds the same trees over what values can be.

mod rise;
mod threshold;
mod ways;

pub use rise::{RiseMemory, rise_truth};
pub use threshold::{ThresholdMemory, threshold_truth};
pub use ways::ways;

use crate::house::{AtomId, Condition, House, Truth};

/// What can be combined by strong Kleene logic.
pub trait Kleene: Sized {
    /// The neutral element of [`Kleene::and`].
    fn always() -> Self;
    /// The neutral element of [`Kleene::or`].
    fn never() -> Self;
    /// Both.
    fn and(self, other: Self) -> Self;
    /// Either.
    fn or(self, other: Self) -> Self;
    /// The contrary.
    fn not(self) -> Self;
}

impl Kleene for Truth {
    fn always() -> Truth {
        Truth::True
    }

    fn never() -> Truth {
        Truth::False
    }

    fn and(self, other: Truth) -> Truth {
        match (self, other) {
            (Truth::False, _) | (_, Truth::False) => Truth::False,
            (Truth::True, Truth::True) => Truth::True,
            _ => Truth::Unknown,
        }
    }

    fn or(self, other: Truth) -> Truth {
        match (self, other) {
            (Truth::True, _) | (_, Truth::True) => Truth::True,
            (Truth::False, Truth::False) => Truth::False,
            _ => Truth::Unknown,
        }
    }

    fn not(self) -> Truth {
        match self {
            Truth::False => Truth::True,
            Truth::True => Truth::False,
            Truth::Unknown => Truth::Unknown,
        }
    }
}

impl From<bool> for Truth {
    fn from(value: bool) -> Truth {
        if value { Truth::True } else { Truth::False }
    }
}

/// Folds a tree over its atoms. Named conditions are followed; a checked house has no cycles among them.
pub fn evaluate<T: Kleene>(house: &House, condition: &Condition, atom: &mut impl FnMut(AtomId) -> T) -> T {
    match condition {
        Condition::Atom(id) => atom(*id),
        Condition::Named(id) => evaluate(house, &house.conditions[id.index()].condition, atom),
        Condition::All(parts) => parts.iter().fold(T::always(), |sum, part| sum.and(evaluate(house, part, atom))),
        Condition::Any(parts) => parts.iter().fold(T::never(), |sum, part| sum.or(evaluate(house, part, atom))),
        Condition::Not(part) => evaluate(house, part, atom).not(),
    }
}

/// Calls `visit` for every atom of a tree, named conditions followed, in the order in which they are written.
pub fn for_each_atom(house: &House, condition: &Condition, visit: &mut impl FnMut(AtomId)) {
    match condition {
        Condition::Atom(id) => visit(*id),
        Condition::Named(id) => for_each_atom(house, &house.conditions[id.index()].condition, visit),
        Condition::All(parts) | Condition::Any(parts) => {
            parts.iter().for_each(|part| for_each_atom(house, part, visit));
        }
        Condition::Not(part) => for_each_atom(house, part, visit),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Truth; 3] = [Truth::False, Truth::Unknown, Truth::True];

    /// Kleene's strong logic is the lattice false < unknown < true: and is the minimum, or the maximum.
    #[test]
    fn strong_kleene_is_minimum_and_maximum() {
        let rank = |truth: Truth| ALL.iter().position(|one| *one == truth).expect("ALL has every truth");
        for a in ALL {
            for b in ALL {
                assert_eq!(rank(a.and(b)), rank(a).min(rank(b)), "{a:?} and {b:?}");
                assert_eq!(rank(a.or(b)), rank(a).max(rank(b)), "{a:?} or {b:?}");
            }
            assert_eq!(rank(a.not()), 2 - rank(a), "not {a:?}");
        }
    }

    #[test]
    fn empty_all_is_true_and_empty_any_is_false() {
        assert_eq!(Truth::always(), Truth::True);
        assert_eq!(Truth::never(), Truth::False);
    }
}
