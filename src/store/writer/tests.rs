//! Tests of what is written, what waits, and what is said to be missing.

use super::*;
use crate::engine::JournalEntry;
use crate::store::schema::open_or_put_aside;

fn writer() -> (tempfile::TempDir, Writer) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("test.db");
    let found = open_or_put_aside(&path).expect("opened");
    let (events, _) = mpsc::channel(1);
    (folder, Writer::new(path, found.database, events, Missed::default(), Damage::default()))
}

/// The last row of the journal, and how many there are.
fn last_row(writer: &Writer) -> (serde_json::Value, i64) {
    let database = writer.database.as_ref().expect("open");
    let last = "SELECT entry, (SELECT count(*) FROM journal) FROM journal ORDER BY id DESC LIMIT 1";
    let (entry, count): (String, i64) =
        database.query_row(last, [], |row| Ok((row.get(0)?, row.get(1)?))).expect("read");
    (serde_json::from_str(&entry).expect("JSON"), count)
}

fn row(at: i64, trusted: bool) -> JournalRow {
    JournalRow { at: WallTime(at), trusted, entry: JournalEntry::BoardLost { board: "yard".to_owned() } }
}

/// How many rows have a time that may be wrong.
fn doubted(writer: &Writer) -> i64 {
    let database = writer.database.as_ref().expect("open");
    let query = "SELECT count(*) FROM journal WHERE trusted = 0";
    database.query_row(query, [], |row| row.get(0)).expect("counts")
}

/// The rows that say that something is missing.
fn gaps(writer: &Writer) -> Vec<serde_json::Value> {
    let database = writer.database.as_ref().expect("open");
    let query = "SELECT entry FROM journal WHERE json_extract(entry, '$.entry') = 'gap'";
    let mut statement = database.prepare(query).expect("prepares");
    let rows = statement.query_map([], |row| row.get::<_, String>(0)).expect("queries");
    rows.map(|row| serde_json::from_str(&row.expect("reads")).expect("JSON")).collect()
}

#[test]
fn rows_that_found_no_room_on_their_way_leave_one_row_that_says_so() {
    let (_folder, mut writer) = writer();
    for (at, trusted) in [(9, true), (7, false), (8, true)] {
        writer.missed.note(&row(at, trusted));
    }
    writer.try_write(&mut Waiting::default());
    let gap = serde_json::json!({ "entry": "gap", "rows": 3, "from_ms": 7, "to_ms": 9, "why": "disk" });
    assert_eq!(last_row(&writer), (gap.clone(), 1));
    writer.try_write(&mut Waiting::default());
    assert_eq!(last_row(&writer), (gap, 1), "once");
    assert_eq!(doubted(&writer), 1, "one of them is of a time that nobody trusts");
}

#[test]
fn rows_that_could_not_be_held_leave_one_row_that_says_so() {
    let (_folder, mut writer) = writer();
    let mut waiting = Waiting::default();
    for at in 0..(ROWS_HELD as i64 + 7) {
        waiting.add(Job::Record(Box::new(row(at, true)), "r".to_owned()));
    }
    writer.try_write(&mut waiting);
    assert!(waiting.is_empty() && !writer.failing);
    let (from, to) = (ROWS_HELD, ROWS_HELD + 6);
    let gap = serde_json::json!({ "entry": "gap", "rows": 7, "from_ms": from, "to_ms": to, "why": "disk" });
    assert_eq!(gaps(&writer), [gap]);
    assert_eq!(doubted(&writer), 0);
    assert_eq!(last_row(&writer).1, ROWS_HELD as i64 + 1);
}
