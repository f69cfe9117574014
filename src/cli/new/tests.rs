//! Tests of writing a house: what is asked, what is written, what is refused.

use super::*;
use crate::daemon::config::{Config, Surroundings};
use crate::daemon::house_dir::read_saved;
use crate::daemon::zones::zones;

fn args(dir: &Path) -> Args {
    Args { dir: dir.to_owned(), latitude: None, longitude: None, zone: None, board: None, relays: None, json: false }
}

fn rowan() -> Answers {
    Answers { latitude: 54.60, longitude: -3.14, zone: "Europe/London".into(), board: "hall".into(), relays: 8 }
}

/// The answers to some typed lines, and what was asked.
fn asked(typed: &str) -> (anyhow::Result<Answers>, String) {
    let mut shown = Vec::new();
    let answers = ask::answers(&args(Path::new("x")), Asker::of(typed.as_bytes(), &mut shown));
    (answers, String::from_utf8(shown).unwrap())
}

#[test]
fn what_is_not_given_is_asked() {
    let (answers, _) = asked("54.60, -3.14\nEurope/London\n\n\n");
    assert_eq!(answers.unwrap(), rowan());
    let (answers, shown) = asked("nowhere\n54.60 N 3.14 W\nEurope/Londn\nEurope/London\nThe Hall\nhall\n17\n8\n");
    assert_eq!(answers.unwrap(), rowan());
    for advice in ["54.60 N, 3.14 W", "IANA name", "\"the-hall\"", "from 1 to 16"] {
        assert!(shown.contains(advice), "{advice}: {shown}");
    }
    let (answers, _) = asked("54.60, -3.14\n");
    assert!(answers.unwrap_err().to_string().contains("--zone"));
}

#[test]
fn without_a_terminal_everything_must_be_given() {
    let error = ask::answers(&args(Path::new("x")), Asker::nobody()).unwrap_err();
    assert!(error.to_string().contains("--latitude, --longitude, --zone, --board, --relays"), "{error}");
    let given = Args {
        latitude: Some(54.60),
        longitude: Some(-3.14),
        zone: Some("Europe/London".into()),
        board: Some("hall".into()),
        relays: Some(8),
        ..args(Path::new("x"))
    };
    assert_eq!(ask::answers(&given, Asker::nobody()).unwrap(), rowan());
    let half = Args { longitude: None, ..given };
    assert!(ask::answers(&half, Asker::nobody()).unwrap_err().to_string().contains("give --longitude too"));
    let asked = ask::answers(&half, Asker::of("1\n".as_bytes(), Vec::new()));
    assert!(asked.unwrap_err().to_string().contains("go together"));
}

#[test]
fn what_is_written_passes_the_check_without_a_warning() {
    let longest = "a-board-of-20-letter";
    for (board, relays, latitude) in
        [("hall", 8, 54.60), (longest, 1, -33.0), ("x", 16, 0.0), ("hut", 2, 68.5), ("hut", 2, -90.0)]
    {
        let folder = tempfile::tempdir().unwrap();
        let answers = Answers { board: board.into(), relays, latitude, ..rowan() };
        write_house(folder.path(), &answers).unwrap();
        let config = Config::read(&folder.path().join(FILE_NAME), &Surroundings::default()).unwrap();
        let text = read_saved(&config.house).unwrap();
        let examined = text.examine(&zones());
        assert_eq!(examined.diagnostics, []);
        let house = examined.house.unwrap();
        assert_eq!((house.boards[0].name.as_str(), house.boards[0].relays), (board, relays));
        assert_eq!((house.site.latitude, house.site.longitude), (latitude, -3.14));
    }
}

/// The commented half is right too, once the marks are taken away as the file says.
#[test]
fn the_suggestion_in_the_file_works() {
    let [_, (_, site), (_, lamp), _] = files::files(&rowan());
    let (before, after) = lamp.split_once("# With a light sensor").unwrap();
    let with = before.replace("while = { from = \"sunset\", to = \"23:00\" }", "");
    let condition = after.lines().find_map(|line| line.strip_prefix("#     ")).unwrap();
    let with = with.replace("demand = \"on\"\n", &format!("demand = \"on\"\n{condition}\n"));
    let rest: String = after
        .lines()
        .skip_while(|line| *line != "#")
        .map(|line| format!("{}\n", line.trim_start_matches(['#', ' '])))
        .collect();
    let files = [("lamp.toml".to_owned(), with + &rest), ("site.toml".to_owned(), site)];
    let examined = crate::check::examine(&files, &zones());
    assert_eq!(examined.diagnostics, []);
    assert_eq!(examined.house.unwrap().sensors.len(), 1);
}

#[test]
fn a_folder_with_something_in_it_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    assert!(refuse_occupied(folder.path()).is_ok());
    assert!(refuse_occupied(&folder.path().join("not-there")).is_ok());
    std::fs::create_dir(folder.path().join(".git")).unwrap();
    assert!(refuse_occupied(folder.path()).is_ok());
    std::fs::write(folder.path().join("notes.txt"), "x").unwrap();
    let error = refuse_occupied(folder.path()).unwrap_err().to_string();
    assert!(error.contains("notes.txt") && error.contains("is not empty"), "{error}");
    assert!(refuse_occupied(&folder.path().join("notes.txt")).is_err());
}

#[test]
fn a_repository_is_made_unless_there_is_one() {
    let folder = tempfile::tempdir().unwrap();
    write_house(folder.path(), &rowan()).unwrap();
    let kept = keep(folder.path());
    // Whether git knows who commits depends on the machine.
    assert!(matches!(kept, Kept::Committed | Kept::Initialised), "{kept:?}");
    assert_eq!(keep(folder.path()), Kept::Inside);
    for kept in [Kept::Committed, Kept::Initialised, Kept::Inside, Kept::NoGit] {
        let text = farewell(folder.path(), &rowan(), &kept);
        assert!(text.contains("standfast check") && text.contains("stand-in hall"), "{text}");
    }
}
