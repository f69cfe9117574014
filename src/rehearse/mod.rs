//! The real engine, boards and links on virtual time, with faults and the checkers of the invariants. It never uses real time.
