//! Changes as they come: what is published shows at once, and so many watch at most.

use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;

use serde_json::Value;

use super::client::Site;
use super::home::Home;
use super::support::{Broker, Deadline, TEN_SECONDS};

/// A reader of the stream.
struct Stream(BufReader<TcpStream>);

impl Stream {
    fn open(site: &Site) -> Stream {
        let mut stream = site.connect();
        let request = format!("GET /api/live HTTP/1.1\r\nHost: {}\r\n\r\n", site.address);
        stream.write_all(request.as_bytes()).expect("sent");
        let mut stream = Stream(BufReader::new(stream));
        assert!(stream.line().contains("200"));
        stream.next("begin");
        stream
    }

    fn line(&mut self) -> String {
        let mut line = String::new();
        assert!(self.0.read_line(&mut line).expect("in time") > 0, "the stream has ended");
        line.trim_end().to_owned()
    }

    /// Reads on until an event of a kind says what is wanted.
    fn wait_for(&mut self, kind: &str, wanted: impl Fn(&Value) -> bool) {
        let patience = Deadline::after(TEN_SECONDS);
        while !wanted(&self.next(kind)) {
            assert!(!patience.passed(), "no {kind} that is wanted came");
        }
    }

    /// The data of the next event of a kind.
    fn next(&mut self, kind: &str) -> Value {
        let end = Deadline::after(TEN_SECONDS);
        while !end.passed() {
            if self.line() == format!("event: {kind}") {
                loop {
                    if let Some(data) = self.line().strip_prefix("data: ") {
                        return serde_json::from_str(data).expect("JSON");
                    }
                }
            }
        }
        panic!("no {kind} came");
    }
}

#[test]
fn a_reading_a_load_a_hold_and_an_alarm_show_at_once() {
    let broker = Broker::start();
    let home = Home::with_page(broker.port());
    home.folder.write("rules/more.toml", "[selector.house]\npositions = [\"lived-in\", \"away\"]\n");
    let site = Site::start(&home);
    let mut stream = Stream::open(&site);
    let mut board = home.live_board();
    assert_eq!(stream.next("board")["presence"], "heard");
    home.say("from/yard/reading/t1", "29.5");
    stream.wait_for("sensor", |sensor| sensor["sensor"] == "sunroom-air" && sensor["value"] == 29.5);
    stream.wait_for("load", |load| load["load"] == "fan" && load["wanted"] == "on");
    board.expect([true, false]);
    stream.wait_for("load", |load| load["load"] == "fan" && load["known"] == "on");
    site.post("/api/loads/lamp/hold", "{\"state\":\"on\"}").done();
    stream.wait_for("load", |load| load["load"] == "lamp" && load["hold"]["by"] == "a program");
    site.post("/api/selectors/house/select", "{\"position\":\"away\"}").done();
    assert_eq!(stream.next("selector")["position"], "away");
    home.save_with("kind = \"motor\"", "kind = \"moter\"");
    let alarm = stream.next("alarm");
    assert!(alarm["alarm"] == "house" && alarm["text"].is_string(), "{alarm}");
    home.save_with("kind = \"motor\"", "kind = \"motor\"");
    assert_eq!(stream.next("alarm")["cleared"], true);
}

#[test]
fn without_a_broker_what_hands_do_shows_all_the_same() {
    let broker = Broker::start();
    let home = Home::with_page(broker.port());
    let site = Site::start(&home);
    let mut stream = Stream::open(&site);
    drop(broker);
    // It may have been found only after the stream began.
    stream.wait_for("broker", |broker| broker["connected"] == false);
    site.post("/api/loads/lamp/hold", "{\"state\":\"on\"}").done();
    stream.wait_for("load", |load| load["load"] == "lamp" && load["hold"]["state"] == "on");
}

#[test]
fn so_many_watch_at_once_and_a_place_that_is_left_is_free_again() {
    let broker = Broker::start();
    let home = Home::with_page(broker.port());
    let site = Site::start(&home);
    let mut watching: Vec<Stream> = (0..32).map(|_| Stream::open(&site)).collect();
    site.get("/api/live").expect_problem(503, &["come back later"]);
    assert_eq!(site.get("/api/loads").status, 200, "whoever does not watch is served");
    watching.pop();
    let end = Deadline::after(TEN_SECONDS);
    loop {
        let mut stream = site.connect();
        let request = format!("GET /api/live HTTP/1.1\r\nHost: {}\r\n\r\n", site.address);
        stream.write_all(request.as_bytes()).expect("sent");
        let mut line = String::new();
        BufReader::new(stream).read_line(&mut line).expect("in time");
        if line.contains("200") {
            break;
        }
        assert!(!end.passed(), "no place comes free");
    }
}
