//! Damaged databases: what of them is saved, what begins anew, and that it is said. It damages files of its own only.

use std::path::Path;

use super::*;

#[test]
fn a_damaged_database_is_put_aside_and_said_so() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join(DATABASE);
    for round in 1..3 {
        std::fs::write(&path, "this is no database, but it is long enough to be taken for one ".repeat(40))
            .expect("written");
        let (store, kept, _) = open(folder.path());
        assert_eq!(kept.notices.len(), 1);
        let aside = format!("{DATABASE}.damaged-{round}");
        assert!(kept.notices[0].contains("damaged") && kept.notices[0].contains(&aside), "{:?}", kept.notices);
        assert!(folder.path().join(aside).exists());
        store.close();
    }
}

/// A store with something in each table, closed; then the first page of one of them is overwritten.
async fn damaged(table: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, ..) = open(folder.path());
    store.reserve("yard".to_owned(), 7);
    store.accept(AcceptedHouse { revision: "4f2c9a1".to_owned(), files: Vec::new() });
    store.append((0..12_000).map(|at| reading("porch-lux", at, 0.5)).collect());
    store.save(Parcel { rows: vec![(row(1), "r".to_owned())], ..snapshot(10).into() }).await.expect("stored");
    store.close();
    let path = folder.path().join(DATABASE);
    let database = Connection::open(&path).expect("opens");
    let page = "SELECT rootpage FROM sqlite_schema WHERE name = ?1";
    let page: u32 = database.query_row(page, [table], |row| row.get(0)).expect("a table");
    let size: u32 = database.query_row("PRAGMA page_size", [], |row| row.get(0)).expect("read");
    drop(database);
    let mut bytes = std::fs::read(&path).expect("read");
    let (page, size) = (page as usize, size as usize);
    bytes[(page - 1) * size..page * size].fill(0xa5);
    std::fs::write(&path, bytes).expect("written");
    folder
}

/// What sensors said is far more than what must not be forgotten, and no start waits for a look at all of it.
#[tokio::test]
async fn damage_among_readings_is_found_beside_the_running_store_and_costs_no_memory() {
    let folder = damaged("reading").await;
    let (store, kept, mut events) = open(folder.path());
    assert!(kept.snapshot == Some(snapshot(10)) && kept.notices.is_empty(), "{kept:?}");
    // It is found with the next thing that is stored after the look.
    let told = timeout(PATIENCE, async {
        loop {
            store.save(snapshot(20)).await.expect("stored");
            match events.try_recv() {
                Ok(event) => break event,
                Err(_) => tokio::task::yield_now().await,
            }
        }
    });
    let told = told.await.expect("it is found");
    let StoreEvent::Replaced { what } = &told else { panic!("{told:?}") };
    assert!(what.contains("damaged-1") && what.ends_with(SAVED), "{what}");
    store.append(vec![reading("porch-lux", 20_000, 41.0)]);
    store.close();
    assert_eq!(readings(folder.path()), [("porch-lux".to_owned(), 20_000, 41.0)]);
    check_saved(folder.path(), 20);
}

const SAVED: &str = "what was remembered goes on; the journal starts anew";

fn check_saved(folder: &Path, taken: u64) {
    let (store, kept, _) = open(folder);
    assert_eq!(kept.snapshot, Some(snapshot(taken)));
    assert_eq!(kept.reserved.get("yard"), Some(&7), "no number is given twice");
    assert_eq!(kept.accepted.map(|house| house.revision), Some("4f2c9a1".to_owned()));
    assert!(folder.join("standfast.db.damaged-1").exists());
    store.close();
}

#[tokio::test]
async fn damage_in_the_journal_or_in_one_small_table_costs_nothing_else() {
    for table in ["journal", "told"] {
        let folder = damaged(table).await;
        let (store, kept, _) = open(folder.path());
        assert!(kept.notices[0].ends_with(SAVED), "{table}: {:?}", kept.notices);
        store.close();
        check_saved(folder.path(), 10);
    }
}

#[tokio::test]
async fn of_a_damaged_memory_what_can_be_read_is_kept() {
    let folder = damaged("snapshot").await;
    let (_store, kept, _) = open(folder.path());
    assert_eq!(kept.snapshot, None);
    assert_eq!(kept.reserved.get("yard"), Some(&7), "no number is given twice");
    assert!(kept.accepted.is_some());
    assert!(kept.notices[0].ends_with("holds, withdrawn loads and the journal start anew"), "{:?}", kept.notices);
}

/// The log holds what has not been brought into the database itself yet.
#[tokio::test]
async fn a_log_that_is_taken_away_costs_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, _, mut events) = open(folder.path());
    store.reserve("yard".to_owned(), 7);
    store.save(snapshot(10)).await.expect("stored");
    std::fs::remove_file(folder.path().join("standfast.db-wal")).expect("it is there");
    store.save(snapshot(20)).await.expect("stored");
    assert!(matches!(events.try_recv(), Ok(StoreEvent::Replaced { .. })));
    // Read beside the live store, as if the power had gone now.
    let copy = tempfile::tempdir().expect("a folder");
    for name in [DATABASE, "standfast.db-wal"] {
        std::fs::copy(folder.path().join(name), copy.path().join(name)).expect("copied");
    }
    let (_store, kept, _) = open(copy.path());
    assert_eq!(kept.snapshot, Some(snapshot(20)));
    assert_eq!(kept.reserved.get("yard"), Some(&7));
}
