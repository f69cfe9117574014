//! The store on a real disk: what comes back after a restart, what is refused, and what a failing disk does.
//! It knows nothing of what the engine's memory means.

#![cfg(feature = "daemon")]

#[path = "store/damage.rs"]
mod damage;
#[path = "store/formats.rs"]
mod formats;

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use jiff::tz::TimeZoneDatabase;
use rusqlite::Connection;
use standfast::engine::{Engine, JournalEntry, JournalRow, Now, Settings};
use standfast::house::House;
use standfast::store::{
    AcceptedHouse, DATABASE, Gap, GapReason, Kept, OpenError, Parcel, ReadingQuery, Shelf, Store, StoreEvent,
    StoredReading, StoredSnapshot, Told,
};
use standfast::syntax;
use standfast::units::{BootTime, Span, WallTime};
use tokio::sync::mpsc::Receiver;
use tokio::time::timeout;

const PATIENCE: Duration = Duration::from_secs(20);

const HOUSE: &str = r#"
[site]
position = [54.60, -3.14]
zone = "Europe/London"
[board.yard]
relays = 2
[load.pump]
relay = "yard/1"
kind = "motor"
"#;

fn now(boot_ms: u64) -> Now {
    Now { boot: BootTime(boot_ms), wall: WallTime(1_800_000_000_000 + boot_ms as i64), trusted: true }
}

fn read_house(files: &[(String, String)]) -> House {
    let (house, diagnostics) = syntax::read(files, &TimeZoneDatabase::bundled());
    house.unwrap_or_else(|| panic!("{diagnostics:?}"))
}

fn snapshot(boot_ms: u64) -> StoredSnapshot {
    let house = read_house(&[("house.toml".to_owned(), HOUSE.to_owned())]);
    let settings = Settings { settle: Span::from_s(30) };
    let engine = Engine::new(Arc::new(house), settings, now(boot_ms));
    StoredSnapshot { snapshot: engine.snapshot(), boot_id: Some("boot".to_owned()), taken: now(boot_ms) }
}

fn row(at: i64) -> JournalRow {
    JournalRow { at: WallTime(at), trusted: true, entry: JournalEntry::BoardLost { board: "yard".to_owned() } }
}

fn open(folder: &Path) -> (Store, Kept, Receiver<StoreEvent>) {
    Store::open(folder).unwrap_or_else(|error| panic!("{error}"))
}

fn refusal(folder: &Path) -> OpenError {
    Store::open(folder).err().expect("refused")
}

fn journal(folder: &Path) -> Vec<(i64, String, String)> {
    let database = Connection::open(folder.join(DATABASE)).expect("opens");
    let mut statement = database.prepare("SELECT at_ms, revision, entry FROM journal ORDER BY id").expect("prepares");
    let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?))).expect("queries");
    rows.map(|row| row.expect("reads")).collect()
}

#[tokio::test]
async fn everything_comes_back() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, kept, _) = open(folder.path());
    assert!(kept.snapshot.is_none() && kept.reserved.is_empty() && kept.accepted.is_none() && kept.notices.is_empty());
    let house = |revision: &str| AcceptedHouse {
        revision: revision.to_owned(),
        files: vec![("a/b.toml".to_owned(), "x".to_owned()), ("house.toml".to_owned(), HOUSE.to_owned())],
    };
    store.reserve("yard".to_owned(), 2000);
    store.reserve("yard".to_owned(), 1000);
    store.reserve("cellar".to_owned(), u32::MAX);
    store.record(row(5), "4f2c9a1".to_owned());
    store.accept(AcceptedHouse { revision: "old".to_owned(), files: vec![("old.toml".to_owned(), String::new())] });
    store.accept(house("4f2c9a1"));
    let raised = |heard| Told { raised: WallTime(1_795_659_027_750), heard };
    let told = std::collections::BTreeMap::from([
        ("board-cellar".to_owned(), raised(false)),
        ("board-yard".to_owned(), raised(true)),
    ]);
    store.tell(std::collections::BTreeMap::from([("clock".to_owned(), raised(true))]));
    store.tell(told.clone());
    drop(store.save(snapshot(10)));
    store.save(snapshot(20)).await.expect("stored");
    store.close();
    let (_store, kept, _) = open(folder.path());
    assert_eq!(kept.snapshot, Some(snapshot(20)));
    assert_eq!(
        kept.reserved.into_iter().collect::<Vec<_>>(),
        [("cellar".to_owned(), u32::MAX), ("yard".to_owned(), 2000)]
    );
    assert_eq!(kept.accepted, Some(house("4f2c9a1")));
    assert_eq!(kept.latest, Some(now(20).wall));
    assert_eq!(kept.told, told);
    assert_eq!(
        journal(folder.path()),
        [(5, "4f2c9a1".to_owned(), r#"{"entry":"board-lost","board":"yard"}"#.to_owned())]
    );
}

#[tokio::test]
async fn what_was_answered_survives_without_a_close() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, ..) = open(folder.path());
    store.save(snapshot(10)).await.expect("stored");
    // Read beside the live store, as if the power had gone now.
    let copy = tempfile::tempdir().expect("a folder");
    for name in [DATABASE, "standfast.db-wal"] {
        std::fs::copy(folder.path().join(name), copy.path().join(name)).expect("copied");
    }
    let (copied, kept, _) = open(copy.path());
    assert_eq!(kept.snapshot, Some(snapshot(10)));
    assert_eq!(kept.left_open, Some(now(10).wall), "nobody closed it");
    assert!(kept.left_open_trusted);
    let gap = Gap { rows: None, from: now(10).wall, to: now(70).wall, why: GapReason::Process, trusted: true };
    copied.lacks(gap);
    copied.close();
    let mut row = serde_json::to_value(gap).expect("JSON");
    row["entry"] = "gap".into();
    assert_eq!(journal(copy.path()), [(now(70).wall.0, String::new(), row.to_string())]);
    assert_eq!(open(copy.path()).1.left_open, None, "it was closed since");
}

/// What waits for a disk that takes nothing goes with the process, and the next one finds out since when.
#[tokio::test]
async fn an_end_with_a_disk_that_takes_nothing_is_no_close() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, _, mut events) = open(folder.path());
    store.save(snapshot(10)).await.expect("stored");
    let stubborn = Connection::open(folder.path().join(DATABASE)).expect("opens");
    stubborn.execute_batch("BEGIN IMMEDIATE").expect("locks");
    store.record(row(20), "r".to_owned());
    let told = timeout(PATIENCE, events.recv()).await.expect("told in time");
    assert!(matches!(told, Some(StoreEvent::Failing { .. })), "{told:?}");
    store.close();
    drop(stubborn);
    let (_store, kept, _) = open(folder.path());
    assert_eq!(kept.left_open, Some(now(10).wall));
}

#[test]
fn a_second_daemon_is_refused_and_told_whom_it_meets() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, ..) = open(folder.path());
    let text = refusal(folder.path()).to_string();
    assert!(text.contains(&format!("(process {})", std::process::id())), "{text}");
    assert!(text.contains(&folder.path().display().to_string()), "{text}");
    store.close();
    open(folder.path());
}

#[test]
fn a_newer_database_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    open(folder.path()).0.close();
    let path = folder.path().join(DATABASE);
    Connection::open(&path).and_then(|db| db.pragma_update(None, "user_version", 99)).expect("written");
    let before = std::fs::read(&path).expect("read");
    let error = refusal(folder.path());
    assert!(matches!(error, OpenError::Newer { found: 99, known: 4, .. }), "{error:?}");
    assert!(error.to_string().contains("later version (format 99, this one knows 4)"), "{error}");
    assert_eq!(std::fs::read(&path).expect("read"), before);
}

#[test]
fn a_memory_of_another_form_is_said_and_the_rest_is_kept() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, ..) = open(folder.path());
    store.reserve("yard".to_owned(), 7);
    drop(store.save(snapshot(10)));
    store.close();
    let database = Connection::open(folder.path().join(DATABASE)).expect("opens");
    database.execute("UPDATE snapshot SET json = '{}'", []).expect("written");
    drop(database);
    let (store, kept, _) = open(folder.path());
    assert_eq!(kept.snapshot, None);
    assert_eq!(kept.reserved.get("yard"), Some(&7));
    assert!(kept.notices.iter().any(|notice| notice.contains("cannot be read by this version")), "{:?}", kept.notices);
    // Another version may read it: it is kept when another takes its place.
    drop(store.save(snapshot(20)));
    store.close();
    assert_eq!(open(folder.path()).1.snapshot, Some(snapshot(20)));
    let unread = Connection::open(folder.path().join("standfast.db.unread-1")).expect("opens");
    assert_eq!(unread.query_row("SELECT json FROM snapshot", [], |row| row.get(0)), Ok("{}".to_owned()));
    assert!(!folder.path().join("standfast.db.unread-2").exists(), "once");
}

#[test]
fn a_folder_that_cannot_be_used_names_the_key() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("file");
    std::fs::write(&file, "").expect("written");
    let text = refusal(&file.join("data")).to_string();
    assert!(text.contains("`data` in standfast.toml"), "{text}");
}

#[tokio::test]
async fn a_failing_disk_is_told_once_and_nothing_new_is_lost_when_it_works_again() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, _, mut events) = open(folder.path());
    store.save(snapshot(10)).await.expect("stored");
    let stubborn = Connection::open(folder.path().join(DATABASE)).expect("opens");
    stubborn.execute_batch("BEGIN IMMEDIATE").expect("locks");
    let saved = store.save(snapshot(20));
    for at in 0..500 {
        store.record(row(at), "r".to_owned());
    }
    let told = timeout(PATIENCE, events.recv()).await.expect("told in time");
    assert!(matches!(told, Some(StoreEvent::Failing { .. })), "{told:?}");
    store.reserve("yard".to_owned(), 3);
    stubborn.execute_batch("ROLLBACK").expect("unlocks");
    assert_eq!(timeout(PATIENCE, saved).await, Ok(Ok(())));
    assert_eq!(timeout(PATIENCE, events.recv()).await, Ok(Some(StoreEvent::Recovered { lost_rows: 0 })));
    store.close();
    let (_store, kept, _) = open(folder.path());
    assert_eq!(kept.snapshot, Some(snapshot(20)));
    assert_eq!(kept.reserved.get("yard"), Some(&3));
    assert_eq!(journal(folder.path()).len(), 500);
}

fn reading(sensor: &str, at: i64, value: f64) -> StoredReading {
    StoredReading { sensor: sensor.to_owned(), at: WallTime(at), value }
}

fn readings(folder: &Path) -> Vec<(String, i64, f64)> {
    let database = Connection::open(folder.join(DATABASE)).expect("opens");
    let query = "SELECT name, at_ms, value FROM reading JOIN sensor ON sensor.id = sensor ORDER BY at_ms, name";
    let mut statement = database.prepare(query).expect("prepares");
    let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?))).expect("queries");
    rows.map(|row| row.expect("reads")).collect()
}

#[test]
fn readings_are_kept_for_their_time_and_old_ones_go_by_and_by() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, ..) = open(folder.path());
    store.append((0..12_000).map(|at| reading("porch-lux", at, 0.5)).collect());
    store.append(vec![reading("porch-lux", 20_000, 40.25), reading("cellar-air", 20_000, 11.5)]);
    store.append(vec![reading("porch-lux", 20_000, 41.0)]);
    store.close();
    // More than goes in one transaction, and whoever closes the store does not wait for the rest.
    for _ in 0..3 {
        let (store, ..) = open(folder.path());
        store.prune(WallTime(11_999));
        store.close();
    }
    let expected = [("porch-lux", 11_999, 0.5), ("cellar-air", 20_000, 11.5), ("porch-lux", 20_000, 41.0)];
    assert_eq!(readings(folder.path()), expected.map(|(sensor, at, value)| (sensor.to_owned(), at, value)));
    let (store, ..) = open(folder.path());
    store.append(vec![reading("porch-lux", 30_000, 1.0)]);
    store.close();
    assert_eq!(readings(folder.path()).len(), 4, "a sensor keeps its number over a restart");
}

/// What a reader is shown, a page at a time.
fn shown(shelf: &Shelf, sensor: Option<&str>) -> Vec<(String, i64, f64)> {
    let reader = shelf.open().expect("opens");
    let mut query = ReadingQuery { sensor: sensor.map(str::to_owned), since: WallTime(0), until: None, after: None };
    let mut all = Vec::new();
    loop {
        let page = reader.readings(&query).expect("reads");
        all.extend(page.readings.into_iter().map(|one| (one.sensor, one.at.0, one.value)));
        match page.next {
            Some(next) => query.after = Some(next),
            None => return all,
        }
    }
}

#[test]
fn readings_that_wait_are_shown_among_those_on_disk_and_nothing_is_written_for_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, ..) = open(folder.path());
    store.append((0..45_000).map(|at| reading("porch-lux", at, 0.5)).collect());
    store.settled().blocking_recv().expect("written");
    let before = readings(folder.path());
    // One is in both, since it was handed over meanwhile.
    let waiting = vec![
        reading("porch-lux", 44_999, 0.5),
        reading("cellar-air", 45_000, 11.5),
        reading("porch-lux", 45_000, 41.0),
        reading("cellar-air", 45_001, 11.75),
    ];
    let shelf = Shelf::new(store.database(), waiting);
    let all = shown(&shelf, None);
    assert_eq!(all.len(), 45_003);
    let mut last: Vec<_> = all[44_999..].to_vec();
    last.sort_by(|one, other| (one.1, &one.0).cmp(&(other.1, &other.0)));
    let expected = [
        ("porch-lux", 44_999, 0.5),
        ("cellar-air", 45_000, 11.5),
        ("porch-lux", 45_000, 41.0),
        ("cellar-air", 45_001, 11.75),
    ];
    assert_eq!(last, expected.map(|(sensor, at, value)| (sensor.to_owned(), at, value)));
    // Of a sensor that the database does not know yet, too.
    assert_eq!(shown(&shelf, Some("cellar-air")).len(), 2);
    let reader = shelf.open().expect("opens");
    let stretches = reader.stretches(WallTime(44_000), WallTime(46_000), 1).expect("reads");
    let ends: Vec<_> = stretches.iter().map(|one| (one.sensor.as_str(), one.least, one.greatest)).collect();
    assert_eq!(ends, [("cellar-air", 11.5, 11.75), ("porch-lux", 0.5, 41.0)]);
    assert_eq!(readings(folder.path()), before, "nothing was written");
}

#[test]
fn rows_and_readings_are_on_disk_with_the_memory_that_they_belong_to() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, ..) = open(folder.path());
    let rows = vec![(row(1), "4f2c9a1".to_owned()), (row(2), "4f2c9a1".to_owned())];
    let parcel = Parcel { snapshot: snapshot(7), rows, readings: vec![reading("porch-lux", 5, 1.0)] };
    let saved = store.save(parcel);
    saved.blocking_recv().expect("written");
    assert_eq!(journal(folder.path()).len(), 2);
    assert_eq!(readings(folder.path()).len(), 1);
    store.close();
    let (_store, kept, _) = open(folder.path());
    assert_eq!(kept.snapshot, Some(snapshot(7)));
}
