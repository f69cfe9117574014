//! What is written down and read back: log, export, history.

use super::home::Home;
use super::support::{Broker, Folder, Standfast, TEN_SECONDS};

#[test]
fn what_happened_is_told_with_its_reason_and_counted() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let mut board = home.live_board();
    assert_eq!(home.ask(&["hold", "lamp", "on", "--for", "2h"]).code, 0);
    board.expect([false, true]);
    let log = home.ask(&["log", "lamp"]);
    assert_eq!(log.code, 0, "{log:?}");
    assert!(log.out.contains("lamp held on by a command of "), "{log:?}");
    assert!(log.out.contains("lamp on (yard/2): held on by a command of"), "{log:?}");
    assert!(log.out.lines().all(|line| line.chars().count() <= 80), "{log:?}");
    // Only of the load, and only from then on.
    assert!(!log.out.contains("board yard"), "{log:?}");
    assert!(home.ask(&["log"]).out.contains("board yard is heard"));
    assert_eq!(home.ask(&["log", "--until", "1h"]).out, "nothing is written there");
    let json: serde_json::Value =
        serde_json::from_str(&home.ask(&["log", "lamp", "--json"]).out).expect("one document");
    let rows = json["rows"].as_array().expect("rows");
    assert!(rows.iter().any(|row| row["entry"]["entry"] == "changed" && row["entry"]["cause"]["cause"] == "hold"));
    let csv = home.ask(&["log", "lamp", "--since", "1h", "--csv"]).out;
    assert!(csv.starts_with("time,trusted,kind,load,text,revision\r\n"), "{csv}");
    assert_eq!(csv.lines().count(), rows.len() + 1, "{csv}");
    assert_eq!(home.ask(&["release", "lamp"]).code, 0);
    board.expect([false, false]);
    let history = home.ask(&["history", "lamp", "--by", "reason", "--json"]).out;
    let history: serde_json::Value = serde_json::from_str(&history).expect("one document");
    assert_eq!(history["rows"][0]["closings"], 1, "{history}");
    // People read the clock of the house, as in the log.
    let told = home.ask(&["history"]).out;
    assert!(told.starts_with("from 20") && told.contains(':') && !told.contains('T') && !told.contains('+'), "{told}");
    assert!(history["rows"][0]["by"].as_str().is_some_and(|by| by.starts_with("held by a command of")), "{history}");
    let why = home.ask(&["why", "lamp"]);
    assert!(why.code == 0 && why.out.contains("none is set, so it rests"), "{why:?}");
    let why = home.ask(&["why", "fan"]).out;
    assert!(why.contains("fan-when-hot") && why.contains("sunroom-air is not known"), "{why}");
    let why: serde_json::Value = serde_json::from_str(&home.ask(&["why", "fan", "--json"]).out).expect("one document");
    assert_eq!(why["rules"][0]["rule"], "fan-when-hot", "{why}");
    let was = home.ask(&["why", "lamp", "--at", "0s"]);
    assert!(was.code == 0 && was.out.starts_with("since ") && was.out.contains("lamp off (yard/2)"), "{was:?}");
    let was = home.ask(&["why", "lamp", "--at", "2026-05-12"]);
    assert!(was.code == 1 && was.err.contains("knows no change before 2026-05-12 00:00:00"), "{was:?}");
    let ahead = home.ask(&["why", "lamp", "--at", "2199-01-01"]);
    assert!(ahead.code == 1 && ahead.err.contains("lies ahead"), "{ahead:?}");
    let refused = home.ask(&["log", "lmap"]);
    assert!(refused.code == 1 && refused.err.contains("did you mean \"lamp\"?"), "{refused:?}");
    let refused = home.ask(&["log", "--since", "yesterday"]);
    assert!(refused.code == 1 && refused.err.contains("2026-05-12"), "{refused:?}");
}

fn stored_readings(home: &Home) -> i64 {
    let database = rusqlite::Connection::open(home.folder.path("data/standfast.db")).expect("opens");
    database.query_row("SELECT count(*) FROM reading", [], |row| row.get(0)).expect("reads")
}

#[test]
fn what_sensors_said_is_exported_to_the_last_reading() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    assert_eq!(home.ask(&["export"]).out, "time,sensor,value");
    // What the engine drops is exported too.
    for value in ["21.5", "99", "28.25"] {
        home.say("from/yard/reading/t1", value);
    }
    board.expect([true, false]);
    let csv = home.ask(&["export", "sunroom-air"]).out;
    let values: Vec<&str> = csv.lines().skip(1).filter_map(|line| line.rsplit(',').next()).collect();
    assert_eq!(values, ["21.5", "99.0", "28.25"], "{csv}");
    assert!(csv.lines().nth(1).is_some_and(|line| line.contains("Z,sunroom-air,")), "{csv}");
    let json: serde_json::Value = serde_json::from_str(&home.ask(&["export", "--json"]).out).expect("one document");
    assert_eq!(json.as_array().map(Vec::len), Some(3), "{json}");
    // Whoever looks has nothing written: they wait for their minute, and are there after the end.
    assert_eq!(stored_readings(&home), 0);
    daemon.terminate();
    daemon.expect_end(TEN_SECONDS);
    assert_eq!(stored_readings(&home), 3);
    let _daemon = home.run();
    assert_eq!(home.ask(&["export", "--until", "1h", "--json"]).out, "[]");
    let refused = home.ask(&["export", "sunrom-air"]);
    assert!(refused.code == 1 && refused.err.contains("did you mean \"sunroom-air\"?"), "{refused:?}");
}

#[test]
fn a_remotes_codes_are_learnt_as_toml_to_paste() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let config = home.folder.path("standfast.toml").display().to_string();
    let mut monitor = Standfast::start(&["monitor", "--config", &config, "--count", "4"]);
    monitor.expect_line(|line| line.starts_with("# listening"), TEN_SECONDS);
    home.say("from/yard/input/ir", "20DF40BF 7");
    monitor.expect_line(|line| line == "[input.yard-ir-20df40bf]", TEN_SECONDS);
    monitor.expect_line(|line| line == "at = \"yard/ir\"", TEN_SECONDS);
    monitor.expect_line(|line| line == "code = \"20DF40BF\"", TEN_SECONDS);
    home.say("from/yard/input/ir", "20DF40BF 8");
    home.say("from/yard/reading/t9", "4.5");
    monitor.expect_line(|line| line == "reading = \"yard/t9\"", TEN_SECONDS);
    // What the house names is a comment.
    home.say("from/yard/reading/t1", "21.5");
    monitor.expect_line(|line| line.ends_with("yard/t1: 21.5  (sensor \"sunroom-air\")"), TEN_SECONDS);
}

#[test]
fn an_answer_says_what_was_understood() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let _board = home.live_board();
    let answer = home.ask(&["hold", "lamp", "on", "--until", "22:30"]);
    assert!(answer.out.contains("until 22:30 to"), "today or tomorrow: {answer:?}");
    let answer = home.ask(&["hold", "lamp", "off", "next", "change", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&answer.out).expect("one document");
    assert_eq!(json["outcome"], "done");
    assert!(json["text"].as_str().is_some_and(|text| text.contains("until the rules say something else")), "{json}");
    let refused = home.ask(&["hold", "lamp", "off", "sometime", "--json"]);
    assert_eq!(refused.code, 1, "{refused:?}");
    let json: serde_json::Value = serde_json::from_str(&refused.out).expect("one document");
    assert_eq!(json["outcome"], "refused");
}

#[test]
fn completions_and_manual_come_from_the_parser() {
    let folder = Folder::new();
    let script = Standfast::run(&["completions", "bash"]);
    assert!(String::from_utf8_lossy(&script.stdout).contains("complete -F _standfast"), "{script:?}");
    let pages = folder.path("man1").display().to_string();
    assert!(Standfast::run(&["manual", &pages]).status.success());
    for page in ["standfast.1", "standfast-log.1", "standfast-hold.1"] {
        let text = std::fs::read_to_string(folder.path("man1").join(page)).expect("a page");
        assert!(text.contains(".SH NAME"), "{page}");
    }
    assert!(folder.path("man1/standfast.1").metadata().is_ok_and(|page| page.len() > 1000));
}
