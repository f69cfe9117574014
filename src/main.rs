//! The `standfast` binary: parses the command line, dispatches, and turns the outcome into an exit code. It holds no logic.

fn main() {}
