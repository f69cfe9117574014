//! A disk that is full, one that has become read-only and one that fails, for real: the data folder is a file system of a few
//! hundred pages, in a mount namespace of the daemon's own. No capability of the machine is needed for that, only user
//! namespaces.

#[path = "disk/kept.rs"]
mod kept;

use std::fs::File;
use std::io::Write;
use std::path::PathBuf;

use rustix::process::{Pid, Resource, Rlimit, prlimit};

use super::home::{Answer, HOUSE, Home};
use super::support::{Broker, Deadline, Process, TEN_SECONDS, command, free_port};

const OFF: [bool; 2] = [false, false];
const FAN: [bool; 2] = [true, false];
const LAMP: [bool; 2] = [false, true];
const BOTH: [bool; 2] = [true, true];

/// What is wrong with a disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Trouble {
    /// There is no room left.
    Full,
    /// The system has made it read-only, as it does when one fails.
    ReadOnly,
    /// Every write is answered with an error.
    Failing,
}

/// A home whose daemon finds its data on a disk of its own.
struct SmallDisk {
    // Ended first, since it makes its folder anew.
    daemon: Process,
    home: Home,
}

/// Mounts the disk, lays on it what was kept, and makes the trouble that it is to start with.
const SCRIPT: &str = r#"
set -e
mount -t tmpfs -o size=1m,mode=700 tmpfs "$1"
if [ -e "$2" ]; then cp "$2" "$1/standfast.db"; fi
if [ -e "$2-wal" ]; then cp -r "$2-wal" "$1/standfast.db-wal"; fi
case "$5" in
    Full) dd if=/dev/zero of="$1/ballast" bs=4k 2>/dev/null || true ;;
    ReadOnly) mount --options-source=disable -o remount,ro "$1" ;;
    Failing) ulimit -S -f 0 ;;
esac
exec "$3" run --config "$4"
"#;

impl SmallDisk {
    fn start(home: Home, trouble: Option<Trouble>) -> SmallDisk {
        let data = home.folder.path("data");
        std::fs::create_dir_all(&data).expect("the folder is ours");
        let keep = home.folder.path("kept.db");
        let config = home.folder.path("standfast.toml");
        let mut command = command("unshare");
        command.args(["--user", "--map-root-user", "--mount", "sh", "-c", SCRIPT, "sh"]);
        command.arg(data).arg(keep).arg(env!("CARGO_BIN_EXE_standfast")).arg(config);
        command.arg(trouble.map(|trouble| format!("{trouble:?}")).unwrap_or_default());
        command.env("NO_COLOR", "1");
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

    /// Lets a disk that was well get into trouble.
    fn trouble(&self, trouble: Trouble) {
        match trouble {
            Trouble::Full => {
                let mut ballast = File::create(self.data().join("ballast")).expect("there is room for a name");
                while ballast.write(&[0; 4096]).is_ok() {}
            }
            Trouble::Failing => self.limit_files(Some(0)),
            Trouble::ReadOnly => panic!("no file may be open for that"),
        }
    }

    fn mend(&self, trouble: Trouble) {
        match trouble {
            Trouble::Full => std::fs::remove_file(self.data().join("ballast")).expect("it was there"),
            Trouble::Failing => self.limit_files(None),
            Trouble::ReadOnly => {
                let mut command = command("nsenter");
                command.args([
                    "--target",
                    &self.daemon.id().to_string(),
                    "--user",
                    "--mount",
                    "--preserve-credentials",
                ]);
                command
                    .args(["mount", "--options-source=disable", "-o", "remount,rw"])
                    .arg(self.home.folder.path("data"));
                assert!(command.status().expect("nsenter runs").success());
            }
        }
    }

    /// How long a file of the daemon's may get: a write beyond is an error, and not one for want of room.
    fn limit_files(&self, most: Option<u64>) {
        let daemon = i32::try_from(self.daemon.id()).ok().and_then(Pid::from_raw);
        prlimit(daemon, Resource::Fsize, Rlimit { current: most, maximum: None }).expect("it is our child");
    }

    /// Ends the daemon as a power cut would, and starts it on what was on its disk.
    fn cut_power(mut self, trouble: Option<Trouble>) -> SmallDisk {
        // What it had committed lies in the write-ahead log.
        for (part, kept) in [("standfast.db", "kept.db"), ("standfast.db-wal", "kept.db-wal")] {
            std::fs::copy(self.data().join(part), self.home.folder.path(kept)).expect("copied");
        }
        self.daemon.kill();
        SmallDisk::start(self.home, trouble)
    }

    fn journal(&self) -> Vec<String> {
        let database = rusqlite::Connection::open(self.home.folder.path("kept.db")).expect("opens");
        let mut statement = database.prepare("SELECT entry FROM journal ORDER BY id").expect("prepares");
        let rows = statement.query_map([], |row| row.get(0)).expect("queries");
        rows.map(|row| row.expect("reads")).collect()
    }
}

/// The disk gets into trouble while all is well otherwise.
fn check(home: Home, trouble: Trouble, said: &str) {
    let mut small = SmallDisk::start(home, None);
    let mut board = small.home.live_board();
    let mut alarms = small.home.listen("standfast/alarm/store");
    small.trouble(trouble);
    // Whatever wants to be stored from here on finds no place.
    small.home.say("from/yard/reading/t1", "30");
    board.expect(FAN);
    let alarm = alarms.expect(|message| !message.payload.is_empty(), TEN_SECONDS).payload;
    assert!(alarm.contains(said), "{alarm}");
    let answer = small.ask(&["hold", "lamp", "on", "2h"]);
    assert!(answer.code == 0 && answer.out.ends_with("(in force, not saved: a restart would forget it)"), "{answer:?}");
    board.expect(BOTH);
    small.home.say("from/yard/reading/t1", "20");
    board.expect(LAMP);
    small.mend(trouble);
    alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
    small.daemon.expect_line(|line| line.contains("the store writes again"), TEN_SECONDS);
    assert_eq!(board.report(), LAMP);
    let small = small.cut_power(None);
    let mut board = board.again(&small.home);
    assert_eq!(board.report(), LAMP);
    let status = small.ask(&["status"]).out;
    assert!(status.contains("lamp: on since ") && status.contains(", held on by a command of"), "{status}");
    let journal = small.journal();
    let changes = journal.iter().filter(|entry| entry.contains("\"changed\"")).count();
    assert_eq!(changes, 3, "each change of a contact has one row, those of the trouble too: {journal:?}");
}

#[test]
fn a_full_disk_stops_no_switching_is_told_and_forgets_nothing_once_there_is_room() {
    let broker = Broker::start();
    check(Home::on_save(broker.port()), Trouble::Full, "full");
}

#[test]
fn a_disk_that_fails_stops_no_switching_is_told_and_forgets_nothing_once_it_works() {
    let broker = Broker::start();
    check(Home::on_save(broker.port()), Trouble::Failing, "disk I/O error");
}

#[cfg(feature = "embedded-broker")]
#[test]
fn with_its_own_broker_on_the_full_disk_it_goes_on_as_well() {
    check(with_own_broker(), Trouble::Full, "full");
}

/// A home whose daemon brings the broker, which keeps what is retained on the same disk.
#[cfg(feature = "embedded-broker")]
fn with_own_broker() -> Home {
    let port = free_port();
    let home = Home::on_save(port);
    let keys = "house = \"rules\"\ndata = \"data\"\nclock = \"always\"\nsettle = \"0s\"\napply = \"save\"\n";
    home.folder.write("standfast.toml", &format!("{keys}[broker.embedded]\nlisten = \"127.0.0.1:{port}\"\n"));
    home
}

/// The disk is in trouble when the daemon starts.
fn check_start(home: Home, trouble: Trouble) {
    let small = SmallDisk::start(home, None);
    let mut board = small.home.live_board();
    assert_eq!(small.ask(&["hold", "lamp", "on", "2h"]).code, 0);
    board.expect(LAMP);
    let taken = board.taken;
    let mut small = small.cut_power(Some(trouble));
    let mut alarms = small.home.listen("standfast/alarm/store");
    let alarm = alarms.expect(|message| !message.payload.is_empty(), TEN_SECONDS).payload;
    let why = match trouble {
        Trouble::Full => "full",
        Trouble::ReadOnly => "the disk is read-only",
        Trouble::Failing => "disk I/O error",
    };
    assert!(alarm.contains("the disk cannot be written") && alarm.contains(why), "{alarm}");
    let mut board = board.again(&small.home);
    assert_eq!(board.report(), LAMP, "held from before");
    assert!(board.taken > taken);
    small.home.say("from/yard/reading/t1", "30");
    board.expect(BOTH);
    small.mend(trouble);
    alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
    if trouble == Trouble::ReadOnly {
        small.daemon.expect_line(|line| line.contains("the command socket is there now"), TEN_SECONDS);
    }
    small.home.say("from/yard/reading/t1", "20");
    assert_eq!(small.ask(&["release", "lamp"]).code, 0);
    board.expect(OFF);
    let small = small.cut_power(None);
    let mut board = board.again(&small.home);
    assert_eq!(board.report(), OFF, "what was stored since the disk was mended counts");
    assert!(!small.ask(&["status"]).out.contains("held"));
}

#[test]
fn a_start_on_a_full_disk_runs_on_what_was_kept_and_is_told() {
    let broker = Broker::start();
    check_start(Home::on_save(broker.port()), Trouble::Full);
}

#[test]
fn a_start_on_a_disk_that_fails_runs_on_what_was_kept_and_is_told() {
    let broker = Broker::start();
    check_start(Home::on_save(broker.port()), Trouble::Failing);
}

#[test]
fn a_start_on_a_disk_that_has_become_read_only_runs_on_what_was_kept_and_is_told() {
    let broker = Broker::start();
    check_start(Home::on_save(broker.port()), Trouble::ReadOnly);
}

#[cfg(feature = "embedded-broker")]
#[test]
fn with_its_own_broker_it_starts_on_a_read_only_disk_as_well() {
    check_start(with_own_broker(), Trouble::ReadOnly);
}

/// A disk in trouble may have spoilt what lay on it, and that can neither be put aside nor replaced at present.
fn check_damaged(trouble: Trouble) {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    home.folder.write("kept.db", &"no database ".repeat(1000));
    let mut alarms = home.listen("standfast/alarm/+");
    let mut small = SmallDisk::start(home, Some(trouble));
    let said = alarms.expect(|message| message.topic == "standfast/alarm/memory", TEN_SECONDS).payload;
    assert!(said.contains("damaged") && said.contains("holds, withdrawn loads"), "{said}");
    alarms.expect(|message| message.topic == "standfast/alarm/store", TEN_SECONDS);
    let mut board = small.home.live_board();
    small.home.say("hold/lamp", "on 2h");
    board.expect(LAMP);
    small.mend(trouble);
    small.daemon.expect_line(|line| line.contains("the store writes again"), TEN_SECONDS);
    assert!(small.data().join("standfast.db.damaged-1").exists());
    let small = small.cut_power(None);
    assert_eq!(board.again(&small.home).report(), LAMP);
}

#[test]
fn a_start_on_a_full_disk_with_a_damaged_store_runs_and_is_told() {
    check_damaged(Trouble::Full);
}

#[test]
fn a_start_on_a_read_only_disk_with_a_damaged_store_runs_and_is_told() {
    check_damaged(Trouble::ReadOnly);
}

/// What happened while the disk was full goes with a process that ends before there is room; that it is missing does not.
#[test]
fn what_the_journal_lacks_after_an_end_on_a_full_disk_is_said_at_the_next_start() {
    let broker = Broker::start();
    let small = SmallDisk::start(Home::on_save(broker.port()), None);
    let mut board = small.home.live_board();
    assert_eq!(small.ask(&["hold", "lamp", "on", "2h"]).code, 0);
    board.expect(LAMP);
    assert!(!small.ask(&["log"]).out.contains("without a last word"), "nothing is missing yet");
    let mut alarms = small.home.listen("standfast/alarm/store");
    small.trouble(Trouble::Full);
    small.home.say("from/yard/reading/t1", "30");
    board.expect(BOTH);
    alarms.expect(|message| !message.payload.is_empty(), TEN_SECONDS);
    let small = small.cut_power(None);
    let log = small.ask(&["log"]).out;
    let words = log.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("is not written, unless a later row tells of it: "), "{log}");
    assert!(!words.contains("the clock was not trusted"), "{log}");
    assert!(words.contains("Standfast ended without a last word: killed, or with a disk that took nothing"), "{log}");
}

/// A new version finds no room to bring an earlier format to its own. It runs on what that keeps, and changes it when there
/// is room.
#[test]
fn a_start_of_a_new_version_on_a_full_disk_forgets_nothing_of_what_the_earlier_one_kept() {
    for format in 1..=3 {
        let broker = Broker::start();
        let home = Home::on_save(broker.port());
        let dump = format!("{}/tests/data/store/format-{format}.sql", env!("CARGO_MANIFEST_DIR"));
        let database = rusqlite::Connection::open(home.folder.path("kept.db")).expect("opens");
        database.execute_batch(&std::fs::read_to_string(dump).expect("read")).expect("a dump");
        // As the daemon left it.
        database.query_row("PRAGMA journal_mode = WAL", [], |_| Ok(())).expect("set");
        let files = "SELECT text FROM accepted_file";
        let house: String = database.query_row(files, [], |row| row.get(0)).expect("the house of that day");
        home.folder.write("rules/house.toml", &house);
        drop(database);
        let mut small = SmallDisk::start(home, Some(Trouble::Full));
        let keeps = |small: &SmallDisk| {
            let status = small.ask(&["status"]).out;
            for part in ["withdrawn (new thermostat)", "safety trip \"heater-trips\" has tripped"] {
                assert!(status.contains(part), "format {format}: {status}");
            }
            assert!(!status.contains("alarm memory"), "format {format}: {status}");
            status
        };
        assert!(keeps(&small).contains("alarm store"));
        small.mend(Trouble::Full);
        small.daemon.expect_line(|line| line.contains("the store writes again"), TEN_SECONDS);
        let small = small.cut_power(None);
        // It stands since before the restart until the first write is through.
        let patience = Deadline::after(TEN_SECONDS);
        while keeps(&small).contains("alarm store") {
            assert!(!patience.passed(), "format {format}: {}", keeps(&small));
        }
        let log = small.ask(&["log"]).out;
        assert!(log.contains("board cellar is heard") && log.contains("new thermostat"), "format {format}: {log}");
    }
}

/// There is nothing to remember yet, and nobody is told that something was forgotten.
#[test]
fn a_very_first_start_on_a_full_disk_runs_and_has_forgotten_nothing() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut alarms = home.listen("standfast/alarm/+");
    let small = SmallDisk::start(home, Some(Trouble::Full));
    alarms.expect(|message| message.topic == "standfast/alarm/store", TEN_SECONDS);
    let mut board = small.home.live_board();
    small.home.say("from/yard/reading/t1", "30");
    board.expect(FAN);
    let status = small.ask(&["status"]).out;
    assert!(status.contains("alarm store") && !status.contains("alarm memory"), "{status}");
}

/// An alarm of the daemon's own may have gone with its reason while nobody looked.
#[test]
fn alarms_of_the_daemons_own_whose_reason_is_gone_do_not_outlive_a_restart() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut waits = home.listen("standfast/alarm/house-waits");
    home.folder.write("rules/house.toml", &HOUSE.replace("load.lamp", "load.lantern"));
    waits.expect(|message| !message.payload.is_empty(), TEN_SECONDS);
    daemon.terminate();
    daemon.expect_end(TEN_SECONDS);
    let database = rusqlite::Connection::open(home.folder.path("data/standfast.db")).expect("opens");
    // As if it had been killed between the write that came through and its note of that.
    let alarm = r#"{"text":"the disk cannot be written","raised":1800000000000,"acknowledged":false}"#;
    for id in ["store", "clock", "alarm-program"] {
        let insert = format!("UPDATE snapshot SET json = json_set(json, '$.alarms.{id}', json(?1))");
        assert_eq!(
            database.execute(&insert.replace("alarms.alarm-program", "alarms.\"alarm-program\""), [alarm]),
            Ok(1)
        );
    }
    drop(database);
    home.folder.write("rules/house.toml", HOUSE);
    let mut said = home.listen("standfast/alarm/+");
    let _daemon = home.run();
    let mut left: Vec<&str> = vec!["store", "clock", "alarm-program", "house-waits"];
    while !left.is_empty() {
        let message = said.next(TEN_SECONDS).unwrap_or_else(|| panic!("{left:?} still stand"));
        if message.payload.is_empty() && !message.retained {
            left.retain(|id| message.topic != format!("standfast/alarm/{id}"));
        }
    }
    let status = home.ask(&["status"]).out;
    assert!(!status.contains("alarm ") && status.contains("lamp: "), "{status}");
}
