//! A disk that is full for real: the data folder is a file system of a few hundred pages, in a mount namespace of the daemon's
//! own, and a ballast file takes what is left of it. No capability of the machine is needed for that, only user namespaces.

use std::fs::File;
use std::io::Write;
use std::path::PathBuf;
use std::process::Command;

use super::home::{Answer, Home};
use super::support::{Broker, Process, TEN_SECONDS};

const OFF: [bool; 2] = [false, false];
const FAN: [bool; 2] = [true, false];
const LAMP: [bool; 2] = [false, true];

/// A home whose daemon finds its data on a disk of its own.
struct SmallDisk {
    home: Home,
    daemon: Process,
}

impl SmallDisk {
    /// Starts the daemon; where `full`, all but the room for a few files is taken before it starts.
    fn start(home: Home, full: bool) -> SmallDisk {
        let data = home.folder.path("data");
        std::fs::create_dir_all(&data).expect("the folder is ours");
        let keep = home.folder.path("kept.db");
        let config = home.folder.path("standfast.toml");
        let script = "set -e; mount -t tmpfs -o size=1m,mode=700 tmpfs \"$1\"; \
                      if [ -e \"$2\" ]; then cp \"$2\" \"$1/standfast.db\"; fi; \
                      if [ \"$5\" = full ]; then dd if=/dev/zero of=\"$1/ballast\" bs=4k 2>/dev/null || true; fi; \
                      exec \"$3\" run --config \"$4\"";
        let mut command = Command::new("unshare");
        command.args(["--user", "--map-root-user", "--mount", "sh", "-c", script, "sh"]);
        command.arg(data).arg(keep).arg(env!("CARGO_BIN_EXE_standfast")).arg(config).arg(if full {
            "full"
        } else {
            ""
        });
        command.env("NO_COLOR", "1").env("TZ", "UTC").env_remove("NOTIFY_SOCKET");
        let mut daemon = Process::start("standfast on a small disk (needs user namespaces)", &mut command);
        daemon.expect_line(|line| line.contains("connected to the broker"), TEN_SECONDS);
        let inside = SmallDisk { home, daemon };
        let server = inside.home.folder.read("standfast.toml");
        let outside = server.replace("data = \"data\"", &format!("data = {:?}", inside.data().display().to_string()));
        inside.home.folder.write("outside.toml", &outside);
        inside
    }

    /// The daemon's data folder as it is seen from here.
    fn data(&self) -> PathBuf {
        let path = self.home.folder.path("data");
        PathBuf::from(format!("/proc/{}/root{}", self.daemon.id(), path.display()))
    }

    fn ask(&self, arguments: &[&str]) -> Answer {
        self.home.ask_with("outside.toml", arguments)
    }

    /// Takes what is left of the disk.
    fn fill(&self) {
        let mut ballast = File::create(self.data().join("ballast")).expect("there is room for a name");
        while ballast.write(&[0; 4096]).is_ok() {}
    }

    fn make_room(&self) {
        std::fs::remove_file(self.data().join("ballast")).expect("it was there");
    }

    /// Ends the daemon as a power cut would, and starts it on what was on its disk.
    fn cut_power(mut self, full: bool) -> SmallDisk {
        // What it had committed lies in the write-ahead log: taken in by a plain open, beside it.
        for part in ["standfast.db", "standfast.db-wal"] {
            std::fs::copy(self.data().join(part), self.home.folder.path(&part.replace("standfast", "kept")))
                .expect("copied");
        }
        self.daemon.kill();
        let kept = rusqlite::Connection::open(self.home.folder.path("kept.db")).expect("opens");
        kept.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(())).expect("taken in");
        drop(kept);
        SmallDisk::start(self.home, full)
    }

    fn journal(&self) -> Vec<String> {
        let database = rusqlite::Connection::open(self.home.folder.path("kept.db")).expect("opens");
        let mut statement = database.prepare("SELECT entry FROM journal ORDER BY id").expect("prepares");
        let rows = statement.query_map([], |row| row.get(0)).expect("queries");
        rows.map(|row| row.expect("reads")).collect()
    }
}

#[test]
fn a_full_disk_stops_no_switching_is_told_and_forgets_nothing_once_there_is_room() {
    let broker = Broker::start();
    let mut small = SmallDisk::start(Home::on_save(broker.port()), false);
    let mut board = small.home.board();
    board.birth();
    board.report();
    let mut alarms = small.home.listen("standfast/alarm/store");
    small.fill();
    // Whatever wants to be stored from here on has no room.
    small.home.say("from/yard/reading/t1", "30");
    board.expect(FAN);
    let alarm = alarms.expect(|message| !message.payload.is_empty(), TEN_SECONDS).payload;
    assert!(alarm.contains("full"), "{alarm}");
    let answer = small.ask(&["hold", "lamp", "on", "2h"]);
    assert!(answer.code == 0 && answer.out.ends_with("(in force, not saved: a restart would forget it)"), "{answer:?}");
    board.expect([true, true]);
    small.home.say("from/yard/reading/t1", "20");
    board.expect(LAMP);
    small.make_room();
    alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
    small.daemon.expect_line(|line| line.contains("the store writes again"), TEN_SECONDS);
    assert_eq!(board.report(), LAMP);
    let small = small.cut_power(false);
    assert_eq!(board.report(), LAMP);
    let status = small.ask(&["status"]).out;
    assert!(status.contains("lamp: on, held on by a command of"), "{status}");
    let journal = small.journal();
    let changes = journal.iter().filter(|entry| entry.contains("\"changed\"")).count();
    assert_eq!(changes, 3, "each change of a contact has one row, those of the full disk too: {journal:?}");
}

#[test]
fn a_start_on_a_full_disk_runs_on_what_was_kept_and_is_told() {
    let broker = Broker::start();
    let small = SmallDisk::start(Home::on_save(broker.port()), false);
    let mut board = small.home.board();
    board.birth();
    board.report();
    assert_eq!(small.ask(&["hold", "lamp", "on", "2h"]).code, 0);
    board.expect(LAMP);
    let taken = board.taken;
    let mut alarms = small.home.listen("standfast/alarm/store");
    let small = small.cut_power(true);
    let alarm = alarms.expect(|message| !message.payload.is_empty(), TEN_SECONDS).payload;
    assert!(alarm.contains("the disk cannot be written"), "{alarm}");
    assert_eq!(board.report(), LAMP, "held from before");
    assert!(board.taken > taken);
    small.home.say("from/yard/reading/t1", "30");
    board.expect([true, true]);
    small.make_room();
    alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
    small.home.say("from/yard/reading/t1", "20");
    assert_eq!(small.ask(&["release", "lamp"]).code, 0);
    board.expect(OFF);
    let small = small.cut_power(false);
    assert_eq!(board.report(), OFF, "what was stored since there was room counts");
    assert!(!small.ask(&["status"]).out.contains("held"));
}
