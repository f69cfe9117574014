//! `standfast commission` at a terminal of its own, with the board played by hand.

use super::home::{Board, Home};
use super::support::{Broker, Deadline, Process, Standfast, TEN_SECONDS};

/// The command on a terminal of its own.
fn commission(home: &Home, options: &str) -> Process {
    commission_of(home, "yard", options)
}

fn commission_of(home: &Home, board: &str, options: &str) -> Process {
    let config = home.folder.path("standfast.toml").display().to_string();
    let line = format!("{} commission {board} --config {config} {options}", env!("CARGO_BIN_EXE_standfast"));
    Process::start_at_terminal("commission", &line)
}

/// A person before a board that is heard. What it lives on ends after it.
struct Trial {
    person: Process,
    board: Board,
    _daemon: Standfast,
    home: Home,
    _broker: Broker,
}

impl Trial {
    fn start() -> Trial {
        let broker = Broker::start();
        let home = Home::on_save(broker.port());
        let daemon = home.run();
        let board = home.live_board();
        Trial { person: commission(&home, ""), board, _daemon: daemon, home, _broker: broker }
    }

    /// The person is away, leaves the loads connected, and has the lamp turned on.
    fn with_the_lamp_on() -> Trial {
        let mut trial = Trial::start();
        ["y", "n", "y"].iter().for_each(|line| trial.person.type_line(line));
        trial.board.expect([false, true]);
        trial
    }
}

#[test]
fn a_board_is_tried_relay_by_relay_and_signed_off() {
    let mut trial = Trial::start();
    let (person, board) = (&mut trial.person, &mut trial.board);
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
    let mut trial = Trial::with_the_lamp_on();
    let (person, board) = (&mut trial.person, &mut trial.board);
    // End of input, as Ctrl-D at a terminal.
    person.type_line("\u{4}");
    board.expect([false, false]);
    person.expect_line(|line| line.contains("what was held is released"), TEN_SECONDS);
}

#[test]
fn a_board_that_never_reports_is_left_to_hands() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let silent = "[board.lantern]\nrelays = 1\nlease = \"none\"\nreport = \"none\"\norder = { topic = \"lantern/put\", \
                  energised = \"1\", released = \"0\" }\n[load.lantern]\nrelay = \"lantern/1\"\nkind = \"led\"\n";
    home.folder.write("rules/lantern.toml", silent);
    let _daemon = home.run();
    let mut person = commission_of(&home, "lantern", "");
    person.expect_line(|line| line.contains("never says what its relays do"), TEN_SECONDS);
    assert_eq!(person.expect_end(TEN_SECONDS).code(), Some(1));
}

#[test]
fn whoever_does_not_say_yes_is_told_that_nothing_was_tried() {
    let mut trial = Trial::start();
    let (person, board) = (&mut trial.person, &mut trial.board);
    person.type_line("maybe");
    person.expect_line(|line| line.contains("Nothing was tried"), TEN_SECONDS);
    assert_eq!(person.expect_end(TEN_SECONDS).code(), Some(1));
    board.expect([false, false]);
}

#[test]
fn who_interrupts_it_leaves_nothing_held_either() {
    let mut trial = Trial::with_the_lamp_on();
    let (person, board) = (&mut trial.person, &mut trial.board);
    // Ctrl-C at a terminal: long before the trial's hold would end by itself.
    person.type_line("\u{3}");
    board.expect([false, false]);
    person.expect_line(|line| line.contains("what was held is released"), TEN_SECONDS);
    assert_eq!(person.expect_end(TEN_SECONDS).code(), Some(2), "{}", person.transcript());
    assert!(trial.home.ask(&["log", "lamp"]).out.contains("released by hand"));
}

#[test]
fn a_terminal_that_is_closed_leaves_nothing_held_either() {
    let mut trial = Trial::with_the_lamp_on();
    let (person, board) = (&mut trial.person, &mut trial.board);
    // With it goes the terminal.
    person.kill();
    board.expect([false, false]);
    assert!(trial.home.ask(&["log", "lamp"]).out.contains("released by hand"));
}

/// The person cuts the board's network: it is silent, and its lease runs out.
#[test]
fn the_fallback_is_seen_by_letting_the_lease_run_out() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    home.save_with("relays = 2\nlease = \"60s\"", "relays = 2\nlease = \"5s\"");
    let _daemon = home.run();
    let mut board = home.board();
    board.lease_s = 5;
    board.birth();
    board.report();
    let mut person = commission(&home, "--json");
    // Away; not disconnected; the lamp is not tried; the fallback is, at first too early.
    ["y", "n", "n", "y", "", "y"].iter().for_each(|line| person.type_line(line));
    let patience = Deadline::after(TEN_SECONDS);
    while !person.lines().iter().any(|line| line.text.contains("The board is still heard")) {
        assert!(!patience.passed(), "{}", person.transcript());
        board.report();
    }
    home.listen("standfast/load/lamp").expect(|message| message.payload.contains("\"known\":null"), TEN_SECONDS);
    ["", "y", "", "Ann Example"].iter().for_each(|line| person.type_line(line));
    assert_eq!(person.expect_end(TEN_SECONDS).code(), Some(1), "not all was tried");
    let said: String = person.lines().iter().map(|line| format!("{}\n", line.text)).collect();
    let record = &said[said.find('{').expect("a document")..=said.rfind('}').expect("its end")];
    let record: serde_json::Value = serde_json::from_str(record).expect("one document");
    assert_eq!(record["fallback"], "seen: every load in its safe state", "{record}");
    assert_eq!(record["relays"][0]["seen"], "not tried: a short start may harm a motor", "{record}");
    assert_eq!((&record["signed"], &record["all_well"]), (&"Ann Example".into(), &false.into()));
}

#[test]
fn a_board_that_is_not_heard_is_not_tried() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let mut person = commission(&home, "");
    person.expect_line(|line| line.contains("The board is not heard"), TEN_SECONDS);
    assert_eq!(person.expect_end(TEN_SECONDS).code(), Some(1));
    let unknown = home.ask(&["commission", "yrad", "--json"]);
    assert!(unknown.code == 1 && unknown.out.contains("did you mean \\\"yard\\\"?"), "{unknown:?}");
}
