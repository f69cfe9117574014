//! The API under schemathesis, which makes requests of its OpenAPI document, fitting and unfitting ones: none may fail, each
//! answer must be as the document says, and what does not fit must be refused.

use std::path::Path;
use std::time::Duration;

use super::client::Site;
use super::home::{HOUSE, Home, MODES};
use super::support::{Broker, Folder, Process, command};

/// For so long it tries, in seconds; on a slow machine it takes a while to begin and to end.
const TRIES_S: &str = "60";
const PATIENCE: Duration = Duration::from_secs(240);
const FOLDER: &str = "target/schemathesis";

#[test]
fn no_request_makes_it_fail_and_every_answer_is_as_its_document_says() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(FOLDER);
    let program = folder.join("bin/schemathesis");
    assert!(program.is_file(), "there is no {}; the set-up is `tests/run` or `tests/set-up`", program.display());
    let broker = Broker::start();
    let home = Home::with_page(broker.port());
    home.folder.write("rules/house.toml", &format!("{HOUSE}{MODES}"));
    let mut site = Site::start(&home);
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "29.5");
    board.expect([true, false]);
    let working = Folder::new();
    let mut command = command("python3");
    command.arg(&program).args(["run", &format!("http://{}/api/openapi.json", site.address), "--no-color"]);
    command.args(["--max-time", TRIES_S, "--phases", "examples,coverage,fuzzing", "--generation-database", "none"]);
    // A stream of events has no end to wait for. That a text fits the document does not mean that it is a time or a name.
    command.args(["--exclude-path", "/api/live", "--exclude-checks", "positive_data_acceptance", "--warnings", "off"]);
    command.args(["--request-timeout", "30", "--seed", &seed()]);
    command.env("PYTHONPATH", &folder).env("PYTHONDONTWRITEBYTECODE", "1").current_dir(working.path("."));
    let mut trying = Process::start("schemathesis", &mut command);
    let code = trying.expect_end(PATIENCE).code();
    let said = trying.transcript();
    assert_eq!(code, Some(0), "{said}");
    let document = site.get("/api/openapi.json").done();
    let items = document["paths"].as_object().expect("paths").values();
    let operations: usize = items.map(|item| item.as_object().map_or(0, |methods| methods.len())).sum();
    // All but the stream and the document itself.
    assert!(said.contains(&format!("Tested: {}\n", operations - 2)), "{operations} routes: {said}");
    assert!(site.daemon.runs());
    let log = site.daemon.transcript();
    assert!(!log.contains("ERROR") && !log.contains("panicked"), "{log}");
}

/// `STANDFAST_SEED` chooses another.
fn seed() -> String {
    std::env::var("STANDFAST_SEED").unwrap_or_else(|_| "1".to_owned())
}
