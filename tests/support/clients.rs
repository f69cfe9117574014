//! `mosquitto_pub` and `mosquitto_sub`: the board as a person would play it by hand. They know nothing of Standfast's code.

use std::process::Output;
use std::time::Duration;

use super::process::{Deadline, Process, Stream, TEN_SECONDS, command};

/// Marks our lines among those that `-d` prints; mosquitto gives `@` and `%` meanings of their own.
const MARK: &str = "|message| ";

/// A message as a subscriber saw it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// Its topic.
    pub topic: String,
    /// Its payload as text.
    pub payload: String,
    /// Whether it came from the broker's store of retained messages.
    pub retained: bool,
    /// The quality of service it was delivered with.
    pub qos: u8,
}

/// A running `mosquitto_sub`; its subscriptions are acknowledged when `start` returns.
pub struct Subscriber {
    process: Process,
}

impl Subscriber {
    /// Subscribes to the filters at QoS 1 and waits for the acknowledgement.
    pub fn start(port: u16, filters: &[&str]) -> Subscriber {
        Subscriber::start_as(port, filters, &[])
    }

    /// The same with further arguments, for instance `-u yard -P secret`.
    pub fn start_as(port: u16, filters: &[&str], arguments: &[&str]) -> Subscriber {
        // Line-buffered, or the acknowledgement would stay in its buffer. `stdbuf` replaces itself by the program.
        let mut command = command("stdbuf");
        command.args(["-oL", "mosquitto_sub", "-d", "-h", "127.0.0.1", "-q", "1", "-p", &port.to_string()]);
        command.args(["-F", &format!("{MARK}%q %r %t %p")]).args(arguments);
        for filter in filters {
            command.args(["-t", filter]);
        }
        let mut process = Process::start("mosquitto_sub", &mut command);
        process.expect_line(|line| line.starts_with("Subscribed (mid"), TEN_SECONDS);
        Subscriber { process }
    }

    /// The next message; `None` when none comes in time.
    pub fn next(&mut self, patience: Duration) -> Option<Message> {
        let deadline = Deadline::after(patience);
        while let Some(line) = self.process.next_line(deadline.left()) {
            if let Some(message) = parse(&line.text) {
                return Some(message);
            }
        }
        None
    }

    /// Reads on until a message is `wanted`. Panics with all that came so far when none comes in time.
    pub fn expect(&mut self, wanted: impl Fn(&Message) -> bool, patience: Duration) -> Message {
        let deadline = Deadline::after(patience);
        while let Some(message) = self.next(deadline.left()) {
            if wanted(&message) {
                return message;
            }
        }
        panic!("the message did not come in {patience:?}; these came:\n{}", self.process.transcript());
    }

    /// All messages that came since the start and have been read from the broker by now.
    pub fn messages(&mut self) -> Vec<Message> {
        self.process
            .lines()
            .iter()
            .filter(|line| line.stream == Stream::Out)
            .filter_map(|line| parse(&line.text))
            .collect()
    }
}

/// Publishes at QoS 1 and waits for the acknowledgement.
pub fn publish(port: u16, topic: &str, payload: &str) {
    assert_published(&try_publish(port, topic, payload, &[]));
}

/// The same, retained; an empty payload clears.
pub fn publish_retained(port: u16, topic: &str, payload: &str) {
    assert_published(&try_publish(port, topic, payload, &["-r"]));
}

/// Publishes with further arguments and returns what `mosquitto_pub` made of it.
pub fn try_publish(port: u16, topic: &str, payload: &str, arguments: &[&str]) -> Output {
    let mut command = command("mosquitto_pub");
    command.args(["-h", "127.0.0.1", "-q", "1", "-p", &port.to_string(), "-t", topic]).args(arguments);
    if payload.is_empty() {
        command.arg("-n");
    } else {
        command.args(["-m", payload]);
    }
    command.output().unwrap_or_else(|error| panic!("cannot start mosquitto_pub: {error} (the set-up is `tests/run`)"))
}

fn assert_published(output: &Output) {
    assert!(output.status.success(), "mosquitto_pub: {}", String::from_utf8_lossy(&output.stderr));
}

fn parse(line: &str) -> Option<Message> {
    let mut words = line.strip_prefix(MARK)?.splitn(4, ' ');
    let qos = words.next()?.parse().ok()?;
    let retained = words.next()? == "1";
    let topic = words.next()?.to_owned();
    Some(Message { topic, payload: words.next().unwrap_or_default().to_owned(), retained, qos })
}
