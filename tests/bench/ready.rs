//! How long the daemon takes from its start until it is ready, which is when its subscriptions are acknowledged: with the
//! example house in a git work tree, on an empty store, on one that it left behind and on one with 90 days of readings. Printed
//! for `deploy/README.md`; it asserts nothing.
//!
//! `cargo bench --bench ready`

#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock")]

#[path = "../support/mod.rs"]
mod support;

use std::path::Path;
use std::time::Instant;

use standfast::store::{DATABASE, Store, StoredReading};
use standfast::units::WallTime;
use support::{Broker, Folder, Manager, Standfast, TEN_SECONDS, git};

const ROUNDS: usize = 10;
/// Readings are kept for so long, where nothing else is said.
const DAYS: i64 = 90;
/// So many sensors send a reading every 30 s.
const SENSORS: i64 = 14;

fn main() {
    let broker = Broker::start();
    let folder = Folder::new();
    let rules = Path::new(env!("CARGO_MANIFEST_DIR")).join("rules");
    folder.copy_in(&rules, "rules");
    git(&folder.path("rules"), &["init", "-q"]);
    git(&folder.path("rules"), &["add", "."]);
    git(&folder.path("rules"), &["commit", "-q", "-m", "the house"]);
    let server = format!("house = \"rules\"\ndata = \"data\"\n[broker]\nurl = \"{}\"\n", broker.url());
    folder.write("standfast.toml", &server);
    let mut times = [Vec::new(), Vec::new(), Vec::new()];
    for _ in 0..ROUNDS {
        let _ = std::fs::remove_dir_all(folder.path("data"));
        times[0].push(until_ready(&folder));
        times[1].push(until_ready(&folder));
    }
    let megabytes = live_long(&folder.path("data"));
    for _ in 0..ROUNDS {
        times[2].push(until_ready(&folder));
    }
    println!("| store | ms until ready: least, median, greatest of {ROUNDS} |\n| --- | --- |");
    let names = ["empty".to_owned(), "left behind".to_owned(), format!("of {DAYS} days, {megabytes} MB")];
    for (name, times) in names.into_iter().zip(&mut times) {
        times.sort_unstable();
        println!("| {name} | {}, {}, {} |", times[0], times[ROUNDS / 2], times[ROUNDS - 1]);
    }
}

/// Starts the daemon, waits until it is ready and ends it; in ms.
fn until_ready(folder: &Folder) -> u128 {
    let _ = std::fs::remove_file(folder.path("notify"));
    let mut manager = Manager::listen(folder.path("notify"));
    let config = folder.path("standfast.toml").display().to_string();
    let started = Instant::now();
    let arguments = ["run", "--config", &config];
    let mut daemon = Standfast::start_with(&arguments, &[("NOTIFY_SOCKET", manager.socket())]);
    let ready = manager.expect("READY=1");
    let took = started.elapsed().as_millis();
    assert!(!ready.contains("no broker"), "{ready}");
    daemon.terminate();
    daemon.expect_end(TEN_SECONDS);
    took
}

/// Has the store keep what the example house's sensors say in as many days as readings are kept; yields its size in MB.
fn live_long(data: &Path) -> u64 {
    let (store, kept, _) = Store::open(data).expect("opened");
    let end = kept.snapshot.expect("it ran before").taken.wall;
    for day in (1..=DAYS).rev() {
        let begin = end.0 - day * 86_400_000;
        let reading = |number: i64| StoredReading {
            sensor: format!("sensor-{}", number % SENSORS),
            at: WallTime(begin + number / SENSORS * 30_000 + number % SENSORS),
            value: 20.0 + (number % 977) as f64 / 100.0,
        };
        store.append((0..SENSORS * 2880).map(reading).collect());
        store.settled().blocking_recv().expect("written");
    }
    store.close();
    std::fs::metadata(data.join(DATABASE)).expect("there").len() / 1_000_000
}
