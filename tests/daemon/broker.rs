//! The broker comes late, dies, freezes, or another daemon comes: what the log says, and that the house goes on.

use std::collections::BTreeSet;
use std::time::Duration;

use super::home::{HOUSE, Home};
use super::support::{Broker, Message, TEN_SECONDS};

const ON: [bool; 2] = [true, false];
const OFF: [bool; 2] = [false, false];
/// A half-open link is noticed after at most 2 × 5 s + 5 s; the rest is room for a loaded machine.
const FROZEN_NOTICED_WITHIN: Duration = Duration::from_secs(25);

#[test]
fn from_a_reading_to_a_closed_contact_and_back() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut said = home.listen("standfast/#");
    let _daemon = home.run();
    said.expect(
        |message| message.payload.starts_with("birth ") && message.topic == "standfast/controller",
        TEN_SECONDS,
    );
    let fallback = said.expect(|message| message.topic == "standfast/to/yard/fallback", TEN_SECONDS);
    assert_eq!(fallback.payload, "60 off off");
    let mut board = home.board();
    board.birth();
    assert_eq!(board.report(), OFF);
    home.say("from/yard/reading/t1", "28.0");
    board.expect(ON);
    let load = said.expect(
        |message| message.topic == "standfast/load/fan" && message.payload.contains(r#""known":"on""#),
        TEN_SECONDS,
    );
    assert!(
        load.payload.contains("when sunroom-air was 28 °C; now 28; off at 26.5 (rule fan-when-hot)"),
        "{}",
        load.payload
    );
    home.say("from/yard/reading/t1", "27.9");
    home.say("from/yard/reading/t1", "26.5");
    board.expect(OFF);
}

#[test]
fn a_late_broker_is_logged_once_and_then_found() {
    let mut broker = Broker::start();
    broker.kill();
    let home = Home::on_save(broker.port());
    let mut daemon = home.start();
    daemon.expect_line(|line| line.contains("no broker: connection refused"), TEN_SECONDS);
    // Long enough for several attempts.
    while daemon.next_line(Duration::from_secs(2)).is_some() {}
    assert_eq!(daemon.lines().iter().filter(|line| line.text.contains("no broker")).count(), 1);
    broker.restart();
    daemon.expect_line(|line| line.contains("connected to the broker"), TEN_SECONDS);
}

#[test]
fn a_broker_killed_and_back_finds_the_house_going_on() {
    let mut broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "30");
    board.expect(ON);
    broker.kill();
    daemon.expect_line(|line| line.contains("no broker"), TEN_SECONDS);
    broker.restart();
    daemon.expect_line(|line| line.contains("connected to the broker"), TEN_SECONDS);
    // Everything is published again, though the broker had forgotten it; and whoever comes later finds it retained. The first
    // listener may come while the daemon is at it, and then hears some of it live.
    for only_retained in [false, true] {
        let mut said = home.listen("standfast/#");
        let mut missing: BTreeSet<&str> =
            ["controller", "to/yard/fallback", "load/fan", "load/lamp"].into_iter().collect();
        while !missing.is_empty() {
            let message = said.next(TEN_SECONDS).unwrap_or_else(|| panic!("{missing:?} is missing"));
            if message.retained || !only_retained {
                missing.retain(|topic| message.topic != format!("standfast/{topic}"));
            }
        }
    }
    let mut board = board.again(&home);
    board.birth();
    assert_eq!(board.report(), ON);
    home.say("from/yard/reading/t1", "20");
    board.expect(OFF);
    assert_eq!(daemon.lines().iter().filter(|line| line.text.contains("no broker")).count(), 1);
}

#[test]
fn a_frozen_broker_is_given_up_and_found_again() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let board = home.live_board();
    broker.freeze();
    daemon.expect_line(|line| line.contains("no broker"), FROZEN_NOTICED_WITHIN);
    broker.thaw();
    daemon.expect_line(|line| line.contains("connected to the broker"), FROZEN_NOTICED_WITHIN);
    let mut board = board.again(&home);
    board.birth();
    board.report();
    home.say("from/yard/reading/t1", "30");
    board.expect(ON);
}

/// The second has another data folder, so that it remembers nothing of what the first was told.
#[test]
fn a_second_daemon_on_the_same_broker_is_refused_while_the_first_lives() {
    let broker = Broker::start();
    let (first, second) = (Home::on_save(broker.port()), Home::on_save(broker.port()));
    let mut first_daemon = first.run();
    let mut board = first.board();
    board.birth();
    board.report();
    assert_eq!(first.ask(&["hold", "lamp", "on", "2h"]).code, 0);
    board.expect([false, true]);
    let mut refused = second.start();
    // Not 2: the service manager must not start it again and again.
    assert_eq!(refused.expect_end(TEN_SECONDS).code(), Some(1));
    let printed = refused.transcript();
    assert!(printed.contains("another standfast with the prefix standfast is at the broker"), "{printed}");
    assert!(first_daemon.runs());
    assert_eq!(board.report(), [false, true]);
    // What the broker keeps may say that one lives where none is left to take it back.
    first_daemon.terminate();
    first_daemon.expect_end(TEN_SECONDS);
    second.say_retained("controller", "birth 0.1.0 4f2c9a1");
    let mut second_daemon = second.run();
    assert!(second_daemon.runs());
}

#[test]
fn a_second_daemon_takes_the_place_of_one_that_hangs_which_stays_away() {
    let broker = Broker::start();
    let (first, second) = (Home::on_save(broker.port()), Home::on_save(broker.port()));
    let mut first_daemon = first.run();
    first_daemon.freeze();
    let mut second_daemon = second.run();
    first_daemon.thaw();
    first_daemon.expect_line(|line| line.contains("this one stops and stays away"), TEN_SECONDS);
    // Not 0 and not 2: the service manager must not start it again.
    assert_eq!(first_daemon.expect_end(TEN_SECONDS).code(), Some(1));
    let mut board = second.board();
    board.birth();
    board.report();
    second.say("from/yard/reading/t1", "30");
    board.expect(ON);
    assert!(second_daemon.runs());
}

/// The broker is gone for longer than a restart of it takes: the journal has the loss and the return, and a person is told.
#[test]
fn a_broker_that_stays_away_is_an_alarm_and_has_its_rows() {
    let mut broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let _board = home.live_board();
    broker.kill();
    daemon.expect_line(|line| line.contains("the broker is lost: "), TEN_SECONDS);
    // A board that nobody can hear is not said to be heard.
    let status = home.ask(&["status"]).out;
    assert!(status.contains("board yard: not heard while there is no broker"), "{status}");
    let held = home.ask(&["hold", "lamp", "on", "2h"]).out;
    assert!(held.contains("it is not on yet: no broker is connected, so no order goes out"), "{held}");
    daemon.expect_line(
        |line| line.contains("alarm broker: the broker is out of reach (connection"),
        FROZEN_NOTICED_WITHIN,
    );
    broker.restart();
    daemon.expect_line(|line| line.contains("alarm broker cleared"), FROZEN_NOTICED_WITHIN);
    let log = home.ask(&["log"]).out;
    for row in ["the broker is lost: ", "the broker is there again", "alarm broker: the broker is out of reach"] {
        assert_eq!(log.lines().filter(|line| line.contains(row)).count(), 1, "{row}: {log}");
    }
}

/// What boards keep of us is ours alone: somebody else's word there is noticed, told and put right, at a bounded pace.
#[test]
fn what_somebody_else_writes_on_our_topics_is_put_right_and_told() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut said = home.listen("standfast/#");
    let ours = |topic: &'static str, begins: &'static str| {
        move |message: &Message| message.topic == format!("standfast/{topic}") && message.payload.starts_with(begins)
    };
    said.expect(ours("to/yard/fallback", "60 off off"), TEN_SECONDS);
    home.say_retained("to/yard/fallback", "3600 on on");
    said.expect(ours("to/yard/fallback", "3600 on on"), TEN_SECONDS);
    said.expect(ours("to/yard/fallback", "60 off off"), TEN_SECONDS);
    let alarm = said.expect(ours("alarm/other-writer", "{"), TEN_SECONDS).payload;
    assert!(alarm.contains(r#"standfast/to/yard/fallback said \"3600 on on\""#), "{alarm}");
    // Boards that hear of no controller would wait for a birth.
    home.say_retained("controller", "death");
    said.expect(ours("controller", "death"), TEN_SECONDS);
    said.expect(ours("controller", "birth "), TEN_SECONDS);
    // Emptied counts as well; not at once again, but soon.
    home.say_retained("to/yard/fallback", "");
    said.expect(ours("to/yard/fallback", "60 off off"), TEN_SECONDS);
    // The same from elsewhere changes nothing, and our own words that the broker hands out are no one else's.
    home.say_retained("to/yard/fallback", "60 off off");
    home.say("from/yard/reading/t1", "20");
    let found = home.listen("standfast/to/yard/fallback").next(TEN_SECONDS).expect("it is retained");
    assert_eq!((found.payload.as_str(), found.retained), ("60 off off", true));
    let log = home.ask(&["log"]).out;
    assert_eq!(log.lines().filter(|line| line.contains("alarm other-writer")).count(), 1, "{log}");
    assert!(daemon.runs());
}

/// A reload says other fallbacks: they are ours.
#[test]
fn our_own_words_on_our_topics_are_nobody_elses() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut said = home.listen("standfast/to/yard/fallback");
    for lease in ["30s", "45s", "60s"] {
        home.folder.write("rules/house.toml", &HOUSE.replace("lease = \"60s\"", &format!("lease = \"{lease}\"")));
        assert_eq!(home.ask(&["apply"]).code, 0);
        let begins = format!("{} off off", lease.trim_end_matches('s'));
        said.expect(|message| message.payload == begins, TEN_SECONDS);
    }
    daemon.terminate();
    daemon.expect_end(TEN_SECONDS);
    let again = home.run();
    let status = home.ask(&["status"]).out;
    assert!(!status.contains("other-writer"), "{status}");
    drop(again);
}
