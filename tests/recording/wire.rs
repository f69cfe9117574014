//! Thresholds without durations over the wire: a board plays the recording to `standfast run` through mosquitto and obeys
//! what comes back. Each row is followed by a report, whose answer says what the row led to; nothing depends on how
//! fast that goes.

use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::Duration;

use rumqttc::{Client, Event, MqttOptions, NetworkOptions, Packet, QoS};

use super::data;
use super::expected::{DAMP, DARK, without_durations};
use super::support::{Broker, Deadline, Folder, Standfast, TEN_SECONDS};

const HOUSE: &str = r#"
[site]
position = [54.60, -3.14]
zone = "Europe/London"
stagger = "0s"

[board.room]
relays = 2

[sensor.air]
reading = "room/h"
unit = "%"
range = [0, 100]

[sensor.light]
reading = "room/lux"
unit = "lx"
range = [0, 100000]

[load.fan]
relay = "room/1"
kind = "motor"

[load.lamp]
relay = "room/2"
kind = "led"

[rule.vent-when-damp]
load = "fan"
demand = "on"
while = { sensor = "air", cut_in = ">= DAMP_IN", cut_out = "<= DAMP_OUT" }

[rule.light-when-dark]
load = "lamp"
demand = "on"
while = { sensor = "light", cut_in = "<= DARK_IN", cut_out = ">= DARK_OUT" }
"#;

/// A board by hand: it knows the wire's text and nothing of Standfast's code.
struct HandmadeBoard {
    client: Client,
    incoming: Receiver<(String, String)>,
    beat: u32,
    taken: u32,
    relays: [bool; 2],
}

impl HandmadeBoard {
    /// Connects and subscribes as a board of the contract does.
    fn connect(port: u16) -> HandmadeBoard {
        let mut options = MqttOptions::new("room", "127.0.0.1", port);
        options.set_keep_alive(Duration::from_secs(60));
        let (client, mut connection) = Client::new(options, 100);
        let mut network = NetworkOptions::new();
        network.set_tcp_nodelay(true);
        connection.eventloop.set_network_options(network);
        let (sender, incoming) = channel();
        thread::spawn(move || {
            for event in connection.iter() {
                let message = match event {
                    Ok(Event::Incoming(Packet::Publish(message))) => {
                        (message.topic.clone(), String::from_utf8_lossy(&message.payload).into_owned())
                    }
                    Ok(Event::Incoming(Packet::SubAck(_))) => ("subscribed".to_owned(), String::new()),
                    Ok(_) => continue,
                    Err(_) => return,
                };
                if sender.send(message).is_err() {
                    return;
                }
            }
        });
        let mut board = HandmadeBoard { client, incoming, beat: 0, taken: 0, relays: [false; 2] };
        for filter in ["standfast/to/room/#", "standfast/controller"] {
            board.client.subscribe(filter, QoS::AtLeastOnce).expect("the client runs");
            board.expect(|topic, _| topic == "subscribed");
        }
        board
    }

    fn say(&self, topic: &str, payload: &str, retain: bool) {
        let topic = format!("standfast/from/room/{topic}");
        self.client.publish(topic, QoS::AtLeastOnce, retain, payload).expect("the client runs");
    }

    /// Reads on until a message is wanted, taking the orders among them.
    fn expect(&mut self, wanted: impl Fn(&str, &str) -> bool) {
        let deadline = Deadline::after(TEN_SECONDS);
        loop {
            let (topic, payload) = self.incoming.recv_timeout(deadline.left()).expect("the message comes in time");
            if topic == "standfast/to/room/orders" {
                self.take(&payload);
            }
            if wanted(&topic, &payload) {
                return;
            }
        }
    }

    /// `4711 1 231 90 on off`: number, boot, beat, lease, relays.
    fn take(&mut self, orders: &str) {
        let words: Vec<&str> = orders.split(' ').collect();
        let number = words[0].parse().expect("orders begin with their number");
        assert!(number > self.taken && words[1] == "1" && words.len() == 6, "{orders}");
        self.taken = number;
        for (relay, word) in self.relays.iter_mut().zip(&words[4..]) {
            match *word {
                "on" => *relay = true,
                "off" => *relay = false,
                "-" => {}
                _ => panic!("{orders}"),
            }
        }
    }

    /// Reports what is, and waits for the orders that answer it.
    fn report(&mut self) {
        self.beat += 1;
        let word = |on: bool| if on { "on" } else { "off" };
        let report = format!("1 {} {} {} {}", self.beat, self.taken, word(self.relays[0]), word(self.relays[1]));
        self.say("report", &report, false);
        let beat = self.beat.to_string();
        self.expect(|topic, payload| topic == "standfast/to/room/orders" && payload.split(' ').nth(2) == Some(&*beat));
    }
}

fn folder(port: u16) -> Folder {
    let folder = Folder::new();
    let house = HOUSE
        .replace("DAMP_IN", &DAMP.0.to_string())
        .replace("DAMP_OUT", &DAMP.1.to_string())
        .replace("DARK_IN", &DARK.0.to_string())
        .replace("DARK_OUT", &DARK.1.to_string());
    folder.write("rules/room.toml", &house);
    let settings = format!(
        "house = \"rules\"\ndata = \"data\"\nclock = \"always\"\napply = \"save\"\n\n[broker]\nurl = \"mqtt://127.0.0.1:{port}\"\n"
    );
    folder.write("standfast.toml", &settings);
    folder
}

#[test]
fn every_row_switches_what_it_should() {
    let rows = data::read();
    let broker = Broker::start();
    let folder = folder(broker.port());
    let mut board = HandmadeBoard::connect(broker.port());
    let mut daemon =
        Standfast::start(&["run".as_ref(), "--config".as_ref(), folder.path("standfast.toml").as_os_str()]);
    board.expect(|topic, payload| topic == "standfast/controller" && payload.starts_with("birth "));
    board.say("life", "birth 1 power-on", true);
    board.report();

    let mut switches = [Vec::new(), Vec::new()];
    for (number, row) in rows.iter().enumerate() {
        let before = board.relays;
        board.say("reading/h", &row.humidity, false);
        board.say("reading/lux", &row.light, false);
        board.report();
        for relay in 0..2 {
            if board.relays[relay] != before[relay] {
                switches[relay].push((number, board.relays[relay]));
            }
        }
        if board.relays != before {
            // A board reports every change; with it the controller knows that it was obeyed.
            board.report();
        }
    }

    let humidity = rows.iter().map(data::Row::humidity_percent);
    let fan = without_durations(humidity, |value| value >= DAMP.0, |value| value <= DAMP.1);
    let light = rows.iter().map(data::Row::light_lux);
    let lamp = without_durations(light, |value| value <= DARK.0, |value| value >= DARK.1);
    assert!(fan.len() > 4 && lamp.len() > 4, "a recording in which nothing happens would prove nothing");
    assert_eq!(switches, [fan, lamp], "{}", daemon.transcript());
    assert!(daemon.runs(), "{}", daemon.transcript());
}
