//! A house with one board that is played by hand, and a daemon on it.

use std::process::Output;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use super::support::{Deadline, Folder, Message, Standfast, Subscriber, TEN_SECONDS, git, publish, publish_retained};

/// A report that is not answered within this is sent again, with the next beat.
const ANSWERED_WITHIN: Duration = Duration::from_secs(3);

/// Every board that is played is in a boot of its own.
static BOOTS: AtomicU32 = AtomicU32::new(17);

/// One board of two relays, a fan that a rule drives and a lamp that only hands switch.
pub const HOUSE: &str = r#"
[site]
position = [54.60, -3.14]
zone = "Europe/London"
stagger = "0s"

[board.yard]
relays = 2
lease = "60s"

[sensor.sunroom-air]
reading = "yard/t1"
unit = "°C"
range = [-20, 60]

[load.fan]
relay = "yard/1"
kind = "motor"

[load.lamp]
relay = "yard/2"
kind = "led"
hold_for = "1h"

[rule.fan-when-hot]
load = "fan"
demand = "on"
while = { sensor = "sunroom-air", cut_in = ">= 28.0", cut_out = "<= 26.5" }
"#;

/// One selector and one setpoint, which no rule of [`HOUSE`] asks for.
pub const MODES: &str = r#"
[selector.house]
positions = ["lived-in", "away"]

[setpoint.warm]
value = 28.0
range = [20, 32]
unit = "°C"
"#;

/// The house's folder, the server's file and the data folder.
pub struct Home {
    pub folder: Folder,
    port: u16,
}

impl Home {
    /// A home whose daemon speaks to a broker on this port; `keys` go to the top of the server's file.
    pub fn new(port: u16, keys: &str) -> Home {
        let home = Home { folder: Folder::new(), port };
        home.folder.write("rules/house.toml", HOUSE);
        home.folder.write("standfast.toml", &server_file(port, keys));
        home
    }

    /// A home whose daemon reaches the broker by a way of its own, and everybody else directly.
    pub fn behind(way: u16, port: u16) -> Home {
        let home = Home::on_save(port);
        home.folder.write("standfast.toml", &server_file(way, "apply = \"save\""));
        home
    }

    /// A home whose changes are taken when they are saved.
    pub fn on_save(port: u16) -> Home {
        Home::new(port, "apply = \"save\"")
    }

    /// The same with a page on a free port, which the daemon says once it is there.
    pub fn with_page(port: u16) -> Home {
        Home::new(port, "page.listen = \"127.0.0.1:0\"\napply = \"save\"")
    }

    /// Starts the daemon without waiting for anything.
    pub fn start(&self) -> Standfast {
        let config = self.folder.path("standfast.toml").display().to_string();
        Standfast::start(&["run", "--config", &config])
    }

    /// Starts the daemon and waits until it is connected.
    pub fn run(&self) -> Standfast {
        let mut daemon = self.start();
        daemon.expect_line(|line| line.contains("connected to the broker"), TEN_SECONDS);
        daemon
    }

    /// Runs a small command against the daemon.
    pub fn ask(&self, arguments: &[&str]) -> Answer {
        self.ask_with("standfast.toml", arguments)
    }

    /// The same by another server's file in the folder.
    pub fn ask_with(&self, config: &str, arguments: &[&str]) -> Answer {
        let config = self.folder.path(config).display().to_string();
        let (command, rest) = arguments.split_first().expect("a command");
        let all: Vec<&str> = [*command, "--config", &config].into_iter().chain(rest.iter().copied()).collect();
        Answer::of(&Standfast::run(&all))
    }

    /// A board played by hand on the same broker.
    pub fn board(&self) -> Board {
        let orders = Subscriber::start(self.port, &["standfast/to/yard/orders"]);
        let boot = BOOTS.fetch_add(1, Ordering::Relaxed);
        Board { port: self.port, boot, beat: 0, taken: 0, relays: [false; 2], lease_s: 60, orders }
    }

    /// The same, which has said that it was born and has reported, with both relays off.
    pub fn live_board(&self) -> Board {
        let mut board = self.board();
        board.birth();
        board.report();
        board
    }

    /// Everything that is said on topics that match.
    pub fn listen(&self, filter: &str) -> Subscriber {
        Subscriber::start(self.port, &[filter])
    }

    /// Publishes below the prefix.
    pub fn say(&self, topic: &str, payload: &str) {
        publish(self.port, &format!("standfast/{topic}"), payload);
    }

    /// Publishes below the prefix, retained.
    pub fn say_retained(&self, topic: &str, payload: &str) {
        publish_retained(self.port, &format!("standfast/{topic}"), payload);
    }

    /// Runs git in the house's folder, and yields what it prints.
    pub fn git(&self, arguments: &[&str]) -> String {
        git(&self.folder.path("rules"), arguments)
    }

    /// Puts the house under git, and commits it.
    pub fn under_git(&self) {
        self.git(&["init", "-q"]);
        self.git(&["add", "."]);
        self.git(&["commit", "-q", "-m", "the house"]);
    }

    /// Saves the house with a text in place of another.
    pub fn save_with(&self, old: &str, new: &str) {
        assert!(HOUSE.contains(old), "{old}");
        self.folder.write("rules/house.toml", &HOUSE.replace(old, new));
    }
}

fn server_file(port: u16, keys: &str) -> String {
    format!(
        "house = \"rules\"\ndata = \"data\"\nclock = \"always\"\nsettle = \"0s\"\n{keys}\n\
         [broker]\nurl = \"mqtt://127.0.0.1:{port}\"\n"
    )
}

/// What a small command came to.
#[derive(Debug)]
pub struct Answer {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Answer {
    fn of(output: &Output) -> Answer {
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).trim().to_owned();
        Answer {
            code: output.status.code().expect("it ended by itself"),
            out: text(&output.stdout),
            err: text(&output.stderr),
        }
    }
}

/// A board as a person would play it: reports, and obeys the orders that answer them.
pub struct Board {
    port: u16,
    pub boot: u32,
    /// The beat of its last report.
    pub beat: u32,
    /// The last orders taken.
    pub taken: u32,
    /// What the relays are.
    pub relays: [bool; 2],
    /// The lease that its orders are to have.
    pub lease_s: u32,
    orders: Subscriber,
}

impl Board {
    /// Says that it was born.
    pub fn birth(&mut self) {
        publish_retained(self.port, "standfast/from/yard/life", &format!("birth {} power-on", self.boot));
    }

    /// Reports, and obeys the orders that answer the report. Like a real one it reports again when nobody answers.
    pub fn report(&mut self) -> [bool; 2] {
        for _ in 0..10 {
            self.beat += 1;
            let word = |relay: bool| if relay { "on" } else { "off" };
            let [one, two] = self.relays.map(word);
            let payload = format!("{} {} {} {one} {two}", self.boot, self.beat, self.taken);
            publish(self.port, "standfast/from/yard/report", &payload);
            let answered = [self.boot.to_string(), self.beat.to_string()];
            let patience = Deadline::after(ANSWERED_WITHIN);
            while let Some(message) = self.orders.next(patience.left()) {
                let answers = message.payload.split(' ').skip(1).take(2).eq(answered.iter().map(String::as_str));
                if answers {
                    self.obey(&message);
                    return self.relays;
                }
            }
        }
        panic!("nobody answers reports");
    }

    /// Waits for orders that want the relays so, obeys and reports.
    pub fn expect(&mut self, wanted: [bool; 2]) {
        while self.relays != wanted {
            let message = self.orders.next(TEN_SECONDS).unwrap_or_else(|| panic!("no orders for {wanted:?} came"));
            self.obey(&message);
        }
        assert_eq!(self.report(), wanted);
    }

    /// The same board on a new connection, as after the broker was gone.
    pub fn again(self, home: &Home) -> Board {
        Board { orders: home.listen("standfast/to/yard/orders"), ..self }
    }

    /// Whether nothing was ordered since the last look.
    pub fn is_left_alone(&mut self) -> bool {
        publish(self.port, "standfast/to/yard/orders", "end of test");
        self.orders.next(TEN_SECONDS).is_some_and(|message| message.payload == "end of test")
    }

    fn obey(&mut self, message: &Message) {
        assert!(!message.retained, "orders are never retained: {message:?}");
        let words: Vec<&str> = message.payload.split(' ').collect();
        let number: u32 = words[0].parse().expect("a number of the orders");
        assert!(number > self.taken, "orders {number} after {}", self.taken);
        assert_eq!(words[3], self.lease_s.to_string(), "the lease in {message:?}");
        self.taken = number;
        for (relay, word) in self.relays.iter_mut().zip(&words[4..]) {
            match *word {
                "on" => *relay = true,
                "off" => *relay = false,
                "-" => {}
                other => panic!("{other} in {message:?}"),
            }
        }
    }
}
