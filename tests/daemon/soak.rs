//! The daemon's memory under many messages: what comes and goes leaves nothing behind. Days of a house at many times the
//! pace of real time are `cargo bench --bench soak`.

use std::io::Write;
use std::process::{Command, Stdio};

use super::home::Home;
use super::support::Broker;

/// Messages of each kind in one round.
const READINGS: u32 = 8000;
const REPORTS: u32 = 400;
const HOLDS: u32 = 100;
const ROUNDS: u32 = 3;
/// Room for what is bounded and not full after two rounds: readings that wait for their minute, SQLite's cache.
const ROOM_KB: u64 = 16 * 1024;

/// Publishes many messages on one topic below the prefix, over one connection, and waits until the broker has them all.
fn flood(broker: &Broker, topic: &str, payloads: impl Iterator<Item = String>) {
    let mut command = Command::new("mosquitto_pub");
    command.args(["-h", "127.0.0.1", "-p", &broker.port().to_string(), "-q", "1", "-l"]);
    let topic = format!("standfast/{topic}");
    let mut child = command.args(["-t", &topic]).stdin(Stdio::piped()).spawn().expect("mosquitto_pub is installed");
    let lines: String = payloads.map(|line| line + "\n").collect();
    child.stdin.take().expect("piped").write_all(lines.as_bytes()).expect("it reads");
    assert!(child.wait().expect("it ends").success());
}

fn resident_kb(id: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{id}/status")).expect("it runs");
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).expect("Linux tells");
    line.trim_end_matches("kB").trim().parse().expect("a number")
}

#[test]
fn many_messages_leave_nothing_behind() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let daemon = home.run();
    let mut board = home.board();
    board.birth();
    board.report();
    let mut after_first = 0;
    for round in 0..=ROUNDS {
        let boot = board.boot;
        flood(&broker, "from/yard/reading/t1", (0..READINGS).map(|n| format!("{}.{}", 20 + n % 10, n % 7)));
        // Nothing of this is a reading, and each is another topic's worth of complaint.
        flood(&broker, "from/yard/reading/t9", (0..READINGS).map(|n| format!("broken {n}")));
        flood(&broker, "hold/lamp", (0..HOLDS).map(|n| if n % 2 == 0 { "on 2h" } else { "release" }.to_owned()));
        let report = |n: u32| {
            let state = if n.is_multiple_of(2) { "on" } else { "off" };
            format!("{boot} {} 0 {state}:0:{n}:0 off", round * REPORTS + n + 10)
        };
        flood(&broker, "from/yard/report", (0..REPORTS).map(report));
        // What is answered was taken after all of those before it.
        board.beat = (round + 1) * REPORTS + 10;
        board.report();
        match round {
            // What the store and the allocator keep is still growing into its bounds until then.
            0 | 1 => after_first = resident_kb(daemon.id()),
            _ => {
                let now = resident_kb(daemon.id());
                assert!(now < after_first + ROOM_KB, "{after_first} kB after two rounds, {now} kB after {}", round + 1);
            }
        }
    }
}
