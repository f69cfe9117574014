//! What was kept before a disk got into trouble, and what is kept only in memory: neither is lost without a word.

use super::*;

/// As a clean stop leaves it, with the lamp withdrawn: one file, and no log beside it.
fn withdrawn_and_stopped(home: &Home) {
    let mut daemon = home.run();
    assert_eq!(home.ask(&["withdraw", "lamp", "new shade"]).code, 0);
    daemon.terminate();
    daemon.expect_end(TEN_SECONDS);
    assert!(!daemon.transcript().contains("lost with this end"), "{}", daemon.transcript());
    std::fs::rename(home.folder.path("data/standfast.db"), home.folder.path("kept.db")).expect("it is there");
    assert!(!home.folder.path("data/standfast.db-wal").exists(), "a clean stop brings the log in");
    std::fs::remove_dir_all(home.folder.path("data")).expect("removed");
}

#[test]
fn a_start_on_a_read_only_disk_after_a_clean_stop_reads_what_was_kept_and_forgets_nothing() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    withdrawn_and_stopped(&home);
    let mut alarms = home.listen("standfast/alarm/+");
    let mut lamp = home.listen("standfast/load/lamp");
    let mut small = SmallDisk::start(home, Some(Trouble::ReadOnly));
    let alarm = alarms.expect(|message| !message.payload.is_empty(), TEN_SECONDS);
    assert!(alarm.topic.ends_with("/store") && alarm.payload.contains("the disk is read-only"), "{alarm:?}");
    lamp.expect(|message| message.payload.contains("new shade") && !message.retained, TEN_SECONDS);
    small.mend(Trouble::ReadOnly);
    small.daemon.expect_line(|line| line.contains("the command socket is there now"), TEN_SECONDS);
    alarms.expect(|message| message.topic.ends_with("/store") && message.payload.is_empty(), TEN_SECONDS);
    let keeps = |small: &SmallDisk| {
        let status = small.ask(&["status"]).out;
        assert!(status.contains("withdrawn (new shade)") && !status.contains("alarm memory"), "{status}");
    };
    keeps(&small);
    assert!(small.ask(&["log"]).out.contains("new shade"), "the journal goes on");
    keeps(&small.cut_power(None));
}

/// What could not be read is not written over once it can be.
#[test]
fn a_memory_that_could_not_be_read_at_the_start_is_kept_beside_the_one_that_takes_its_place() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    withdrawn_and_stopped(&home);
    // No log can be opened there.
    std::fs::create_dir_all(home.folder.path("kept.db-wal/in-the-way")).expect("the folder is ours");
    let mut alarms = home.listen("standfast/alarm/memory");
    let mut small = SmallDisk::start(home, Some(Trouble::ReadOnly));
    let alarm = alarms.expect(|message| !message.payload.is_empty(), TEN_SECONDS).payload;
    assert!(alarm.contains("what was remembered cannot be read (unable to open database file"), "{alarm}");
    small.mend(Trouble::ReadOnly);
    std::fs::remove_dir_all(small.data().join("standfast.db-wal")).expect("it is there");
    let alarm = alarms.expect(|message| message.payload.contains("is kept in"), TEN_SECONDS).payload;
    assert!(alarm.contains("standfast.db.unread-1; holds and withdrawn loads of then are not in force"), "{alarm}");
    small.daemon.expect_line(|line| line.contains("the command socket is there now"), TEN_SECONDS);
    assert!(small.ask(&["log"]).out.contains("new shade"), "the journal goes on");
    let kept = small.home.folder.path("unread.db");
    std::fs::copy(small.data().join("standfast.db.unread-1"), &kept).expect("copied");
    let database = rusqlite::Connection::open(kept).expect("opens");
    let memory = "SELECT json FROM snapshot";
    let memory: String = database.query_row(memory, [], |row| row.get(0)).expect("whole");
    assert!(memory.contains("new shade"), "{memory}");
}

#[test]
fn who_ends_with_a_disk_that_takes_nothing_says_what_is_lost_by_that() {
    let broker = Broker::start();
    let mut small = SmallDisk::start(Home::on_save(broker.port()), None);
    let mut alarms = small.home.listen("standfast/alarm/store");
    small.trouble(Trouble::Full);
    assert_eq!(small.ask(&["withdraw", "lamp", "new shade"]).code, 0);
    alarms.expect(|message| !message.payload.is_empty(), TEN_SECONDS);
    small.daemon.terminate();
    small.daemon.expect_line(|line| line.contains("withdrawn loads and rows of the journal"), TEN_SECONDS);
    assert!(small.daemon.expect_end(TEN_SECONDS).success());
}
