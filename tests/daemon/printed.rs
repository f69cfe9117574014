//! What commands print: one JSON document each where that is asked for, and lines that fit 80 columns on a terminal and in
//! tables, with names as long as names may be.

use super::home::{HOUSE, Home};
use super::support::{Broker, Folder, Process, Standfast, TEN_SECONDS};

/// So long that no two of them fit a line.
const LONG: &str = "wash-house-towel-rail-behind-the-door";

fn document(command: &str, output: &str) -> serde_json::Value {
    serde_json::from_str(output).unwrap_or_else(|error| panic!("{command}: {error}: {output}"))
}

#[test]
fn every_command_that_tells_something_tells_it_as_one_document() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let _board = home.live_board();
    let asked: &[(&[&str], i32)] = &[
        (&["status"], 0),
        (&["why", "fan"], 0),
        (&["why", "lamp", "--at", "2026-05-12"], 1),
        (&["log"], 0),
        (&["log", "lmap"], 1),
        (&["history", "--by", "reason"], 0),
        (&["history", "lmap"], 1),
        (&["export"], 0),
        (&["export", "sunrom-air"], 1),
        (&["hold", "lamp", "on", "2h"], 0),
        (&["release", "lamp"], 0),
        (&["select", "house", "away"], 1),
        (&["set", "warm", "3"], 1),
        (&["withdraw", "lamp", "new driver"], 0),
        (&["restore", "lamp"], 0),
        (&["reset", "lamp"], 0),
        (&["acknowledge", "none"], 1),
        (&["apply"], 0),
        (&["apply", "--preview"], 0),
        (&["commission", "yrad"], 1),
    ];
    for (command, code) in asked {
        let answer = home.ask(&[command, &["--json"][..]].concat());
        assert_eq!(answer.code, *code, "{command:?}: {answer:?}");
        document(&command.join(" "), &answer.out);
        assert!(answer.err.is_empty(), "{command:?}: {answer:?}");
    }
    home.save_with("kind = \"led\"", "kind = \"led\"\nresting = \"on\"");
    let preview = document("preview", &home.ask(&["apply", "--preview", "--json"]).out);
    let contact = &preview["data"]["contacts"][0];
    assert_eq!((&contact["relay"], &contact["load"], &contact["to"]), (&"yard/2".into(), &"lamp".into(), &"on".into()));
    let folder = Folder::new();
    folder.write("house/house.toml", HOUSE);
    let (house, new) = (folder.path("house").display().to_string(), folder.path("new").display().to_string());
    let new = ["new", &new, "--latitude", "54.6", "--longitude", "-3.14", "--zone", "Europe/London", "--board", "yard"];
    let alone: &[&[&str]] =
        &[&["check", &house], &["almanac", &house], &["reference"], &[&new[..], &["--relays", "4"]].concat()];
    for command in alone {
        let output = Standfast::run(&[command, &["--json"][..]].concat());
        assert!(output.status.success(), "{command:?}: {output:?}");
        document(command[0], &String::from_utf8_lossy(&output.stdout));
    }
    // A schema is a document as it is.
    document("schema", &String::from_utf8_lossy(&Standfast::run(&["schema"]).stdout));
}

#[test]
fn on_a_terminal_no_line_is_longer_than_eighty_columns_or_the_terminal_whatever_names_are() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let house = HOUSE
        .replace("lamp", LONG)
        .replace("fan-when-hot", "wash-house-is-too-hot-behind-the-door")
        .replace("sunroom-air", "wash-house-air-behind-the-towel-rail");
    home.folder.write("rules/house.toml", &house);
    let _daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "29.5");
    board.expect([true, false]);
    assert_eq!(home.ask(&["hold", LONG, "on", "2h"]).code, 0);
    board.expect([true, true]);
    let config = home.folder.path("standfast.toml").display().to_string();
    for (command, columns) in
        ["status", "why fan", &format!("why {LONG}"), "log", "history --by reason", "history", "apply --preview"]
            .iter()
            .flat_map(|command| [200, 80, 50, 30].map(|columns| (*command, columns)))
    {
        let line = format!("{} {command} --config {config}", env!("CARGO_BIN_EXE_standfast"));
        let line = format!("sh -c 'stty cols {columns} && exec {line}'");
        let mut shown = Process::start_at_terminal(command, &line);
        assert!(shown.expect_end(TEN_SECONDS).success(), "{command}: {}", shown.transcript());
        assert!(shown.lines().len() > 1 || command.starts_with("apply"), "{command}: {}", shown.transcript());
        for line in shown.lines() {
            let plain = line.text.replace("\u{1b}[1m", "").replace("\u{1b}[0m", "");
            assert!(plain.trim_end().chars().count() <= columns.min(80), "{command} at {columns}: {plain}");
        }
    }
    // A pipe gets each load on a line of its own.
    let status = home.ask(&["status"]).out;
    assert!(status.lines().any(|line| line.starts_with(&format!("{LONG}: on since "))), "{status}");
}

/// Where what a command prints goes.
#[derive(Clone, Copy, Debug)]
enum Into {
    /// Both outputs to a terminal.
    Terminal,
    /// Standard output alone into a pipe.
    Pipe,
    /// Standard error alone into a pipe.
    ErrorPipe,
}

/// Whether what a command prints is coloured, by its environment.
fn is_coloured(environment: &str, command: &str, into: Into, last: &str) -> bool {
    let line = format!("env {environment} {} {command}", env!("CARGO_BIN_EXE_standfast"));
    // What comes out of `cat` is on the terminal again.
    let line = match into {
        Into::Terminal => line,
        Into::Pipe => format!("sh -c '{line} | cat'"),
        Into::ErrorPipe => format!("sh -c '{line} 2>&1 >/dev/tty | cat'"),
    };
    let mut shown = Process::start_at_terminal(command, &line);
    shown.expect_line(|line| line.contains(last), TEN_SECONDS);
    if command.starts_with("run") {
        shown.type_line("\u{3}");
    }
    shown.expect_end(TEN_SECONDS);
    shown.transcript().contains('\u{1b}')
}

#[test]
fn colour_is_on_a_terminal_only_and_never_where_it_is_not_wanted() {
    let brokers = [Broker::start(), Broker::start()];
    let [home, other] = [&brokers[0], &brokers[1]].map(|broker| Home::on_save(broker.port()));
    let _daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "29.5");
    board.expect([true, false]);
    let folder = Folder::new();
    folder.write("house/house.toml", &HOUSE.replace("\"motor\"", "\"moter\""));
    let config = |home: &Home| home.folder.path("standfast.toml").display().to_string();
    for (command, last, pipe) in [
        (format!("check {}", folder.path("house").display()), "1 error", Into::Pipe),
        (format!("log --config {}", config(&home)), "fan on", Into::Pipe),
        (format!("history --config {}", config(&home)), "fan", Into::Pipe),
        ("hodl".to_owned(), "--help", Into::ErrorPipe),
        (format!("run --config {}", config(&other)), "connected to the broker", Into::ErrorPipe),
    ] {
        let check = |environment: &str, into: Into, expected: bool| {
            let coloured = is_coloured(environment, &command, into, last);
            assert_eq!(coloured, expected, "{command} with {environment:?}, {into:?}");
        };
        check("TERM=xterm", Into::Terminal, true);
        check("TERM=xterm NO_COLOR=", Into::Terminal, true);
        check("TERM=xterm NO_COLOR=1", Into::Terminal, false);
        check("TERM=dumb", Into::Terminal, false);
        // As a build server sets it, where some libraries colour all the same.
        check("TERM=dumb CI=true", Into::Terminal, false);
        check("TERM=xterm", pipe, false);
    }
}
