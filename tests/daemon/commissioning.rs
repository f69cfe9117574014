//! `standfast commission` at a terminal of its own, with the board played by hand.

use std::process::Command;

use super::home::Home;
use super::support::{Broker, Process, TEN_SECONDS};

/// The command on a pseudo-terminal, as `script` of util-linux makes one.
fn commission(home: &Home) -> Process {
    let config = home.folder.path("standfast.toml").display().to_string();
    let line = format!("{} commission yard --config {config}", env!("CARGO_BIN_EXE_standfast"));
    Process::start_typing("commission", Command::new("script").args(["-qec", &line, "/dev/null"]))
}

#[test]
fn a_board_is_tried_relay_by_relay_and_signed_off() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let mut board = home.board();
    board.birth();
    board.report();
    let mut person = commission(&home);
    // Away; not disconnected; the lamp; which load moved.
    ["y", "n", "y", "the lamp by the door", "n", "Ann Example"].iter().for_each(|line| person.type_line(line));
    board.expect([false, true]);
    board.expect([false, false]);
    person.expect_line(|line| line.contains("yard/1") && line.contains("a short start may harm a"), TEN_SECONDS);
    person.expect_line(|line| line.contains("Record of board yard"), TEN_SECONDS);
    person.expect_line(|line| line.contains("yard/2") && line.contains("reported on; moved: the lamp by"), TEN_SECONDS);
    person.expect_line(|line| line.contains("Fallback: not tried"), TEN_SECONDS);
    person.expect_line(|line| line.starts_with("Signed: Ann Example"), TEN_SECONDS);
    person.expect_line(|line| line.contains("Not all was tried"), TEN_SECONDS);
    assert!(person.transcript().contains("Mains voltage hurts and burns"));
}

#[test]
fn who_breaks_off_leaves_nothing_held() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let mut board = home.board();
    board.birth();
    board.report();
    let mut person = commission(&home);
    ["y", "n", "y"].iter().for_each(|line| person.type_line(line));
    board.expect([false, true]);
    // End of input, as Ctrl-D at a terminal.
    person.type_line("\u{4}");
    board.expect([false, false]);
    person.expect_line(|line| line.contains("what was held is released"), TEN_SECONDS);
}
