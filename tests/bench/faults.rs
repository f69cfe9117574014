//! How long it takes to the safe state, and back, when a process is killed or frozen while a heater is on: three rounds of
//! each, printed as the table of `deploy/README.md`. It asserts nothing of the times.
//!
//! `cargo bench --bench faults`

#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock")]

#[path = "../support/mod.rs"]
mod support;

#[path = "../real_faults/scene.rs"]
mod scene;

use std::time::{Duration, Instant};

use scene::{ALL, Fault, LEASE, Part, Scene};

const ROUNDS: usize = 3;

/// What one round took.
struct Round {
    /// Until the heater was off; of a broken board, until it was missed.
    safe: Duration,
    /// From the mending until the heater was on again, and a board heard.
    back: Duration,
}

fn play(part: Part, fault: Fault) -> Round {
    let mut scene = Scene::new();
    let broken = Instant::now();
    scene.break_part(part, fault);
    match part {
        Part::Broker | Part::Daemon => scene.expect_heater(false),
        Part::Board => scene.expect_missed(),
    }
    let safe = broken.elapsed();
    let mended = Instant::now();
    scene.mend_part(part, fault);
    scene.expect_recovered(part, fault);
    Round { safe, back: mended.elapsed() }
}

fn times(rounds: &[Round], of: impl Fn(&Round) -> Duration) -> String {
    rounds.iter().map(|round| format!("{:.1}", of(round).as_secs_f64())).collect::<Vec<_>>().join(", ")
}

fn main() {
    println!("lease {} s; times in s, {ROUNDS} rounds each\n", LEASE.as_secs());
    println!("| what | how | until safe, or until a board is missed | back until the heater is on |");
    println!("| --- | --- | --- | --- |");
    for (part, fault) in ALL {
        let rounds: Vec<Round> = (0..ROUNDS).map(|_| play(part, fault)).collect();
        let part = match part {
            Part::Broker => "mosquitto",
            Part::Daemon => "the daemon",
            Part::Board => "the board",
        };
        let how = if fault == Fault::Killed { "kill -9, started again" } else { "SIGSTOP, SIGCONT" };
        println!("| {part} | {how} | {} | {} |", times(&rounds, |one| one.safe), times(&rounds, |one| one.back));
    }
}
