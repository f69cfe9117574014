//! Selectors and setpoints of a running daemon: by message and by command, across a restart, and what is refused.

use super::home::{HOUSE, Home};
use super::support::{Broker, TEN_SECONDS};

const OFF: [bool; 2] = [false, false];
const FAN: [bool; 2] = [true, false];
const LAMP: [bool; 2] = [false, true];
const BOTH: [bool; 2] = [true, true];

/// The fan follows a setpoint, the lamp a selector.
const MODES: &str = r#"
[selector.house]
positions = ["lived-in", "away"]

[setpoint.sunroom]
value = 28.0
range = [20, 32]

[rule.lamp-while-away]
load = "lamp"
demand = "on"
while = { selector = "house", is = "away" }
"#;

fn home(port: u16) -> Home {
    let home = Home::on_save(port);
    let text = HOUSE.replace("\">= 28.0\"", "\">= sunroom\"").replace("\"<= 26.5\"", "\"<= sunroom - 1.5\"");
    home.folder.write("rules/house.toml", &format!("{text}{MODES}"));
    home
}

#[test]
fn what_is_set_by_message_acts_at_once_and_outlives_the_daemon() {
    let broker = Broker::start();
    let home = home(broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "25");
    home.say("selector/house", "away 3d");
    board.expect(LAMP);
    home.say("setpoint/sunroom", "24.5 until 22:00");
    board.expect(BOTH);
    // What is said about the setpoint in the end is on disk: then so is all before it.
    let answer = home.ask(&["set", "sunroom", "24", "5h"]);
    assert!(answer.code == 0 && answer.out.starts_with("setpoint sunroom is 24 until "), "{answer:?}");
    daemon.kill();
    let mut said = home.listen("standfast/controller");
    said.expect(|message| message.payload == "death", TEN_SECONDS);
    let _daemon = home.run();
    for _ in 0..3 {
        assert_eq!(board.report(), BOTH);
    }
    let status = home.ask(&["status"]).out;
    assert!(status.contains("selector house: away until ") && status.contains(", by a message"), "{status}");
    assert!(status.contains("setpoint sunroom: 24 until ") && status.contains("; 28 by the file"), "{status}");
}

#[test]
fn retained_and_impossible_ones_are_refused_with_their_topic() {
    let broker = Broker::start();
    let home = home(broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    for (topic, payload, part) in
        [("selector/house", "away 3d", "retained turn of a selector"), ("setpoint/sunroom", "21", "retained setpoint")]
    {
        home.say_retained(topic, payload);
        daemon.expect_line(|line| line.contains(part) && line.contains(topic), TEN_SECONDS);
    }
    // Complaints about one topic come at most once a minute, so this takes another.
    home.say("setpoint/cellar", "21");
    daemon.expect_line(|line| line.contains("the house has no setpoint") && line.contains("cellar"), TEN_SECONDS);
    assert_eq!(board.report(), OFF);
    let status = home.ask(&["status"]).out;
    assert!(status.contains("selector house: lived-in\n"), "{status}");
    assert!(status.contains("setpoint sunroom: 28 by the file, may be set from 20 to 32"), "{status}");
}

#[test]
fn a_value_may_have_the_setpoints_unit_behind_it() {
    let broker = Broker::start();
    let home = home(broker.port());
    let path = home.folder.path("rules/house.toml");
    let text = std::fs::read_to_string(path).expect("the house").replace("[20, 32]", "[20, 32]\nunit = \"°C\"");
    home.folder.write("rules/house.toml", &text);
    let _daemon = home.run();
    for said in ["24.5 °C", "24.5°C"] {
        let answer = home.ask(&["set", "sunroom", said, "2h"]);
        assert!(answer.out.starts_with("setpoint sunroom is 24.5 °C until "), "{answer:?}");
    }
    for said in ["24.5 K", "°C", "24.5 °C °C"] {
        let answer = home.ask(&["set", "sunroom", said]);
        assert!(answer.code == 1 && answer.err.contains("is no number; write for example 28"), "{answer:?}");
    }
}

#[test]
fn the_command_line_turns_sets_and_releases() {
    let broker = Broker::start();
    let home = home(broker.port());
    let _daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "25");
    let done = |arguments: &[&str], expected: &str| {
        let answer = home.ask(arguments);
        assert!(answer.code == 0 && answer.out.starts_with(expected), "{arguments:?}: {answer:?}");
    };
    let refused = |arguments: &[&str], part: &str| {
        let answer = home.ask(arguments);
        assert!(answer.code == 1 && answer.err.contains(part), "{arguments:?}: {answer:?}");
    };
    done(&["select", "house", "away"], "selector house is away until it is turned again");
    board.expect(LAMP);
    done(&["select", "house", "release"], "selector house is back at its first position");
    board.expect(OFF);
    done(
        &["set", "sunroom", "24.5"],
        "setpoint sunroom is 24.5 until it is set again or its value in the file changes",
    );
    board.expect(FAN);
    done(&["set", "sunroom", "release"], "setpoint sunroom is back at its value in the file");
    board.expect(OFF);
    done(
        &["set", "sunroom", "release"],
        "there was nothing to do: setpoint sunroom has its value in the file, and nobody has set it",
    );
    refused(&["set", "sunroom", "33"], "33 is outside of the range of setpoint \"sunroom\"; set it from 20 to 32");
    refused(&["set", "sunroom", "-5"], "outside of the range");
    refused(&["set", "sunroom", "warm"], "\"warm\" is no number");
    refused(&["set", "sunroom", "21,5"], "\"21,5\" has a comma; write it with a point: 21.5");
    refused(&["set", "sunroom", "1,234,5"], "\"1,234,5\" is no number");
    refused(&["set", "sunrom", "25"], "did you mean \"sunroom\"?");
    refused(&["set", "sunroom", "25", "for", "ever"], "such as \"2h\"");
    refused(&["select", "house", "awya"], "did you mean \"away\"?");
    refused(&["select", "house", "release", "2h"], "is too much");
    let answer = home.ask(&["status", "--json"]);
    let status: serde_json::Value = serde_json::from_str(&answer.out).expect("JSON");
    assert_eq!(status["selectors"][0]["position"], "lived-in");
    assert_eq!(status["setpoints"][0]["value"], 28.0);
    assert_eq!(status["setpoints"][0]["range"], serde_json::json!([20.0, 32.0]));
}

#[test]
fn with_a_disk_that_fails_what_is_set_is_in_force_and_says_that_it_is_not_saved() {
    let broker = Broker::start();
    let home = home(broker.port());
    let _daemon = home.run();
    let mut board = home.live_board();
    // Somebody holds the database for longer than anyone waits.
    let stubborn = rusqlite::Connection::open(home.folder.path("data/standfast.db")).expect("opens");
    stubborn.execute_batch("BEGIN IMMEDIATE").expect("locks");
    let answer = home.ask(&["select", "house", "away", "3d"]);
    assert!(answer.code == 0 && answer.out.contains("in force, not saved"), "{answer:?}");
    board.expect(LAMP);
    stubborn.execute_batch("ROLLBACK").expect("unlocks");
}

#[test]
fn a_changed_value_in_the_file_ends_what_was_set_and_says_so() {
    let broker = Broker::start();
    let home = home(broker.port());
    let mut daemon = home.run();
    assert_eq!(home.ask(&["set", "sunroom", "24.5"]).code, 0);
    let text = std::fs::read_to_string(home.folder.path("rules/house.toml")).expect("the house");
    home.folder.write("rules/house.toml", &text.replace("value = 28.0", "value = 27.0"));
    let said = "setpoint sunroom is back at 27: the house's file says something else";
    daemon.expect_line(|line| line.contains(said), TEN_SECONDS);
}

#[test]
fn an_end_is_an_option_too() {
    let broker = Broker::start();
    let home = home(broker.port());
    let _daemon = home.run();
    let _board = home.live_board();
    for (arguments, words) in [
        (&["select", "house", "away", "--until", "22:30"][..], "selector house is away until 22:30 to"),
        (&["select", "house", "away", "--for", "3d"], "selector house is away until "),
        (&["set", "sunroom", "24", "--for", "22:30"], "setpoint sunroom is 24 until 22:30 to"),
        (&["set", "sunroom", "23", "--until", "2h"], "setpoint sunroom is 23 until "),
    ] {
        let answer = home.ask(arguments);
        assert!(answer.code == 0 && answer.out.starts_with(words), "{arguments:?}: {answer:?}");
    }
    let dated = home.ask(&["select", "house", "away", "--until", "2026-12-24"]);
    assert!(dated.code == 1 && dated.err.contains("write how many days and hours from now"), "{dated:?}");
    // Said twice it is no end.
    for twice in [&["3d", "--for", "2d"][..], &["3d", "--until", "22:30"], &["--for", "2d", "--until", "22:30"]] {
        let answer = home.ask(&[&["select", "house", "away"], twice].concat());
        assert!(answer.code == 2 && answer.err.contains("cannot be used with"), "{twice:?}: {answer:?}");
    }
}
