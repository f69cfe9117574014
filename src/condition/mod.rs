//! The meaning of conditions: one tree, one three-valued combinator, the memory of each atom. It never reads a clock.
