//! The daemon ends or is killed and comes back: what it still knows, and that no contact changes within a lease.

use super::home::Home;
use super::support::{Broker, TEN_SECONDS};

const ON: [bool; 2] = [true, false];
const BOTH: [bool; 2] = [true, true];

#[test]
fn asked_to_stop_it_says_so_and_leaves_the_leases_to_run() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "30");
    board.expect(ON);
    let mut said = home.listen("standfast/controller");
    daemon.terminate();
    assert_eq!(daemon.expect_end(TEN_SECONDS).code(), Some(0));
    said.expect(|message| message.payload == "death", TEN_SECONDS);
    assert!(board.is_left_alone(), "no orders come with the end");
    assert!(!home.folder.path("data/standfast.sock").exists());
}

#[test]
fn killed_and_back_within_the_lease_no_contact_changes_and_numbers_go_on() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "27.5");
    home.say("from/yard/reading/t1", "30");
    board.expect(ON);
    // Into the deadband, where only memory says that it is on.
    home.say("from/yard/reading/t1", "27");
    assert_eq!(board.report(), ON);
    assert_eq!(home.ask(&["hold", "lamp", "on", "2h"]).code, 0);
    board.expect(BOTH);
    let taken = board.taken;
    daemon.kill();
    let mut said = home.listen("standfast/controller");
    said.expect(|message| message.payload == "death", TEN_SECONDS);
    let _daemon = home.run();
    for _ in 0..3 {
        assert_eq!(board.report(), BOTH);
    }
    assert!(board.taken > taken);
    home.say("from/yard/reading/t1", "27");
    assert_eq!(board.report(), BOTH);
    // The hold is there as well, and still knows its end.
    let status = home.ask(&["status"]).out;
    assert!(status.contains("lamp: on since ") && status.contains(", held on by a command of"), "{status}");
}

#[test]
fn killed_right_after_the_answer_the_hold_is_not_forgotten() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    for round in 0..3 {
        let mut daemon = home.run();
        let state = if round % 2 == 0 { "on" } else { "off" };
        let answer = home.ask(&["hold", "lamp", state, "2h"]);
        assert!(answer.out.starts_with(&format!("lamp is held {state} until ")), "{answer:?}");
        daemon.kill();
        let mut daemon = home.run();
        let status = home.ask(&["status"]).out;
        assert!(status.contains(&format!("held {state} by a command of")), "{status}");
        daemon.kill();
    }
}

#[test]
fn a_board_that_returns_with_other_states_is_ordered_back_and_the_journal_says_why_they_moved() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "30");
    board.expect(ON);
    // It was away without a word: its power failed, and somebody pressed a button before the orders came.
    home.say("from/yard/life", &format!("death {}", board.boot));
    board.relays = [false, true];
    assert_eq!(board.report(), ON);
    // And a reset, as another boot.
    let mut other = home.board();
    other.taken = 0;
    other.birth();
    assert_eq!(other.report(), ON);
    let journal = home.ask(&["log"]).out;
    let words = journal.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "lamp on (yard/2): its board was not heard then, so why is not known",
        "lamp off (yard/2): the board restarted, which releases its relays",
    ] {
        assert!(words.contains(part), "{journal}");
    }
}
