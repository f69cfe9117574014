//! The daemon's memory over days of Rowan Cottage at 600 times the pace of real time: the daemon as `standfast demo` runs it,
//! with its broker, its boards and the physics of the house in the same process. Beside what the system gave the process it
//! prints what that has allocated, for `deploy/README.md`; it asserts nothing.
//!
//! `STANDFAST_SOAK_DAYS=5 cargo bench --bench soak`

#[path = "../support/counting.rs"]
mod counting;
#[path = "../support/mod.rs"]
mod support;

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};
use std::time::Duration;

use clap::Parser;
use standfast::cli::CommandLine;

use support::{Folder, Process};

const SPEED: u64 = 600;
/// How often it is looked at, by the clock of the house.
const EVERY_H: u64 = 12;
/// Names to the second process, which is the daemon, the file that it is to keep its count in.
const COUNT: &str = "STANDFAST_SOAK_COUNT";

fn resident_mb(id: u32) -> f64 {
    let status = std::fs::read_to_string(format!("/proc/{id}/status")).expect("it runs");
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).expect("Linux tells");
    line.trim_end_matches("kB").trim().parse::<f64>().expect("a number") / 1024.0
}

/// The demo, with somebody who writes down every now and then what is allocated.
fn demo(count: PathBuf) -> ExitCode {
    std::thread::spawn(move || {
        loop {
            // Who reads it may find it half written, and then reads it again.
            let _ = std::fs::write(&count, format!("{} {}\n", counting::live(), sqlite()));
            std::thread::sleep(Duration::from_millis(200));
        }
    });
    match CommandLine::parse_from(["standfast", "demo", "--speed", &SPEED.to_string()]).command.run() {
        Ok(_) => ExitCode::SUCCESS,
        Err(error) => panic!("{error:?}"),
    }
}

/// What SQLite has allocated, in bytes.
#[expect(unsafe_code, reason = "the library has no safe wrapper for it")]
fn sqlite() -> usize {
    // SAFETY: it reads a counter, under SQLite's own lock.
    let bytes = unsafe { rusqlite::ffi::sqlite3_memory_used() };
    usize::try_from(bytes).unwrap_or(0)
}

/// What the program and SQLite have allocated.
fn allocated_mb(count: &Path) -> (f64, f64) {
    let mb = |bytes: &str| bytes.parse::<f64>().ok().map(|bytes| bytes / 1024.0 / 1024.0);
    loop {
        let text = std::fs::read_to_string(count).unwrap_or_default();
        let counts = text.strip_suffix('\n').and_then(|text| text.split_once(' '));
        if let Some(counts) = counts.and_then(|(own, sqlite)| mb(own).zip(mb(sqlite))) {
            return counts;
        }
    }
}

fn main() -> ExitCode {
    if let Some(count) = std::env::var_os(COUNT) {
        return demo(count.into());
    }
    let days: u64 = std::env::var("STANDFAST_SOAK_DAYS").ok().and_then(|days| days.parse().ok()).unwrap_or(5);
    let look_every = Duration::from_secs(EVERY_H * 3600 / SPEED);
    let folder = Folder::new();
    let count = folder.path("count");
    let mut command = Command::new(std::env::current_exe().expect("this program"));
    let mut demo = Process::start("the demo", command.env(COUNT, &count));
    println!("| hours of the house | MB allocated | MB allocated by SQLite | MB resident |\n| --- | --- | --- | --- |");
    for look in 1..=days * 24 / EVERY_H {
        let deadline = support::Deadline::after(look_every);
        // It says what happens, and is heard.
        while !deadline.passed() {
            demo.next_line(deadline.left());
            assert!(demo.runs(), "{}", demo.transcript());
        }
        let (own, sqlite) = allocated_mb(&count);
        println!("| {} | {own:.2} | {sqlite:.2} | {:.1} |", look * EVERY_H, resident_mb(demo.id()));
    }
    ExitCode::SUCCESS
}
