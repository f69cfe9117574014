//! The loop that owns the engine hangs while all the rest of the process is well: no ping reaches the service manager any more,
//! which would start the daemon anew, and no board's lease is renewed. The pings come from that loop and from nowhere else.
//!
//! The daemon is this program itself, started a second time: whoever hears its journal makes its loop wait, which nobody can
//! do from outside.

mod support;

#[path = "daemon/home.rs"]
#[allow(dead_code, reason = "shared with the tests of the daemon")]
mod home;

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};
use std::time::Duration;

use standfast::daemon::config::{Config, Surroundings};
use standfast::daemon::run::{self, End};
use standfast::daemon::start::Setup;
use standfast::engine::JournalEntry;

use home::Home;
use support::{Broker, Manager, Process, Subscriber, TEN_SECONDS};

/// Names the folder of the daemon's files to the second process.
const FOLDER: &str = "STANDFAST_WATCHDOG_TEST";
/// Half of this is the pace of the pings.
const WATCHDOG: Duration = Duration::from_millis(400);
/// While the loop hangs nothing comes for so many pings.
const PINGS: u32 = 5;

fn main() -> ExitCode {
    if let Some(folder) = std::env::var_os(FOLDER) {
        return daemon(Path::new(&folder));
    }
    // As the usual harness does, so that a name on the command line chooses among all tests.
    let names: Vec<OsString> =
        std::env::args_os().skip(1).filter(|word| !word.to_string_lossy().starts_with('-')).collect();
    let name = "a_loop_that_hangs_pings_nobody_and_renews_nothing";
    if std::env::args_os().any(|word| word == "--list") {
        println!("{name}: test");
    } else if names.is_empty() || names.iter().any(|part| name.contains(&*part.to_string_lossy())) {
        a_loop_that_hangs_pings_nobody_and_renews_nothing();
        println!("test {name} ... ok");
    }
    ExitCode::SUCCESS
}

/// The daemon, with somebody who hears its journal and holds it up from the first hold on until a file is there.
fn daemon(folder: &Path) -> ExitCode {
    let config = Config::read(&folder.join("standfast.toml"), &Surroundings::default()).expect("a sound file");
    let thaw: PathBuf = folder.join("thaw");
    let mut is_over = false;
    let listener = move |entry: &JournalEntry| {
        if matches!(entry, JournalEntry::Held { .. }) && !std::mem::replace(&mut is_over, true) {
            println!("the loop hangs");
            while !thaw.exists() {
                std::thread::sleep(Duration::from_millis(5));
            }
        }
    };
    let mut listener = listener;
    let setup = Setup { config, pace: None, adapt: None, listener: Some(Box::new(move |row, _| listener(&row.entry))) };
    match run::run(setup, std::future::pending()) {
        Ok(End::Asked) => ExitCode::SUCCESS,
        end => {
            eprintln!("{:?}", end.map_err(|error| error.to_string()));
            ExitCode::FAILURE
        }
    }
}

fn a_loop_that_hangs_pings_nobody_and_renews_nothing() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut manager = Manager::listen(home.folder.path("notify"));
    let mut command = Command::new(std::env::current_exe().expect("this program"));
    command.env(FOLDER, home.folder.path("."));
    command.env("NOTIFY_SOCKET", manager.socket()).env("WATCHDOG_USEC", WATCHDOG.as_micros().to_string());
    let mut daemon = Process::start("the daemon", &mut command);
    manager.expect("READY=1");
    let mut board = home.board();
    board.birth();
    board.report();
    for _ in 0..3 {
        manager.expect("WATCHDOG=1");
    }
    let mut orders = Subscriber::start(broker.port(), &["standfast/to/yard/orders"]);
    home.say("hold/lamp", "on 1h");
    daemon.expect_line(|line| line == "the loop hangs", TEN_SECONDS);
    // What was said before it hung has been said by now.
    manager.has_heard("WATCHDOG=1");
    home.say("from/yard/report", &format!("{} 1000 {} off off", board.boot, board.taken));
    assert_eq!(manager.next(WATCHDOG / 2 * PINGS), None, "somebody else than the loop pings");
    while let Some(message) = orders.next(Duration::from_millis(1)) {
        assert!(!message.payload.contains(" 1000 "), "somebody else than the loop gives orders: {message:?}");
    }
    home.folder.write("thaw", "");
    manager.expect("WATCHDOG=1");
    orders.expect(|message| message.payload.contains(" 1000 "), TEN_SECONDS);
    daemon.terminate();
    assert!(daemon.expect_end(TEN_SECONDS).success());
}
