//! The engine: `step(now, event)` to effects. It never reads a clock, touches a disk or fails.
