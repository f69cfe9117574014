//! Hands: over the command socket and by message, and what is refused.

use super::home::Home;
use super::support::{Broker, TEN_SECONDS};

const OFF: [bool; 2] = [false, false];
const STORED: &str = r#""stored":true"#;
const LAMP: [bool; 2] = [false, true];

#[test]
fn hold_release_withdraw_restore_from_the_command_line() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let mut board = home.live_board();
    let done = |arguments: &[&str]| {
        let answer = home.ask(arguments);
        assert_eq!(answer.code, 0, "{arguments:?}: {answer:?}");
        answer.out
    };
    assert!(done(&["hold", "lamp", "on", "until", "22:30"]).contains("22:30"));
    board.expect(LAMP);
    assert_eq!(
        done(&["release", "lamp"]),
        "lamp is released; its rules decide again; it is to be off now: nothing is demanded, so it rests"
    );
    board.expect(OFF);
    assert_eq!(done(&["release", "lamp"]), "there was nothing to do: lamp is not held");
    done(&["hold", "lamp", "on"]);
    board.expect(LAMP);
    let withdrawn = done(&["withdraw", "lamp", "new", "driver"]);
    assert!(withdrawn.contains("This is no isolation"), "{withdrawn}");
    board.expect(OFF);
    let status = home.ask(&["status"]).out;
    assert!(status.contains(", withdrawn (new driver); this is no isolation"), "{status}");
    let refused = home.ask(&["hold", "lamp", "on"]);
    assert_eq!(refused.code, 1);
    assert!(refused.err.contains("restore it first"), "{refused:?}");
    assert_eq!(done(&["restore", "lamp"]), "lamp is back in service");
    assert_eq!(board.report(), OFF);
}

#[test]
fn what_is_misspelt_is_refused_with_the_nearest() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let refused = |arguments: &[&str], part: &str| {
        let answer = home.ask(arguments);
        assert_eq!(answer.code, 1, "{answer:?}");
        assert!(answer.err.contains(part), "{answer:?}");
    };
    refused(&["hold", "lmap", "on"], "did you mean \"lamp\"?");
    refused(&["release", "cooker"], "there are: fan, lamp");
    refused(&["hold", "lamp", "on", "for", "ever"], "such as \"2h\"");
    refused(&["acknowledge", "nothing"], "there is no alarm \"nothing\"");
}

#[test]
fn status_is_also_there_as_data() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let answer = home.ask(&["status", "--json"]);
    let status: serde_json::Value = serde_json::from_str(&answer.out).expect("JSON");
    assert_eq!(status["broker"], true);
    assert_eq!(status["boards"][0]["board"], "yard");
    assert_eq!(status["loads"][1]["load"], "lamp");
    assert_eq!(status["loads"][1]["wanted"], "off");
}

#[test]
fn a_hold_by_message_is_shown_as_stored_and_a_retained_one_is_refused() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    let mut said = home.listen("standfast/load/lamp");
    home.say("hold/lamp", "on 2h");
    board.expect(LAMP);
    said.expect(|message| message.payload.contains(STORED), TEN_SECONDS);
    home.say("hold/lamp", "release");
    board.expect(OFF);
    home.say_retained("hold/lamp", "on 2h");
    daemon.expect_line(|line| line.contains("retained hold") && line.contains("standfast/hold/lamp"), TEN_SECONDS);
    assert_eq!(board.report(), OFF);
}

#[test]
fn with_a_disk_that_fails_a_hold_is_in_force_and_says_that_it_is_not_saved() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let mut board = home.live_board();
    let mut said = home.listen("standfast/#");
    // Somebody holds the database for longer than anyone waits.
    let stubborn = rusqlite::Connection::open(home.folder.path("data/standfast.db")).expect("opens");
    stubborn.execute_batch("BEGIN IMMEDIATE").expect("locks");
    let answer = home.ask(&["hold", "lamp", "on", "2h"]);
    assert!(answer.code == 0 && answer.out.contains("in force, not saved"), "{answer:?}");
    board.expect(LAMP);
    said.expect(|message| message.topic == "standfast/alarm/store" && message.payload.contains("disk"), TEN_SECONDS);
    stubborn.execute_batch("ROLLBACK").expect("unlocks");
    // In either order: that the hold is stored, and that the disk is well again.
    let (mut stored, mut well) = (false, false);
    while !(stored && well) {
        let message = said.next(TEN_SECONDS).expect("both are said");
        stored |= message.topic == "standfast/load/lamp" && message.payload.contains(STORED);
        well |= message.topic == "standfast/alarm/store" && message.payload.is_empty();
    }
}

#[test]
fn without_a_daemon_a_command_could_not_run() {
    let home = Home::on_save(1);
    let answer = home.ask(&["release", "lamp"]);
    assert_eq!(answer.code, 2);
    assert!(answer.err.contains("no standfast answers at") && answer.err.contains("standfast run"), "{answer:?}");
}
