//! Plays seeds through the simulation: real engine, boards and bytes on virtual time, under faults drawn from the seed. It
//! never depends on wall time or on the machine it runs on, but for how many seeds are played where that is bounded.
//!
//! `STANDFAST_SEEDS` says how many seeds, `STANDFAST_SEED` which comes first, `STANDFAST_SECONDS` after how long no more are begun.

#[path = "simulation/reached.rs"]
mod reached;
#[path = "simulation/regressions.rs"]
mod regressions;
// In a debug build the engine's own guard of its orders stops some of these trials before a checker can.
#[cfg(not(debug_assertions))]
#[path = "simulation/weaknesses.rs"]
mod weaknesses;

use std::collections::BTreeMap;
use std::num::NonZero;
use std::ops::Range;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};
use std::{env, panic, thread};

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

/// What came of some seeds.
#[derive(Default)]
struct Outcome {
    played: u64,
    tally: Tally,
    broken: BTreeMap<u64, String>,
    /// One story is enough to look into; the others are named.
    story: Option<String>,
}

impl Outcome {
    fn play(&mut self, seed: u64) {
        self.played += 1;
        // A panic is a failure like any other, and needs its seed as much.
        match panic::catch_unwind(|| Trial::new(seed).play()) {
            Err(_) => drop(self.broken.insert(seed, "it panics".to_owned())),
            Ok(Ok(played)) => self.tally.merge(&played.tally),
            Ok(Err(one)) => {
                self.broken.insert(seed, format!("{}: {}", one.id, one.how));
                self.story.get_or_insert_with(|| one.to_string());
            }
        }
    }

    fn merge(&mut self, other: Outcome) {
        self.played += other.played;
        self.tally.merge(&other.tally);
        self.broken.extend(other.broken);
        self.story = self.story.take().or(other.story);
    }
}

/// Plays seeds on all processors, each in its turn. After `most` no more are begun: which of them are played depends on the
/// machine then, what comes of each never does.
fn play_all(seeds: Range<u64>, most: Duration) -> Outcome {
    let next = AtomicU64::new(seeds.start);
    #[expect(clippy::disallowed_methods, reason = "it bounds how many seeds are begun and is told to none")]
    let began = Instant::now();
    let work = || {
        let mut own = Outcome::default();
        while began.elapsed() < most {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= seeds.end {
                break;
            }
            own.play(seed);
        }
        own
    };
    let workers = thread::available_parallelism().map_or(1, NonZero::get);
    let mut all = Outcome::default();
    thread::scope(|scope| {
        let workers: Vec<_> = (0..workers).map(|_| scope.spawn(work)).collect();
        workers.into_iter().for_each(|worker| all.merge(worker.join().expect("a panic is caught where it happens")));
    });
    all
}

#[test]
fn seeds_break_no_invariant() {
    let first = number("STANDFAST_SEED", FIRST);
    let seeds = number("STANDFAST_SEEDS", if cfg!(debug_assertions) { 40 } else { 500 });
    let most = Duration::from_secs(number("STANDFAST_SECONDS", u64::from(u32::MAX)));
    let Outcome { played, tally, broken, story } = play_all(first..first + seeds, most);
    println!("{played} seeds from {first}");
    story.iter().for_each(|story| println!("{story}"));
    for (what, times) in tally.iter() {
        println!("{times:>10}  {what}");
    }
    let named: Vec<String> = broken.iter().map(|(seed, how)| format!("seed {seed}: {how}")).collect();
    assert!(broken.is_empty(), "{} of {played} seeds broke:\n{}", broken.len(), named.join("\n"));
    if played >= ENOUGH {
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
