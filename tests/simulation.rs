//! Plays seeds through the simulation: real engine, boards and bytes on virtual time, under faults drawn from the seed. It
//! never depends on wall time or on the machine it runs on.
//!
//! `STANDFAST_SEEDS` says how many seeds, `STANDFAST_SEED` which comes first.

#[path = "simulation/reached.rs"]
mod reached;
#[path = "simulation/regressions.rs"]
mod regressions;
// In a debug build the engine's own guard of its orders stops some of these trials before a checker can.
#[cfg(not(debug_assertions))]
#[path = "simulation/weaknesses.rs"]
mod weaknesses;

use std::{env, panic};

use standfast::rehearse::Trial;
use standfast::rehearse::check::Tally;

/// The first seed where none is named.
const FIRST: u64 = 20_260_512;

/// So many seeds reach everything that can be reached, by a wide margin.
const ENOUGH: u64 = 200;

fn number(name: &str, otherwise: u64) -> u64 {
    env::var(name)
        .map_or(otherwise, |text| text.trim().parse().unwrap_or_else(|_| panic!("{name} is no number: {text}")))
}

#[test]
fn seeds_break_no_invariant() {
    let first = number("STANDFAST_SEED", FIRST);
    let seeds = number("STANDFAST_SEEDS", if cfg!(debug_assertions) { 40 } else { 500 });
    println!("{seeds} seeds from {first}");
    let mut tally = Tally::default();
    let mut broken = Vec::new();
    for seed in first..first + seeds {
        // A panic is a failure like any other, and needs its seed as much.
        match panic::catch_unwind(|| Trial::new(seed).play()) {
            Err(_) => broken.push(format!("seed {seed}: it panics")),
            Ok(Ok(played)) => tally.merge(&played.tally),
            Ok(Err(one)) => {
                // One story is enough to look into; the others are named.
                if broken.is_empty() {
                    println!("{one}");
                }
                broken.push(format!("seed {seed}: {}: {}", one.id, one.how));
            }
        }
    }
    for (what, times) in tally.iter() {
        println!("{times:>10}  {what}");
    }
    assert!(broken.is_empty(), "{} of {seeds} seeds broke:\n{}", broken.len(), broken.join("\n"));
    if seeds >= ENOUGH {
        reached::assert_all(&tally);
    }
}

/// I8 for a whole trial: not a copy of the engine but everything from the seed on, twice.
#[test]
fn the_same_seed_gives_the_same_steps() {
    let play =
        |seed| Trial { keeps_steps: true, ..Trial::new(seed) }.play().unwrap_or_else(|broken| panic!("{broken}"));
    for seed in FIRST..FIRST + 5 {
        let (one, other) = (play(seed), play(seed));
        assert!(one.steps.len() > 300, "seed {seed} took {} steps only", one.steps.len());
        let differs = one.steps.iter().zip(&other.steps).find(|(one, other)| one != other);
        assert_eq!(differs, None, "seed {seed}");
        assert_eq!(format!("{:?}", one.steps), format!("{:?}", other.steps), "seed {seed}, bit for bit");
        assert_eq!(one.tally, other.tally, "seed {seed}");
    }
}

/// Another seed is another story: else many seeds would be no more than one.
#[test]
fn another_seed_gives_other_steps() {
    let play =
        |seed| Trial { keeps_steps: true, ..Trial::new(seed) }.play().unwrap_or_else(|broken| panic!("{broken}"));
    assert_ne!(play(FIRST).steps, play(FIRST + 1).steps);
}
