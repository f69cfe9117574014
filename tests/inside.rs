//! The daemon as this program itself, started a second time, so that something can be done inside of it that nobody can do from
//! outside: hold up its loop, set its clocks, count what it has allocated.

mod support;

#[path = "inside/clocks.rs"]
mod clocks;
#[path = "support/counting.rs"]
mod counting;
#[path = "daemon/home.rs"]
#[allow(dead_code, reason = "shared with the tests of the daemon")]
mod home;
#[path = "inside/memory.rs"]
mod memory;
#[path = "inside/watchdog.rs"]
mod watchdog;

use std::ffi::OsString;
use std::path::Path;
use std::process::{Command, ExitCode};

use standfast::daemon::config::{Config, Surroundings};
use standfast::daemon::run::{self, End};
use standfast::daemon::start::Setup;
use standfast::engine::JournalEntry;

use home::Home;
use support::{Process, command};

/// Names the folder of the daemon's files to the second process.
const FOLDER: &str = "STANDFAST_TEST_FOLDER";
/// Names the test to it.
const NAME: &str = "STANDFAST_TEST_NAME";

/// Hears the journal of the daemon, within its loop.
type Listener = Box<dyn FnMut(&JournalEntry) + Send>;

/// A test: what it does, and what is special inside of its daemon, which knows the folder of its files.
struct Test {
    name: &'static str,
    play: fn(),
    inside: fn(&Path) -> Listener,
}

macro_rules! tests {
    ($($module:ident::$play:ident),* $(,)?) => {
        &[$(Test {
            name: concat!(stringify!($module), "::", stringify!($play)),
            play: $module::$play,
            inside: $module::inside,
        }),*]
    };
}

const TESTS: &[Test] = tests![
    watchdog::a_loop_that_hangs_pings_nobody_and_renews_nothing,
    memory::many_messages_leave_nothing_behind,
    clocks::after_a_suspend_what_ran_out_meanwhile_is_over_and_what_did_not_goes_on,
    clocks::schedules_follow_a_clock_that_is_set_and_holds_and_contacts_do_not,
    clocks::summer_time_begins_and_ends,
    clocks::a_clock_that_cannot_be_right_is_not_believed_until_it_is_set_again,
];

fn main() -> ExitCode {
    if let (Some(folder), Some(name)) = (std::env::var_os(FOLDER), std::env::var_os(NAME)) {
        let test = TESTS.iter().find(|test| name == *test.name).expect("it was started by a test");
        return daemon(Path::new(&folder), test);
    }
    // As the usual harness does, so that names on the command line choose among all tests.
    let words: Vec<OsString> = std::env::args_os().skip(1).collect();
    let names: Vec<_> = words.iter().map(|word| word.to_string_lossy()).filter(|word| !word.starts_with('-')).collect();
    let chosen = TESTS.iter().filter(|test| names.is_empty() || names.iter().any(|part| test.name.contains(&**part)));
    if words.iter().any(|word| word == "--list") {
        chosen.for_each(|test| println!("{}: test", test.name));
        return ExitCode::SUCCESS;
    }
    let started: Vec<_> = chosen.map(|test| (test.name, std::thread::spawn(test.play))).collect();
    let mut code = ExitCode::SUCCESS;
    for (name, test) in started {
        let is_good = test.join().is_ok();
        println!("test {name} ... {}", if is_good { "ok" } else { "FAILED" });
        if !is_good {
            code = ExitCode::FAILURE;
        }
    }
    code
}

/// The daemon.
fn daemon(folder: &Path, test: &Test) -> ExitCode {
    let config = Config::read(&folder.join("standfast.toml"), &Surroundings::default()).expect("a sound file");
    let mut listener = (test.inside)(folder);
    let setup = Setup { config, pace: None, adapt: None, listener: Some(Box::new(move |row, _| listener(&row.entry))) };
    match run::run(setup, std::future::pending()) {
        Ok(End::Asked) => ExitCode::SUCCESS,
        end => {
            eprintln!("{:?}", end.map_err(|error| error.to_string()));
            ExitCode::FAILURE
        }
    }
}

/// Has the daemon of a test started, on a home's files; it reads what is typed.
fn start(home: &Home, name: &str, set: impl FnOnce(&mut Command)) -> Process {
    let mut command = command(std::env::current_exe().expect("this program"));
    command.env(FOLDER, home.folder.path(".")).env(NAME, name);
    set(&mut command);
    Process::start_typing("the daemon", &mut command)
}
