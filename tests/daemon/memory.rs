//! What the daemon remembers, against what can happen to it: lost, damaged, brought back from an old backup, and the process
//! killed at any instant.

use super::home::{Board, HOUSE, Home};
use super::support::{Broker, Deadline, Standfast, TEN_SECONDS};

const OFF: [bool; 2] = [false, false];
const ON: [bool; 2] = [true, false];
const BOTH: [bool; 2] = [true, true];
const DATABASE: &str = "data/standfast.db";

/// A fan that is on because it is hot, and a lamp that is off.
struct Scene {
    // Ended first, since it makes its folder anew.
    daemon: Standfast,
    board: Board,
    home: Home,
    _broker: Broker,
}

fn scene() -> Scene {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    // Long enough for the first reading after a start.
    let server = home.folder.read("standfast.toml").replace("settle = \"0s\"", "settle = \"30s\"");
    home.folder.write("standfast.toml", &server);
    let daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "30");
    board.expect(ON);
    Scene { _broker: broker, home, daemon, board }
}

impl Scene {
    fn stop(&mut self) {
        self.daemon.terminate();
        self.daemon.expect_end(TEN_SECONDS);
    }

    /// Starts on what lies there now. The board has taken orders of higher numbers than the store knows of.
    fn start_behind(&mut self) {
        self.board.taken += 100_000;
        self.daemon = self.home.run();
    }

    fn lose_store(&self) {
        for part in ["", "-wal", "-shm"] {
            let _ = std::fs::remove_file(self.home.folder.path(&format!("{DATABASE}{part}")));
        }
    }

    /// What runs goes on running, by orders that the board takes: it asserts that their numbers rise.
    fn goes_on(&mut self, wanted: [bool; 2]) {
        assert_eq!(self.board.report(), wanted);
        self.home.say("from/yard/reading/t1", "30");
        assert_eq!(self.board.report(), wanted);
        self.home.say("from/yard/reading/t1", "20");
        self.board.expect([false, wanted[1]]);
    }
}

#[test]
fn a_store_that_is_lost_moves_no_contact_and_numbers_resume_above_the_boards() {
    let mut scene = scene();
    scene.stop();
    scene.lose_store();
    let mut alarms = scene.home.listen("standfast/alarm/memory");
    scene.start_behind();
    let alarm = alarms.expect(|message| !message.payload.is_empty(), TEN_SECONDS).payload;
    assert!(alarm.contains("standfast.db is gone; holds, withdrawn loads"), "{alarm}");
    scene.goes_on(ON);
}

/// A new card, or one that is not mounted: nothing there tells that anything was there before, and the boards do.
#[test]
fn a_data_folder_that_is_gone_at_a_start_is_told_by_the_boards() {
    let mut scene = scene();
    assert!(!scene.home.ask(&["status"]).out.contains("alarm"), "a first start has forgotten nothing");
    assert_eq!(scene.home.ask(&["withdraw", "lamp", "new shade"]).code, 0);
    scene.stop();
    std::fs::rename(scene.home.folder.path("data"), scene.home.folder.path("data.old")).expect("moved");
    let mut alarms = scene.home.listen("standfast/alarm/memory");
    scene.daemon = scene.home.run();
    assert_eq!(scene.board.report(), ON);
    let alarm = alarms.expect(|message| !message.payload.is_empty(), TEN_SECONDS).payload;
    assert!(alarm.contains("nothing at all is remembered here") && alarm.contains("withdrawn loads"), "{alarm}");
    scene.goes_on(ON);
}

/// Nobody remembers that they were ever there.
#[test]
fn what_the_broker_kept_of_a_load_that_is_gone_or_of_an_alarm_that_is_over_is_emptied() {
    let mut scene = scene();
    let mut shown = scene.home.listen("standfast/load/lamp");
    shown.expect(|message| !message.payload.is_empty(), TEN_SECONDS);
    let mut alarms = scene.home.listen("standfast/alarm/house");
    scene.home.folder.write("rules/house.toml", "nonsense");
    alarms.expect(|message| !message.payload.is_empty(), TEN_SECONDS);
    scene.stop();
    std::fs::remove_dir_all(scene.home.folder.path("data")).expect("removed");
    scene.home.save_with("[load.lamp]\nrelay = \"yard/2\"\nkind = \"led\"\nhold_for = \"1h\"\n", "");
    scene.start_behind();
    shown.expect(|message| message.payload.is_empty(), TEN_SECONDS);
    alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
    let left = scene.home.listen("standfast/load/+").next(TEN_SECONDS).expect("what stands is left");
    assert!(left.topic == "standfast/load/fan" && !left.payload.is_empty(), "{left:?}");
}

/// As a file system may leave it after a power cut.
#[test]
fn a_store_that_is_empty_where_one_was_is_told_like_one_that_is_gone() {
    let mut scene = scene();
    scene.stop();
    scene.lose_store();
    scene.home.folder.write(DATABASE, "");
    let mut alarms = scene.home.listen("standfast/alarm/memory");
    scene.start_behind();
    let alarm = alarms.expect(|message| !message.payload.is_empty(), TEN_SECONDS).payload;
    assert!(alarm.contains("standfast.db is empty; holds, withdrawn loads"), "{alarm}");
    scene.goes_on(ON);
}

#[test]
fn a_store_that_is_taken_away_under_the_running_daemon_is_written_anew_and_forgets_nothing() {
    let mut scene = scene();
    assert_eq!(scene.home.ask(&["withdraw", "lamp", "new shade"]).code, 0);
    scene.lose_store();
    let mut alarms = scene.home.listen("standfast/alarm/memory");
    assert_eq!(scene.home.ask(&["hold", "fan", "on", "2h"]).code, 0);
    let alarm = alarms.expect(|message| !message.payload.is_empty(), TEN_SECONDS).payload;
    assert!(alarm.contains("was removed or moved away while Standfast was running"), "{alarm}");
    assert_eq!(scene.home.ask(&["acknowledge", "memory"]).code, 0);
    alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
    scene.daemon.kill();
    scene.daemon = scene.home.run();
    assert_eq!(scene.board.report(), ON);
    let status = scene.home.ask(&["status"]).out;
    assert!(status.contains("new shade") && status.contains("held on by"), "{status}");
    assert!(scene.home.ask(&["log"]).out.contains("new shade"), "all of it was written anew");
}

#[test]
fn a_data_folder_that_is_removed_under_the_running_daemon_is_there_again_with_socket_and_lock() {
    let mut scene = scene();
    assert_eq!(scene.home.ask(&["withdraw", "lamp", "new shade"]).code, 0);
    let data = scene.home.folder.path("data");
    std::fs::remove_dir_all(&data).expect("removed");
    for _ in ["socket", "lock"] {
        scene.daemon.expect_line(|line| line.contains("was removed while Standfast was running"), TEN_SECONDS);
    }
    assert_eq!(scene.home.ask(&["hold", "fan", "on", "2h"]).code, 0);
    // The lock keeps a second one out as before.
    let mut second = scene.home.start();
    second.expect_end(TEN_SECONDS);
    assert!(second.transcript().contains("is running on the data folder"), "{}", second.transcript());
    scene.daemon.kill();
    scene.daemon = scene.home.run();
    let status = scene.home.ask(&["status"]).out;
    assert!(status.contains("new shade") && status.contains("held on by"), "{status}");
    assert!(status.contains("alarm memory: ") && status.contains("Stop Standfast before you move"), "{status}");
}

#[test]
fn an_old_backup_brings_back_what_was_withdrawn_then_and_numbers_resume_above_the_boards() {
    let mut scene = scene();
    assert_eq!(scene.home.ask(&["withdraw", "lamp", "new shade"]).code, 0);
    scene.stop();
    let backup = std::fs::read(scene.home.folder.path(DATABASE)).expect("a clean end leaves one file");
    scene.daemon = scene.home.run();
    scene.goes_on(ON);
    assert_eq!(scene.home.ask(&["restore", "lamp"]).code, 0);
    assert_eq!(scene.home.ask(&["hold", "lamp", "on", "2h"]).code, 0);
    scene.home.say("from/yard/reading/t1", "30");
    scene.board.expect(BOTH);
    scene.stop();
    scene.lose_store();
    std::fs::write(scene.home.folder.path(DATABASE), backup).expect("written");
    scene.start_behind();
    // Out of service as far as anybody remembers, so it goes off at once; the fan stays as it reports.
    assert_eq!(scene.board.report(), ON);
    let status = scene.home.ask(&["status"]).out;
    assert!(status.contains("new shade") && !status.contains("held"), "{status}");
    assert!(status.contains("alarm memory: board \"yard\" has taken orders up to number"), "{status}");
    scene.goes_on(ON);
}

/// Made while it ran, and brought back right after a load was taken out of service.
#[test]
fn a_copy_of_minutes_ago_that_does_not_know_of_a_withdrawal_shows() {
    let mut scene = scene();
    let copy = scene.home.folder.path("copy.db");
    let database = rusqlite::Connection::open(scene.home.folder.path(DATABASE)).expect("opens");
    database.execute("VACUUM INTO ?1", [copy.display().to_string()]).expect("copied");
    drop(database);
    assert_eq!(scene.home.ask(&["withdraw", "lamp", "new shade"]).code, 0);
    // As soon as the disk has them, orders bear numbers that no earlier copy knows.
    let (taken, patience) = (scene.board.taken, Deadline::after(TEN_SECONDS));
    while scene.board.taken < taken + 1000 {
        assert!(!patience.passed(), "{} after {taken}", scene.board.taken);
        scene.board.report();
    }
    scene.daemon.kill();
    scene.lose_store();
    std::fs::rename(copy, scene.home.folder.path(DATABASE)).expect("moved");
    scene.daemon = scene.home.run();
    assert_eq!(scene.board.report(), ON);
    let status = scene.home.ask(&["status"]).out;
    assert!(status.contains("alarm memory: board \"yard\" has taken orders up to number"), "{status}");
    scene.goes_on(ON);
}

#[test]
fn a_store_that_is_damaged_is_put_aside_a_person_is_told_and_the_house_goes_on() {
    let mut scene = scene();
    scene.stop();
    scene.lose_store();
    scene.home.folder.write(DATABASE, &"no database ".repeat(1000));
    scene.start_behind();
    let mut alarms = scene.home.listen("standfast/alarm/memory");
    let alarm = alarms.expect(|message| !message.payload.is_empty(), TEN_SECONDS).payload;
    assert!(alarm.contains("damaged") && alarm.contains("holds, withdrawn loads"), "{alarm}");
    assert!(scene.home.folder.path("data/standfast.db.damaged-1").exists());
    scene.goes_on(ON);
    // It stands until somebody has seen it, also over a start.
    scene.stop();
    scene.daemon = scene.home.run();
    assert!(scene.home.ask(&["status"]).out.contains("alarm memory: the database was damaged"));
    let answer = scene.home.ask(&["acknowledge", "memory"]);
    assert!(answer.code == 0 && answer.out.contains("is acknowledged, and over with that"), "{answer:?}");
    alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
}

/// What is reserved stands apart, and orders of before may still be under way.
#[test]
fn a_memory_that_cannot_be_read_costs_no_number_its_second_use() {
    let mut scene = scene();
    scene.stop();
    let database = rusqlite::Connection::open(scene.home.folder.path(DATABASE)).expect("opens");
    database.execute("UPDATE snapshot SET json = '{}'", []).expect("written");
    let reserved = "SELECT through FROM reservation WHERE board = 'yard'";
    let reserved: u32 = database.query_row(reserved, [], |row| row.get(0)).expect("reserved");
    drop(database);
    scene.daemon = scene.home.run();
    assert_eq!(scene.board.report(), ON);
    assert!(scene.board.taken > reserved, "{} of {reserved}", scene.board.taken);
    let status = scene.home.ask(&["status"]).out;
    assert!(status.contains("alarm memory: what was remembered could not be read at the start"), "{status}");
    scene.goes_on(ON);
}

#[test]
fn a_store_of_a_later_version_is_refused_clearly() {
    let mut scene = scene();
    scene.stop();
    let database = rusqlite::Connection::open(scene.home.folder.path(DATABASE)).expect("opens");
    database.pragma_update(None, "user_version", 99).expect("written");
    drop(database);
    let mut daemon = scene.home.start();
    assert_eq!(daemon.expect_end(TEN_SECONDS).code(), Some(2));
    let printed = daemon.transcript();
    assert!(printed.contains("was written by a later version (format 99, this one knows"), "{printed}");
    assert!(printed.contains("or move the file away to start with an empty memory"), "{printed}");
}

/// Dwell times and counters are facts about contacts: no hold, no rule of their own, and remembered all the same.
#[test]
fn dwell_times_and_starts_are_not_forgotten_by_a_kill() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let text = HOUSE
        .replace("kind = \"motor\"", "kind = \"motor\"\nmin_on = \"30m\"")
        .replace("kind = \"led\"", "kind = \"led\"\nmax_starts = \"2 per 1h\"");
    home.folder.write("rules/house.toml", &text);
    let mut daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "30");
    board.expect(ON);
    home.say("from/yard/reading/t1", "20");
    for _ in 0..2 {
        assert_eq!(home.ask(&["hold", "lamp", "on", "2h"]).code, 0);
        board.expect(BOTH);
        assert_eq!(home.ask(&["hold", "lamp", "off", "2h"]).code, 0);
        board.expect(ON);
    }
    assert_eq!(home.ask(&["hold", "lamp", "on", "2h"]).code, 0);
    for _ in 0..2 {
        daemon.kill();
        daemon = home.run();
        // The fan by its min on alone, and the lamp off for want of a third start.
        assert_eq!(board.report(), ON);
        home.say("from/yard/reading/t1", "20");
        assert_eq!(board.report(), ON);
        let status = home.ask(&["status"]).out;
        assert!(status.contains("min on keeps it on") && status.contains("it started as often as it may"), "{status}");
    }
    assert_ne!(board.relays, OFF);
}
