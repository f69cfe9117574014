//! `standfast stand-in` against a real broker, with its commands typed and the controller played by `mosquitto_pub`.

#![cfg(feature = "daemon")]

mod support;

use support::{Broker, Folder, Message, Standfast, Subscriber, TEN_SECONDS, publish, publish_retained};

/// A house of one board with two relays, a button, a remote, a contact and a sensor. The data is invented.
const HOUSE: &str = r#"
[site]
position = [54.60, -3.14]
zone = "Europe/London"
[board.shed]
relays = 2
lease = "5s"
[sensor.shed-air]
reading = "shed/t1"
unit = "°C"
[load.shed-lamp]
relay = "shed/1"
kind = "led"
[load.shed-flap]
relay = "shed/2"
contact = "NC"
kind = "solenoid"
safe = "on"
[input.shed-button]
at = "shed/1"
toggles = "shed-lamp"
[input.key-red]
at = "shed/ir"
code = "14EB58A7"
toggles = "shed-lamp"
[input.shed-door]
at = "shed/door"
[rule.lit]
load = "shed-lamp"
demand = "on"
while = { input = "shed-door", is = "on" }
"#;

/// Another board, with firmware of its own: it says whether it is there, reports in JSON and lets go by itself after 5 s.
const OTHER: &str = r#"
[board.socket]
relays = 1
lease = "5s"
order = { topic = "socket/put", energised = "pull {lease_s}", released = "drop" }
report = { topic = "socket/got", field = "/coil", energised = "true", released = "false" }
alive = { topic = "socket/link", there = "up", gone = "down" }
[load.reading-lamp]
relay = "socket/1"
kind = "led"
[rule.lit-to-read]
load = "reading-lamp"
demand = "on"
while = { from = "dusk", to = "23:30" }
"#;

struct Shed {
    broker: Broker,
    folder: Folder,
    wire: Subscriber,
}

impl Shed {
    fn new() -> Shed {
        let broker = Broker::start();
        let folder = Folder::new();
        folder.write("shed.toml", HOUSE);
        let wire = Subscriber::start(broker.port(), &["standfast/from/#"]);
        Shed { broker, folder, wire }
    }

    /// The same, listening to a board of other firmware in its house.
    fn beside_another(report: &str, alive: &str) -> Shed {
        let mut shed = Shed::new();
        shed.folder.write("other.toml", &OTHER.replace("report =", report).replace("alive =", alive));
        shed.wire = Subscriber::start(shed.broker.port(), &["socket/got", "socket/link"]);
        shed
    }

    fn play(&self) -> Standfast {
        self.play_the("shed")
    }

    fn play_the(&self, board: &str) -> Standfast {
        let folder = self.folder.path("");
        let house = folder.to_str().expect("a plain path");
        Standfast::start_typing(&["stand-in", board, "--house", house, "--broker", &self.broker.url()])
    }

    fn publish(&self, topic: &str, payload: &str) {
        publish(self.broker.port(), topic, payload);
    }

    /// Waits for a message of the board below `from/shed/`.
    fn expect(&mut self, topic: &str, wanted: impl Fn(&str) -> bool) -> Message {
        let topic = format!("standfast/from/shed/{topic}");
        self.wire.expect(|message| message.topic == topic && wanted(&message.payload), TEN_SECONDS)
    }

    /// The boot of the next birth.
    fn boot(&mut self, cause: &str) -> String {
        let birth = self.expect("life", |payload| payload.starts_with("birth ") && payload.ends_with(cause));
        assert_eq!(birth.qos, 1);
        birth.payload.split(' ').nth(1).expect("a boot").to_owned()
    }
}

#[test]
fn it_obeys_reports_and_says_what_its_relays_do() {
    let mut shed = Shed::new();
    let mut board = shed.play();
    let boot = shed.boot("stand-in");
    shed.expect("input/door", |payload| payload == "off");
    shed.expect("report", |payload| payload == format!("{boot} 1 0 off:0:0:0 off:0:0:0"));

    shed.publish("standfast/to/shed/orders", &format!("7 {boot} 1 5 on on"));
    board.expect_line(|line| line.ends_with("shed/1 energised: shed-lamp is on"), TEN_SECONDS);
    board.expect_line(|line| line.ends_with("shed/2 energised: shed-flap is off"), TEN_SECONDS);
    shed.expect("report", |payload| payload.starts_with(&format!("{boot} 2 7 on:0:1:0 on:0:1:0")));

    board.type_line("press shed-button");
    shed.expect("input/1", |payload| payload == "press 1");
    board.type_line("press key-red");
    shed.expect("input/ir", |payload| payload == "14EB58A7 1");
    board.type_line("contact door on");
    shed.expect("input/door", |payload| payload == "on");
    board.type_line("reading t1 23.4");
    shed.expect("reading/t1", |payload| payload == "23.4");
    board.type_line("press door");
    board.expect_line(|line| line.ends_with("door is a contact; write: contact door on"), TEN_SECONDS);

    // Nobody answers its reports any more: the lease of 5 s runs out, and the button switches by itself.
    board.expect_line(|line| line.ends_with("shed/1 de-energised: shed-lamp is off"), TEN_SECONDS);
    board.type_line("press 1");
    board.expect_line(|line| line.ends_with("shed/1 energised: shed-lamp is on"), TEN_SECONDS);
    shed.expect("report", |payload| payload.contains("on:0:3:1"));

    board.type_line("reset watchdog");
    shed.expect("life", |payload| payload == format!("death {boot}"));
    let next = shed.boot("watchdog");
    assert_ne!(next, boot);
    shed.expect("input/door", |payload| payload == "on");

    board.terminate();
    shed.expect("life", |payload| payload == format!("death {next}"));
    assert!(board.expect_end(TEN_SECONDS).success());
}

#[test]
fn what_the_broker_says_for_one_that_was_killed_is_its_death() {
    let mut shed = Shed::new();
    let mut board = shed.play();
    let boot = shed.boot("stand-in");
    board.kill();
    let death = shed.expect("life", |payload| payload.starts_with("death"));
    assert_eq!(death.payload, format!("death {boot}"));
}

#[test]
fn it_refuses_while_the_real_board_is_there() {
    let shed = Shed::new();
    publish_retained(shed.broker.port(), "standfast/from/shed/life", "birth 17 power-on");
    let mut board = shed.play();
    board.expect_line(|line| line.contains("boot 17 was born and has not died"), TEN_SECONDS);
    shed.publish("standfast/from/shed/report", "17 231 0 off off");
    board.expect_line(|line| line.contains("shed is there: its boot 17 reports"), TEN_SECONDS);
    assert_eq!(board.expect_end(TEN_SECONDS).code(), Some(1));
}

#[test]
fn a_birth_that_nothing_follows_is_of_one_that_is_gone() {
    let mut shed = Shed::new();
    publish_retained(shed.broker.port(), "standfast/from/shed/life", "birth 17 power-on");
    let mut board = shed.play();
    // A quarter of the lease, and 2 s.
    board.expect_line(|line| line.ends_with("shed: boot 17 is silent and counts as gone"), TEN_SECONDS);
    shed.boot("stand-in");
}

#[test]
fn it_makes_way_when_the_real_board_comes() {
    let mut shed = Shed::new();
    let mut board = shed.play();
    shed.boot("stand-in");
    board.expect_line(|line| line.ends_with("connected"), TEN_SECONDS);
    publish_retained(shed.broker.port(), "standfast/from/shed/life", "birth 17 power-on");
    board.expect_line(|line| line.ends_with("somebody else plays this board now; left it to them"), TEN_SECONDS);
    assert_eq!(board.expect_end(TEN_SECONDS).code(), Some(1));
    // It did not talk over the other one's birth.
    let mut stored = Subscriber::start(shed.broker.port(), &["standfast/from/shed/life"]);
    let life = stored.expect(|message| message.retained, TEN_SECONDS);
    assert_eq!(life.payload, "birth 17 power-on");
}

#[test]
fn a_board_of_other_firmware_is_played_in_its_own_words() {
    let mut shed = Shed::beside_another("report =", "alive =");
    let said = |shed: &mut Shed, topic: &str, payload: &str| {
        shed.wire.expect(|message| message.topic == topic && message.payload == payload, TEN_SECONDS);
    };
    let mut board = shed.play_the("socket");
    board.expect_line(|line| line.contains("playing socket, 1 relay, at "), TEN_SECONDS);
    said(&mut shed, "socket/link", "up");
    said(&mut shed, "socket/got", "{\"coil\":false}");
    shed.publish("socket/put", "pull 5");
    board.expect_line(|line| line.ends_with("socket/1 energised: reading-lamp is on"), TEN_SECONDS);
    said(&mut shed, "socket/got", "{\"coil\":true}");
    board.type_line("press 1");
    board.expect_line(|line| line.ends_with("is told by its orders alone; type quit to leave"), TEN_SECONDS);
    // Nobody tells it again, so it lets go by itself.
    board.expect_line(|line| line.ends_with("socket/1 de-energised: reading-lamp is off"), TEN_SECONDS);
    said(&mut shed, "socket/got", "{\"coil\":false}");
    board.type_line("quit");
    said(&mut shed, "socket/link", "down");
    assert!(board.expect_end(TEN_SECONDS).success());
}

#[test]
fn a_board_of_other_firmware_that_is_there_is_not_played() {
    let shed = Shed::beside_another("report =", "alive =");
    publish_retained(shed.broker.port(), "socket/link", "up");
    let mut board = shed.play_the("socket");
    board.expect_line(|line| line.contains("socket is there: socket/link says so"), TEN_SECONDS);
    assert_eq!(board.expect_end(TEN_SECONDS).code(), Some(1));

    // One that does not say so is there when it reports.
    let shed = Shed::beside_another("ask = { topic = \"socket/ask\", payload = \"?\" }\nreport =", "# alive =");
    let mut board = shed.play_the("socket");
    board.expect_line(|line| line.contains("listening for up to 3 s whether it reports"), TEN_SECONDS);
    shed.publish("socket/got", "{\"coil\":false}");
    board.expect_line(|line| line.contains("socket is there: it reports on socket/got"), TEN_SECONDS);
    assert_eq!(board.expect_end(TEN_SECONDS).code(), Some(1));
}

#[test]
fn what_cannot_be_played_is_said() {
    let shed = Shed::new();
    let folder = shed.folder.path("");
    let house = folder.to_str().expect("a plain path");
    let output = Standfast::run(&["stand-in", "attic", "--house", house, "--broker", &shed.broker.url()]);
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(said.contains("the house has no board \"attic\"; it has shed"), "{said}");
}
