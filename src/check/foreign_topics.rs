//! Topics of boards of other firmware that are claimed twice: orders that reach two boards, reports of which nobody knows whose
//! they are, orders that would be taken for reports, and topics among Standfast's own.

use std::collections::BTreeMap;

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::{Board, Ear, Source};

/// The prefix that Standfast's topics have where the server's file names no other.
const PREFIX: &str = "standfast/";

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let mut found = own_topics(subject);
    found.extend(echoes(subject));
    found.extend(shared(subject));
    found
}

fn at(subject: &Subject<'_>, diagnostic: Diagnostic, board: &Board, key: &str) -> Diagnostic {
    subject.at(diagnostic, "board", &board.name, key, "")
}

/// Which of a board's tables speaks of a topic.
fn key_of(board: &Board, topic: &str) -> &'static str {
    let Some(foreign) = &board.foreign else { return "order" };
    if foreign.relays.iter().any(|relay| relay.topic == topic) {
        "order"
    } else if foreign.relays.iter().any(|relay| relay.report.as_ref().is_some_and(|ear| ear.topic == topic)) {
        "report"
    } else if foreign.alive.as_ref().is_some_and(|ear| ear.topic == topic) {
        "alive"
    } else {
        "ask"
    }
}

fn own_topics(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    for board in &subject.house.boards {
        let Some(foreign) = &board.foreign else { continue };
        let mut topics = foreign.said_on().chain(foreign.ears().map(|ear| ear.topic.as_str()));
        let Some(topic) = topics.find(|topic| topic.starts_with(PREFIX)) else { continue };
        let message = format!("board \"{}\" would use \"{topic}\", one of Standfast's own topics", board.name);
        let diagnostic = Diagnostic::error("own-topic", message)
            .because("below it only boards speak and are spoken to that know Standfast's wire")
            .help("name the topic that the board's firmware uses; a board that knows the wire needs no `order`");
        found.push(at(subject, diagnostic, board, key_of(board, topic)));
    }
    found
}

/// What is said to a board, heard by Standfast itself and taken for an answer.
fn echoes(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let house = subject.house;
    let mut heard: BTreeMap<&str, String> = BTreeMap::new();
    for board in &house.boards {
        for ear in board.foreign.iter().flat_map(|foreign| foreign.ears()) {
            heard.insert(&ear.topic, format!("board \"{}\" is heard there", board.name));
        }
    }
    for sensor in &house.sensors {
        if let Source::Topic { topic, .. } = &sensor.source {
            heard.insert(topic, format!("sensor \"{}\" is heard there", sensor.name));
        }
    }
    let mut found = Vec::new();
    for board in &house.boards {
        let mut said_on = board.foreign.iter().flat_map(|foreign| foreign.said_on());
        let Some((topic, who)) = said_on.find_map(|topic| Some((topic, heard.get(topic)?))) else { continue };
        let message = format!("what is said to board \"{}\" on \"{topic}\" would come back as an answer", board.name);
        let diagnostic = Diagnostic::error("echo", message)
            .because(who.clone())
            .help("a board that answers does it on another topic than the one that it is spoken to on: name both");
        found.push(at(subject, diagnostic, board, key_of(board, topic)));
    }
    found
}

/// One order that two boards carry out, and one report that stands for two relays.
fn shared(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let mut orders: BTreeMap<(&str, &str), &Board> = BTreeMap::new();
    let mut reports: BTreeMap<(&str, Option<&str>), &Board> = BTreeMap::new();
    let mut found = Vec::new();
    for board in &subject.house.boards {
        let Some(foreign) = &board.foreign else { continue };
        let mut twice = None;
        for relay in &foreign.relays {
            let words = relay.payloads.iter().map(|payload| (relay.topic.as_str(), payload.as_str()));
            for order in words {
                let other = orders.insert(order, board).filter(|other| other.name != board.name);
                twice = twice.or(other.map(|other| (other, "order", order.0)));
            }
            if let Some(Ear { topic, field, .. }) = &relay.report {
                let other = reports.insert((topic, field.as_deref()), board).filter(|other| other.name != board.name);
                twice = twice.or(other.map(|other| (other, "report", topic.as_str())));
            }
        }
        let Some((other, key, topic)) = twice else { continue };
        let message = match key {
            "order" => {
                format!("an order on \"{topic}\" reaches both board \"{}\" and board \"{}\"", other.name, board.name)
            }
            _ => format!("a report on \"{topic}\" is both board \"{}\" and board \"{}\"", other.name, board.name),
        };
        let diagnostic = Diagnostic::error("shared-topic", message)
            .because("each of them would seem to do what the other was told")
            .help("give each board topics or words of its own; one thing with many relays is one board");
        let diagnostic = at(subject, diagnostic, board, key);
        found.push(subject.also(diagnostic, "board", &other.name, key, "the other"));
    }
    found
}
