//! The process has no file descriptor left: boards are answered as before, the log is not flooded, and commands work again once
//! there are some.

use std::os::unix::net::UnixStream;
use std::time::Duration;

use rustix::process::{Pid, Resource, Rlimit, prlimit};

use super::home::Home;
use super::support::{Broker, Deadline, TEN_SECONDS};

/// Long enough for five attempts.
const A_WHILE: Duration = Duration::from_secs(1);

#[test]
fn without_descriptors_boards_are_answered_and_one_line_tells_of_it() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    let mut silence = home.listen("nobody/speaks/here");
    let in_use = std::fs::read_dir(format!("/proc/{}/fd", daemon.id())).expect("listed").count() as u64;
    let limit = Rlimit { current: Some(in_use + 4), maximum: Some(in_use + 4) };
    let id = i32::try_from(daemon.id()).ok().and_then(Pid::from_raw).expect("a child's id is positive");
    prlimit(Some(id), Resource::Nofile, limit).expect("limited");
    let askers: Vec<UnixStream> = (0..12)
        .map(|_| UnixStream::connect(home.folder.path("data/standfast.sock")).expect("the queue has room"))
        .collect();
    daemon.expect_line(|line| line.contains("the command socket cannot accept: Too many open files"), TEN_SECONDS);
    assert!(silence.next(A_WHILE).is_none());
    home.say("from/yard/reading/t1", "30");
    board.expect([true, false]);
    drop(askers);
    let deadline = Deadline::after(TEN_SECONDS);
    while home.ask(&["status"]).code != 0 {
        assert!(!deadline.passed(), "{}", daemon.transcript());
    }
    let told = daemon.lines().iter().filter(|line| line.text.contains("cannot accept")).count();
    assert!(told <= 3, "{}", daemon.transcript());
}
