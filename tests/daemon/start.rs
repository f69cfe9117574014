//! Starts: with nothing, with errors, twice, on a taken port. What it says and its exit code.

use super::home::{HOUSE, Home};
use super::support::{Broker, Folder, Standfast, TEN_SECONDS};

fn run(folder: &Folder) -> (Option<i32>, String) {
    let config = folder.path("standfast.toml").display().to_string();
    let mut daemon = Standfast::start(&["run", "--config", &config]);
    let code = daemon.expect_end(TEN_SECONDS).code();
    (code, daemon.transcript())
}

fn check_could_not_run(folder: &Folder, parts: &[&str]) {
    let (code, printed) = run(folder);
    assert_eq!(code, Some(2), "{printed}");
    for part in parts {
        assert!(printed.contains(part), "{part} is not in:\n{printed}");
    }
}

#[test]
fn without_a_house_it_says_how_to_make_one() {
    let folder = Folder::new();
    check_could_not_run(&folder, &["standfast.toml"]);
    folder.write("standfast.toml", "data = \"data\"\n");
    check_could_not_run(&folder, &["names no `house`", "standfast new DIR"]);
}

#[test]
fn a_slip_in_the_servers_file_names_the_nearest_key() {
    let folder = Folder::new();
    folder.write("standfast.toml", "house = \"rules\"\nsettel = \"30s\"\n");
    check_could_not_run(&folder, &["`settel`", "did you mean `settle`?", "2 |"]);
}

#[test]
fn a_house_with_errors_does_not_start_unless_one_was_accepted_before() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    home.save_with("kind = \"motor\"", "kind = \"moter\"");
    let (code, printed) = run(&home.folder);
    assert_eq!(code, Some(1), "{printed}");
    assert!(printed.contains("did you mean \"motor\"?"), "{printed}");
    home.folder.write("rules/house.toml", HOUSE);
    // It has put away what it accepted by the time it ends in peace.
    let mut first = home.run();
    first.terminate();
    first.expect_end(TEN_SECONDS);
    for wrong in [Some("kind = \"moter\""), None] {
        match wrong {
            Some(wrong) => home.save_with("kind = \"motor\"", wrong),
            None => std::fs::remove_dir_all(home.folder.path("rules")).expect("removed"),
        }
        let mut said = home.listen("standfast/alarm/house");
        let mut daemon = home.start();
        daemon.expect_line(|line| line.contains("the one accepted last runs"), TEN_SECONDS);
        said.expect(|message| message.payload.contains("accepted last"), TEN_SECONDS);
        let mut board = home.live_board();
        home.say("from/yard/reading/t1", "30");
        board.expect([true, false]);
        daemon.kill();
        // The board that is played next begins anew.
        home.say("from/yard/reading/t1", "20");
    }
}

#[test]
fn a_second_daemon_on_the_same_data_is_refused() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let first = home.run();
    let (code, printed) = run(&home.folder);
    assert_eq!(code, Some(2), "{printed}");
    assert!(printed.contains(&format!("(process {})", first.id())), "{printed}");
}

#[cfg(feature = "embedded-broker")]
#[test]
fn a_port_in_use_is_an_error_that_names_the_key() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = taken.local_addr().expect("bound").port();
    let folder = Folder::new();
    folder.write("rules/house.toml", HOUSE);
    folder.write("standfast.toml", &format!("house = \"rules\"\n[broker.embedded]\nlisten = \"127.0.0.1:{port}\"\n"));
    check_could_not_run(&folder, &[&format!("port {port}"), "[broker.embedded] listen"]);
}

#[cfg(feature = "embedded-broker")]
#[test]
fn with_its_own_broker_it_is_a_whole_house() {
    let port = super::support::free_port();
    let home = Home::new(port, "apply = \"save\"");
    let keys = "house = \"rules\"\ndata = \"data\"\nclock = \"always\"\nsettle = \"0s\"\napply = \"save\"\n";
    home.folder.write("standfast.toml", &format!("{keys}[broker.embedded]\nlisten = \"127.0.0.1:{port}\"\n"));
    let mut daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "30");
    board.expect([true, false]);
    daemon.terminate();
    assert_eq!(daemon.expect_end(TEN_SECONDS).code(), Some(0));
}
