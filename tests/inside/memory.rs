//! The daemon's memory under many messages: what comes and goes leaves nothing behind. It counts what is allocated, since what
//! the system gave for it depends on how the machine was loaded. Days of a house at many times the pace of real time are
//! `cargo bench --bench soak`. An earlier form of this test watched what the system gave the process, which grew by what a busy
//! machine left waiting for a moment, within bounds, and was never given back.

use std::io::Write;
use std::path::Path;
use std::process::Stdio;

use standfast::engine::JournalEntry;

use super::counting;
use super::home::Home;
use super::support::{Broker, Deadline, Process, TEN_SECONDS, command};
use super::{Listener, start};

/// Messages of each kind in one round.
const READINGS: u32 = 6000;
const REPORTS: u32 = 300;
const HOLDS: u32 = 50;
/// What is bounded has filled after so many.
const FILLING: u32 = 2;
/// After these a leak of 20 bytes for each message is twice as much as there is room for.
const ROUNDS: u32 = 8;
/// Readings that wait for their minute: fewer than are worth a write of their own, at 100 bytes each; and half as much again.
const ROOM: usize = 600 * 1024;

/// Says with each hold how much is allocated.
pub fn inside(_: &Path) -> Listener {
    Box::new(|entry| {
        if matches!(entry, JournalEntry::Held { .. }) {
            println!("live {}", counting::live());
        }
    })
}

/// Publishes many messages on one topic below the prefix, over one connection, and waits until the broker has them all.
fn flood(broker: &Broker, topic: &str, payloads: impl Iterator<Item = String>) {
    let mut command = command("mosquitto_pub");
    command.args(["-h", "127.0.0.1", "-p", &broker.port().to_string(), "-q", "1", "-l"]);
    let topic = format!("standfast/{topic}");
    let mut child = command.args(["-t", &topic]).stdin(Stdio::piped()).spawn().expect("mosquitto_pub is installed");
    let lines: String = payloads.map(|line| line + "\n").collect();
    child.stdin.take().expect("piped").write_all(lines.as_bytes()).expect("it reads");
    assert!(child.wait().expect("it ends").success());
}

/// What is allocated now, by the daemon's own count.
fn live(home: &Home, daemon: &mut Process) -> usize {
    daemon.lines();
    let before = daemon.lines().len();
    assert_eq!(home.ask(&["hold", "lamp", "on", "1h"]).code, 0);
    let deadline = Deadline::after(TEN_SECONDS);
    loop {
        let said = daemon.lines()[before..].iter().find_map(|line| line.text.strip_prefix("live ")?.parse().ok());
        match said {
            Some(said) => return said,
            None => assert!(daemon.next_line(deadline.left()).is_some(), "it does not say"),
        }
    }
}

pub fn many_messages_leave_nothing_behind() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut life = home.listen("standfast/controller");
    let mut daemon = start(&home, "memory::many_messages_leave_nothing_behind", |_| ());
    life.expect(|message| message.payload.starts_with("birth "), TEN_SECONDS);
    let mut board = home.live_board();
    let mut filled = usize::MAX;
    let mut seen = Vec::new();
    for round in 0..FILLING + ROUNDS {
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
        let now = live(&home, &mut daemon);
        seen.push(now);
        if round < FILLING {
            filled = filled.min(now);
        }
    }
    // What is on its way to the disk is there in a while.
    let patience = Deadline::after(TEN_SECONDS * 6);
    while seen.last().is_some_and(|now| *now > filled + ROOM) {
        assert!(!patience.passed(), "{filled} bytes after {FILLING} rounds, then {:?}", &seen[FILLING as usize..]);
        seen.push(live(&home, &mut daemon));
    }
    println!("{filled} bytes after {FILLING} rounds, then {:?}", &seen[FILLING as usize..]);
    daemon.terminate();
    assert!(daemon.expect_end(TEN_SECONDS).success());
}
