//! Two boards of other firmware and unlike habits against Debian's mosquitto, played by `mosquitto_pub` and `mosquitto_sub`:
//! one reports each relay in JSON on a topic of its own, says that it is there and has its pins the wrong way round; the
//! other says nothing at all. Both, their topics and their words are invented.

#![cfg(feature = "daemon")]

mod support;

use std::process::Output;

use support::{Broker, Folder, Standfast, Subscriber, TEN_SECONDS, publish, publish_retained};

/// A fan at each board by the heat, and a lamp at each for hands.
const HOUSE: &str = r#"
[site]
position = [54.60, -3.14]
zone = "Europe/London"
stagger = "0s"

[board.tower]
relays = 2
lease = "none"
first = 0
active_low = true
order = { topic = "tower/put/{relay}", energised = "set", released = "clear" }
report = { topic = "tower/got/{relay}", field = "/pin", energised = "set", released = "clear" }
alive = { topic = "tower/link", there = "up", gone = "down" }

[board.shed]
relays = 2
lease = "none"
report = "none"
order = { topic = "shed/coils", energised = '{"coil":{relay},"pull":1}', released = '{"coil":{relay},"pull":0}' }

[sensor.roof-air]
topic = "roof"
field = "/outdoor/t"
unit = "°C"

[load.tower-fan]
relay = "tower/1"
kind = "motor"
[load.tower-lamp]
relay = "tower/2"
kind = "led"
[load.shed-fan]
relay = "shed/1"
kind = "motor"
[load.shed-lamp]
relay = "shed/2"
kind = "led"

[condition.hot]
sensor = "roof-air"
cut_in = ">= 28"
cut_out = "<= 26"
[rule.tower-fan-when-hot]
load = "tower-fan"
demand = "on"
while = "hot"
[rule.shed-fan-when-hot]
load = "shed-fan"
demand = "on"
while = "hot"
"#;

struct Home {
    broker: Broker,
    folder: Folder,
}

impl Home {
    fn new() -> Home {
        let (broker, folder) = (Broker::start(), Folder::new());
        folder.write("rules/house.toml", HOUSE);
        let server = format!(
            "house = \"rules\"\ndata = \"data\"\nclock = \"always\"\nsettle = \"1s\"\napply = \"command\"\n\
             [broker]\nurl = \"{}\"\n",
            broker.url()
        );
        folder.write("standfast.toml", &server);
        Home { broker, folder }
    }

    fn config(&self) -> String {
        self.folder.path("standfast.toml").display().to_string()
    }

    fn run(&self) -> Standfast {
        let mut daemon = Standfast::start(&["run", "--config", &self.config()]);
        daemon.expect_line(|line| line.contains("connected to the broker"), TEN_SECONDS);
        daemon
    }

    fn ask(&self, arguments: &[&str]) -> Output {
        let (command, rest) = arguments.split_first().expect("a command");
        let config = self.config();
        let all: Vec<&str> = [*command, "--config", &config].into_iter().chain(rest.iter().copied()).collect();
        Standfast::run(&all)
    }

    fn listen(&self, filter: &str) -> Subscriber {
        Subscriber::start(self.broker.port(), &[filter])
    }

    fn heat(&self, degrees: &str) {
        publish(self.broker.port(), "roof", &format!("{{\"outdoor\":{{\"t\":{degrees}}}}}"));
    }
}

/// The board that reports. Its firmware sets a pin and does not know that this releases the relay.
struct Tower {
    port: u16,
    orders: Subscriber,
}

impl Tower {
    fn new(home: &Home) -> Tower {
        let tower = Tower { port: home.broker.port(), orders: home.listen("tower/put/#") };
        publish_retained(tower.port, "tower/link", "up");
        tower
    }

    fn report(&self, relay: u8, pin: &str) {
        publish(self.port, &format!("tower/got/{relay}"), &format!("{{\"pin\":\"{pin}\",\"age\":3}}"));
    }

    /// Obeys orders until a relay, counted from 0, has been told this.
    fn obey_until(&mut self, relay: u8, pin: &str) {
        loop {
            let order = self.orders.next(TEN_SECONDS).unwrap_or_else(|| panic!("nobody orders relay {relay} to {pin}"));
            let number: u8 = order.topic["tower/put/".len()..].parse().expect("a relay");
            assert!(!order.retained, "{order:?}");
            self.report(number, &order.payload);
            if (number, order.payload.as_str()) == (relay, pin) {
                return;
            }
        }
    }
}

fn expect_load(loads: &mut Subscriber, load: &str, parts: &[&str]) {
    let topic = format!("standfast/load/{load}");
    let is_it = |payload: &str| parts.iter().all(|part| payload.contains(part));
    loads.expect(|message| message.topic == topic && is_it(&message.payload), TEN_SECONDS);
}

#[test]
fn a_board_that_reports_in_its_own_words_is_ordered_believed_and_missed() {
    let home = Home::new();
    let mut tower = Tower::new(&home);
    let mut loads = home.listen("standfast/load/#");
    let mut alarms = home.listen("standfast/alarm/#");
    let daemon = home.run();
    tower.report(0, "set");
    tower.report(1, "set");
    expect_load(&mut loads, "tower-fan", &["\"known\":\"off\""]);
    home.heat("29.5");
    tower.obey_until(0, "clear");
    expect_load(&mut loads, "tower-fan", &["\"known\":\"on\"", "roof-air was 29.5 °C"]);
    let held = home.ask(&["hold", "tower-lamp", "on", "10m"]);
    assert!(held.status.success(), "{held:?}");
    tower.obey_until(1, "clear");
    expect_load(&mut loads, "tower-lamp", &["\"known\":\"on\"", "held on"]);
    // What it says of itself and nobody ordered is put right.
    tower.report(0, "set");
    tower.obey_until(0, "clear");
    publish_retained(tower.port, "tower/link", "down");
    let lost =
        |message: &support::Message| message.topic == "standfast/alarm/board-tower" && !message.payload.is_empty();
    alarms.expect(lost, TEN_SECONDS);
    publish_retained(tower.port, "tower/link", "up");
    tower.report(0, "clear");
    alarms.expect(|message| message.topic == "standfast/alarm/board-tower" && message.payload.is_empty(), TEN_SECONDS);
    drop(daemon);
}

#[test]
fn a_board_that_cannot_report_is_assumed_to_obey_and_told_again_after_a_restart() {
    let home = Home::new();
    let mut orders = home.listen("shed/coils");
    let mut loads = home.listen("standfast/load/#");
    let mut daemon = home.run();
    home.heat("30");
    let fan_on = "{\"coil\":1,\"pull\":1}";
    let order = orders.expect(|message| message.payload == fan_on, TEN_SECONDS);
    assert!(!order.retained && order.qos == 1, "{order:?}");
    expect_load(&mut loads, "shed-fan", &["\"known\":\"on\"", "\"assumed\":true"]);
    publish(home.broker.port(), "standfast/hold/shed-lamp", "on 10m");
    orders.expect(|message| message.payload == "{\"coil\":2,\"pull\":1}", TEN_SECONDS);
    // Only then would a restart know of it.
    expect_load(&mut loads, "shed-lamp", &["\"stored\":true"]);
    daemon.kill();
    let mut orders = home.listen("shed/coils");
    let _daemon = home.run();
    home.heat("30");
    orders.expect(|message| message.payload == fan_on, TEN_SECONDS);
    let status = String::from_utf8_lossy(&home.ask(&["status"]).stdout).into_owned();
    assert!(
        status.contains("shed-fan: on since ") && status.contains(" (assumed), when roof-air was 30 °C"),
        "{status}"
    );
    assert!(status.contains("shed-lamp: on since ") && status.contains(" (assumed), held on"), "{status}");
}

#[test]
fn what_such_a_board_cannot_be_trusted_with_is_refused() {
    let folder = Folder::new();
    folder.write(
        "house.toml",
        &format!("{HOUSE}[interlock.fans]\nloads = [\"tower-fan\", \"shed-fan\"]\n[load.gate]\nrelay = \"shed/3\"\nkind = \"led\"\n"),
    );
    let output = Standfast::run(&["check", &folder.path("").display().to_string()]);
    let said = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    assert!(!output.status.success());
    assert!(said.contains("shed/3") || said.contains("2 relays"), "{said}");
    folder.write("house.toml", &format!("{HOUSE}[interlock.fans]\nloads = [\"tower-fan\", \"shed-fan\"]\n"));
    let output = Standfast::run(&["check", &folder.path("").display().to_string()]);
    let said = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    assert!(!output.status.success() && said.contains("\"shed-fan\" cannot be kept apart"), "{said}");
}
