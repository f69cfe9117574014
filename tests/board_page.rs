//! The session by hand of `deploy/board.md`, typed again: what the page publishes is published, and what it says comes back
//! must come back. That its payloads read at all is tested beside `src/wire/`.

#![cfg(feature = "daemon")]

mod support;

use std::path::Path;

use support::{Broker, Folder, Standfast, Subscriber, TEN_SECONDS, try_publish};

const PAGE: &str = include_str!("../deploy/board.md");

/// The lines of the console blocks of the session with the daemon, in order.
fn session() -> Vec<&'static str> {
    let (_, rest) = PAGE.split_once("## A session by hand").expect("the section is there");
    let (session, _) = rest.split_once("To play the controller instead").expect("the other session follows");
    let mut blocks = session.split("```");
    let mut lines = Vec::new();
    while let (Some(_), Some(block)) = (blocks.next(), blocks.next()) {
        lines.extend(block.lines().skip(1));
    }
    lines
}

/// The words of a command line; quotes hold a word together.
fn words(command: &str) -> Vec<String> {
    let parts = command.split('\'').enumerate();
    let words = parts.flat_map(|(index, part)| match index % 2 {
        0 => part.split_whitespace().map(str::to_owned).collect(),
        _ => vec![part.to_owned()],
    });
    words.collect()
}

/// The number of orders, and what they say.
fn numbered(orders: &str) -> (u32, &str) {
    let (number, words) = orders.split_once(' ').expect("a number and what is ordered");
    (number.parse().expect("a number"), words)
}

fn after<'w>(words: &'w [String], option: &str) -> &'w str {
    let at = words.iter().position(|word| word == option).expect("the option is there");
    &words[at + 1]
}

#[test]
fn the_session_by_hand_goes_as_the_page_says() {
    let broker = Broker::start();
    let folder = Folder::new();
    folder.copy_in(Path::new("rules"), "rules");
    folder.write(
        "standfast.toml",
        &format!(
            "house = \"rules\"\ndata = \"data\"\nsettle = \"1s\"\nclock = \"always\"\napply = \"save\"\n[broker]\nurl = \"{}\"\n",
            broker.url()
        ),
    );
    let mut daemon = Standfast::start_in(&folder.path(""), &["run"]);
    daemon.expect_line(|line| line.contains("connected to the broker"), TEN_SECONDS);

    let lines = session();
    let mut orders = None;
    let mut published = 0;
    let mut last = 0;
    for line in &lines {
        if let Some(command) = line.strip_prefix("$ mosquitto_sub ") {
            let words = words(command);
            let topics: Vec<&str> =
                words.windows(2).filter(|pair| pair[0] == "-t").map(|pair| pair[1].as_str()).collect();
            let will = words.iter().position(|word| word == "--will-topic").expect("the board has a will");
            let will: Vec<&str> = words[will..].iter().map(String::as_str).collect();
            orders = Some(Subscriber::start_as(broker.port(), &topics, &will));
        } else if let Some(command) = line.strip_prefix("$ mosquitto_pub ") {
            let words = words(command);
            let retain: &[&str] = if words.iter().any(|word| word == "-r") { &["-r"] } else { &[] };
            let output = try_publish(broker.port(), after(&words, "-t"), after(&words, "-m"), retain);
            assert!(output.status.success(), "{line}");
            published += 1;
        } else {
            let (topic, payload) = line.split_once(' ').expect("a topic and a payload");
            let came = orders.as_mut().expect("somebody listens").next(TEN_SECONDS);
            let came = came.unwrap_or_else(|| panic!("nothing came, but the page says: {line}"));
            assert_eq!(came.topic, topic, "the page says: {line}");
            // Which version and which house run is not the page's business, nor when the disk lets numbers leap.
            let same = |text: &str| match topic.rsplit('/').next() {
                Some("controller") => text.split(' ').next().unwrap_or_default().to_owned(),
                Some("orders") => numbered(text).1.to_owned(),
                _ => text.to_owned(),
            };
            assert_eq!(same(&came.payload), same(payload), "the page says: {line}");
            if topic.ends_with("/orders") {
                let (number, _) = numbered(&came.payload);
                assert!(number > last, "orders {number} after {last}");
                last = number;
            }
        }
    }
    assert_eq!(published, 11, "the page's session has changed its length: {lines:?}");
    // The doubled press and the readings brought no orders; the next report is answered as if nothing had been.
    let output = try_publish(broker.port(), "standfast/from/cellar/report", "1 4 5 off off off off:2:2:0", &[]);
    assert!(output.status.success());
    let answer = orders.expect("somebody listens").next(TEN_SECONDS).expect("an answer");
    let (number, words) = numbered(&answer.payload);
    assert_eq!(words, "1 4 60 off off off off");
    assert!(number > last, "orders {number} after {last}");
}
