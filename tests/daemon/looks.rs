//! What is written down and read back: log, export, history.

use super::home::Home;
use super::support::Broker;

#[test]
fn what_happened_is_told_with_its_reason_and_counted() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let mut board = home.board();
    board.birth();
    board.report();
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
    assert!(was.code == 1 && was.err.contains("knows no change before 2026-05-12T00:00:00"), "{was:?}");
    let refused = home.ask(&["log", "lmap"]);
    assert!(refused.code == 1 && refused.err.contains("did you mean \"lamp\"?"), "{refused:?}");
    let refused = home.ask(&["log", "--since", "yesterday"]);
    assert!(refused.code == 1 && refused.err.contains("2026-05-12"), "{refused:?}");
}

#[test]
fn what_sensors_said_is_exported_to_the_last_reading() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let mut board = home.board();
    board.birth();
    board.report();
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
    assert_eq!(home.ask(&["export", "--until", "1h", "--json"]).out, "[]");
    let refused = home.ask(&["export", "sunrom-air"]);
    assert!(refused.code == 1 && refused.err.contains("did you mean \"sunroom-air\"?"), "{refused:?}");
}
