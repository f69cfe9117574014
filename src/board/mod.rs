//! A board's side of the contract, as a state machine without I/O. It never reads a clock and never talks to a network itself.
