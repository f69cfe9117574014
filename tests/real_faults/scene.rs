//! mosquitto, the daemon and a stand-in board as three processes with a heater on, and what happens when one of them is
//! killed or frozen. It judges nothing; whoever plays it does.

use std::time::Duration;

use super::support::{Broker, Deadline, Folder, Process, Proxy, Standfast, TEN_SECONDS};

/// The lease of the board: the shortest that a house may give.
pub const LEASE: Duration = Duration::from_secs(5);

/// The data is invented.
pub const HOUSE: &str = r#"
[site]
position = [54.60, -3.14]
zone = "Europe/London"
stagger = "0s"
[board.washhouse]
relays = 2
lease = "5s"
[sensor.washhouse-air]
reading = "washhouse/t1"
unit = "°C"
[load.frost-heater]
relay = "washhouse/1"
kind = "resistive"
safe = "off"
[rule.keep-frost-out]
load = "frost-heater"
demand = "on"
while = { sensor = "washhouse-air", cut_in = "<= 4", cut_out = ">= 7" }
"#;

/// A process.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    Broker,
    Daemon,
    Board,
}

/// What is done to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// SIGKILL, and started again.
    Killed,
    /// SIGSTOP, and SIGCONT.
    Frozen,
}

/// All six, in the order of the table.
pub const ALL: [(Part, Fault); 6] = [
    (Part::Broker, Fault::Killed),
    (Part::Broker, Fault::Frozen),
    (Part::Daemon, Fault::Killed),
    (Part::Daemon, Fault::Frozen),
    (Part::Board, Fault::Killed),
    (Part::Board, Fault::Frozen),
];

pub struct Scene {
    // Ended first, since it makes its folder anew.
    pub daemon: Standfast,
    pub board: Standfast,
    /// What the board reaches the broker through.
    pub network: Proxy,
    pub broker: Broker,
    folder: Folder,
}

impl Scene {
    /// The heater is on.
    pub fn new() -> Scene {
        let broker = Broker::start();
        let folder = furnish(&broker);
        let network = Proxy::start(broker.port());
        let (daemon, board) = (run(&folder), play(&folder, &network));
        let mut scene = Scene { broker, folder, network, daemon, board };
        freeze_weather(&mut scene.board);
        scene.expect_heater(true);
        scene.expect_stored();
        scene
    }

    /// Waits until the daemon has stored that the heater is on, as it has when something happens to it any later. It says what
    /// happened once that is on disk.
    fn expect_stored(&self) {
        let config = self.folder.path("standfast.toml").display().to_string();
        let patience = Deadline::after(TEN_SECONDS);
        let is_stored = || {
            let said = Standfast::run(&["log", "--config", &config]).stdout;
            String::from_utf8_lossy(&said).contains("frost-heater on (washhouse/1)")
        };
        while !is_stored() {
            assert!(!patience.passed(), "the heater is on and the journal does not say so");
        }
    }

    /// Waits until the board's relay turns the heater on or off.
    pub fn expect_heater(&mut self, on: bool) {
        expect_heater(&mut self.board, on);
    }

    /// Waits until the daemon misses the board.
    pub fn expect_missed(&mut self) {
        self.daemon.expect_line(|line| line.contains("alarm board-washhouse"), LEASE + TEN_SECONDS);
    }

    /// Waits until everything is as it was: the heater on by the daemon's will, and the board heard. It may have been on
    /// all the while where a board was gone for less than its lease.
    pub fn expect_recovered(&mut self, part: Part, fault: Fault) {
        if part == Part::Board {
            self.daemon.expect_line(|line| line.contains("board washhouse is heard"), LEASE + 2 * TEN_SECONDS);
        }
        if (part, fault) != (Part::Board, Fault::Frozen) {
            self.expect_heater(true);
        }
    }

    pub fn break_part(&mut self, part: Part, fault: Fault) {
        match (part, fault) {
            (Part::Broker, Fault::Killed) => self.broker.kill(),
            (Part::Broker, Fault::Frozen) => self.broker.freeze(),
            (Part::Daemon, Fault::Killed) => self.daemon.kill(),
            (Part::Daemon, Fault::Frozen) => self.daemon.freeze(),
            (Part::Board, Fault::Killed) => self.board.kill(),
            (Part::Board, Fault::Frozen) => self.board.freeze(),
        }
    }

    pub fn mend_part(&mut self, part: Part, fault: Fault) {
        match (part, fault) {
            (Part::Broker, Fault::Killed) => self.broker.restart(),
            (Part::Broker, Fault::Frozen) => self.broker.thaw(),
            (Part::Daemon, Fault::Killed) => self.daemon = run(&self.folder),
            (Part::Daemon, Fault::Frozen) => self.daemon.thaw(),
            (Part::Board, Fault::Killed) => {
                self.board = play(&self.folder, &self.network);
                freeze_weather(&mut self.board);
            }
            (Part::Board, Fault::Frozen) => self.board.thaw(),
        }
    }
}

/// The files of the house and of its daemon, which speaks to this broker.
pub fn furnish(broker: &Broker) -> Folder {
    let folder = Folder::new();
    folder.write("rules/house.toml", HOUSE);
    let server = format!(
        "house = \"rules\"\ndata = \"data\"\nclock = \"always\"\nsettle = \"1s\"\napply = \"command\"\n\
         [broker]\nurl = \"{}\"\n",
        broker.url()
    );
    folder.write("standfast.toml", &server);
    folder
}

/// It is freezing in the wash house; the board goes on saying so by itself.
pub fn freeze_weather(board: &mut Process) {
    board.expect_line(|line| line.contains("connected"), TEN_SECONDS);
    board.type_line("reading t1 1.5");
}

/// Waits until the board's relay turns the heater on or off.
pub fn expect_heater(board: &mut Process, on: bool) {
    let wanted = if on { "frost-heater is on" } else { "frost-heater is off" };
    // A daemon that starts waits for the next reading, which the board repeats every 30 s.
    board.expect_line(|line| line.ends_with(wanted), LEASE + 6 * TEN_SECONDS);
}

/// Starts the daemon.
pub fn run(folder: &Folder) -> Standfast {
    let config = folder.path("standfast.toml").display().to_string();
    Standfast::start(&["run", "--config", &config])
}

fn play(folder: &Folder, network: &Proxy) -> Standfast {
    let house = folder.path("rules").display().to_string();
    Standfast::start_typing(&["stand-in", "washhouse", "--house", &house, "--broker", &network.url()])
}
