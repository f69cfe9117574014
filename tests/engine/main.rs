//! Tests of the engine against what the design says, on virtual time: each test is a short story, told to the engine over
//! the wire's own text. They never look inside the engine, only at what it wants done and what it says of itself.

mod alarms;
mod bench;
mod boards;
mod clock;
mod clocked;
mod explaining;
mod hands;
mod holds;
mod life;
mod limits;
mod lost;
mod measuring;
mod orders;
mod outputs;
mod proof;
mod properties;
mod random;
mod reload;
mod removal;
mod restart;
mod restart_hands;
mod rises;
mod rotation;
mod selectors;
mod sensors;
mod setpoints;
mod slots;
mod start;
mod stories;
mod thresholds;
mod trips;
mod truths;
mod unrest;
mod watching;
mod windows;
