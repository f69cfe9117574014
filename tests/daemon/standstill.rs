//! The process is frozen and goes on, as when its machine slept: what somebody wanted meanwhile is void, and whoever still waits
//! is told so.

use std::io::{BufRead, BufReader, Write};
use std::os::unix::net::UnixStream;
use std::time::Duration;

use super::home::{HOUSE, Home};
use super::support::{Broker, Deadline, TEN_SECONDS};

/// Longer than the loop may take to turn, shorter than one and a half keep-alives.
const STANDS_STILL: Duration = Duration::from_secs(6);

const BUTTON: &str = "
[input.hall]
at = \"yard/1\"
toggles = \"lamp\"
";

#[test]
fn what_was_pressed_and_asked_for_while_it_stood_still_comes_to_nothing() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    home.folder.write("rules/house.toml", &format!("{HOUSE}{BUTTON}"));
    let mut daemon = home.run();
    let mut board = home.live_board();
    let mut controller = home.listen("standfast/controller");
    controller.expect(|message| message.payload.starts_with("birth"), TEN_SECONDS);
    daemon.freeze();
    home.say("from/yard/input/1", "press 1");
    home.say("hold/fan", "on 2h");
    assert!(
        controller.next(STANDS_STILL).is_none(),
        "the broker does not miss it yet, so what waits is not lost with the link"
    );
    let mut asker = UnixStream::connect(home.folder.path("data/standfast.sock")).expect("the daemon listened");
    writeln!(asker, r#"{{"do":"hold","load":"lamp","state":"on","term":"2h"}}"#).expect("asked");
    daemon.thaw();
    let mut answer = String::new();
    asker.set_read_timeout(Some(TEN_SECONDS)).expect("a time-out");
    BufReader::new(asker).read_line(&mut answer).expect("answered");
    assert!(
        answer.contains("refused") && answer.contains("stood still for ") && answer.contains("say it again"),
        "{answer}"
    );
    for topic in ["standfast/from/yard/input/1", "standfast/hold/fan"] {
        daemon.expect_line(|line| line.contains(topic) && line.contains("stood still for"), TEN_SECONDS);
    }
    assert_eq!(board.report(), [false, false]);
    // It hears again what is said from now on.
    let deadline = Deadline::after(TEN_SECONDS);
    while home.ask(&["hold", "lamp", "on", "2h"]).code != 0 {
        assert!(!deadline.passed(), "{}", daemon.transcript());
    }
    board.expect([false, true]);
    home.say("from/yard/input/1", "press 2");
    board.expect([false, false]);
    assert!(!home.ask(&["log"]).out.contains("fan held"), "the hold of the fan is void");
}

#[test]
fn whoever_asks_one_that_stands_still_is_told_so_and_what_that_means() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let daemon = home.run();
    daemon.freeze();
    let held = home.ask(&["hold", "lamp", "on", "2h"]);
    assert_eq!(held.code, 2, "{held:?}");
    for part in ["is there and does not answer", "leases run out", "counts is not known", "start it anew"] {
        assert!(held.err.contains(part), "{part}: {held:?}");
    }
    assert!(!held.err.contains("os error"), "{held:?}");
    let status = home.ask(&["status"]);
    assert!(status.code == 2 && status.err.contains("does not answer"), "{status:?}");
    assert!(!status.err.contains("counts is not known"), "it was asked for nothing: {status:?}");
    daemon.thaw();
    assert_eq!(home.ask(&["status"]).code, 0);
}
