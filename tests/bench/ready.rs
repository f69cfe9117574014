//! How long the daemon takes from its start until it is ready, which is when its subscriptions are acknowledged: with the
//! example house in a git work tree, on an empty store and on one that it left behind. Printed for `deploy/README.md`; it
//! asserts nothing.
//!
//! `cargo bench --bench ready`

#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock")]

#[path = "../support/mod.rs"]
mod support;

use std::path::Path;
use std::process::Command;
use std::time::Instant;

use support::{Broker, Folder, Manager, Standfast, TEN_SECONDS};

const ROUNDS: usize = 10;

fn git(folder: &Path, arguments: &[&str]) {
    let mut command = Command::new("git");
    command.args(["-c", "user.name=Test", "-c", "user.email=test@example.org"]).args(arguments).current_dir(folder);
    assert!(command.status().expect("git runs").success());
}

fn main() {
    let broker = Broker::start();
    let folder = Folder::new();
    let rules = Path::new(env!("CARGO_MANIFEST_DIR")).join("rules");
    for entry in std::fs::read_dir(rules).expect("the example house").map(|entry| entry.expect("readable")) {
        if entry.path().extension().is_some_and(|extension| extension == "toml") {
            let text = std::fs::read_to_string(entry.path()).expect("text");
            folder.write(&format!("rules/{}", entry.file_name().to_string_lossy()), &text);
        }
    }
    git(&folder.path("rules"), &["init", "-q"]);
    git(&folder.path("rules"), &["add", "."]);
    git(&folder.path("rules"), &["commit", "-q", "-m", "the house"]);
    let server = format!("house = \"rules\"\ndata = \"data\"\n[broker]\nurl = \"{}\"\n", broker.url());
    folder.write("standfast.toml", &server);
    let mut times = [Vec::new(), Vec::new()];
    for _ in 0..ROUNDS {
        let _ = std::fs::remove_dir_all(folder.path("data"));
        for times in &mut times {
            let _ = std::fs::remove_file(folder.path("notify"));
            let mut manager = Manager::listen(folder.path("notify"));
            let config = folder.path("standfast.toml").display().to_string();
            let started = Instant::now();
            let arguments = ["run", "--config", &config];
            let mut daemon = Standfast::start_with(&arguments, &[("NOTIFY_SOCKET", manager.socket())]);
            let ready = manager.expect("READY=1");
            times.push(started.elapsed().as_millis());
            assert!(!ready.contains("no broker"), "{ready}");
            daemon.terminate();
            daemon.expect_end(TEN_SECONDS);
        }
    }
    println!("| store | ms until ready: least, median, greatest of {ROUNDS} |\n| --- | --- |");
    for (name, times) in ["empty", "left behind"].into_iter().zip(&mut times) {
        times.sort_unstable();
        println!("| {name} | {}, {}, {} |", times[0], times[ROUNDS / 2], times[ROUNDS - 1]);
    }
}
