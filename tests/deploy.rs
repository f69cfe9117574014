//! What `deploy/` hands out works: the broker's sample starts under a real mosquitto and its list of rights holds, and
//! systemd takes the unit. It starts no service.
#![cfg(feature = "daemon")]

#[path = "support/example_house.rs"]
mod rules;
mod support;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use jiff::tz::TimeZoneDatabase;
use standfast::house::{ALARM_KINDS, Foreign, OWN_ALARMS};
use standfast::wire::Prefix;
use support::{Broker, Folder, Standfast, Subscriber, TEN_SECONDS, command, free_port, try_publish};

fn sample(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy").join(name);
    fs::read_to_string(&path).unwrap_or_else(|error| panic!("deploy/{name}: {error}"))
}

/// The sample broker in a folder of its own, on a free port of loopback; each user's password is the user's name.
fn broker() -> Broker {
    let folder = Folder::new();
    let port = free_port();
    let configuration = sample("mosquitto.conf")
        .replace("listener 1883", &format!("listener {port} 127.0.0.1"))
        .replace("/etc/mosquitto", &folder.path("").display().to_string());
    assert!(configuration.contains(&format!("listener {port}")) && !configuration.contains("/etc/"), "{configuration}");
    // What Debian's own file says, and what a test needs.
    folder.write("mosquitto.conf", &format!("user root\nlog_dest stderr\nlog_type all\n{configuration}"));
    folder.write("standfast.acl", &sample("mosquitto.acl"));
    let passwords = folder.write("standfast.passwords", "");
    for name in ["standfast", "yard", "hall", "socket", "beacon", "household", "weather"] {
        let output = run(command("mosquitto_passwd").arg("-b").arg(&passwords).args([name, name]));
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    }
    Broker::start_configured(folder, port)
}

fn run(command: &mut Command) -> Output {
    command.output().unwrap_or_else(|error| panic!("{command:?}: {error} (the set-up is `tests/set-up`)"))
}

fn subscribe(broker: &Broker, name: &str, filters: &[&str]) -> Subscriber {
    Subscriber::start_as(broker.port(), filters, &["-u", name, "-P", name])
}

fn say(broker: &Broker, name: &str, topic: &str, payload: &str) {
    let output = try_publish(broker.port(), topic, payload, &["-u", name, "-P", name]);
    assert!(output.status.success(), "{name}: {}", String::from_utf8_lossy(&output.stderr));
}

/// Whether `listener` hears what `speaker` says on a topic. A refusal is silent, so a message that is surely allowed
/// follows: when it comes alone, the first was refused.
fn hears(listener: &str, filter: &str, speaker: &str, topic: &str) -> bool {
    let broker = broker();
    let (after_speaker, after) = match listener {
        "standfast" => ("yard", "standfast/from/yard/after"),
        board => ("standfast", &*format!("standfast/to/{board}/after")),
    };
    let mut subscriber = subscribe(&broker, listener, &[filter, after]);
    say(&broker, speaker, topic, "first");
    say(&broker, after_speaker, after, "after");
    let message = subscriber.next(TEN_SECONDS).expect("the message after it is allowed");
    assert!(message.payload == "first" || message.topic == after, "{message:?}");
    message.payload == "first"
}

#[test]
fn a_board_speaks_for_itself_alone() {
    assert!(hears("standfast", "standfast/from/#", "yard", "standfast/from/yard/report"));
    assert!(!hears("standfast", "standfast/from/#", "hall", "standfast/from/yard/report"));
    assert!(!hears("standfast", "standfast/#", "hall", "standfast/hold/porch-lamps"));
}

#[test]
fn a_board_hears_itself_and_the_controller() {
    assert!(hears("yard", "standfast/to/#", "standfast", "standfast/to/yard/orders"));
    assert!(hears("yard", "standfast/controller", "standfast", "standfast/controller"));
    assert!(!hears("yard", "standfast/#", "standfast", "standfast/to/hall/orders"));
    assert!(!hears("yard", "standfast/#", "hall", "standfast/from/hall/report"));
}

#[test]
fn nobody_but_the_controller_commands_a_board() {
    assert!(!hears("yard", "standfast/to/yard/#", "hall", "standfast/to/yard/orders"));
    assert!(!hears("yard", "standfast/to/yard/#", "yard", "standfast/to/yard/orders"));
    assert!(!hears("yard", "standfast/to/yard/#", "household", "standfast/to/yard/orders"));
    assert!(!hears("yard", "standfast/controller", "hall", "standfast/controller"));
}

/// As the example house speaks to them and hears them.
#[test]
fn boards_of_other_firmware_are_told_asked_and_heard_and_speak_for_themselves_alone() {
    for topic in ["socket/put", "socket/ask"] {
        assert!(hears("socket", "socket/#", "standfast", topic), "{topic}");
    }
    for topic in ["socket/got", "socket/link"] {
        assert!(hears("standfast", topic, "socket", topic), "{topic}");
        assert!(!hears("standfast", topic, "beacon", topic), "{topic}");
    }
    assert!(hears("beacon", "beacon/put", "standfast", "beacon/put"));
    assert!(!hears("beacon", "beacon/put", "socket", "beacon/put"));
    assert!(!hears("socket", "socket/put", "household", "socket/put"));
}

/// Whoever installs the sample for the example house has a broker that lets all of it through.
#[test]
fn the_list_knows_every_topic_of_the_example_house() {
    let files = rules::files();
    let house = standfast::check::examine(&files, &TimeZoneDatabase::bundled()).house.expect("a house");
    let list = sample("mosquitto.acl");
    let of_controller =
        list.split("user standfast\n").nth(1).and_then(|rest| rest.split("\nuser ").next()).expect("it has rights");
    let may = |verb: &str, topic: &str| {
        let stem = topic.split('/').next().unwrap_or_default();
        [format!("topic {verb} {topic}"), format!("topic {verb} {stem}/#")]
            .iter()
            .any(|line| of_controller.lines().any(|one| one == line))
    };
    for filter in standfast::wire::subscriptions(&house, &Prefix::default()).into_iter().map(|one| one.filter) {
        assert!(filter.starts_with("standfast/") || may("read", &filter), "{filter}");
    }
    let others = house.boards.iter().filter_map(|board| board.foreign.as_ref());
    for topic in others.flat_map(Foreign::said_on) {
        assert!(may("write", topic), "{topic}");
    }
}

#[test]
fn people_hold_and_a_weather_station_measures() {
    assert!(hears("standfast", "standfast/hold/+", "household", "standfast/hold/porch-lamps"));
    assert!(hears("standfast", "standfast/selector/+", "household", "standfast/selector/house"));
    assert!(hears("standfast", "weather/#", "weather", "weather/roof"));
    assert!(!hears("standfast", "standfast/#", "weather", "standfast/from/yard/reading/t1"));
}

#[test]
fn nobody_comes_in_without_a_password() {
    let broker = broker();
    let anonymous = try_publish(broker.port(), "standfast/hold/porch-lamps", "on", &[]);
    assert!(!anonymous.status.success());
    let wrong = try_publish(broker.port(), "standfast/hold/porch-lamps", "on", &["-u", "household", "-P", "guess"]);
    assert!(!wrong.status.success());
}

#[test]
fn every_alarm_is_on_the_page() {
    let page = sample("README.md");
    for (kind, section) in ALARM_KINDS {
        assert!(page.contains(&format!("| `{kind}-<{section}>` |")), "{kind}");
    }
    for id in OWN_ALARMS {
        assert!(page.lines().any(|line| line.starts_with("| ") && line.contains(&format!("`{id}`"))), "{id}");
    }
}

#[test]
fn the_sample_sends_at_once() {
    assert!(sample("mosquitto.conf").lines().any(|line| line == "set_tcp_nodelay true"));
}

#[test]
fn the_daemon_logs_in_with_the_credential_of_its_unit() {
    let unit = sample("standfast.service");
    assert!(unit.contains("\nLoadCredential=broker.password:"), "the unit hands the password in under this name");
    let broker = broker();
    let folder = Folder::new();
    folder.copy_in(&Path::new(env!("CARGO_MANIFEST_DIR")).join("rules"), "rules");
    let settings = format!(
        "house = \"rules\"\ndata = \"data\"\napply = \"save\"\n\n[broker]\nurl = \"{}\"\nusername = \"standfast\"\n\
         password_file = \"broker.password\"\n",
        broker.url()
    );
    let settings = folder.write("standfast.toml", &settings);
    folder.write("credentials/broker.password", "standfast\n");
    let mut household = subscribe(&broker, "household", &["standfast/controller", "standfast/to/+/fallback"]);
    let arguments = ["run".as_ref(), "--config".as_ref(), settings.as_os_str()];
    let credentials = folder.path("credentials");
    let mut daemon = Standfast::start_with(&arguments, &[("CREDENTIALS_DIRECTORY", credentials.as_os_str())]);
    household.expect(
        |message| message.topic == "standfast/controller" && message.payload.starts_with("birth "),
        TEN_SECONDS,
    );
    household.expect(|message| message.topic == "standfast/to/cellar/fallback", TEN_SECONDS);
    daemon.terminate();
    assert!(daemon.expect_end(TEN_SECONDS).success(), "{}", daemon.transcript());
}

/// The unit with the binary that was built instead of the installed one, which systemd would miss.
fn unit(folder: &Folder) -> PathBuf {
    let text = sample("standfast.service").replace("/usr/local/bin/standfast", env!("CARGO_BIN_EXE_standfast"));
    folder.write("standfast.service", &text)
}

#[test]
fn systemd_takes_the_unit() {
    let folder = Folder::new();
    let output = run(command("systemd-analyze").arg("verify").arg(unit(&folder)));
    let said = String::from_utf8_lossy(&output.stderr);
    // It also verifies what the unit refers to; only what it says of the unit counts.
    assert!(output.status.success() && !said.contains("standfast.service"), "{said}");
}

#[test]
fn the_unit_is_little_exposed() {
    let folder = Folder::new();
    // 0 to 10, here in tenths; systemd calls up to 2.0 "OK".
    let arguments = ["security", "--no-pager", "--offline=yes", "--threshold=20"];
    let output = run(command("systemd-analyze").args(arguments).arg(unit(&folder)));
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success() && said.contains("Overall exposure level"), "{said}");
}
