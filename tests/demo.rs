//! The demo for real: the binary, its broker and its boards over MQTT, watched from outside by mosquitto's clients. It
//! knows the example house by name, and nothing of how the demo is made.

#![cfg(feature = "embedded-broker")]

mod support;

use std::path::Path;
use std::time::Duration;

use support::{Folder, Standfast, Subscriber, TEN_SECONDS, publish};

/// At sixty times the speed a dwell of minutes is over in seconds; a loaded machine gets several times that.
const PATIENCE: Duration = Duration::from_secs(60);

struct Demo {
    process: Standfast,
    /// What it writes beside goes with it.
    house: Folder,
    /// The file, the line number and the text that the first lines point at.
    shown: (String, usize, String),
    port: u16,
}

impl Demo {
    /// Starts it on a copy of the example house, so that the test may edit it.
    fn start() -> Demo {
        let house = Folder::new();
        house.copy_in(&Path::new(env!("CARGO_MANIFEST_DIR")).join("rules"), "rules");
        let dir = house.path("rules");
        // Dropped at the latest with the test; the bound is for a test that is killed.
        let arguments = ["demo", "--for", "3m", "--house", dir.to_str().unwrap()];
        let mut process = Standfast::start_with(&arguments, &[("TMPDIR", house.path("").as_os_str())]);
        let first = process.next_line(TEN_SECONDS).expect("it prints at once").text;
        let (file, line) = first
            .strip_prefix("To see a threshold move, open ")
            .and_then(|rest| rest.strip_suffix(':'))
            .and_then(|rest| rest.split_once(" at line "))
            .unwrap_or_else(|| panic!("the first line points at no threshold: {first}"));
        let text = process.next_line(TEN_SECONDS).expect("a second line").text;
        let over = process.expect_line(|line| line.starts_with("Everything goes over MQTT at 127.0.0.1:"), TEN_SECONDS);
        let port = over.text.split([':', '.']).nth(4).and_then(|port| port.parse().ok()).expect("a port");
        let shown = (file.to_owned(), line.parse().expect("a line number"), text.trim().to_owned());
        Demo { house, process, shown, port }
    }
}

#[test]
fn it_points_at_a_line_that_has_the_threshold() {
    let demo = Demo::start();
    let (file, line, text) = &demo.shown;
    assert!(Path::new(file).starts_with(demo.house.path("rules").canonicalize().unwrap()), "{file}");
    let found = std::fs::read_to_string(file).unwrap().lines().nth(line - 1).unwrap().trim().to_owned();
    assert_eq!(&found, text);
    assert!(text.contains("cut_in") && text.contains("cut_out"), "{text}");
}

#[test]
fn rules_close_real_loops_over_mqtt() {
    let mut demo = Demo::start();
    let mut wire = Subscriber::start(demo.port, &["standfast/#"]);
    for board in ["cellar", "hall", "yard"] {
        wire.expect(|message| message.topic == format!("standfast/from/{board}/report"), PATIENCE);
        wire.expect(|message| message.topic == format!("standfast/to/{board}/orders"), PATIENCE);
    }
    wire.expect(|message| message.topic.contains("/reading/"), PATIENCE);
    // The cellar is damp and it is cool enough outside, or the machine runs: whichever, a rule gives its reason.
    let because_of_damp = |line: &str| line.contains(" on (cellar/") && line.contains("cellar-humidity is ");
    demo.process.expect_line(because_of_damp, PATIENCE);
}

#[test]
fn a_hand_and_a_moved_threshold_show_at_once() {
    let mut demo = Demo::start();
    demo.process.expect_line(|line| line.contains("board hall is heard"), PATIENCE);
    publish(demo.port, "standfast/hold/hall-lamp", "on 2h");
    demo.process.expect_line(|line| line.contains("hall-lamp held on by a message"), PATIENCE);
    // In the evening a rule may have switched it on already.

    let (file, _, text) = &demo.shown;
    let before = std::fs::read_to_string(file).unwrap();
    let after = before.replace(text.as_str(), &text.replace("cut_in = \">= 66\"", "cut_in = \">= 66.5\""));
    assert_ne!(before, after, "the line that is shown has the number that the test moves");
    std::fs::write(file, after).unwrap();
    demo.process.expect_line(|line| line.contains("house ") && line.contains(" runs now"), PATIENCE);
    std::fs::write(file, before.replace("cut_in", "cut_inn")).unwrap();
    let alarm = demo.process.expect_line(|line| line.contains("! alarm house:"), PATIENCE);
    assert!(alarm.text.contains("cut_inn"), "{}", alarm.text);
}

#[test]
fn contacts_answer_the_relays() {
    let mut demo = Demo::start();
    let mut wire = Subscriber::start(demo.port, &["standfast/from/yard/input/#"]);
    let mut expect = |input: &str, state: &str| {
        let topic = format!("standfast/from/yard/input/{input}");
        wire.expect(|message| message.topic == topic && message.payload == state, PATIENCE);
    };
    expect("vent-closed", "on");
    demo.process.expect_line(|line| line.contains("board yard is heard"), PATIENCE);
    publish(demo.port, "standfast/hold/sunroom-vent", "open 2h");
    expect("vent-closed", "off");
    expect("vent-open", "on");
    // After dark somebody may have light on the way already.
    publish(demo.port, "standfast/hold/washhouse-door-lamp", "off 2h");
    demo.process.expect_line(|line| line.contains("washhouse-door-lamp held off by a message"), PATIENCE);
    publish(demo.port, "standfast/hold/washhouse-door-lamp", "on 2h");
    expect("washhouse-lamp", "on");
    publish(demo.port, "standfast/hold/washhouse-door-lamp", "off 2h");
    expect("washhouse-lamp", "off");
}

#[test]
fn it_ends_after_the_time_that_was_said() {
    let house = Path::new(env!("CARGO_MANIFEST_DIR")).join("rules");
    let output = Standfast::run(&["demo", "--for", "1s", "--house", house.to_str().unwrap()]);
    let printed = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success(), "{printed}{}", String::from_utf8_lossy(&output.stderr));
    assert!(printed.trim_end().lines().next_back().unwrap().starts_with("The end."), "{printed}");
    assert!(!printed.contains("not heard any more"), "the boards leave without an alarm:\n{printed}");
}

#[test]
fn a_port_in_use_is_told_with_the_option_that_helps() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    let output = Standfast::run(&["demo", "--for", "1s", "--broker-port", &port]);
    let told = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{told}");
    assert!(told.contains("--broker-port") && told.contains(&port), "{told}");
}
