//! Findings about a house that decodes but would not do what its owner means. It never changes a house.
