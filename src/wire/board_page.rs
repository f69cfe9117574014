//! Reads every payload example of `deploy/board.md` with the decoders, so that the page cannot rot. Test only.

use super::tests::{house, sensor};
use super::*;
use crate::house::{BoardId, House, Port, Source, bare};

const PAGE: &str = include_str!("../../deploy/board.md");

/// The part of the example house that the page speaks of: a board `cellar` with four relays.
fn cellar() -> House {
    let reading = |name: &str| Source::Board { board: BoardId(0), reading: name.to_owned() };
    let port = |name: &str| Port { board: BoardId(0), name: name.to_owned() };
    House {
        boards: vec![bare::board("cellar", 4)],
        sensors: vec![sensor("cellar-air", reading("t1")), sensor("cellar-humidity", reading("h1"))],
        loads: vec![],
        ports: vec![port("1"), port("door"), port("ir"), port("water")],
        ..house()
    }
}

/// Reads a message whoever it is for, and says what is wrong with it.
fn read(topic: &str, payload: &str, retained: bool) -> Result<(), Refusal> {
    let board = BoardTopics::new(Prefix::default(), "cellar");
    if board.filters().iter().any(|filter| filter == topic) {
        return BoardInbox::new(&board, 4).route(topic, payload.as_bytes(), retained).map(|_| ());
    }
    let router = Router::new(&cellar(), Prefix::default());
    match router.route(topic, payload.as_bytes(), retained)? {
        Incoming::Readings(readings) => readings.iter().try_for_each(|(_, value)| value.map(|_| ())),
        _ => Ok(()),
    }
}

/// The lines of the page with whether they stand in a fenced block.
fn lines() -> impl Iterator<Item = (&'static str, bool)> {
    let mut fenced = false;
    PAGE.lines().filter_map(move |line| {
        if line.starts_with("```") {
            fenced = !fenced;
            return None;
        }
        Some((line, fenced))
    })
}

/// The cells of a table row, without the blanks round them.
fn cells(line: &str) -> Vec<&str> {
    let inner = line.strip_prefix('|').and_then(|line| line.strip_suffix('|'));
    inner.map(|inner| inner.split('|').map(str::trim).collect()).unwrap_or_default()
}

/// What stands between backticks.
fn code(text: &str) -> impl Iterator<Item = &str> {
    text.split('`').skip(1).step_by(2)
}

/// A payload written beside prose, read as whatever it may be.
fn is_some_payload(text: &str) -> bool {
    let topics = ["to/cellar/orders", "to/cellar/fallback", "from/cellar/report"];
    topics.iter().any(|topic| read(&format!("standfast/{topic}"), text, false).is_ok())
}

#[test]
fn the_tables_of_the_page_hold() {
    let (mut good, mut bad) = (0, 0);
    for (line, _) in lines().filter(|(line, fenced)| line.starts_with("| `standfast/") && !fenced) {
        let cells = cells(line);
        let topic = code(cells[0]).next().expect("a topic");
        if let [_, payload, words] = cells[..] {
            let payload = code(payload).next().expect("a payload");
            let refusal = read(topic, payload, false).expect_err(line);
            assert_eq!(refusal.to_string(), words, "in: {line}");
            bad += 1;
        } else {
            let retained = cells[3] == "yes";
            for payload in code(cells[2]) {
                assert_eq!(read(topic, payload, retained), Ok(()), "{payload} in: {line}");
                good += 1;
            }
        }
    }
    assert_eq!((good, bad), (12, 9), "messages and mistakes on the page");
}

#[test]
fn the_sessions_of_the_page_hold() {
    let mut read_so_far = 0;
    for (line, _) in lines().filter(|(_, fenced)| *fenced) {
        let (topic, payload, retained) = if let Some(command) = line.strip_prefix("$ mosquitto_pub ") {
            let option = |name: &str| {
                let (_, rest) = command.split_once(name).expect(line);
                match rest.strip_prefix('\'') {
                    Some(quoted) => quoted.split_once('\'').expect(line).0,
                    None => rest.split(' ').next().expect(line),
                }
            };
            (option("-t "), option("-m "), command.contains("-r "))
        } else if line.starts_with("standfast/") {
            let (topic, payload) = line.split_once(' ').expect(line);
            (topic, payload, false)
        } else {
            continue;
        };
        assert_eq!(read(topic, payload, retained && topic.ends_with("orders")), Ok(()), "in: {line}");
        // A life, a fallback and the controller are retained, nothing else is.
        let stays = ["/life", "/fallback", "/controller"].iter().any(|end| topic.ends_with(end));
        assert!(!line.starts_with('$') || retained == stays, "in: {line}");
        read_so_far += 1;
    }
    assert!(read_so_far >= 15, "only {read_so_far} messages were found in the sessions");
}

#[test]
fn the_payloads_in_the_prose_hold() {
    let prose = lines().filter(|(line, fenced)| !fenced && !line.starts_with('|')).map(|(line, _)| line);
    let prose: Vec<&str> = prose.collect();
    let is_payload = |text: &&str| text.starts_with(|c: char| c.is_ascii_digit()) && text.contains(' ');
    let prose = prose.join("\n");
    let payloads: Vec<&str> = code(&prose).filter(is_payload).collect();
    for payload in &payloads {
        assert!(is_some_payload(payload), "`{payload}` reads as nothing");
    }
    assert_eq!(payloads.len(), 4, "{payloads:?}");
}

#[test]
fn the_sizes_on_the_page_are_those_of_the_code() {
    for words in [
        format!("**{RELAYS_MAX} relays**"),
        format!("**{PAYLOAD_MAX} bytes**"),
        format!("**{TOPIC_MAX} bytes**"),
        format!("{} bytes for\nthe names", TOPIC_MAX - "standfast/from//reading/".len()),
    ] {
        assert!(PAGE.contains(&words), "{words}");
    }
}
