//! The daemon's memory over days of Rowan Cottage at 600 times the pace of real time: the daemon as `standfast demo` runs it,
//! with its broker, its boards and the physics of the house in the same process. Printed for `deploy/README.md`; it asserts
//! nothing.
//!
//! `STANDFAST_SOAK_DAYS=5 cargo bench --bench soak`

#[path = "../support/mod.rs"]
mod support;

use std::time::Duration;

use support::Standfast;

const SPEED: u64 = 600;
/// How often it is looked at, by the clock of the house.
const EVERY_H: u64 = 12;

fn resident_mb(id: u32) -> f64 {
    let status = std::fs::read_to_string(format!("/proc/{id}/status")).expect("it runs");
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).expect("Linux tells");
    line.trim_end_matches("kB").trim().parse::<f64>().expect("a number") / 1024.0
}

fn main() {
    let days: u64 = std::env::var("STANDFAST_SOAK_DAYS").ok().and_then(|days| days.parse().ok()).unwrap_or(5);
    let look_every = Duration::from_secs(EVERY_H * 3600 / SPEED);
    let mut demo = Standfast::start(&["demo", "--speed", &SPEED.to_string()]);
    println!("| hours of the house | MB resident |\n| --- | --- |");
    for look in 1..=days * 24 / EVERY_H {
        let deadline = support::Deadline::after(look_every);
        // It says what happens, and is heard.
        while !deadline.passed() {
            demo.next_line(deadline.left());
            assert!(demo.runs(), "{}", demo.transcript());
        }
        println!("| {} | {:.1} |", look * EVERY_H, resident_mb(demo.id()));
    }
}
